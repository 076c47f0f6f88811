"""Whole walks with a simulated meter: on random copper, and on real boards under random damage."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.board.atrisk import Touch, TouchedNet, TouchedPad, TouchedTrack, TouchedVia
from coppermend.board.import_sources import Source
from coppermend.board.importing import import_board
from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary, standard_library
from coppermend.copper.plan import CopperPlan, plan_probes
from coppermend.damage.area import parse_area
from coppermend.damage.touch import touch

from .meter import Meter, board_of, fit_all, walk

LIBRARY = PartLibrary()


def risk(board: Board, tracks, points) -> Touch:
    return Touch(
        pads=tuple(TouchedPad(p, "N", "both", 0.5, 1.0) for p in sorted(points) if "." in p),
        vias=tuple(TouchedVia(p, "N", 0.5, 1.0) for p in sorted(points) if "." not in p),
        tracks=tuple(TouchedTrack(n, "N", board.tracks[n - 1].layer, 0.5, 1.0) for n in sorted(tracks)),
        nets=(TouchedNet("N", "signal", "signal", (), 0.5, 0, 0, 0),),
    )


@st.composite
def trees(draw) -> Board:
    """Copper that grows from a pad in straight tracks over a 5 mm grid; corners become pads, vias or nothing."""
    spots = [(50, 50)]
    tracks = []
    for _ in range(draw(st.integers(1, 9))):
        x, y = spots[draw(st.integers(0, len(spots) - 1))]
        dx, dy = draw(st.sampled_from([(5, 0), (0, 5), (-5, 0), (0, -5)]))
        spot = (x + dx, y + dy)
        if spot not in spots:
            spots.append(spot)
            tracks.append((x, y, *spot, draw(st.integers(0, 1))))
    kinds = [draw(st.sampled_from(["pad", "pad", "via"])) for _ in spots]
    # Both layers meet in every corner, so that the copper is one piece.
    pads = [s for s, kind in zip(spots, kinds, strict=True) if kind == "pad"] or [spots[0]]
    vias = [s for s, kind in zip(spots, kinds, strict=True) if kind == "via" and s not in pads]
    return board_of(tracks, pads, vias)


@st.composite
def tangles(draw) -> Board:
    """Any tracks over a grid: loops, tees, crossings, stubs and pieces that nothing joins."""
    step = st.integers(0, 4).map(lambda i: 10.0 + 5 * i)
    tracks = draw(st.lists(st.tuples(step, step, step, step, st.integers(0, 1)), min_size=1, max_size=8))
    pads = draw(st.lists(st.tuples(step, step), min_size=2, max_size=6, unique=True))
    vias = draw(st.lists(st.tuples(step, step), max_size=3, unique=True))
    return board_of(tracks, pads, vias)


def padded_pieces(board: Board, meter: Meter) -> int:
    return len({meter.root(str(pad.ref)) for pad in board.pads})


@settings(max_examples=250)
@given(st.one_of(trees(), tangles()), st.data())
def test_a_walk_finds_what_is_open_and_the_jumpers_cure_it(board, data):
    """Whatever is broken: no pair twice, no false open, the truth about the net, and whole after the jumpers."""
    numbers = range(1, len(board.tracks) + 1)
    risky = data.draw(st.sets(st.sampled_from(numbers))) if board.tracks else set()
    names = [str(pad.ref) for pad in board.pads] + [via.name for via in board.vias]
    points = data.draw(st.sets(st.sampled_from(names)))
    broken = data.draw(st.sets(st.sampled_from(sorted(risky)))) if risky else set()
    vias = sorted(name for name in points if "." not in name)
    dead = data.draw(st.sets(st.sampled_from(vias))) if vias else set()
    one_by_one = data.draw(st.booleans())
    touched, meter = risk(board, risky, points), Meter(board, ["N"], broken, dead_points=dead)

    plan, readings = walk(board, LIBRARY, touched, meter, one_by_one=one_by_one)

    whole = padded_pieces(board, meter) == 1
    assert (plan.proven == ("N",)) == whole
    for item in plan.opens:
        assert not meter.connected(*item.between), "a false open"
        assert dead or not item.tracks or broken.intersection(item.tracks)
    if not whole:
        assert len(plan.jumpers) == padded_pieces(board, meter) - 1
        fitted = fit_all(plan, meter, readings)
        assert padded_pieces(board, meter) == 1, "the jumpers do not join the net"
        assert all(jumper.cures for jumper in plan.jumpers)
        before = len(readings)
        healed, readings = walk(
            board, LIBRARY, touched, meter, readings=readings, jumpers=fitted, one_by_one=one_by_one
        )
        assert healed.proven == ("N",) and healed.opens == () and healed.jumpers == ()
        # A record that keeps only the last reading of each pair comes to the same answer.
        last = {frozenset((r.a, r.b)): number for number, r in enumerate(readings)}
        kept = sorted(last.values())
        fitted = [replace(jumper, after=sum(number < before for number in kept)) for jumper in fitted]
        shorter = plan_probes(board, LIBRARY, touched, [readings[number] for number in kept], fitted)
        assert shorter.proven == ("N",) and shorter.probes == () and shorter.opens == ()


@settings(max_examples=150)
@given(trees(), st.data())
def test_every_open_that_parts_pads_is_pinned_to_its_segment(board, data):
    """On a tree, each broken at-risk track between pads is named by an open, and by no more tracks than lie
    between two points that a probe can touch."""
    numbers = list(range(1, len(board.tracks) + 1))
    if not numbers:
        return
    broken = data.draw(st.sets(st.sampled_from(numbers), max_size=3))
    meter = Meter(board, ["N"], broken)

    plan, _ = walk(board, LIBRARY, risk(board, numbers, ()), meter)

    for number in broken:
        repaired = Meter(board, ["N"], broken - {number})
        if padded_pieces(board, repaired) < padded_pieces(board, meter):
            assert any(item.tracks == (number,) for item in plan.opens)


@settings(max_examples=100)
@given(trees(), st.integers(0, 2**32))
def test_noise_and_contact_resistance_make_no_false_open(board, seed):
    """Half an ohm of bad contact is within the limit."""
    numbers = range(1, len(board.tracks) + 1)

    plan, _ = walk(board, LIBRARY, risk(board, numbers, ()), Meter(board, ["N"], (), random.Random(seed)))

    assert plan.proven == ("N",) and plan.opens == ()


@pytest.fixture(scope="module", params=["trainer-computer", "clock-module"])
def real_board(request, shared_boards) -> Board:
    folder = shared_boards / request.param
    gerber = [Source(f.name, f.read_bytes()) for f in sorted((folder / "gerber").iterdir())]
    netlist = Source("board.d356", (folder / "board.d356").read_bytes())
    parts = Source("parts.csv", (folder / "parts.csv").read_bytes())
    return import_board(
        name=request.param, ipc356=netlist, gerber=gerber, parts=parts, library=standard_library()
    )[0]


def random_touch(board: Board, chance: random.Random) -> Touch:
    disc = shapely.Point(chance.uniform(0, board.width_mm), chance.uniform(0, board.height_mm)).buffer(
        chance.uniform(25, 60) / 2
    )
    return touch(board, standard_library(), parse_area(disc.wkt.encode(), board, "disc"))


def assert_found(board: Board, touched: Touch, plan: CopperPlan, meter: Meter, broken: set[int]) -> None:
    """Nets are proven exactly when all their pads hang together, and every open that parts pads is named."""
    for net in touched.nets:
        roots = {meter.root(str(pad.ref)) for pad in board.index.pads_of_net[net.net]}
        assert (net.net in plan.proven) == (len(roots) <= 1), net.net
    assert all(not meter.connected(*item.between) for item in plan.opens)
    named = {number for item in plan.opens for number in item.tracks}
    for number in broken:
        ends = [str(pad.ref) for pad in board.index.pads_of_net[board.tracks[number - 1].net]]
        repaired = Meter(board, [board.tracks[number - 1].net], broken - {number})
        if len({repaired.root(e) for e in ends}) < len({meter.root(e) for e in ends}):
            assert number in named, f"track {number}"


@pytest.mark.shared
@pytest.mark.slow
@pytest.mark.parametrize("seed", range(6))
def test_jobs_on_real_boards(real_board, seed):
    """Random damage of 25-60 mm, opens planted in at-risk tracks, a noisy meter: all found, none false, all cured."""
    chance = random.Random(seed)
    touched = random_touch(real_board, chance)
    tracks = [track.number for track in touched.tracks]
    broken = set(chance.sample(tracks, min(len(tracks), chance.randint(1, 6))))
    meter = Meter(real_board, [net.net for net in touched.nets], broken, chance)

    plan, readings = walk(real_board, standard_library(), touched, meter)

    assert_found(real_board, touched, plan, meter, broken)
    fitted = fit_all(plan, meter, readings)
    healed, _ = walk(real_board, standard_library(), touched, meter, readings=readings, jumpers=fitted)
    assert set(healed.proven) == {net.net for net in touched.nets} and healed.opens == ()


@pytest.mark.shared
def test_fewer_probes_than_pad_by_pad_on_real_boards(real_board):
    """Over twenty random damages, at most 0.4 of the naive number of probes."""
    chance = random.Random(7)
    plans = [plan_probes(real_board, standard_library(), random_touch(real_board, chance)) for _ in range(20)]

    probes, naive = sum(len(p.probes) for p in plans), sum(p.naive_probes for p in plans)

    assert 0 < probes <= 0.4 * naive
    assert sum(p.route_mm for p in plans) < sum(p.naive_route_mm for p in plans)
