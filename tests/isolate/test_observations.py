"""Observations as typed or read from CSV: what is understood, and what is refused with a clear line."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.errors import CoppermendError, InputError
from coppermend.isolate.observations import KINDS, observation, parse_observations
from coppermend.isolate.symptoms import SYMPTOM_WORDS, read_symptom

from .conftest import chain

BOARD = chain(3)


def test_rows_are_read_in_order_with_units_and_conditions() -> None:
    """A header may stand first; volts, ohms and OL are numbers; the fourth cell is the condition."""
    rows = "point,kind,value\nU1.2,logic,High\n+5V,volts,4.98 V\nU1.2:U2.1,ohms,OL\nN1,logic,good,forced\n,symptom,no boot\n"

    seen = parse_observations(rows, BOARD, "seen.csv")

    assert [str(one) for one in seen] == [
        "U1.2 logic high", "+5V volts 4.98", "U1.2:U2.1 ohms OL", "N1 logic good (forced)", "board symptom no boot",
    ]  # fmt: skip
    assert seen[1].number == 4.98 and seen[2].number == math.inf and seen[3].line == 5


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ("U9.1,logic,high", "no point 'U9.1'"),
        ("U1.2,logic,purple", "logic value 'purple'"),
        ("U1.2,smell,bad", "unknown kind 'smell'"),
        ("U1.2,volts,five", "'five'"),
        ("U1.2,volts,5000", "no reading in volts"),
        ("U1.2,ohms,-40", "no reading in ohms"),
        ("U1.2,hertz,-1", "no reading in hertz"),
        ("U1.2:U1.2,ohms,1", "both points"),
        ("U7,swap,cured", "no part 'U7'"),
        ("U1+U7,swap,cured", "no part 'U7'"),
        ("U1,swap,maybe", "swap result 'maybe'"),
        ("U1,visual,pretty", "visual finding 'pretty'"),
        ("U1,selftest,perhaps", "self-test result 'perhaps'"),
        (",symptom,hmm", "says nothing that is known"),
        ("Q7,symptom,wrong", "no point 'Q7'"),
        ("U1.2,logic,high,upside down", "unknown condition"),
        ("U1.2,logic", "is no observation"),
        ('"U1.2,logic,high', "broken CSV"),
    ],
)
def test_what_cannot_be_is_refused_with_file_and_line(row: str, expected: str) -> None:
    """Unknown points and impossible values name the file, the line and what was expected."""
    with pytest.raises(InputError) as caught:
        parse_observations(f"U1.2,logic,good\n{row}\n", BOARD, "seen.csv")

    assert expected in str(caught.value) and caught.value.where == "seen.csv" and caught.value.line == 2


@settings(max_examples=150)
@given(st.text(max_size=120), st.sampled_from(KINDS), st.text(max_size=20), st.text(max_size=20))
def test_any_text_is_read_or_refused(text: str, kind: str, point: str, value: str) -> None:
    """Whatever a file or a form holds, the answer is an observation or one clear error."""
    for call in (
        lambda: parse_observations(text, BOARD, "x"), lambda: observation(BOARD, point, kind, value)
    ):  # fmt: skip
        try:
            call()
        except CoppermendError as error:
            assert "\n" not in str(error)


def test_semicolons_and_a_byte_order_mark_are_understood() -> None:
    """A file from a spreadsheet reads the same."""
    assert len(parse_observations("\ufeffpoint;kind;value\nU1.2;logic;low\n", BOARD, "x")) == 1


@pytest.mark.parametrize(
    ("text", "roles", "bad"),
    [
        ("it won't boot", {"boot"}, True), ("no boot", {"boot"}, True), ("dead", {"boot"}, True),
        ("boots", {"boot"}, False), ("display dead", {"display"}, True), ("lamps work", {"lamp"}, False),
        ("lamps do not work", {"lamp"}, True), ("works", {""}, False), ("resets", {"reset"}, True),
        ("output wrong", {""}, True),
    ],
)  # fmt: skip
def test_a_complaint_is_read_by_its_words(text: str, roles: set[str], bad: bool) -> None:
    """Which function a complaint is about, and whether it fails or works."""
    symptom = read_symptom(text)

    assert (set(symptom.roles), symptom.bad) == (roles, bad)


def test_every_known_word_is_a_complaint_alone() -> None:
    """Each word of the list is understood by itself."""
    assert all(read_symptom(word).roles for word in SYMPTOM_WORDS)
