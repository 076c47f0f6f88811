"""How a value is written on parts: every code that has room for it. Reading is done elsewhere."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from coppermend.errors import InputError
from coppermend.rework.codes.colour import encode_bands
from coppermend.rework.codes.marked import encode_capacitor, encode_digits, encode_eia96, encode_rkm
from coppermend.rework.codes.search import unit_of
from coppermend.rework.figures.spread import parse_spread


class Written(NamedTuple):
    """One marking: the name of the code and what stands on the part."""

    code: str
    text: str


class Asked(NamedTuple):
    """A value as typed: its number [unit], unit, tolerance as a fraction or None, and what stands on such a part."""

    value: float
    unit: str
    tolerance: float | None
    markings: tuple[Written, ...]


def written_of(text: str) -> Asked:
    """The markings of a value as typed, such as "4.7k 5%" or "100nF".

    Raises:
        InputError: If it is no value, or no code can express it.

    >>> [marking.text for marking in written_of("4.7k 5%").markings]
    ['yellow violet red gold', '4K7J', '472', '4701']
    """
    unit = unit_of(text.partition(" ")[0])
    spread = parse_spread(text, unit)
    tolerance = None if spread.exact else round(spread.high / spread.nominal - 1, 9)
    return Asked(spread.nominal, unit, tolerance, written(spread.nominal, unit, tolerance))


def written(value: float, unit: str = "Ω", tolerance: float | None = None) -> tuple[Written, ...]:
    """Every marking that a resistor [Ω] or capacitor [F] of this value can carry.

    Args:
        value: Value [Ω or F], greater than zero.
        unit: "Ω" or "F".
        tolerance: Fraction, or None.

    Returns:
        Codes that can express value and tolerance; those that cannot are left out.

    Raises:
        InputError: If no code can, or the unit is another.

    >>> [marking.text for marking in written(4700.0, "Ω", 0.05)]
    ['yellow violet red gold', '4K7J', '472', '4701']
    """
    if unit not in ("Ω", "F"):
        raise InputError(f"a marking in {unit}", expected="a value in Ω or F")
    found = [Written(code, text) for code, write in _writers(value, unit, tolerance) if (text := _try(write))]
    if not found:
        raise InputError(
            f"no code writes {value:g} {unit}", expected="two or three figures and a usual tolerance"
        )
    return tuple(dict.fromkeys(found))


def _writers(value: float, unit: str, tolerance: float | None) -> list[tuple[str, Callable[[], str]]]:
    letters: list[tuple[str, Callable[[], str]]] = [
        ("letter code", lambda: _letters(value, unit, tolerance)),
    ]
    if unit == "F":
        return [*letters, ("capacitor code", lambda: encode_capacitor(value, tolerance))]
    return [
        ("colour bands", lambda: " ".join(encode_bands(value, tolerance))),
        *letters,
        ("3-digit code", lambda: encode_digits(value, 3)),
        ("4-digit code", lambda: encode_digits(value, 4)),
        ("EIA-96 code", lambda: encode_eia96(value) if tolerance in (None, 0.01) else ""),
    ]


def _letters(value: float, unit: str, tolerance: float | None) -> str:
    try:
        return encode_rkm(value, unit, tolerance, 2)
    except InputError:
        return encode_rkm(value, unit, tolerance, 3)


def _try(write: Callable[[], str]) -> str:
    try:
        return write()
    except InputError:
        return ""  # this code has no room for it; another may
