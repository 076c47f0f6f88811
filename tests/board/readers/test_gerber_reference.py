"""Our Gerber and Excellon readers beside an independent one (gerbonara, Apache-2.0) on real boards."""

from __future__ import annotations

import math
import re
import warnings
from collections import Counter
from pathlib import Path

import pytest
import shapely

from coppermend.board.readers.excellon import parse_excellon
from coppermend.board.readers.gerber import GerberLayer, parse_gerber

gerbonara = pytest.importorskip("gerbonara")

BOARDS = ("trainer-computer", "clock-module")
LAYERS = ("F_Cu", "B_Cu", "F_Mask", "F_SilkS", "Edge_Cuts")


def ours(folder: Path, board: str, layer: str) -> GerberLayer:
    return parse_gerber((folder / board / "gerber" / f"{layer}.gbr").read_text("utf-8"), layer)


def theirs(folder: Path, board: str, name: str, kind=None):
    text = (folder / board / "gerber" / name).read_text("utf-8")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return (kind or gerbonara.GerberFile).from_string(text, filename=name)


def named(attrs) -> tuple[str, ...]:
    """Net, part and pin as the reference has them; it leaves X2 escapes as they are."""
    fields = (*attrs.get(".N", ()), *(attrs.get(".P") or attrs.get(".C", ())))
    return tuple(field.replace(r"\u002A", "*") for field in fields)


@pytest.mark.shared
@pytest.mark.parametrize("board", BOARDS)
@pytest.mark.parametrize("layer", LAYERS)
def test_flashes_agree(shared_boards, board, layer):
    """Every flash has the same place, aperture size, net and pin."""
    found = Counter(
        (round(f.x_mm, 6), round(f.y_mm, 6), f.aperture.number, tuple(filter(None, (f.tag.net, f.tag.refdes, f.tag.pin))))
        for f in ours(shared_boards, board, layer).flashes
    )  # fmt: skip
    expected = Counter(
        (round(f.x, 6), round(f.y, 6), f.aperture.original_number, named(f.attrs))
        for f in theirs(shared_boards, board, f"{layer}.gbr").objects
        if type(f).__name__ == "Flash"
    )

    assert found == expected


@pytest.mark.shared
@pytest.mark.parametrize("board", BOARDS)
@pytest.mark.parametrize("layer", LAYERS)
def test_lines_agree(shared_boards, board, layer):
    """Every straight line has the same ends, width and net, in the same order."""
    found = [
        (*(round(v, 6) for v in s[:4]), s.aperture.stroke_mm, s.tag.net)
        for s in ours(shared_boards, board, layer).strokes
        if not s.arc
    ]
    expected = [
        (
            *(round(v, 6) for v in (o.x1, o.y1, o.x2, o.y2)),
            o.aperture.diameter,
            "".join(o.attrs.get(".N", ())),
        )
        for o in theirs(shared_boards, board, f"{layer}.gbr").objects
        if type(o).__name__ == "Line"
    ]

    assert found == expected


@pytest.mark.shared
@pytest.mark.parametrize("board", BOARDS)
@pytest.mark.parametrize("layer", ["F_Cu", "B_Cu", "F_SilkS"])
def test_regions_agree_in_shape(shared_boards, board, layer):
    """Every region has the same corners; the reference has no net for them, so only the shape is compared."""
    found = [list(ring) for r in ours(shared_boards, board, layer).regions for ring in r.contours]
    expected = [
        [(round(x, 6), round(y, 6)) for x, y in o.outline]
        for o in theirs(shared_boards, board, f"{layer}.gbr").objects
        if type(o).__name__ == "Region"
    ]

    assert [Counter(ring) for ring in found] == [Counter(set(ring)) for ring in expected] or [
        shapely.Polygon(ring).normalize().wkt for ring in found
    ] == [shapely.Polygon(ring).normalize().wkt for ring in expected]


@pytest.mark.shared
@pytest.mark.parametrize("board", BOARDS)
def test_arcs_of_the_outline_agree(shared_boards, board):
    """The chords of each arc start and end where the reference's arc does, on its circle."""
    chords = [s for s in ours(shared_boards, board, "Edge_Cuts").strokes if s.arc]
    arcs = [o for o in theirs(shared_boards, board, "Edge_Cuts.gbr").objects if type(o).__name__ == "Arc"]

    assert len(arcs) == 4
    starts = {(round(s.x1_mm, 6), round(s.y1_mm, 6)) for s in chords}
    for arc in arcs:
        assert (round(arc.x1, 6), round(arc.y1, 6)) in starts
        radius = math.hypot(arc.cx, arc.cy)
        centre = (arc.x1 + arc.cx, arc.y1 + arc.cy)
        on_circle = [s for s in chords if math.isclose(math.dist(centre, s[:2]), radius, abs_tol=1e-4)]
        assert len(on_circle) >= 10


@pytest.mark.shared
@pytest.mark.parametrize("board", BOARDS)
@pytest.mark.parametrize("layer", ["F_Cu", "B_Cu", "F_Mask"])
def test_aperture_sizes_agree(shared_boards, board, layer):
    """Width and height of every flashed aperture, rounded rectangles included, agree to 0.01 mm."""
    unit = gerbonara.MM
    boxes = {
        f.aperture.original_number: f.aperture.bounding_box(unit)
        for f in theirs(shared_boards, board, f"{layer}.gbr").objects
        if type(f).__name__ == "Flash"
    }
    tools = {f.aperture.number: f.aperture for f in ours(shared_boards, board, layer).flashes}

    assert tools.keys() == boxes.keys()
    for number, ((x1, y1), (x2, y2)) in boxes.items():
        assert (tools[number].size_mm, tools[number].height_mm) == pytest.approx((x2 - x1, y2 - y1), abs=0.01)


@pytest.mark.shared
@pytest.mark.parametrize("board", BOARDS)
@pytest.mark.parametrize("name", ["PTH.drl", "NPTH.drl"])
def test_drills_agree(shared_boards, board, name):
    """Every hole and slot has the same place and diameter."""
    text = (shared_boards / board / "gerber" / name).read_text("utf-8")
    found = Counter(
        (round(h.x_mm, 6), round(h.y_mm, 6), round(h.x2_mm, 6), round(h.y2_mm, 6), h.diameter_mm)
        for h in parse_excellon(text, name).holes
    )
    expected = Counter()
    for o in theirs(shared_boards, board, name, gerbonara.ExcellonFile).objects:
        ends = (o.x, o.y, o.x, o.y) if type(o).__name__ == "Flash" else (o.x1, o.y1, o.x2, o.y2)
        expected[(*(round(v, 6) for v in ends), o.tool.diameter)] += 1

    assert found == expected


@pytest.mark.shared
@pytest.mark.parametrize("board", BOARDS)
def test_every_region_has_a_net(shared_boards, board):
    """What the reference drops: each copper region carries the net that the file gives it."""
    for layer in ("F_Cu", "B_Cu"):
        text = (shared_boards / board / "gerber" / f"{layer}.gbr").read_text("utf-8")
        regions = ours(shared_boards, board, layer).regions

        assert len(regions) == len(re.findall(r"^G36\*", text, re.MULTILINE))
        assert {r.tag.net for r in regions} == {"GND"}
