"""Apertures and aperture macros: sizes, shapes, expressions."""

from __future__ import annotations

import math

import pytest

from coppermend.board.readers.gerber import parse_gerber
from coppermend.board.readers.gerber_macro import evaluate, parse_expression, parse_macro
from coppermend.errors import InputError

from .gerber_samples import gerber

ROUND_RECT = (
    "%AMRoundRect*0 $1 rounding radius*4,1,4,$2,$3,$4,$5,$6,$7,$8,$9,$2,$3,0*1,1,$1+$1,$2,$3*1,1,$1+$1,$4,$5*"
    "1,1,$1+$1,$6,$7*1,1,$1+$1,$8,$9*20,1,$1+$1,$2,$3,$4,$5,0*20,1,$1+$1,$4,$5,$6,$7,0*"
    "20,1,$1+$1,$6,$7,$8,$9,0*20,1,$1+$1,$8,$9,$2,$3,0*%"
)


def aperture(*definitions: str, unit: str = "MM"):
    head = f"%FSLAX36Y36*%\n%MO{unit}*%\n"
    return parse_gerber(gerber(*definitions, "D10*", "X0Y0D03*", head=head), "pads.gbr").flashes[0].aperture


@pytest.mark.parametrize(
    ("definition", "size", "height", "area", "round_"),
    [
        ("C,2", 2, 2, math.pi, True),
        ("C,2X1", 2, 2, math.pi * 0.75, True),
        ("R,3X1", 3, 1, 3, False),
        ("R,3X2X1X1", 3, 2, 5, False),
        ("O,3X1", 3, 1, 2 + math.pi / 4, True),
        ("O,1X3", 1, 3, 2 + math.pi / 4, True),
        ("O,2X2", 2, 2, math.pi, True),
        ("P,2X4", 2, 2, 2, False),
        ("P,2X6X90X1", math.sqrt(3), 2, 1.5 * math.sqrt(3) - math.pi / 4, False),
        ("P,2X64", 2, 2, math.pi, True),
        ("C,0", 0, 0, 0, True),
        ("O,0X0", 0, 0, 0, True),
    ],
)
def test_standard_apertures(definition, size, height, area, round_):
    """Circle, rectangle, obround and polygon with their holes (specification 4.4) have the area of geometry."""
    found = aperture(f"%ADD10{definition}*%")

    assert (found.size_mm, found.height_mm) == pytest.approx((size, height), abs=1e-3)
    assert found.shape.area == pytest.approx(area, rel=5e-3, abs=1e-9)
    assert found.round is round_


def test_inch_apertures_become_mm():
    """Sizes count in the unit in force, the number of corners and the rotation do not."""
    assert aperture("%ADD10R,0.1X0.05*%", unit="IN").size_mm == pytest.approx(2.54)
    assert aperture("%ADD10P,0.1X4X45*%", unit="IN").size_mm == pytest.approx(2.54 / math.sqrt(2))


@pytest.mark.parametrize(
    ("block", "area"),
    [
        ("1,1,2,0,0", math.pi),
        ("1,1,2,5,0,90", math.pi),
        ("20,1,0.5,0,0,4,0,0", 2.0),
        ("2,1,0.5,0,0,4,0,30", 2.0),
        ("21,1,4,2,1,1,45", 8.0),
        ("22,1,4,2,0,0,0", 8.0),
        ("4,1,3,0,0,4,0,0,4,0,0,0", 8.0),
        ("5,1,4,0,0,2,45", 2.0),
        ("7,0,0,4,2,0.5,0", 3 * math.pi - 4 * 0.5 * 1 + 0.02),
        ("6,0,0,4,0.5,0.5,2,0.1,4,0", math.pi * (4 - 2.25 + 1 - 0.25) + 0.39),
        ("1,1,2,0,0*1,0,1,0,0*1,1,0.5,0,0", math.pi * (1 - 0.25 + 0.0625)),
        ("0 a comment*1,1,2,0,0", math.pi),
        ("$3=$1x2*1,1,$3/$2,0,0", math.pi),
    ],
)
def test_macro_primitives(block, area):
    """Every primitive (specification 4.5.1) has the area that geometry gives it; exposure 0 erases."""
    found = aperture(f"%AMSHAPE*{block}*%", "%ADD10SHAPE,1X1*%")

    assert found.shape.area == pytest.approx(area, rel=0.01)


def test_counts_and_angles_in_macros_have_no_unit():
    """In an inch file a macro may turn by 270 degrees and have an outline of a hundred points."""
    corners = ",".join(
        f"{math.cos(k * math.tau / 100):.6f},{math.sin(k * math.tau / 100):.6f}" for k in range(101)
    )
    found = aperture(f"%AMM*4,1,100,{corners},270*%", "%ADD10M*%", unit="IN")

    assert found.size_mm == pytest.approx(50.8, abs=0.01)


def test_rounded_rectangle_of_real_files():
    """The macro that a common CAD program writes for rounded pads has the outline it says."""
    found = aperture(ROUND_RECT, "%ADD10RoundRect,0.25X0.75X0.5X-0.75X0.5X-0.75X-0.5X0.75X-0.5X0*%")

    assert (found.size_mm, found.height_mm) == pytest.approx((2.0, 1.5), abs=1e-3)
    assert found.shape.area == pytest.approx(2 * 1.5 - (4 - math.pi) * 0.25**2, rel=1e-3)
    assert not found.round


def test_fully_rounded_macro_is_round():
    """A macro whose corners are half circles counts as a pad with round ends."""
    found = aperture(ROUND_RECT, "%ADD10RoundRect,0.5X0.5X0X-0.5X0X-0.5X0X0.5X0X0*%")

    assert (found.size_mm, found.height_mm) == pytest.approx((2.0, 1.0), abs=1e-3)
    assert found.round


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("$1+$2x$3", 7.0),
        ("($1+$2)x$3", 9.0),
        ("-$1x-2", 2.0),
        ("+$3", 3.0),
        ("$3/2-1-0.25", 0.25),
        ("2X.5", 1.0),
        ("$99", 0.0),
        (" $1 + 1 ", 2.0),
        ("8/2/2", 2.0),
        ("-(2-3)", 1.0),
    ],
)
def test_macro_expressions(text, value):
    """Multiplication binds tighter, equal operators go left to right, unset variables are 0 (4.5.4)."""
    assert evaluate(parse_expression(text), {"$1": 1.0, "$2": 2.0, "$3": 3.0}) == value


@pytest.mark.parametrize(
    "text", ["", "1+", "(1", "1)", "1 2", "$x", "1++*2", "x2", "1(2)", "1" + "+1" * 5000, "(" * 5000, "/2"]
)
def test_broken_expressions_are_refused(text):
    """What is no expression, or one of absurd length, is an input error at once."""
    with pytest.raises(InputError) as caught:
        parse_expression(text)

    assert caught.value.found.startswith("aperture macro expression")


@pytest.mark.parametrize(
    ("block", "found"),
    [
        ("9,1,2", "aperture macro M has block '9,1,2'"),
        ("1,1", "aperture macro M, primitive 1, has 1 modifiers"),
        ("1,1,2/0,0,0", "aperture macro divides by zero"),
        ("1,1,9999999,0,0", "aperture macro M has a number beyond 1e+06"),
        ("1,1,5000,0,0", "aperture macro M is too large"),
        ("4,1,2,0,0,1,1,0", "macro outline of 2 points with 7 modifiers"),
        ("4,1,900000,0,0,1,1,0", "macro outline of 900000 points with 7 modifiers"),
        ("5,1,1,0,0,1,0", "macro polygon with 1 corners"),
        ("4,1" + ",1" * 10_001, "aperture macro M has an outline of too many points"),
        ("*".join(["1,1,1,0,0"] * 401), "aperture macro M has 401 blocks"),
        ("1,1,$1x$1x$1x$1x$1x$1x$1x$1x$1x$1,0,0", "aperture macro M has a number beyond 1e+06"),
    ],
)
def test_impossible_macros_are_refused(block, found):
    """A macro that cannot be drawn says which and why."""
    with pytest.raises(InputError) as caught:
        aperture(f"%AMM*{block}*%", "%ADD10M,1900*%")

    assert caught.value.found == found
    assert caught.value.line in (3, 4)


def test_cost_of_a_macro_counts_its_expressions():
    """Assignments count one, primitives one for each modifier and themselves."""
    macro = parse_macro("M", ["$1=1", "1,1,2,0,0", "0 comment"])

    assert macro.cost == 6
