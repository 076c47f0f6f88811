"""Date codes of parts: year and week, either way round. Whole years and maker's letters are not read."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from typing import Any

from coppermend.errors import InputError

# Common practice, no source: four digits, year and week; week numbers by ISO 8601 are an assumption.
_SOURCE = "common practice, no source; weeks by ISO 8601"
_LONGEST_WEEK = 53


@dataclass(frozen=True, slots=True)
class DateCode:
    """A date code: ``year``, ``week``, and the Monday it starts on. ``order`` is "YYWW" or "WWYY"."""

    written: str
    order: str
    year: int
    week: int
    monday: date
    notes: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """code, written, order, year, week, monday (ISO 8601), words, notes, source."""
        return {
            "code": "date code",
            "written": self.written,
            "order": self.order,
            "year": self.year,
            "week": self.week,
            "monday": self.monday.isoformat(),
            "words": self.words,
            "notes": list(self.notes),
            "source": _SOURCE,
        }

    @property
    def words(self) -> str:
        """The date as one says it."""
        return f"week {self.week} of {self.year}, from Monday {self.monday.isoformat()}"


def decode_date(text: str) -> tuple[DateCode, ...]:
    """What a four-digit date code can mean; both orders when both are possible.

    Args:
        text: Four digits, year and week or week and year; years 70 to 99 and 00 to 39.

    Returns:
        Year first before week first. A week 53 that its year lacks is kept, with a note.

    Raises:
        InputError: If neither order gives a week from 1 to 53.

    >>> [code.words for code in decode_date("7934")]
    ['week 34 of 1979, from Monday 1979-08-20']
    """
    found = re.fullmatch(r"(\d\d)(\d\d)", text.strip())
    if found is None:
        raise InputError(f"{text!r} is no date code", expected="four digits such as 7934")
    first, second = int(found[1]), int(found[2])
    pairs = (("YYWW", first, second), ("WWYY", second, first))
    codes = [_code(text.strip(), order, year, week) for order, year, week in pairs if _fits(year, week)]
    if first == second:
        codes = codes[:1]
    if not codes:
        raise InputError(f"{text!r} is no date code", expected="a year from 70 on and a week from 1 to 53")
    return tuple(codes)


def _fits(year: int, week: int) -> bool:
    return (year >= 70 or year < 40) and 1 <= week <= _LONGEST_WEEK


def _code(written: str, order: str, short_year: int, week: int) -> DateCode:
    year = short_year + (1900 if short_year >= 70 else 2000)
    has_53 = date(year, 12, 28).isocalendar().week == _LONGEST_WEEK
    notes = []
    shown = week
    if week == _LONGEST_WEEK and not has_53:
        notes.append(f"{year} has 52 weeks by ISO 8601: read as the week after")
        monday = date.fromordinal(date.fromisocalendar(year, 52, 1).toordinal() + 7)
    else:
        monday = date.fromisocalendar(year, week, 1)
    return DateCode(written, order, year, shown, monday, tuple(notes))


def encode_date(year: int, week: int, order: str = "YYWW") -> str:
    """The date code of a week.

    Raises:
        InputError: If the week is not 1 to 53, or the year not 1970 to 2039.

    >>> encode_date(1979, 34), encode_date(1979, 34, "WWYY")
    ('7934', '3479')
    """
    if not (1 <= week <= _LONGEST_WEEK and 1970 <= year < 2040):
        raise InputError(f"week {week} of {year}", expected="week 1 to 53 of a year from 1970 to 2039")
    short, both = f"{year % 100:02d}", f"{week:02d}"
    return short + both if order == "YYWW" else both + short
