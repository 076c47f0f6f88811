"""Looking copper over: what it joins against what the netlist says, on made and on real boards."""

from __future__ import annotations

import csv
from collections import defaultdict
from dataclasses import replace

import numpy as np
import pytest

from coppermend.board.check import check_board
from coppermend.board.connectivity import connected_copper
from coppermend.board.importing import Source, import_board
from coppermend.board.model import Board, CopperArea, Pad, Part, PinRef, Track, Via
from coppermend.board.parttypes import PartLibrary, standard_library

# Two resistors side by side: net A joins their left ends on top, net B their right ends on the bottom.
GOOD = Board(
    "B", 30, 30,
    parts=(Part("R1"), Part("R2")),
    nets={"A": (PinRef("R1", "1"), PinRef("R2", "1")), "B": (PinRef("R1", "2"), PinRef("R2", "2"))},
    pads=(Pad("R1", "1", 5, 5, 0.8, 1.6), Pad("R1", "2", 15, 5, 0.8, 1.6),
          Pad("R2", "1", 5, 15, 0.8, 1.6), Pad("R2", "2", 15, 15, 0.8, 1.6)),
    tracks=(Track("A", "top", 5, 5, 5, 15, 0.4), Track("B", "bottom", 15, 5, 15, 15, 0.4)),
)  # fmt: skip


def found(board: Board) -> list[tuple[str, str, tuple[str, ...]]]:
    findings = check_board(board, PartLibrary({}))
    return [(f.code, f.severity, f.subjects) for f in findings if f.code != "unknown-type"]


def with_tracks(*tracks: Track, **more) -> Board:
    return replace(GOOD, tracks=GOOD.tracks + tracks, **more)


def test_good_copper():
    """Copper that joins what the netlist joins, and nothing else, is clean."""
    assert found(GOOD) == []


def test_tracks_that_cross():
    """Tracks of two nets that cross on one layer are an error with the place; on two layers they are fine."""
    crossing = Track("B", "top", 15, 10, 3, 10, 0.4)

    (finding,) = [f for f in check_board(with_tracks(crossing), PartLibrary({})) if f.code == "nets-touch"]

    assert finding.message == "copper of nets A and B touches: track 1 and track 3 at x 5.0, y 10.0 mm"
    assert found(with_tracks(replace(crossing, layer="bottom"))) == []


def test_a_track_on_a_foreign_pad():
    """A track of one net that meets a pad of another is an error naming the pad; contacts are counted."""
    wrong = Track("A", "top", 5, 5, 15, 5, 0.4), Track("A", "bottom", 5, 5, 15, 5, 0.4)

    (finding,) = [f for f in check_board(with_tracks(*wrong), PartLibrary({})) if f.code == "nets-touch"]

    assert finding.subjects == ("B", "A", "R1.2", "track 3") and "(and in 2 more places)" in finding.message


def test_an_area_over_foreign_pads():
    """An area of one net that runs over a pad of another is an error; one that keeps clear is not."""
    over = CopperArea("A", "top", "POLYGON ((3 3, 17 3, 17 7, 3 7, 3 3))")
    clear = CopperArea("A", "top", "POLYGON ((3 3, 14 3, 14 7, 3 7, 3 3))")

    assert ("nets-touch", "error", ("B", "A", "R1.2", "area 1")) in found(replace(GOOD, areas=(over,)))
    assert found(replace(GOOD, areas=(clear,))) == []


def test_unnamed_copper_between_nets():
    """Copper of no net that joins two nets is an error, although no copper of the two nets touches."""
    bridge = Track("", "top", 5, 12, 15, 15, 0.4)

    assert found(with_tracks(bridge)) == [("nets-touch", "error", ("A", "B"))]
    assert found(with_tracks(replace(bridge, x2_mm=13.0))) == []


def test_a_pad_of_no_net_on_copper():
    """A pad of no net that copper of a net reaches is a warning, whichever of the two comes first."""
    lost = Pad("R1", "3", 5, 10, 0.8, 1.6)
    last = replace(GOOD, pads=(*GOOD.pads, lost))
    first = replace(GOOD, pads=(lost, *GOOD.pads, replace(lost, pin="4", y_mm=3.8)))

    assert found(last) == [("pad-net-missing", "warning", ("R1.3", "A"))]
    assert ("pad-net-missing", "warning", ("R1.4", "A")) in found(first)


@pytest.mark.parametrize("gap", [0, 1])
def test_incomplete_copper(gap):
    """A net in two pieces is a warning with a point of each piece, also when it has no copper at all."""
    board = replace(GOOD, tracks=(GOOD.tracks[gap],))
    net = "BA"[gap]

    (finding,) = found(board)

    assert finding == ("copper-incomplete", "warning", (net, f"R1.{2 - gap}", f"R2.{2 - gap}"))


def test_copper_through_a_short_does_not_count():
    """Pads joined only through copper of another net are still incomplete."""
    through = replace(
        GOOD, tracks=(GOOD.tracks[0], Track("A", "top", 5, 5, 15, 5, 1), Track("A", "top", 5, 15, 15, 15, 1))
    )

    codes = [code for code, _, _ in found(through)]

    assert codes == ["nets-touch", "copper-incomplete"]


def test_a_bare_hole_breaks_a_net():
    """A pad that is drilled to its rim joins nothing: the net that ends there is incomplete."""
    drilled = (*GOOD.pads[:3], replace(GOOD.pads[3], hole_mm=1.6))

    assert found(replace(GOOD, pads=drilled)) == [("copper-incomplete", "warning", ("B", "R1.2", "R2.2"))]


def test_copper_of_an_unknown_net():
    """Copper of a net that no pin is on is a warning; copper of no net is none."""
    strange = with_tracks(Track("NC", "top", 20, 20, 25, 20, 0.4), Track("", "top", 20, 25, 25, 25, 0.4))

    assert found(strange) == [("copper-net-unknown", "warning", ("NC",))]


def test_off_the_board():
    """Pads are off the board by their middle, part by part; vias and tracks together."""
    pads = (
        *GOOD.pads,
        Pad("R1", "5", 30, 20, 0, 2),
        Pad("R1", "6", 31, 20, 0, 2),
        Pad("R1", "7", -3, 20, 0, 2),
    )
    board = with_tracks(Track("", "top", 29, 29, 29, 31, 0.4), pads=pads, vias=(Via("V1", "", 5, -1, 0.4),))

    off = [f.subjects for f in check_board(board, PartLibrary({})) if f.code == "off-board"]

    assert off == [("R1.6", "R1.7"), ("V1", "track 3")]


def test_off_an_outline_with_a_notch():
    """What lies in a notch of the outline is off the board."""
    notch = ((0, 0), (30, 0), (30, 30), (10, 30), (10, 12), (2, 12), (2, 30), (0, 30))

    assert ("off-board", "error", ("R2.1",)) in found(replace(GOOD, outline=notch))


@pytest.mark.parametrize(
    ("outline", "severity"),
    [
        (((0, 0), (30, 30), (30, 0), (0, 30)), "error"),
        (((0, 0), (30, 0), (30, 29), (0, 29)), "warning"),
        (((0, 0), (30.05, 0), (30.05, 30), (0, 30)), None),
    ],
)
def test_outline(outline, severity):
    """An outline that crosses itself is an error; one of another size than stated is a warning."""
    findings = [
        f for f in check_board(replace(GOOD, outline=outline), PartLibrary({})) if f.code == "outline"
    ]

    assert [f.severity for f in findings] == ([severity] if severity else [])


@pytest.fixture(scope="module", params=["trainer-computer", "clock-module"])
def real(request, shared_boards):
    """A real board through Gerber, with the copper that its maker drew."""
    folder = shared_boards / request.param
    gerber = [Source(p.name, p.read_bytes()) for p in sorted((folder / "gerber").iterdir())]
    parts = Source("parts.csv", (folder / "parts.csv").read_bytes())
    board, _ = import_board(
        name=request.param, ipc356=None, gerber=gerber, parts=parts, library=standard_library()
    )
    return board, folder


@pytest.mark.shared
def test_real_copper_joins_exactly_the_real_nets(real):
    """Pads grouped by copper alone, net names unseen, are the nets of the design (nets.csv of the shared boards)."""
    board, folder = real
    with (folder / "nets.csv").open(encoding="utf-8", newline="") as file:
        truth = defaultdict(set)
        for row in csv.DictReader(file):
            truth[row["net"]].add(f"{row['refdes']}.{row['pin']}")

    labels = connected_copper(board)
    pieces = defaultdict(set)
    for label, pad in zip(labels.tolist(), board.pads, strict=False):
        if pad.ref in board.index.net_of_pin:
            pieces[label].add(str(pad.ref))

    assert sorted(map(sorted, pieces.values())) == sorted(map(sorted, truth.values()))


@pytest.mark.shared
def test_real_boards_are_clean(real):
    """A board that was made and works has no errors."""
    board, _ = real

    findings = check_board(replace(board), standard_library())

    assert [f for f in findings if f.severity == "error"] == []
    assert {f.code for f in findings} <= {"single-pin-net", "duplicate-refdes", "unknown-type"}


@pytest.mark.shared
def test_a_cut_in_real_copper_is_found(real):
    """Of twenty tracks taken away one at a time most break their own net, and none ever another."""
    board, _ = real
    broken = 0
    for number in np.linspace(0, len(board.tracks) - 1, 20).astype(int):
        cut = replace(board, tracks=board.tracks[:number] + board.tracks[number + 1 :])
        apart = [f.subjects[0] for f in check_board(cut, PartLibrary({})) if f.code == "copper-incomplete"]

        assert set(apart) <= {board.tracks[number].net}
        broken += len(apart)
    assert broken >= 10
