"""Codes on parts, both ways, beside IEC 60062, EIA-96 and EIA-198, over their whole range."""

from __future__ import annotations

import doctest
import importlib
import itertools
import json
import pkgutil

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.errors import InputError
from coppermend.rework import codes
from coppermend.rework.codes.colour import COLOURS, DIGITS, TOLERANCES, decode_bands, encode_bands
from coppermend.rework.codes.marked import (
    decode_capacitor,
    decode_digits,
    decode_eia96,
    decode_rkm,
    encode_capacitor,
    encode_digits,
    encode_eia96,
    encode_rkm,
)
from coppermend.rework.codes.series import preferred_numbers
from coppermend.rework.codes.values import TOLERANCE_LETTERS


# IEC 60062 colour code: worked rows of public resistor charts.
@pytest.mark.parametrize(
    ("bands", "ohms", "tolerance"),
    [
        ("yellow violet red gold", 4700, 0.05),
        ("brown black orange silver", 10e3, 0.10),
        ("red red orange gold", 22e3, 0.05),
        ("brown black black gold brown", 10.0, 0.01),
        ("green blue gold gold", 5.6, 0.05),
        ("brown black black red brown", 10e3, 0.01),
        ("yellow violet silver gold", 0.47, 0.05),
        ("brown green green none", 1.5e6, 0.20),
        ("brown green green", 1.5e6, 0.20),
    ],
)
def test_bands_of_the_charts(bands, ohms, tolerance):
    """Each row of the charts is met exactly."""
    found = decode_bands(bands.split())

    assert (found.value, found.tolerance) == (ohms, tolerance)


def test_tolerance_limits_of_the_chart():
    """4.7 kΩ 5 % lies within 4465 to 4935 Ω."""
    found = decode_bands(["yellow", "violet", "red", "gold"])

    assert (found.low, found.high) == pytest.approx((4465, 4935))


def test_every_pair_of_figures_and_multiplier_comes_back():
    """All 90 pairs with 12 multipliers and all tolerances: encoded and decoded alike."""
    for first, second in itertools.product(DIGITS[1:], DIGITS):
        for multiplier in COLOURS:
            bands = (first, second, multiplier, "gold")
            found = decode_bands(bands)
            again = encode_bands(found.value, found.tolerance, 2)
            assert decode_bands(again).value == found.value
            assert again == bands


@settings(max_examples=150)
@given(st.integers(100, 999), st.sampled_from(COLOURS), st.sampled_from(sorted(TOLERANCES)))
def test_every_five_bands_come_back(digits, multiplier, tolerance):
    """Three figures, any multiplier and tolerance."""
    bands = (*(DIGITS[int(d)] for d in str(digits)), multiplier, tolerance)
    found = decode_bands(bands)

    assert encode_bands(found.value, found.tolerance, 3) == bands


def test_bands_legal_both_ways_are_flagged():
    """Brown, red, brown, brown... read backwards gives a preferred value too."""
    found = decode_bands(["brown", "black", "black", "red", "brown"])

    assert any("read from the other end it would be 120 Ω 1 %" in note for note in found.notes)


def test_a_note_names_the_band_on_which_editions_differ():
    """Violet and grey tolerances are not the same in every edition."""
    found = decode_bands(["red", "red", "black", "black", "violet"])

    assert "editions of IEC 60062 differ on a violet tolerance band" in found.notes


def test_a_sixth_band_is_the_temperature_coefficient():
    """Brown is 100 ppm/K (IEC 60062, from memory)."""
    found = decode_bands(["brown", "black", "black", "red", "brown", "brown"])

    assert "temperature coefficient 100 ppm/K" in found.notes


@pytest.mark.parametrize(
    ("bands", "says"),
    [
        ("gold violet red gold", "gold as band 1 (digit)"),
        ("yellow violet red black", "black as band 4 (tolerance)"),
        ("yellow violet", "2 colour bands"),
        ("black black red gold", "only black"),
        ("red red black black brown gold", "gold as band 6"),
    ],
)
def test_impossible_bands_name_their_place(bands, says):
    """A colour that cannot stand there is named with its band."""
    with pytest.raises(InputError) as caught:
        decode_bands(bands.split())

    assert says in caught.value.found


@pytest.mark.parametrize(
    ("ohms", "tolerance", "figures"),
    [(4700, 0.03, None), (4753, 0.05, 2), (1e12, 0.05, 2), (475, None, 3), (-1, 0.05, 2)],
)
def test_values_without_bands_are_refused(ohms, tolerance, figures):
    """No such tolerance, too many figures, out of range, no tolerance with three figures, negative."""
    with pytest.raises(InputError) as caught:
        encode_bands(ohms, tolerance, figures)

    assert caught.value.expected


@pytest.mark.parametrize(
    ("ohms", "tolerance", "bands"),
    [
        (1.5e6, 0.2, "brown green green"),
        (4700, None, "yellow violet red"),
        (4700, 0.01, "yellow violet black brown brown"),
        (4750, 0.05, "yellow violet green brown gold"),
    ],
)
def test_bands_are_chosen_by_tolerance_and_figures(ohms, tolerance, bands):
    """Two figures for 5 % and more, three for less or where two do not suffice."""
    assert encode_bands(ohms, tolerance) == tuple(bands.split())


# IEC 60062 letter codes.
@pytest.mark.parametrize(
    ("code", "value", "unit", "tolerance"),
    [
        ("4K7", 4700, "Ω", None),
        ("5R6", 5.6, "Ω", None),
        ("R47", 0.47, "Ω", None),
        ("1M0", 1e6, "Ω", None),
        ("4K7J", 4700, "Ω", 0.05),
        ("R22K", 0.22, "Ω", 0.10),
        ("4u7", 4.7e-6, "F", None),
        ("2n2", 2.2e-9, "F", None),
        ("p33", 0.33e-12, "F", None),
        ("100R", 100, "Ω", None),
        ("4L7", 4.7e-3, "Ω", None),
        ("10K", 10e3, "Ω", None),
        ("4k7", 4700, "Ω", None),
        ("2p2C", 2.2e-12, "F", 0.25 / 2.2),
    ],
)
def test_letter_codes_of_the_standard(code, value, unit, tolerance):
    """The letter is the point; a single K is the multiplier; below 10 pF the letter is in pF."""
    found = decode_rkm(code)

    assert (found.value, found.unit) == (pytest.approx(value, rel=1e-12), unit)
    assert found.tolerance == (None if tolerance is None else pytest.approx(tolerance))


@settings(max_examples=300)
@given(
    st.integers(10, 99),
    st.integers(-2, 10),
    st.sampled_from(["Ω", "F"]),
    st.sampled_from([None, *TOLERANCE_LETTERS.values()]),
)
def test_every_letter_code_comes_back(digits, power, unit, tolerance):
    """Two figures over the whole range of letters, with every tolerance."""
    value = float(f"{digits}e{power - (0 if unit == 'Ω' else 12)}")
    if unit == "F" and value < 10e-12:
        tolerance = None  # there the letters are in pF
    found = decode_rkm(encode_rkm(value, unit, tolerance))

    assert found.value == pytest.approx(value, rel=1e-12)
    assert (found.unit, found.tolerance) == (unit, tolerance)


@pytest.mark.parametrize(("value", "unit"), [(1e15, "Ω"), (1e-6, "Ω"), (1.0, "F"), (12345.0, "Ω")])
def test_values_beyond_the_letters_are_refused(value, unit):
    """Neither peta-ohms nor farads have a letter."""
    with pytest.raises(InputError) as caught:
        encode_rkm(value, unit)

    assert caught.value.expected


@pytest.mark.parametrize("text", ["K", "47", "4Q7", "", "4K7X", "0R0"])
def test_other_texts_are_no_letter_code(text):
    """Each is refused by name."""
    with pytest.raises(InputError) as caught:
        decode_rkm(text)

    assert caught.value.found


# Chip resistors: worked values of an instrument manual's appendix.
@pytest.mark.parametrize(
    ("code", "ohms"), [("103", 10e3), ("220", 22), ("4R7", 4.7), ("1002", 10e3), ("12R0", 12), ("2201", 2200)]
)
def test_digit_codes_of_the_manual(code, ohms):
    """220 is 22 Ω, not 220."""
    assert decode_digits(code).value == ohms


def test_digit_codes_warn_of_the_plain_number():
    """The note says what the number would be."""
    assert decode_digits("220").notes == ("as a plain number it would be 220 Ω",)


@pytest.mark.parametrize("count", [3, 4])
def test_every_digit_code_comes_back(count):
    """All figures with all powers of ten."""
    low = 10 ** (count - 2)
    for digits, power in itertools.product(range(low, 10 * low, 7 if count == 4 else 1), range(10)):
        code = f"{digits}{power}"
        assert encode_digits(decode_digits(code).value, count) == code


@pytest.mark.parametrize(("ohms", "count"), [(1e12, 3), (0.0012, 3), (4750, 3)])
def test_values_without_a_digit_code_are_refused(ohms, count):
    """Too large, too small, too many figures."""
    with pytest.raises(InputError) as caught:
        encode_digits(ohms, count)

    assert caught.value.expected


# EIA-96: two public code pages.
@pytest.mark.parametrize(
    ("code", "ohms"),
    [
        *[("01C", 10e3), ("68X", 49.9), ("12A", 130), ("24A", 174), ("48A", 309), ("96A", 976)],
        *[("43D", 274e3), ("85B", 7500), ("51R", 3.32), ("51Y", 3.32), ("85H", 7500), ("68S", 49.9)],
    ],
)
def test_eia96_codes_of_the_pages(code, ohms):
    """Number into E96 and letter for the power of ten, with both letters where two exist."""
    assert decode_eia96(code).value == pytest.approx(ohms, rel=1e-12)


def test_every_eia96_code_comes_back():
    """All 96 numbers with all nine powers."""
    for number, letter in itertools.product(range(1, 97), "ZYXABCDEF"):
        code = f"{number:02d}{letter}"
        assert encode_eia96(decode_eia96(code).value) == code


@pytest.mark.parametrize("text", ["00A", "97A", "01G", "1A"])
def test_other_texts_are_no_eia96_code(text):
    """Numbers run from 01 to 96."""
    with pytest.raises(InputError) as caught:
        decode_eia96(text)

    assert "no EIA-96 code" in caught.value.found


def test_a_value_outside_e96_has_no_eia96_code():
    """47 Ω is E24 only."""
    with pytest.raises(InputError) as caught:
        encode_eia96(47.0)

    assert "no EIA-96 code" in caught.value.found


# EIA-198 (from memory).
@pytest.mark.parametrize(
    ("code", "farads", "tolerance"),
    [
        *[("104", 100e-9, None), ("224K", 220e-9, 0.1), ("473J", 47e-9, 0.05), ("102", 1e-9, None)],
        *[("229", 2.2e-12, None), ("101", 100e-12, None), ("229C", 2.2e-12, 0.25 / 2.2)],
    ],
)
def test_capacitor_codes(code, farads, tolerance):
    """Figures times a power of ten in pF, with a letter for the tolerance."""
    found = decode_capacitor(code)

    assert found.value == pytest.approx(farads, rel=1e-12)
    assert found.tolerance == (None if tolerance is None else pytest.approx(tolerance))


def test_every_capacitor_code_comes_back():
    """All figures with all ten powers."""
    for digits, power in itertools.product(range(10, 100), range(10)):
        assert encode_capacitor(decode_capacitor(f"{digits}{power}").value) == f"{digits}{power}"


def test_a_capacitor_marked_z_is_lopsided():
    """Z is +80 −20 %, which is no single fraction."""
    found = decode_capacitor("104Z")

    assert (found.tolerance, found.notes) == (None, ("Z is +80 −20 %",))


def test_a_farad_has_no_capacitor_code():
    """The code ends below a millifarad."""
    with pytest.raises(InputError) as caught:
        encode_capacitor(1.0)

    assert "no capacitor code" in caught.value.found


def test_eia96_numbers_are_those_of_the_published_series():
    """Spot values: 1 is 100, 2 is 102, 96 is 976."""
    series = preferred_numbers("E96")

    assert (series[0], series[1], series[95]) == (100, 102, 976)


def test_what_a_code_says_is_plain_json():
    """The document can be dumped."""
    document = decode_rkm("4K7J").to_json()

    assert json.loads(json.dumps(document))["words"] == "4.7 kΩ 5 %"


@pytest.mark.parametrize("module", [m.name for m in pkgutil.iter_modules(codes.__path__)])
def test_examples_in_the_docstrings_run(module):
    """Each example gives what it says."""
    assert doctest.testmod(importlib.import_module(f"coppermend.rework.codes.{module}")).failed == 0
