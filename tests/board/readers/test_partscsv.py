"""Parts lists: columns in any order, separators, and what is refused."""

from __future__ import annotations

import csv

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.board.readers.partscsv import ImportedPart, parse_parts_csv
from coppermend.errors import InputError

FULL = "refdes,value,footprint,x_mm,y_mm,rotation_deg,side,type,package,section,socketed,notes\n"


def test_every_column_is_read():
    """All columns of both kinds come through, numbers as numbers."""
    row = "U3,74LS04,DIP-14_W7.62mm,10.5,-2,-90,bottom,7404,DIP-14,reset,yes,known weak\n"

    (part,) = parse_parts_csv(FULL + row, "parts.csv")

    assert part == ImportedPart(
        "U3", "74LS04", "DIP-14_W7.62mm", 10.5, -2.0, -90.0, "bottom", "7404", "DIP-14", "reset", True, "known weak", 2
    )  # fmt: skip


def test_only_refdes_is_required():
    """A bare list of refdes is a parts list without places; extra columns are passed over."""
    parts = parse_parts_csv("Colour, REFDES ,VALUE\nred,R1,10k\n\nblue,R2\n", "parts.csv")

    assert [(p.refdes, p.value, p.x_mm, p.side, p.line) for p in parts] == [
        ("R1", "10k", None, "top", 2), ("R2", "", None, "top", 4),
    ]  # fmt: skip


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_separators_and_line_ends(separator, end):
    """Comma, semicolon and tab; LF, CRLF and CR; a byte order mark; quoted cells."""
    text = "\ufeff" + end.join(["refdes,value,x_mm,y_mm", 'R1,"10k",1,2', "R2,22k,3,4", ""]).replace(
        ",", separator
    )

    parts = parse_parts_csv(text, "parts.csv")

    assert [(p.refdes, p.value, p.x_mm, p.y_mm) for p in parts] == [("R1", "10k", 1, 2), ("R2", "22k", 3, 4)]


def test_repeated_refdes_stay():
    """Mounting holes repeat a refdes; every row is kept for the check to judge."""
    assert len(parse_parts_csv("refdes\nREF**\nREF**\n", "parts.csv")) == 2


@pytest.mark.parametrize(
    ("text", "found", "line"),
    [
        ("", "no first row", 1),
        ("\n\n", "no first row", 1),
        ("name,value\nR1,1\n", "first row 'name,value'", 1),
        ("refdes,value,value\n", "column value is there twice", 1),
        ("refdes,value\nR1,1,2\n", "3 cells", 2),
        ("refdes,value\nR1,1\n,2\n", "a row without refdes", 3),
        ("refdes,x_mm,y_mm\nR1,1,\n", "R1 has only one coordinate", 2),
        ("refdes,x_mm,y_mm\nR1,one,2\n", "x_mm 'one'", 2),
        ("refdes,x_mm,y_mm\nR1,nan,2\n", "x_mm 'nan'", 2),
        ("refdes,x_mm,y_mm\nR1,1e300,2\n", "x_mm '1e300'", 2),
        ("refdes,rotation_deg\nR1,up\n", "rotation_deg 'up'", 2),
        ("refdes,side\nR1,left\n", "side 'left'", 2),
        ("refdes,socketed\nR1,maybe\n", "socketed 'maybe'", 2),
        ('refdes,notes\nR1,"a\nb"\nR2,"open\n', "broken CSV: unexpected end of data", 4),
        ('refdes,side\nR1,"a\nb"\n', "side 'a\\nb'", 2),
    ],
)
def test_what_cannot_be_read_names_file_and_line(text, found, line):
    """The first bad row is named, with the line it starts in."""
    with pytest.raises(InputError) as caught:
        parse_parts_csv(text, "parts.csv")

    assert (caught.value.found, caught.value.where, caught.value.line) == (found, "parts.csv", line)


@given(st.text(alphabet='refds,x_my\n\r";1.-RU\t ', max_size=120) | st.text(max_size=120))
@settings(max_examples=400)
def test_any_text_is_read_or_refused_with_a_line(text):
    """Whatever the text, the result is rows or one input error with file and line."""
    for given_text in (text, FULL + text):
        try:
            assert all(part.refdes for part in parse_parts_csv(given_text, "any.csv"))
        except InputError as error:
            assert error.where == "any.csv" and error.line >= 1


@pytest.mark.shared
@pytest.mark.parametrize(("board", "count"), [("trainer-computer", 68), ("clock-module", 46)])
def test_real_lists_agree_with_a_plain_csv_reader(shared_boards, board, count):
    """Both real lists come through row by row."""
    text = (shared_boards / board / "parts.csv").read_text("utf-8")

    parts = parse_parts_csv(text, "parts.csv")

    rows = list(csv.DictReader(text.splitlines()))
    assert len(parts) == len(rows) == count
    assert [(p.refdes, p.value, p.footprint, p.x_mm, p.rotation_deg) for p in parts] == [
        (r["refdes"], r["value"], r["footprint"], float(r["x_mm"]), float(r["rotation_deg"])) for r in rows
    ]
