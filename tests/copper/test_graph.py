"""Copper as graphs: which spots there are and how links join them."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.board.model import Board, CopperArea, Pad, PinRef, Via
from coppermend.copper.graph import NetGraph, net_graphs
from coppermend.copper.islands import Groups

from .meter import Meter, board_of


def graph_of(board: Board) -> NetGraph:
    return net_graphs(board, ["N"])["N"]


def links(graph: NetGraph) -> set[tuple[str, str, int]]:
    names = [spot.name or f"{spot.kind}" for spot in graph.spots]
    return {(*sorted((names[link.a], names[link.b])), link.track) for link in graph.links}


def test_a_track_between_two_pads():
    """One link with the track's number and resistance."""
    graph = graph_of(board_of([(10, 10, 110, 10)], [(10, 10), (110, 10)]))

    assert links(graph) == {("P.1", "P.2", 1)}
    assert graph.links[0].ohms == pytest.approx(1.7241e-5 * 100 / (0.3 * 0.035))


def test_a_track_that_passes_a_pad():
    """It becomes two links, one on either side of the pad."""
    graph = graph_of(board_of([(10, 10, 30, 10)], [(10, 10), (20, 10), (30, 10)]))

    assert links(graph) == {("P.1", "P.2", 1), ("P.2", "P.3", 1)}


def test_a_tee():
    """A track that ends in the middle of another makes a junction."""
    graph = graph_of(board_of([(10, 10, 30, 10), (20, 10, 20, 30)], [(10, 10), (30, 10), (20, 30)]))

    assert links(graph) == {("P.1", "junction", 1), ("P.2", "junction", 1), ("P.3", "junction", 2)}


def test_three_tracks_in_one_corner_share_a_junction():
    """Pairs of contacts at one place are one spot."""
    graph = graph_of(
        board_of([(10, 10, 20, 20), (20, 20, 30, 10), (20, 20, 20, 40)], [(10, 10), (30, 10), (20, 40)])
    )

    assert [spot.kind for spot in graph.spots].count("junction") == 1 and len(graph.links) == 3


def test_tracks_that_meet_on_a_pad_need_no_junction():
    """The pad is where they meet."""
    graph = graph_of(board_of([(10, 10, 20, 10), (20, 10, 30, 10)], [(10, 10), (20, 10), (30, 10)]))

    assert links(graph) == {("P.1", "P.2", 1), ("P.2", "P.3", 2)}


def test_layers_meet_in_vias_and_through_pads_only():
    """Tracks that cross on different layers do not touch; a via joins them."""
    tracks = [(10, 10, 30, 10, 0), (20, 0, 20, 20, 1)]
    pads = [(10, 10), (30, 10), (20, 0), (20, 20)]

    crossed, joined = (graph_of(board_of(tracks, pads, vias)) for vias in ([], [(20, 10)]))

    assert links(crossed) == {("P.1", "P.2", 1), ("P.3", "P.4", 2)}
    assert {name for a, b, _ in links(joined) for name in (a, b)} == {"P.1", "P.2", "P.3", "P.4", "V1"}


def test_filled_copper_joins_what_stands_in_it():
    """Pads in an area link to it; so does a track, at the end that lies in it."""
    board = replace(
        board_of([(10, 10, 30, 10)], [(10, 10), (40, 10)]),
        areas=(CopperArea("N", "top", "POLYGON((25 0,50 0,50 20,25 20,25 0))"),),
    )

    assert links(graph_of(board)) == {("P.1", "area", 1), ("P.2", "area", 0)}


def test_a_track_that_only_grazes_filled_copper():
    """It meets the area where it comes nearest."""
    board = replace(
        board_of([(10, 10, 30, 10)], [(10, 10), (30, 10)]),
        areas=(CopperArea("N", "top", "POLYGON((18 10.1,22 10.1,22 20,18 20,18 10.1))"),),
    )

    assert links(graph_of(board)) == {("P.1", "area", 1), ("P.2", "area", 1)}


def test_other_nets_and_bare_holes_do_not_join():
    """Copper of another net is left out; a hole without copper is a spot without links."""
    board = board_of([(10, 10, 30, 10)], [(10, 10), (30, 10)])
    board = replace(
        board,
        pads=(*board.pads, Pad("P", "3", 20, 10, 2.0, 2.0)),
        vias=(Via("V9", "M", 20, 10, 0.4),),
        nets={"N": (*board.nets["N"], PinRef("P", "3")), "M": ()},
    )

    assert links(graph_of(board)) == {("P.1", "P.2", 1)}


def test_a_second_pad_of_one_pin_has_no_name():
    """Its name means the first."""
    board = board_of([(10, 10, 30, 10)], [(10, 10)])
    board = replace(board, pads=(*board.pads, replace(board.pads[0], x_mm=30.0)))

    assert links(graph_of(board)) == {("P.1", "pad", 1)}


def test_second_vias_of_one_name_have_no_name_either():
    """As files made by hand may have them."""
    board = board_of([(10, 10, 30, 10)], [(10, 10)], [(30, 10)])
    board = replace(board, vias=(*board.vias, replace(board.vias[0], x_mm=20.0)))

    assert [spot.name for spot in graph_of(board).spots if spot.kind == "via"] == ["V1", ""]


def test_a_net_without_copper():
    """Its graph is empty."""
    assert net_graphs(board_of([], []), ["M"])["M"].spots == []


grid = st.integers(0, 6).map(lambda step: 10.0 + 4 * step)


@settings(max_examples=200)
@given(
    st.lists(st.tuples(grid, grid, grid, grid, st.integers(0, 1)), max_size=9),
    st.lists(st.tuples(grid, grid), min_size=2, max_size=6, unique=True),
    st.lists(st.tuples(grid, grid), max_size=3, unique=True),
)
def test_connectivity_beside_brute_force(tracks, pads, vias):
    """Points hang together in the graph exactly when their buffered copper does."""
    board = board_of(tracks, pads, vias)
    graph, meter = graph_of(board), Meter(board, ["N"])
    groups = Groups(len(graph.spots))
    for link in graph.links:
        groups.join(link.a, link.b)

    points = graph.points

    assert set(points) == {f"P.{i + 1}" for i in range(len(pads))} | {f"V{i + 1}" for i in range(len(vias))}
    for a in points:
        for b in points:
            assert (groups.root(points[a]) == groups.root(points[b])) == meter.connected(a, b)
