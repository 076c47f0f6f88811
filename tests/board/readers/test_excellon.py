"""Excellon drill files: units, zeros, tools, slots, routs, repeats, and what is refused."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.board.readers import excellon
from coppermend.board.readers.excellon import DrillFile, parse_excellon
from coppermend.errors import InputError

HEAD = "M48\nMETRIC,TZ\nT1C0.8\nT2C1.0\n%\n"


def drill(*lines: str, head: str = HEAD, end: str = "M30\n") -> str:
    return head + "".join(f"{line}\n" for line in lines) + end


def read(*lines: str, **parts: str) -> DrillFile:
    return parse_excellon(drill(*lines, **parts), "board.drl")


def places(found: DrillFile):
    return [(h.x_mm, h.y_mm) for h in found.holes]


def ends(found: DrillFile):
    return [(h.x_mm, h.y_mm, h.x2_mm, h.y2_mm) for h in found.holes]


@pytest.mark.parametrize(
    ("unit", "word", "expected"),
    [
        ("METRIC,TZ", "X1500Y-250", (1.5, -0.25)),
        ("METRIC,LZ", "X0015Y-00025", (1.5, -0.25)),
        ("METRIC", "X0015Y-00025", (1.5, -0.25)),
        ("METRIC,LZ,0000.00", "X0015Y00152", (15.0, 15.2)),
        ("METRIC,TZ,000.00", "X150Y25", (1.5, 0.25)),
        ("INCH,TZ", "X15000Y2500", (38.1, 6.35)),
        ("INCH,LZ", "X015Y0025", (38.1, 6.35)),
        ("METRIC", "X1.5Y-.25", (1.5, -0.25)),
        ("INCH", "X0.1Y1", (2.54, 254.0)),
        (";FILE_FORMAT=4:4\nMETRIC,TZ", "X15000Y2500", (1.5, 0.25)),
        ("; FORMAT={3:3/ absolute / metric / suppress leading zeros}\nMETRIC", "X1500Y250", (1.5, 0.25)),
        ("M71\n;no unit line", "X1.5Y0.25", (1.5, 0.25)),
        ("M72", "X1.Y1.", (25.4, 25.4)),
    ],
)
def test_units_and_zeros(unit, word, expected):
    """LZ keeps leading zeros, TZ trailing ones; 3.3 digits in mm and 2.4 in inch unless the file says more."""
    found = read("T1", word, head=f"M48\n{unit}\nT1C0.5\n%\n")

    assert places(found) == [pytest.approx(expected)]


def test_tools_give_diameter_plating_and_function():
    """X2 comments before a tool tell what it drills; the file's function is the default."""
    found = read(
        "T1", "X1Y1", "T2", "X2Y2", "T3", "X3Y3", "T04", "X4Y4",
        head="M48\n; #@! TF.FileFunction,NonPlated,1,2,NPTH\nMETRIC,TZ\n"
        "; #@! TA.AperFunction,Plated,PTH,ViaDrill\nT1C0.4\n; #@! TD\nT2C0.8F200S65\n"
        "; TYPE=PLATED\nT3F100S50C1.0\n;TYPE=NON_PLATED\nT04C1.2 ; comment\nM95\n",
    )  # fmt: skip

    assert [(h.diameter_mm, h.plated, h.function) for h in found.holes] == [
        (0.4, True, "ViaDrill"), (0.8, False, ""), (1.0, True, ""), (1.2, False, ""),
    ]  # fmt: skip
    assert found.attributes[".FileFunction"] == ("NonPlated", "1", "2", "NPTH")


def test_plating_unknown_when_the_file_does_not_say():
    """Without any hint plating is None, for the caller to decide."""
    assert read("T1", "X1000Y1000").holes[0].plated is None


def test_inch_tools_become_mm():
    """A tool's diameter counts in the unit of the header."""
    assert read("T1", "X1Y1", head="M48\nINCH,TZ\nT1C0.0310\n%\n").holes[0].diameter_mm == 0.7874


def test_coordinates_are_modal_and_may_be_incremental():
    """A missing axis keeps its value; G91 and ICI add up."""
    assert places(read("T1", "X1000Y2000", "X3000", "Y4000")) == [(1, 2), (3, 2), (3, 4)]
    assert places(read("T1", "G91", "X1000Y2000", "X1000", "G90", "X1000")) == [(1, 2), (2, 2), (1, 2)]
    assert places(read("ICI,ON", "T1", "X1000Y0", "X1000", "ICI,OFF", "X5000")) == [(1, 0), (2, 0), (5, 0)]


def test_slots():
    """G85 and a rout between M15 and M16 are slots; a rout of several lines is several."""
    canned = read("T1", "X1000Y1000G85X3000Y1000", "X5000Y5000")
    routed = read("T2", "G00X1000Y1000", "M15", "G01X3000Y1000", "X3000Y4000", "M16", "G05", "X0Y0")

    assert ends(canned) == [(1, 1, 3, 1), (5, 5, 5, 5)]
    assert ends(routed) == [(1, 1, 3, 1), (3, 1, 3, 4), (0, 0, 0, 0)]
    assert [h.is_slot for h in routed.holes] == [True, True, False]
    assert routed.holes[0].centre_mm == (2, 1)


@pytest.mark.parametrize("arc", ["G03X0Y5000I-5000J0", "G03X0Y5000A5000"])
def test_routed_arcs_become_chains_of_slots(arc):
    """A quarter turn by centre or by radius ends on its circle, exactly at its end."""
    found = read("T1", "G00X5000Y0", "M15", arc, "M16")

    assert ends(found)[-1][2:] == (0, 5)
    assert all(math.hypot(h.x2_mm, h.y2_mm) == pytest.approx(5, abs=1e-5) for h in found.holes)
    assert all(h.x2_mm >= 0 and h.y2_mm >= 0 for h in found.holes)


def test_clockwise_arc_by_radius():
    """G02 with A bulges to the other side."""
    found = read("T1", "G00X0Y5000", "M15", "G02X5000Y0A5000", "M16")

    assert all(math.hypot(h.x2_mm, h.y2_mm) == pytest.approx(5, abs=1e-5) for h in found.holes)


def test_repeats():
    """R repeats the last hole, M02 with coordinates the pattern between M25 and M01."""
    assert places(read("T1", "X1000Y1000", "R3X2000")) == [(1, 1), (3, 1), (5, 1), (7, 1)]
    pattern = read("T1", "M25", "X0Y0", "X1000Y0", "M01", "M02X0Y5000", "M02X0Y5000", "M08")
    assert places(pattern) == [(0, 0), (1, 0), (0, 5), (1, 5), (0, 10), (1, 10)]


def test_settings_of_the_machine_are_passed_over():
    """Feeds, speeds, line numbers, tool unloading and format words change nothing."""
    found = read(
        "G90", "G05", "FMAT,2", "G93X0Y0", "N10T1", "F200", "S65", "X1000Y2000", "T0",
        head="M48\nVER,1\nFMAT,2\nICI,OFF\nATC,ON\nMETRIC,TZ\nT1C0.8\nM95\n", end="M00\n",
    )  # fmt: skip

    assert places(found) == [(1, 2)]


def test_an_empty_drill_list_is_a_file_too():
    """A board without unplated holes has a file that drills nothing."""
    assert parse_excellon("M48\r\nMETRIC\r\n%\r\nG90\r\nG05\r\nT0\r\nM30\r\n", "NPTH.drl").holes == ()


@pytest.mark.parametrize(
    ("line", "found"),
    [
        ("T9", "tool T9 is not defined"),
        ("X1Y1", "a hole without a tool"),
        ("T1\nX1-", "command 'X1-'"),
        ("T1\nXY", "coordinate ''"),
        ("T1\nX1Y99999999999", "coordinate 99999999999 is 1e+08 mm"),
        ("T1\nG91\nX9999999\nX9999999", "incremental coordinates lead away"),
        ("G33", "command G33"),
        ("M70", "command M70"),
        ("M02X0Y1", "M02 repeats no pattern"),
        ("Q5", "command 'Q5'"),
        ("hello world", "command 'hello world'"),
        ("T3C", "tool T3 of diameter ''"),
        ("T3C-1", "tool T3 of diameter '-1'"),
        ("T3C1.2.3", "command 'C1.2.3'"),
        ("T3C900", "tool T3 of diameter '900'"),
        ("G93X100Y0", "zero set 'G93X100Y0'"),
        ("T1\nG00X5000Y0\nG02X5000Y0A1000", "an arc by radius that ends where it starts"),
        ("T1\nX0Y0\nR999999X0", "too many holes"),
    ],
)
def test_what_cannot_be_read_names_file_and_line(monkeypatch, line, found):
    """The first bad line is named."""
    monkeypatch.setattr(excellon, "MAX_HOLES", 100_000)
    with pytest.raises(InputError) as caught:
        read(line)

    assert caught.value.found == found
    assert (caught.value.where, caught.value.line) == ("board.drl", 6 + line.count("\n"))


@pytest.mark.parametrize("text", ["", "M48\nMETRIC\nT1C0.8\n%\nT1\nX1Y1\n", "M48\n"])
def test_a_cut_file_is_refused(text):
    """Without M30 the file is cut off, even between two lines."""
    with pytest.raises(InputError) as caught:
        parse_excellon(text, "board.drl")

    assert caught.value.found == "the file stops without its end mark: cut off?"
    assert caught.value.line is not None


def test_lengths_before_the_unit_are_refused():
    """A tool or hole before METRIC or INCH has no size."""
    with pytest.raises(InputError) as caught:
        parse_excellon("M48\nT1C0.8\nM30\n", "board.drl")

    assert (caught.value.found, caught.value.line) == ("lengths before the unit", 2)


LINES = st.sampled_from(
    ["M48", "METRIC,LZ", "INCH", "T1C0.5", "T1", "T0", "%", "X1Y1", "X1.5", "G85", "X1Y1G85X2", "G00X1", "M15", "G01Y5",
     "G02X1Y1A2", "M16", "G05", "R5X1", "M25", "M01", "M02X1Y1", "G91", "ICI,ON", "M30", "; #@! TA.AperFunction,Plated",
     "; #@! TF", ";TYPE=PLATED", "G93", "R", "T", "X"]
)  # fmt: skip


@given(st.lists(LINES, max_size=30).map("\n".join) | st.text(max_size=150))
@settings(max_examples=400)
def test_any_text_is_read_or_refused_with_a_line(text):
    """Whatever the text, the result is a drill file or one input error with file and line."""
    try:
        assert isinstance(parse_excellon(text, "any.drl"), DrillFile)
    except InputError as error:
        assert error.where == "any.drl"
        assert 1 <= error.line <= len(text) + 1
