"""Gerber files that can be read: coordinates, strokes, arcs, regions, repeats and blocks, polarity."""

from __future__ import annotations

import math

import pytest
import shapely

from coppermend.board.readers.gerber import parse_gerber

from .gerber_samples import TWO_SQUARES, gerber


def read(*words: str, **parts: str):
    return parse_gerber(gerber(*words, **parts), "F_Cu.gbr")


def lines(layer):
    return [stroke[:4] for stroke in layer.strokes]


def test_published_example_draws_two_squares():
    """The first example of the Gerber specification (2.11.1, from memory) is two 5 mm squares, 1 mm apart."""
    layer = parse_gerber(TWO_SQUARES, "boxes.gbr")

    assert lines(layer)[:4] == [(0, 0, 5, 0), (5, 0, 5, 5), (5, 5, 0, 5), (0, 5, 0, 0)]
    assert lines(layer)[4:] == [(6, 0, 11, 0), (11, 0, 11, 5), (11, 5, 6, 5), (6, 5, 6, 0)]
    assert {stroke.aperture.stroke_mm for stroke in layer.strokes} == {0.010}
    assert layer.attributes == {".Part": ("Other", "example")}


@pytest.mark.parametrize(
    ("head", "word", "expected"),
    [
        ("%FSLAX24Y24*%%MOIN*%", "X15000Y-2500", (38.1, -6.35)),
        ("%FSLAX23Y23*%%MOMM*%", "X15Y-025", (0.015, -0.025)),
        ("%FSTAX24Y24*%%MOMM*%", "X15Y-0025", (15.0, -0.25)),
        ("%FSTAX24Y24*%%MOMM*%", "X+150000Y01", (15.0, 1.0)),
        ("%FSDAX24Y24*%%MOMM*%", "X150000Y10000", (15.0, 1.0)),
        ("%FSLAN2G2X46Y46D2M2*%%MOMM*%", "X1500000Y0", (1.5, 0.0)),
        ("%FSLAX24Y24*MOMM*%", "X1.5Y-.25", (1.5, -0.25)),
        ("G71*%FSLAX33Y33*%", "X1500Y0", (1.5, 0.0)),
        ("G70*%FSLAX24Y24*%", "X10000Y0", (25.4, 0.0)),
    ],
)
def test_number_formats(head, word, expected):
    """Leading and trailing zero omission, any number of digits, mm and inch (specification 4.2, 8.2)."""
    layer = read(f"{word}D03*", head=f"{head}\n%ADD10C,0.1*%\nD10*\n")

    assert [(f.x_mm, f.y_mm) for f in layer.flashes] == [pytest.approx(expected, abs=1e-9)]


def test_coordinates_and_operation_are_modal():
    """A missing coordinate keeps its value, and old files leave out D01 when it does not change."""
    layer = read("X1000000Y2000000D02*", "X3000000D01*", "Y4000000*", "X5000000Y5000000D03*", "X6000000*")

    assert lines(layer) == [(1, 2, 3, 2), (3, 2, 3, 4)]
    assert [(f.x_mm, f.y_mm) for f in layer.flashes] == [(5, 5), (6, 5)]


def test_incremental_notation():
    """G91 and the I of FSLI (both deprecated) add to the current point."""
    by_command = read("X1000000Y1000000D02*", "G91*", "X1000000D01*", "Y-500000D01*", "G90*", "X0Y0D01*")
    by_format = read(
        "X1000000Y1000000D02*", "X1000000D01*", head="%FSLIX36Y36*%%MOMM*%%ADD10C,0.1*%\nG54D10*\n"
    )

    assert lines(by_command) == [(1, 1, 2, 1), (2, 1, 2, 0.5), (2, 0.5, 0, 0)]
    assert lines(by_format) == [(1, 1, 2, 1)]


def test_old_style_words():
    """G54 before a D code, G01 with coordinates, N numbers, M00, empty words and legacy names are understood."""
    layer = read(
        "N10G54D11*", "*", "G55X0Y0D03*", "G01X1000000Y0D01*", "%LNcopper*%", "%INboard*%", "%IPPOS*%",
        "%ASAXBY*%", "%MIA0B0*%", "%OFA0B0*%", "%SFA1.0B1.0*%", "%IR0*%", "%G04 note*%", end="M00*"
    )  # fmt: skip

    assert layer.flashes[0].aperture.number == 11
    assert lines(layer) == [(0, 0, 1, 0)]


def test_line_ends_and_words_across_lines_do_not_matter():
    """LF, CRLF, lone CR and no line ends at all give the same layer."""
    text = TWO_SQUARES
    spellings = [text, text.replace("\n", "\r\n"), text.replace("\n", "\r"), text.replace("\n", "")]

    assert len({str(lines(parse_gerber(spelling, "boxes.gbr"))) for spelling in spellings}) == 1


@pytest.mark.parametrize("quadrant", ["G75*", "G74*"])
def test_quarter_arc_keeps_to_its_circle(quadrant):
    """All chord ends lie on the circle, chords leave it by at most 0.002 mm, and the end is exact."""
    offset = "I-5000000J0" if quadrant == "G75*" else "I5000000J0"
    layer = read(quadrant, "X5000000Y0D02*", f"G03X0Y5000000{offset}D01*")

    ends = [(s.x2_mm, s.y2_mm) for s in layer.strokes]
    middles = [((s.x1_mm + s.x2_mm) / 2, (s.y1_mm + s.y2_mm) / 2) for s in layer.strokes]
    assert all(math.hypot(*p) == pytest.approx(5, abs=2e-6) for p in ends)
    assert all(5 - math.hypot(*p) <= 0.0021 for p in middles)
    assert ends[-1] == (0, 5) and all(x >= 0 and y >= 0 for x, y in ends)
    assert all(s.arc for s in layer.strokes)


def test_clockwise_arc_goes_the_other_way():
    """G02 from (5, 0) to (0, 5) takes the long way round, through (0, -5)."""
    layer = read("G75*", "X5000000Y0D02*", "G02X0Y5000000I-5000000J0D01*")

    assert min(s.y2_mm for s in layer.strokes) == pytest.approx(-5, abs=0.01)
    assert sum(math.dist(s[:2], s[2:4]) for s in layer.strokes) == pytest.approx(7.5 * math.pi, abs=0.01)


def test_full_circle_and_degenerate_arcs():
    """Equal ends are a whole turn in G75 and nothing in G74; without a radius an arc is a line."""
    whole = read("G75*", "X5000000Y0D02*", "G03X5000000Y0I-5000000J0D01*")
    nothing = read("G74*", "X5000000Y0D02*", "G03X5000000Y0I5000000J0D01*")
    flat = read("G75*", "X5000000Y0D02*", "G03X0Y0D01*")

    assert sum(math.dist(s[:2], s[2:4]) for s in whole.strokes) == pytest.approx(10 * math.pi, abs=0.01)
    assert lines(nothing) == [(5, 0, 5, 0)]
    assert lines(flat) == [(5, 0, 0, 0)]


def test_region_with_several_contours():
    """D02 starts a new contour; an arc is part of it; contours of fewer than three points are dropped."""
    layer = read(
        "%TA.AperFunction,Conductor*%", "G36*", "X0Y0D02*", "X4000000D01*", "Y4000000D01*", "X0Y0D01*",
        "X10000000Y0D02*", "G75*", "G03X8000000Y0I-1000000J0D01*", "G01X10000000Y0D01*",
        "X20000000Y0D02*", "X21000000D01*", "G37*",
    )  # fmt: skip

    (region,) = layer.regions
    triangle, half_disc = map(shapely.Polygon, region.contours)
    assert region.contours[0] == ((0, 0), (4, 0), (4, 4))
    assert triangle.area == 8
    assert half_disc.area == pytest.approx(math.pi / 2, abs=0.005)
    assert region.function == "Conductor"


def test_region_may_start_where_the_last_move_ended():
    """Old files move before G36 instead of after it."""
    layer = read("X1000000Y1000000D02*", "G36*", "X3000000D01*", "Y3000000D01*", "G37*")

    assert layer.regions[0].contours == (((1, 1), (3, 1), (3, 3)),)


def test_polarity_is_kept_on_every_kind_of_object():
    """LPC marks what it draws as clearing until LPD."""
    layer = read("X0Y0D03*", "%LPC*%", "X0Y0D03*", "X1000000D01*", "%LPD*%", "X0Y0D03*")

    assert [o.dark for o in layer.objects] == [True, False, False, True]


def test_image_polarity_and_file_polarity_tell_negative():
    """IPNEG and .FilePolarity,Negative are both told on."""
    assert read("%IPNEG*%").negative
    assert read("%TF.FilePolarity,Negative*%").negative
    assert not read("%TF.FilePolarity,Positive*%").negative


def test_step_and_repeat():
    """SR makes columns along x and rows along y of everything in it, regions too."""
    layer = read(
        "%SRX3Y2I5.0J4.0*%", "X0Y0D03*", "X1000000D01*", "G36*", "X0Y0D02*", "X1000000D01*", "Y1000000D01*",
        "G37*", "%SR*%", "X0Y50000000D03*",
    )  # fmt: skip

    places = [(f.x_mm, f.y_mm) for f in layer.flashes]
    assert places == [(0, 0), (5, 0), (10, 0), (0, 4), (5, 4), (10, 4), (0, 50)]
    assert len(layer.strokes) == len(layer.regions) == 6
    assert layer.regions[-1].contours[0] == ((10, 4), (11, 4), (11, 5))


def test_step_and_repeat_left_open_ends_with_the_file():
    """A second SR closes the first, and the end of the file closes the last."""
    layer = read("%SRX2Y1I5J0*%", "X0Y0D03*", "%SRX1Y2I0J5*%", "X1000000Y0D03*")

    assert [(f.x_mm, f.y_mm) for f in layer.flashes] == [(0, 0), (5, 0), (1, 0), (1, 5)]


def test_block_aperture():
    """A block is put down at each flash, with its own polarity turned round under LPC, and may hold SR."""
    layer = read(
        "%ABD20*%", "X0Y0D03*", "%LPC*%", "X1000000Y0D03*", "%LPD*%", "%SRX2Y1I3J0*%", "X0Y1000000D03*",
        "%AB*%", "D20*", "X10000000Y0D03*", "%LPC*%", "X20000000Y0D03*",
    )  # fmt: skip

    assert [(f.x_mm, f.y_mm, f.dark) for f in layer.flashes] == [
        (10, 0, True), (11, 0, False), (10, 1, True), (13, 1, True),
        (20, 0, False), (21, 0, True), (20, 1, False), (23, 1, False),
    ]  # fmt: skip


def test_load_transformations_shape_the_aperture():
    """LR, LM and LS turn, mirror and scale what is flashed and how wide lines are."""
    layer = read(
        "%LR90*%",
        "D11*",
        "X0Y0D03*",
        "%LR0*%",
        "%LS2*%",
        "X0Y0D03*",
        "X0Y0D03*",
        "D10*",
        "X1000000D01*",
        "%LMX*%",
    )

    turned, doubled, again = layer.flashes
    assert again.aperture is doubled.aperture
    assert (turned.aperture.size_mm, turned.aperture.height_mm) == pytest.approx((1, 2))
    assert (doubled.aperture.size_mm, doubled.aperture.height_mm) == pytest.approx((4, 2))
    assert layer.strokes[0].aperture.stroke_mm == 1.0


@pytest.mark.parametrize(
    ("function", "role"),
    [
        ("Copper,L1,Top", "top"),
        ("Copper,L2,Bot,Mixed", "bottom"),
        ("Copper,L2,Inr,Plane", "inner"),
        ("Copper,L1", "inner"),
        ("Profile,NP", "profile"),
        ("Soldermask,Top", "other"),
    ],
)
def test_role_of_a_layer(function, role):
    """The file function tells copper sides and the outline (specification 5.6.3)."""
    assert read(f"%TF.FileFunction,{function}*%").role == role
    assert read().role == ""
