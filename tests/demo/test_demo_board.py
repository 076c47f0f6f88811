"""The committed demo board: a whole circuit, routed on two layers, that keeps its own promises."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import shapely

from coppermend.board.check import check_board
from coppermend.board.folder import format_board_folder, parse_board_folder
from coppermend.board.model import Board
from coppermend.board.packages import body_shape
from coppermend.board.parttypes import standard_library
from coppermend.board.space import pad_shape, track_shape, via_shape
from coppermend.demo.board_data import demo_board_files

LAYERS = {"top": 1, "bottom": 2, "both": 3}


@pytest.fixture(scope="module")
def board() -> Board:
    return parse_board_folder(demo_board_files(), "demo board")


@pytest.fixture(scope="module")
def copper(board):
    """Every piece of copper: net, layer bits and shape, in three arrays."""
    pieces = [
        (board.index.net_of_pin.get(p.ref, f"no net: {p.ref}"), LAYERS[p.side], pad_shape(p))
        for p in board.pads
    ]
    pieces += [(v.net, LAYERS["both"], via_shape(v)) for v in board.vias]
    pieces += [(t.net, LAYERS[t.layer], track_shape(t)) for t in board.tracks]
    return tuple(map(np.array, zip(*pieces, strict=True)))


def pairs(copper, within_mm: float):
    """Pairs of pieces on a common layer, no further apart than ``within_mm``, with their distance."""
    _, layers, shapes = copper
    a, b = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=within_mm)
    keep = (a < b) & ((layers[a] & layers[b]) > 0)
    return a[keep], b[keep], shapely.distance(shapes[a[keep]], shapes[b[keep]])


def test_board_has_the_size_of_a_real_one(board):
    """Between 90 and 140 parts, every one placed inside the outline and none standing on another."""
    outline = shapely.Polygon(board.outline)
    bodies = np.array([body_shape(board, part) for part in board.parts])
    a, b = shapely.STRtree(bodies).query(bodies, predicate="intersects")
    shared = [shapely.area(bodies[i].intersection(bodies[j])) for i, j in zip(a, b, strict=True) if i < j]

    assert 90 <= len(board.parts) <= 140
    assert all(outline.contains(body) for body in bodies)
    assert max(shared, default=0) < 0.5


def test_check_finds_nothing(board):
    """`board check` on the demo board is clean."""
    assert check_board(board, standard_library()) == ()


def test_every_pin_is_on_a_net(board):
    """Each pin of each part type is on a net, unless it goes nowhere inside the part; no net has one pin only."""
    library = standard_library()
    loose = [
        f"{part.refdes}.{pin.number}"
        for part in board.parts
        for pin in library.get(part.type).pins
        if pin.direction != "nc" and (part.refdes, pin.number) not in board.index.net_of_pin
    ]

    assert loose == []
    assert [net for net, pins in board.nets.items() if len(pins) < 2] == []


def test_every_pad_lies_on_the_board(board):
    """All copper of a pad lies inside the outline, and every pin on a net has a pad."""
    outline = shapely.Polygon(board.outline)

    assert all(outline.contains(pad_shape(pad)) for pad in board.pads)
    assert set(board.index.net_of_pin) <= set(board.index.pads)


def test_copper_joins_each_net_into_one(copper):
    """Every net's pads, vias and tracks touch each other as one piece: the board is routed to the last pin."""
    nets = copper[0]
    parent = list(range(len(nets)))

    def root(i: int) -> int:
        while parent[i] != i:
            parent[i] = parent[parent[i]]
            i = parent[i]
        return i

    for a, b, _ in zip(*pairs(copper, 0.0), strict=True):
        parent[root(a)] = root(b)
    pieces = defaultdict(set)
    for i, net in enumerate(nets):
        pieces[net].add(root(i))

    assert {net: len(found) for net, found in pieces.items() if len(found) > 1} == {}


def test_copper_keeps_its_clearance(copper):
    """Copper of different nets stays 0.2 mm apart on each layer."""
    nets = copper[0]
    a, b, apart = pairs(copper, 0.25)
    foreign = nets[a] != nets[b]

    assert foreign.any()
    assert apart[foreign].min() >= 0.2


def test_both_layers_carry_tracks(board):
    """The board is routed on two layers joined by vias, with rails wider than signals."""
    width = {(t.net, t.layer): t.width_mm for t in board.tracks}

    assert {t.layer for t in board.tracks} == {"top", "bottom"}
    assert board.vias
    assert max(w for (net, _), w in width.items() if net == "GND") > 3 * width["A5", "top"]


def test_board_file_names_only_what_is_there(board):
    """Rails, clocks, matrix, memory map, sections and connectors name nets, parts and pins of the board."""
    sections = {section.name for section in board.sections}

    assert {part.section for part in board.parts} == sections
    assert {rail.net for rail in board.rails} | {clock.net for clock in board.clocks} <= set(board.nets)
    assert {*board.matrix.strobes, *board.matrix.returns} <= set(board.nets)
    assert {ref for region in board.memory_map for ref in region.parts} <= set(board.index.parts)
    for connector in board.connectors:
        pins = {pin.pin for pin in board.index.pins_of_part[connector.refdes]}
        assert set(connector.signals) == pins


def test_matrix_is_eight_by_eight_with_diodes(board):
    """Eight strobes cross eight returns at some 45 named positions, no place used twice, each with its diode."""
    matrix = board.matrix
    places = {(p.strobe, p.ret) for p in matrix.positions}

    assert (len(matrix.strobes), len(matrix.returns)) == (8, 8)
    assert len(places) == len(matrix.positions) >= 40
    assert all(board.index.net_of_pin[p.diode, "2"] == p.strobe for p in matrix.positions)


def test_memory_map_tiles_without_overlap(board):
    """No address belongs to two regions, and the CPU's reset vector at FFFC lies in a program ROM."""
    regions = sorted(board.memory_map, key=lambda region: region.start)

    assert all(a.end < b.start for a, b in pairwise(regions))
    assert any(r.start <= 0xFFFC <= r.end and board.index.part(r.parts[0]).type == "2732" for r in regions)


def test_battery_stands_by_what_it_can_harm(board):
    """Within 80 mm of the battery stand parts of the reset, memory and battery sections: a leak reaches them."""
    battery = body_shape(board, board.index.part("BT1"))
    near = {part.section for part in board.parts if body_shape(board, part).distance(battery) < 80}

    assert {"battery", "reset", "memory", "switch matrix"} <= near


def test_folder_is_written_as_it_is_read(board):
    """Writing the board gives the committed files again, byte for byte."""
    written = {name: text.encode() for name, text in format_board_folder(board).items()}

    assert written == demo_board_files()


def test_folder_is_the_board_that_its_script_describes(board, monkeypatch):
    """Parts, nets and facts of the committed folder are those of the circuit under ``tools/``, copper apart."""
    monkeypatch.syspath_prepend(str(Path(__file__).resolve().parents[2] / "tools"))
    from demo_board.build import bare_board

    assert replace(board, tracks=(), vias=()) == bare_board()
