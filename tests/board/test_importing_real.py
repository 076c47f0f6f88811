"""Real boards through every combination of their sources, beside the netlist read from the design itself."""

from __future__ import annotations

import csv
from collections import defaultdict
from functools import lru_cache
from itertools import product
from pathlib import Path

import pytest
import shapely

from coppermend.board.importing import Source, import_board
from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary, standard_library
from coppermend.board.space import pad_shape, track_shape, via_shape

from .import_samples import bare

BOARDS = ("trainer-computer", "clock-module")
# parts, nets, pins on nets, pads, vias, tracks as told in the boards' own read-me; areas are regions counted.
COUNTS = {
    "trainer-computer": (68, 133, 477, 497, 164, 1400, 26),
    "clock-module": (46, 32, 121, 148, 8, 242, 6),
}
COMBINATIONS = [c for c in product((False, True), repeat=3) if c[0] or c[1]]  # IPC-D-356, Gerber, parts list

pytestmark = pytest.mark.shared
each_board = pytest.mark.parametrize("board", BOARDS)
each_combination = pytest.mark.parametrize(
    "sources", COMBINATIONS, ids=lambda c: "+".join(n for n, on in zip(("ipc", "gerber", "parts"), c, strict=True) if on)
)  # fmt: skip


def gerber_of(folder: Path) -> list[Source]:
    return [Source(f.name, f.read_bytes()) for f in sorted((folder / "gerber").iterdir())]


@lru_cache
def imported(folder: Path, sources: tuple[bool, bool, bool]) -> tuple[Board, tuple[str, ...]]:
    ipc, gerber, parts = sources
    return import_board(
        name=folder.name,
        ipc356=Source("board.d356", (folder / "board.d356").read_bytes()) if ipc else None,
        gerber=gerber_of(folder) if gerber else [],
        parts=Source("parts.csv", (folder / "parts.csv").read_bytes()) if parts else None,
        library=PartLibrary(),
    )


def truth(folder: Path) -> dict[str, set[tuple[str, str]]]:
    nets = defaultdict(set)
    for row in csv.DictReader((folder / "nets.csv").open(encoding="utf-8")):
        nets[row["net"]].add((row["refdes"], row["pin"]))
    return dict(nets)


@each_board
@each_combination
def test_pins_are_grouped_into_nets_as_designed(shared_boards, board, sources):
    """Grouping equals nets.csv exactly from every combination; through Gerber the names are equal too."""
    found, _ = imported(shared_boards / board, sources)
    nets = {name: {tuple(pin) for pin in pins} for name, pins in found.nets.items()}
    expected = truth(shared_boards / board)

    assert {frozenset(pins) for pins in nets.values()} == {frozenset(pins) for pins in expected.values()}
    assert len(nets) == len(expected)
    if sources[1]:
        assert nets == expected


@each_board
@each_combination
def test_everything_is_counted(shared_boards, board, sources):
    """Parts, nets, pins, pads and vias are complete; tracks and areas come from Gerber, area edges not counted."""
    found, _ = imported(shared_boards / board, sources)
    parts, nets, pins, pads, vias, tracks, areas = COUNTS[board]
    counts = found.counts()

    assert (counts["nets"], counts["pins"], counts["pads"], counts["vias"]) == (nets, pins, pads, vias)
    assert (counts["tracks"], counts["areas"]) == ((tracks, areas) if sources[1] else (0, 0))
    assert counts["parts"] == (parts if sources[2] else parts - 2)  # two logos have no pads


@each_board
@pytest.mark.parametrize("sources", [c for c in COMBINATIONS if c[2]], ids=str)
def test_parts_are_placed_right(shared_boards, board, sources):
    """Every part lies within 0.1 mm of the parts list, and most have a pad exactly at their anchor."""
    found, notes = imported(shared_boards / board, sources)
    rows = list(csv.DictReader((shared_boards / board / "parts.csv").open(encoding="utf-8")))

    for part, row in zip(found.parts, rows, strict=True):
        assert (part.refdes, part.value, part.rotation_deg) == (
            row["refdes"],
            row["value"],
            float(row["rotation_deg"]),
        )
        assert (part.x_mm, part.y_mm) == pytest.approx((float(row["x_mm"]), float(row["y_mm"])), abs=0.1)
    at_anchor = [
        p for p in found.parts if p.refdes in found.index.pads_of_part
        and any(abs(p.x_mm - q.x_mm) + abs(p.y_mm - q.y_mm) < 0.01 for q in found.index.pads_of_part[p.refdes])
    ]  # fmt: skip
    assert len(at_anchor) >= 0.9 * (len(rows) - 6)
    assert any("of the list sit on their pads" in note for note in notes)


@each_board
def test_sources_meet_in_one_frame(shared_boards, board):
    """Pads from IPC-D-356 and from Gerber lie on each other to the resolution of IPC-D-356 (0.00254 mm)."""
    from_ipc, _ = imported(shared_boards / board, (True, False, True))
    from_gerber, _ = imported(shared_boards / board, (False, True, True))

    shift = {(round(p.x_mm - q.x_mm, 2), round(p.y_mm - q.y_mm, 2)) for p, q in zip(
        sorted(from_ipc.parts, key=str), sorted(from_gerber.parts, key=str), strict=True)}  # fmt: skip
    assert shift <= {(0.02, 0.02), (0.03, 0.03), (0.02, 0.03), (0.03, 0.02)}  # half of the outline's width
    for ref, pad in from_gerber.index.pads.items():
        places = [p for p in from_ipc.pads if p.ref == ref]
        assert any(
            abs(p.x_mm - pad.x_mm - 0.025) < 0.005 and abs(p.y_mm - pad.y_mm - 0.025) < 0.005 for p in places
        )


@each_board
def test_size_is_that_of_the_outline(shared_boards, board):
    """Width and height are those of the centre line; the origin is its lower-left corner."""
    found, _ = imported(shared_boards / board, (True, True, True))
    size = {"trainer-computer": (203.2, 149.86), "clock-module": (101.6, 78.74)}[board]

    assert (found.width_mm, found.height_mm) == size
    bounds = shapely.Polygon(found.outline).bounds
    assert bounds == pytest.approx((0, 0, *size), abs=1e-6)
    assert all(shapely.Polygon(found.outline).contains(pad_shape(p).centroid) for p in found.pads)


@each_board
def test_copper_of_different_nets_never_touches(shared_boards, board):
    """Areas, widened by their edge strokes, keep clear of every pad, via and track of another net."""
    found, _ = imported(shared_boards / board, (False, True, True))
    others = [(found.index.net_of_pin.get(p.ref, ""), p.side, pad_shape(p)) for p in found.pads]
    others += [(v.net, "both", via_shape(v)) for v in found.vias]
    others += [(t.net, t.layer, track_shape(t)) for t in found.tracks]

    assert {area.net for area in found.areas} == {"GND"}
    assert {area.layer for area in found.areas} == {"top", "bottom"}
    for area in found.areas:
        shape = shapely.from_wkt(area.wkt)
        assert shape.is_valid and shape.area > 0.1
        shapely.prepare(shape)
        for net, side, other in others:
            if net != area.net and side in (area.layer, "both"):
                assert not shape.intersects(other)


@each_board
def test_ground_areas_reach_ground_pads(shared_boards, board):
    """Nearly every ground pad touches a ground area: areas connect (through spokes)."""
    found, _ = imported(shared_boards / board, (False, True, True))
    shapes = [(a.layer, shapely.from_wkt(a.wkt)) for a in found.areas]
    pads = found.index.pads_of_net["GND"]

    touching = [p for p in pads if any(p.side in (layer, "both") and s.intersects(pad_shape(p)) for layer, s in shapes)]  # fmt: skip
    assert len(touching) >= 0.9 * len(pads)


@each_board
def test_gerber_and_ipc_agree_on_every_net(shared_boards, board):
    """The cross-check of both sources finds nothing on a sound board."""
    _, notes = imported(shared_boards / board, (True, True, True))

    assert not [note for note in notes if "disagree" in note or "only" in note]
    assert [note for note in notes if note.startswith("IPC-D-356 and Gerber agree on")]


@each_board
def test_mounting_holes_are_reference_points(shared_boards, board):
    """The four mounting holes are H1 to H4, where the parts list has them."""
    found, _ = imported(shared_boards / board, (True, True, True))
    rows = csv.DictReader((shared_boards / board / "parts.csv").open(encoding="utf-8"))
    places = {(float(r["x_mm"]), float(r["y_mm"])) for r in rows if r["footprint"].startswith("MountingHole")}

    assert [p.name for p in found.reference_points] == ["H1", "H2", "H3", "H4"]
    assert {(round(p.x_mm + 0.025, 3), round(p.y_mm + 0.025, 3)) for p in found.reference_points} == places


@each_board
def test_vias_have_the_same_names_from_every_source(shared_boards, board):
    """V1, V2, ... name the same via whether it came from IPC-D-356 or from Gerber."""
    from_ipc, _ = imported(shared_boards / board, (True, False, True))
    from_gerber, _ = imported(shared_boards / board, (False, True, True))

    for one, other in zip(from_ipc.vias, from_gerber.vias, strict=True):
        assert (one.name, one.hole_mm) == (other.name, pytest.approx(other.hole_mm, abs=0.01))
        assert (one.x_mm, one.y_mm) == pytest.approx((other.x_mm + 0.025, other.y_mm + 0.025), abs=0.006)


@each_board
def test_nets_of_bare_copper_are_found_by_touch(shared_boards, board):
    """With every attribute stripped from the Gerber files, each track and area gets the net it had."""
    folder = shared_boards / board
    named, _ = imported(folder, (True, True, False))
    found, _ = import_board(
        name=board,
        ipc356=Source("board.d356", (folder / "board.d356").read_bytes()),
        gerber=list(bare(gerber_of(folder))),
        parts=None,
        library=PartLibrary(),
    )
    short = {}
    for ref, net in found.index.net_of_pin.items():
        short[named.index.net_of_pin[ref]] = net

    assert list(found.tracks) == [
        type(t)(short[t.net], *[getattr(t, f) for f in t.__slots__[1:]]) for t in named.tracks
    ]
    assert [(a.net, a.layer) for a in found.areas] == [(a.net, a.layer) for a in named.areas]


@each_board
def test_types_are_guessed_for_nearly_every_part(shared_boards, board):
    """With the library that comes along, parts get a type; three modern devices and the holes stay without."""
    found, _ = imported(shared_boards / board, (True, True, True))
    folder = shared_boards / board
    typed, _ = import_board(
        name=board, ipc356=None, gerber=gerber_of(folder),
        parts=Source("parts.csv", (folder / "parts.csv").read_bytes()), library=standard_library(),
    )  # fmt: skip

    without = {p.refdes for p in typed.parts if not p.type}
    assert without <= {"U6", "U10", "REF**"}
    assert all(not p.type for p in found.parts)  # an empty library knows nothing
