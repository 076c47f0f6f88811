"""Job numbers such as 26-0042-K: short, readable on a scratched tag, checked without any server.

``YY-NNNN-C``: year, counter within the year (four digits or more), and a check character by
ISO/IEC 7064 MOD 37,36 over all digits before it. That scheme catches every single wrong character.
Numbers whose check character would be I, L or O are never given out, so that these three can always
be read as 1, 1 and 0 without weakening the check. Issuing a number is the store's affair.
"""

from __future__ import annotations

import re

from stdnum.iso7064 import mod_37_36

from coppermend.errors import InputError

_MISREAD = str.maketrans("OIL", "011")
_NEVER_ISSUED = frozenset("OIL")
_SEPARATORS = re.compile(r"[\s./_\u00ad\u2010-\u2015\u2212-]+")
_SHAPE = re.compile(r"(\d{2})(\d{4,9})([0-9A-Z])", re.ASCII)
_WRITTEN = re.compile(
    r"(?<![0-9A-Z])[0-9OIL]{2}[ \-\u2010-\u2015]?[0-9OIL]{4,9}[ \-\u2010-\u2015]?[0-9A-Z](?![0-9A-Z])"
)
_EXPECTED = "a job number as printed on the tag, such as 26-0042-U"
_LONGEST = 40


def check_character(digits: str) -> str:
    """The check character of a run of digits.

    Reference: ISO/IEC 7064:2003, MOD 37,36 (hybrid system).

    >>> check_character("260042")
    'U'
    """
    return str(mod_37_36.calc_check_digit(digits))


def next_number(year: int, after: int) -> tuple[int, str]:
    """The first number of ``year`` whose counter is greater than ``after``: its counter and its text.

    >>> next_number(2026, 41)
    (42, '26-0042-U')
    """
    counter = after + 1
    while (check := check_character(f"{year % 100:02}{counter:04}")) in _NEVER_ISSUED:
        counter += 1
    return counter, f"{year % 100:02}-{counter:04}-{check}"


def check_number(text: str) -> str:
    """A job number as typed or read from a tag, in its one canonical form.

    Case, spaces, dashes and the mistakes O for 0, I or L for 1 are forgiven; nothing else is.

    Raises:
        InputError: If the text has not the shape of a job number, or its check character is wrong.

    >>> check_number(" 26 oo42-u ")
    '26-0042-U'
    """
    plain = _SEPARATORS.sub("", text[: _LONGEST + 1]).upper().translate(_MISREAD)
    shape = _SHAPE.fullmatch(plain)
    if len(text) > _LONGEST or shape is None:
        raise InputError(f"{text[:_LONGEST]!r} is no job number", expected=_EXPECTED)
    year, counter, check = shape.groups()
    if check_character(year + counter) != check:
        raise InputError(
            f"job number {text.strip()!r} has a wrong digit or check character",
            expected="the number exactly as printed on the tag",
        )
    return f"{year}-{counter}-{check}"


def numbers_in(text: str) -> tuple[str, ...]:
    """Every valid job number written somewhere in ``text`` (marks on a board, a note), without repeats.

    >>> numbers_in("old tag 26-0042-U, scratched")
    ('26-0042-U',)
    """
    found: dict[str, None] = {}
    for match in _WRITTEN.finditer(text.upper()):
        try:
            found[check_number(match[0])] = None
        except InputError:
            continue  # another number that happens to have the shape, such as a date
    return tuple(found)
