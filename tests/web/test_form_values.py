"""What is read from the fields of a form."""

from __future__ import annotations

import pytest

from coppermend.errors import InputError
from coppermend.web.forms import Form, read_ohms


@pytest.mark.parametrize("typed", ["", "much", "-0.3", "0.3 V", "1 2", "nan ohm"])
def test_what_is_no_resistance_is_refused(typed):
    """Words, negative values and other units are refused, and the error quotes what was typed."""
    with pytest.raises(InputError) as refused:
        read_ohms(typed)

    assert repr(typed.strip()) in refused.value.found


@pytest.mark.parametrize(
    ("typed", "ohms"),
    [
        ("0.3", 0.3),
        ("0,3", 0.3),
        (" 4k7 ", 4700.0),
        ("100R", 100.0),
        ("OL", "OL"),
        ("o.l", "OL"),
        ("∞", "OL"),
    ],
)
def test_readings_are_read_as_meters_show_them(typed, ohms):
    """Decimal comma, letter codes (IEC 60062) and the meter's OL are understood."""
    assert read_ohms(typed) == ohms


def test_a_missing_field_is_empty():
    """A field that was not sent reads as empty text and as no file."""
    form = Form({"a": " x "})

    assert (form.text("a"), form.text("b"), form.uploads("c")) == ("x", "", ())


@pytest.mark.parametrize("value", ["", "yes", "2", "١"])
def test_flags_and_numbers_take_nothing_else(value):
    """A flag is 1 or 0; a number is made of ASCII digits."""
    form = Form({"done": value, "seq": value if value != "2" else "2.0"})

    with pytest.raises(InputError, match="done"):
        form.flag("done")
    with pytest.raises(InputError, match="seq"):
        form.number("seq")
