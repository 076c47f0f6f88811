"""Readings from CSV: what is read, and what is refused with its line."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coppermend.copper.readings import Reading, parse_readings
from coppermend.errors import InputError


def test_rows_in_order():
    """Numbers, quantities, OL and jumpers, with a header and a blank line."""
    text = "a,b,ohms\r\nU3.9,V17,0.3\r\n\r\nU3.9,J2.4,OL\r\nU3.9,J2.4,jumper\r\nU3.9,J2.4,4k7\r\n"

    assert parse_readings(text, "r.csv") == (
        Reading("U3.9", "V17", 0.3),
        Reading("U3.9", "J2.4", None),
        Reading("U3.9", "J2.4", 0.0, jumper=True),
        Reading("U3.9", "J2.4", 4700.0),
    )


@pytest.mark.parametrize("word", ["OL", "ol", "O.L", "0L", "open", "inf", "∞"])
def test_words_for_open(word):
    """Meters and people write it in several ways."""
    assert parse_readings(f"U1.1,U1.2,{word}", "r.csv")[0].ohms is None


def test_semicolons_a_mark_and_no_header():
    """As a spreadsheet may write it."""
    assert parse_readings("\ufeffU1.1;U1.2;0.5;note", "r.csv") == (Reading("U1.1", "U1.2", 0.5),)


def test_a_little_below_zero_is_a_nulled_meter():
    """Leads nulled a little too far are no error."""
    assert parse_readings("U1.1,U1.2,-0.02", "r.csv")[0].ohms == -0.02


def test_nothing_is_no_readings():
    """An empty file is an empty list: nothing has been measured yet."""
    assert parse_readings("", "r.csv") == parse_readings("a,b,ohms\n", "r.csv") == ()


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("U1.1,U1.2", "is no reading"),
        ("U1.1,,3", "is no reading"),
        ("U1.1,U1.1,3", "both points are 'U1.1'"),
        ("U1.1,U1.2,fine", "'fine' is no quantity"),
        ("U1.1,U1.2,-7", "is no resistance"),
        ("U1.1,U1.2,nan", "r.csv:2:"),
        ("U1.1,U1.2,3 V", "is in V"),
        ('U1.1,"U1.2,3', "broken CSV"),
    ],
)
def test_what_is_no_reading_is_refused(row, says):
    """One clear error with the line."""
    with pytest.raises(InputError) as caught:
        parse_readings(f"a,b,ohms\n{row}\n", "r.csv")

    assert says in str(caught.value) and caught.value.line == 2


@given(st.text(max_size=120))
def test_any_text_is_read_or_refused(text):
    """No text at all ends in another error than ours."""
    try:
        readings = parse_readings(text, "r.csv")
    except InputError as error:
        assert error.where == "r.csv"
    else:
        assert all(reading.a != reading.b for reading in readings)
