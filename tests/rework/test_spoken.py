"""What is said or typed of a marking, and date codes."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.errors import InputError
from coppermend.rework.codes.colour import COLOURS
from coppermend.rework.codes.dates import decode_date, encode_date
from coppermend.rework.codes.spoken import colour_of, spoken_bands, understand


@pytest.mark.parametrize(
    ("said", "ohms"),
    [
        ("yel vio red gold", 4700),
        ("Yellow-Violet-Red-Gold", 4700),
        ("yelow violett red gold", 4700),
        ("brn/blk/org", 10e3),
        ("brown, black, orange, silver", 10e3),
        ("red then red then orange and gold band", 22e3),
        ("GN BU GD GD", 5.6),
        ("grey red brown gold", 820),
        ("gray purple black gold", 87),
    ],
)
def test_colours_as_people_say_them(said, ohms):
    """Short, misspelt, with dashes, with fillers, in IEC 60757 letters."""
    assert understand(said)[0].value == ohms


@pytest.mark.parametrize("word", ["gr", "bl ue x", "zzz", "b", ""])
def test_words_that_mean_no_single_colour_are_refused(word):
    """'gr' could be green or grey."""
    with pytest.raises(InputError) as caught:
        colour_of(word)

    assert "is no colour" in caught.value.found


@pytest.mark.parametrize("colour", COLOURS)
def test_every_colour_is_understood_with_one_letter_missing(colour):
    """Dropping the last letter of a colour of five or more does not change it."""
    assert colour_of(colour) == colour
    assert colour_of(colour[:-1] if len(colour) > 4 else colour) == colour


def test_only_fillers_are_no_colours():
    """Nothing left to read."""
    with pytest.raises(InputError) as caught:
        spoken_bands("bands and rings")

    assert caught.value.found == "no colours"


@pytest.mark.parametrize(
    ("text", "first", "others"),
    [
        ("104", "100 kΩ", {"100 nF", "104 Ω"}),
        ("4K7J", "4.7 kΩ 5 %", set()),
        ("01C", "10 kΩ 1 %", set()),
        ("473J", "47 nF 5 %", set()),
        ("0,47 F", "470 mF", set()),
        ("2.2 kΩ", "2.2 kΩ", set()),
        ("7934", "7.93 MΩ", {"week 34 of 1979, from Monday 1979-08-20"}),
    ],
)
def test_a_marking_has_all_its_meanings(text, first, others):
    """The likeliest comes first, the others follow."""
    words = [meaning.words for meaning in understand(text)]

    assert words[0] == first
    assert others <= set(words[1:])


@pytest.mark.parametrize("text", ["", "hello", "2.2 banana", "yel vio", "-5", "blue moon sky"])
def test_texts_that_are_no_marking_are_refused(text):
    """One clear error with examples or the colours."""
    with pytest.raises(InputError) as caught:
        understand(text)

    assert caught.value.expected


@settings(max_examples=150)
@given(st.text(max_size=20))
def test_no_text_breaks_the_reading(text):
    """Any text is understood or refused, never worse."""
    try:
        found = understand(text)
    except InputError as error:
        assert error.found
    else:
        assert found


# ISO 8601 weeks, computed with an independent calendar.
@pytest.mark.parametrize(
    ("code", "monday"),
    [
        ("7934", date(1979, 8, 20)),
        ("8412", date(1984, 3, 19)),
        ("7601", date(1975, 12, 29)),
        ("8153", date(1981, 12, 28)),
    ],
)
def test_date_codes_of_the_iso_calendar(code, monday):
    """The Monday of the ISO week; the first week may start in the year before."""
    found = decode_date(code)[0]

    assert (found.monday, found.order, found.notes) == (monday, "YYWW", ())


def test_week_53_of_a_short_year_is_warned_of():
    """1982 has 52 weeks."""
    found = decode_date("8253")[0]

    assert found.notes == ("1982 has 52 weeks by ISO 8601: read as the week after",)
    assert found.monday == date(1983, 1, 3)


def test_week_first_is_told_by_the_year():
    """3479 can only be week 34 of 1979."""
    found = decode_date("3479")

    assert [(c.order, c.year, c.week) for c in found] == [("WWYY", 1979, 34)]


def test_a_later_code_can_be_read_both_ways():
    """1005 is week 5 of 2010 or week 10 of 2005."""
    assert [(c.year, c.week) for c in decode_date("1005")] == [(2010, 5), (2005, 10)]
    assert len(decode_date("1010")) == 1


@pytest.mark.parametrize("text", ["7960", "793", "79x4", "0000"])
def test_other_digits_are_no_date_code(text):
    """Week 60 does not exist in either order."""
    with pytest.raises(InputError) as caught:
        decode_date(text)

    assert "no date code" in caught.value.found


@pytest.mark.parametrize("year", range(1970, 2000))
def test_every_week_comes_back_in_both_orders(year):
    """The year half is above 53, so that the order is decidable."""
    for week in range(1, 54):
        for order in ("YYWW", "WWYY"):
            found = decode_date(encode_date(year, week, order))
            assert [(c.year, c.week, c.order) for c in found] == [(year, week, order)]


@pytest.mark.parametrize(("year", "week"), [(1969, 1), (1980, 54), (1980, 0)])
def test_weeks_outside_the_code_are_refused(year, week):
    """No code before 1970 and no week 54."""
    with pytest.raises(InputError) as caught:
        encode_date(year, week)

    assert "week 1 to 53" in caught.value.expected
