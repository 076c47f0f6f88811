"""What the meter said between two points, and jumpers fitted in between; read from CSV. Judges nothing."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from coppermend.board.readers.rows import bench_rows
from coppermend.errors import InputError
from coppermend.quantity import parse_quantity

_HEADER = ["a", "b", "ohms"]
_OPEN_WORDS = {"ol", "o.l", "0l", "0.l", "open", "inf", "infinity", "∞"}
_JUMPER = "jumper"
_EXPECTED = "a,b,ohms such as U3.9,V17,0.3 (OL when open, jumper when one was fitted there)"
_NULLED_OHM = -0.5  # nulled leads may read a little below zero


@dataclass(frozen=True, slots=True)
class Reading:
    """One measurement between two points [Ω]; ``ohms`` None is OL, open.

    With ``jumper`` True it is no measurement: a jumper was fitted there, after the readings before it.
    ``line`` is where it stood in its file, 0 when it came from none.
    """

    a: str
    b: str
    ohms: float | None
    jumper: bool = False
    line: int = field(default=0, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class FittedJumper:
    """A jumper that the technician fitted between two points of one net.

    ``after`` is how many readings had been made before; what read open then may conduct now. None: it is
    taken as fitted after the last reading on its net that was open.
    """

    a: str
    b: str
    net: str = ""
    side: str = ""
    after: int | None = None


def parse_readings(text: str, where: str) -> tuple[Reading, ...]:
    """Read rows ``a,b,ohms`` in the order in which they were measured; the header row may be left out.

    Args:
        text: CSV with commas or semicolons. Ohms may be written ``0.3``, ``4k7``, ``OL``, or ``jumper``.
        where: File name for errors.

    Raises:
        InputError: If a row is no reading, naming its line.
    """
    rows = bench_rows(text, _HEADER, _EXPECTED, where)
    return tuple(_reading(cells, where, line) for cells, line in rows)


def _reading(cells: list[str], where: str, line: int) -> Reading:
    if len(cells) < 3 or not (cells[0] and cells[1] and cells[2]):
        raise InputError(f"{','.join(cells)!r:.80} is no reading", expected=_EXPECTED, where=where, line=line)
    a, b, value = cells[:3]
    if a == b:
        raise InputError(
            f"both points are {a!r:.40}", expected="two different points", where=where, line=line
        )
    if value.lower() == _JUMPER:
        return Reading(a, b, 0.0, jumper=True, line=line)
    try:
        ohms = parse_ohms(value)
    except InputError as error:
        raise InputError(error.found, expected=error.expected, where=where, line=line) from None
    return Reading(a, b, ohms, line=line)


def parse_ohms(text: str) -> float | None:
    """What a meter showed: ohms such as ``0.3`` or ``4k7`` [Ω], None for OL.

    Raises:
        InputError: If it is neither.

    >>> parse_ohms("4k7"), parse_ohms("OL")
    (4700.0, None)
    """
    if text.strip().lower() in _OPEN_WORDS:
        return None
    try:
        ohms = parse_quantity(text, "Ω")
    except InputError as error:
        raise InputError(error.found, expected="ohms, or OL") from None
    if not math.isfinite(ohms) or ohms < _NULLED_OHM:
        raise InputError(f"{text!r:.40} is no resistance", expected="ohms, or OL")
    return ohms
