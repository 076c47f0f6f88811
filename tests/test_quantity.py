"""Quantities as they are written on parts, in lists, and by people with either decimal separator."""

from __future__ import annotations

import doctest

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend import quantity
from coppermend.errors import InputError
from coppermend.quantity import format_quantity, parse_quantity


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("2k2", "Ω", 2200.0),
        ("2.2 kΩ", "Ω", 2200.0),
        ("2200", "Ω", 2200.0),
        ("2.2 KOhm", "Ω", 2200.0),
        ("10K", "Ω", 10e3),
        ("1e3", "Ω", 1e3),
        ("4E7", "Ω", 4.7),
        ("1E12", "", 1e12),
        ("1e12", "", 1e12),
        ("R47", "Ω", 0.47),
        ("0.1uF", "F", 100e-9),
        ("104", "F", 100e-9),
        ("229", "F", 2.2e-12),
        ("478", "F", 0.47e-12),
        ("0,47 F", "F", 0.47),
        ("0,001 F", "F", 0.001),
        ("4.7 µF", "F", 4.7e-6),
        ("4.7 μF", "F", 4.7e-6),
        ("-20 °C", "°C", -20.0),
        ("25C", "°C", 25.0),
        ("48 h", "s", 172_800.0),
        ("3 days", "s", 259_200.0),
        ("200 ns", "s", 200e-9),
        ("220 mAh", "Ah", 0.22),
        ("5 V", "", 5.0),
        ("0.3 m", "m", 0.3),
        ("0,3 m", "m", 0.3),
        ("100 mm", "m", 0.1),
        ("10 K", "K", 10.0),
        ("10 K", "Ω", 10e3),
    ],
)
def test_what_people_write_is_understood(text, unit, value):
    """IEC 60062 letter codes, EIA-198 digits, decimal comma, both micro signs, hours and days."""
    assert parse_quantity(text, unit) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "unit", "says"),
    [
        ("2.2 banana", "Ω", "is in banana"),
        ("2.2 banana", "", "is no unit"),
        ("5 V", "Ω", "is in V"),
        ("", "F", "is no quantity"),
        ("nan", "", "is not finite"),
        ("inf", "F", "is not finite"),
        ("1.2.3 h", "s", "is no quantity"),
        ("1,000", "Ω", "could be a thousand or a fraction"),
        ("many", "", "is no quantity"),
    ],
)
def test_what_means_nothing_is_refused_in_one_line(text, unit, says):
    """The message names what was written and what was expected."""
    with pytest.raises(InputError) as caught:
        parse_quantity(text, unit)

    assert says in caught.value.found
    assert caught.value.expected


@settings(max_examples=200)
@given(st.text(max_size=12), st.sampled_from(["", "Ω", "F", "s", "°C"]))
def test_no_text_breaks_the_reader(text, unit):
    """Any text is read to a finite number or refused with our own error."""
    try:
        value = parse_quantity(text, unit)
    except InputError as error:
        assert error.found
    else:
        assert abs(value) < float("inf")


@settings(max_examples=200)
@given(st.floats(min_value=1e-12, max_value=1e9), st.sampled_from(["Ω", "F", "s", "V"]))
def test_what_is_written_is_read_back(value, unit):
    """A formatted value reads back to its four figures."""
    assert parse_quantity(format_quantity(value, unit), unit) == pytest.approx(value, rel=1e-3)


def test_examples_in_the_docstrings_run():
    """Each example of the module gives what it says."""
    assert doctest.testmod(quantity).failed == 0


def test_a_value_without_unit_has_no_prefix():
    """Four figures, as they are."""
    assert format_quantity(2200.0) == "2200"
