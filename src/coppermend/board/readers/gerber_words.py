"""The words of a Gerber file: splitting it into commands, number formats, attribute fields. No meaning.

Reference: Gerber Layer Format Specification 2024.05, sections 3 (syntax), 4.2 (format), 5 (attributes).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from coppermend.errors import InputError

MAX_DIGITS = 15
MAX_COORDINATE_MM = 10_000.0

# Possessive, so that a last word without its end is given up at once.
_WORD = re.compile(r"\s*+(?:%([^%]*+)%|([^*%]*+)\*)")
_FORMAT = re.compile(r"FS([LTD]?)([AI]?)(?:N\d+)?(?:G\d+)?X(\d)(\d)Y\3\4(?:D\d+)?(?:M\d+)?", re.ASCII)
_ESCAPE = re.compile(r"\\u([0-9A-Fa-f]{4})|\\U([0-9A-Fa-f]{8})")
_CODE = re.compile(r"([A-Z])([-+]?[0-9]*\.?[0-9]*)")


class Word(NamedTuple):
    """One command: its text without the trailing ``*``, whether it stood between ``%``, and where it starts."""

    text: str
    extended: bool
    start: int


def split_words(text: str) -> Iterator[Word]:
    """The commands of a file in order, in time linear in its length.

    Raises:
        InputError: With ``line``, at text that belongs to no command.
    """
    at, end = 0, len(text.rstrip())
    while at < end:
        found = _WORD.match(text, at)
        if not found:
            start = at + len(text[at : at + 200]) - len(text[at : at + 200].lstrip())
            raise InputError(
                f"{text[start : start + 30]!r} never ends",
                expected="a command ended by * or %",
                line=line_at(text, start),
            )
        at = found.end()
        group = 2 if found[1] is None else 1
        yield Word(found[group], group == 1, found.start(group))


def line_at(text: str, position: int) -> int:
    """The line number, from 1, of a position."""
    return max(text.count("\n", 0, position), text.count("\r", 0, position)) + 1


@dataclass(frozen=True, slots=True)
class CoordinateFormat:
    """What %FS says: digits before and after the point, which zeros are omitted, incremental or not."""

    whole: int
    decimals: int
    trailing_omitted: bool = False
    incremental: bool = False

    def value(self, digits: str) -> float:
        """A coordinate in file units; one with a point, which the standard does not allow, is taken as it is.

        Raises:
            InputError: If it is no number or has too many digits.
        """
        sign, body = (-1, digits[1:]) if digits.startswith("-") else (1, digits.removeprefix("+"))
        if not body.strip(".") or len(body) > MAX_DIGITS:
            raise InputError(f"coordinate {digits[:30]!r}", expected=f"1 to {MAX_DIGITS} digits")
        if "." in body:
            return sign * float(body)
        if self.trailing_omitted:
            body = body.ljust(self.whole + self.decimals, "0")
        return sign * int(body) / float(10**self.decimals)


def parse_format(text: str) -> CoordinateFormat:
    """Read ``FSLAX46Y46``.

    Raises:
        InputError: If it is no format specification, or x and y differ, which the standard forbids.

    >>> parse_format("FSLAX24Y24")
    CoordinateFormat(whole=2, decimals=4, trailing_omitted=False, incremental=False)
    """
    found = _FORMAT.fullmatch(text.replace(" ", ""))
    if not found:
        raise InputError(f"format {text[:40]!r}", expected="FSLAX46Y46 or alike, the same digits for X and Y")
    zeros, notation, before, after = found.groups()
    return CoordinateFormat(int(before), int(after), zeros == "T", notation == "I")


def split_codes(text: str) -> list[tuple[str, str]]:
    """``G01X100Y-5D01`` as letter and number pairs.

    Raises:
        InputError: If anything else stands between them.
    """
    compact = "".join(text.split())
    codes, at = [], 0
    while at < len(compact):
        found = _CODE.match(compact, at)
        if not found:
            raise InputError(f"command {text.strip()[:40]!r}", expected="codes such as G01 X100 Y-5 D01")
        codes.append((found[1], found[2]))
        at = found.end()
    return codes


def unescape(field: str) -> str:
    r"""A field of an attribute with its ``\uXXXX`` escapes read.

    >>> unescape(r"R\u002CW")
    'R,W'
    """
    if "\\" not in field:
        return field
    return _ESCAPE.sub(_character, field)


def _character(found: re.Match[str]) -> str:
    code = int(found[1] or found[2], 16)
    # Surrogates and codes beyond Unicode name no character.
    return "\N{REPLACEMENT CHARACTER}" if 0xD800 <= code < 0xE000 or code > 0x10FFFF else chr(code)


def split_attribute(text: str) -> tuple[str, tuple[str, ...]]:
    """``.P,U3,9`` as name and fields.

    >>> split_attribute(".P,U3,9")
    ('.P', ('U3', '9'))
    """
    name, *fields = text.strip().split(",")
    return name.strip(), tuple(unescape(field.strip()) for field in fields)


def whole(letter: str, digits: str) -> int:
    """The number of a code such as D10.

    Raises:
        InputError: If it is no whole number.
    """
    if not (digits.isascii() and digits.isdecimal()) or len(digits) > 9:
        raise InputError(f"code {letter}{digits[:20]}", expected=f"{letter} and a whole number")
    return int(digits)


def number(command: str) -> float:
    """The number after a two-letter command such as LR90.

    Raises:
        InputError: If there is none, or an absurd one.
    """
    try:
        value = float(command[2:])
    except ValueError:
        value = float("nan")
    if not abs(value) <= 1e6:
        raise InputError(f"command {command[:30]!r}", expected=f"{command[:2]} and a number")
    return value
