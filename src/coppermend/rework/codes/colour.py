"""Colour bands of resistors, both ways (IEC 60062). Words as people say them: ``spoken``."""

from __future__ import annotations

from collections.abc import Sequence

from coppermend.errors import InputError
from coppermend.rework.codes.series import in_series
from coppermend.rework.codes.values import CodeValue, figures_of, scaled

DIGITS = ("black", "brown", "red", "orange", "yellow", "green", "blue", "violet", "grey", "white")
_SOURCE = "IEC 60062 colour code"
_POWERS = {**{colour: power for power, colour in enumerate(DIGITS)}, "gold": -1, "silver": -2, "pink": -3}
_POWER_COLOURS = {power: colour for colour, power in _POWERS.items()}
COLOURS = tuple(_POWERS)
# Editions differ on violet and grey: 2016 edition from memory; older tables give violet 0.5 % or grey 0.1 %.
TOLERANCES = {
    "brown": 0.01, "red": 0.02, "orange": 0.0005, "yellow": 0.0002, "green": 0.005, "blue": 0.0025,
    "violet": 0.001, "grey": 0.0001, "gold": 0.05, "silver": 0.10,
}  # fmt: skip
_UNSURE = ("violet", "grey")
# Temperature coefficient of the sixth band [ppm/K], IEC 60062 (from memory).
_PPM = {
    "black": 250, "brown": 100, "red": 50, "orange": 15, "yellow": 25, "green": 20, "blue": 10, "violet": 5, "grey": 1,
}  # fmt: skip
_NO_BAND = 0.20


def decode_bands(bands: Sequence[str]) -> CodeValue:
    """The value of three to six colour bands.

    Args:
        bands: Colours in reading order; "none" as the fourth is the same as three bands.

    Returns:
        Value [Ω] and tolerance. A note tells when the bands read backwards are a preferred value too,
        or when editions of the standard differ.

    Raises:
        InputError: If a colour cannot stand in its place, naming the place.

    >>> decode_bands(["yellow", "violet", "red", "gold"]).words
    '4.7 kΩ 5 %'
    """
    colours = [band for band in bands if band != "none"]
    value = _value(colours)
    notes = []
    if _band(colours) in _UNSURE:
        notes.append(f"editions of IEC 60062 differ on a {_band(colours)} tolerance band")
    if len(colours) == 6:
        notes.append(f"temperature coefficient {_PPM[colours[5]]} ppm/K")
    if other := _backwards(colours):
        notes.append(f"read from the other end it would be {other.words}: find the gap or measure")
    return CodeValue(value.value, "Ω", value.tolerance, value.code, value.written, _SOURCE, tuple(notes))


def _band(colours: Sequence[str]) -> str:
    return colours[3] if len(colours) == 4 else colours[4] if len(colours) > 4 else ""


def _value(colours: Sequence[str]) -> CodeValue:
    if not 3 <= len(colours) <= 6:
        raise InputError(f"{len(colours)} colour bands", expected="three to six")
    figures = 2 if len(colours) <= 4 else 3
    digits = "".join(str(_place(colours, n, DIGITS, "digit")) for n in range(figures))
    power = _POWERS[_name(colours, figures, tuple(_POWERS), "multiplier")]
    band = _band(colours)
    tolerance = TOLERANCES[_name(colours, figures + 1, tuple(TOLERANCES), "tolerance")] if band else _NO_BAND
    if len(colours) == 6:
        _name(colours, 5, tuple(_PPM), "temperature coefficient")
    if int(digits) == 0:
        raise InputError("a resistor with only black figures", expected="a value above zero")
    return CodeValue(
        scaled(digits, power), "Ω", tolerance, f"{len(colours)} colour bands", " ".join(colours), _SOURCE
    )


def _name(colours: Sequence[str], place: int, allowed: Sequence[str], what: str) -> str:
    colour = colours[place]
    if colour not in allowed:
        raise InputError(f"{colour} as band {place + 1} ({what})", expected=", ".join(allowed))
    return colour


def _place(colours: Sequence[str], place: int, allowed: Sequence[str], what: str) -> int:
    return allowed.index(_name(colours, place, allowed, what))


def _backwards(colours: Sequence[str]) -> CodeValue | None:
    """The value read from the other end, when that is a preferred one too."""
    if len(colours) < 4 or list(colours) == list(reversed(colours)):
        return None
    try:
        other = _value(list(reversed(colours)))
    except InputError:
        return None
    return other if in_series(other.value, "E24") or in_series(other.value, "E96") else None


def encode_bands(ohms: float, tolerance: float | None = None, figures: int | None = None) -> tuple[str, ...]:
    """The colour bands of a resistor.

    Args:
        ohms: Value [Ω].
        tolerance: Fraction; None or 0.2 gives no tolerance band with two figures.
        figures: 2 or 3; None takes two when they suffice and the tolerance is 5 % or more, or none.

    Raises:
        InputError: If value or tolerance has no bands.

    >>> encode_bands(4700, 0.05)
    ('yellow', 'violet', 'red', 'gold')
    """
    count = figures or _figures(ohms, tolerance)
    digits, power = figures_of(ohms, count)
    if power not in _POWER_COLOURS:
        raise InputError(f"{ohms:g} Ω has no multiplier band", expected="a value from 0.01 Ω to 99 GΩ")
    bands = [*(DIGITS[int(digit)] for digit in digits), _POWER_COLOURS[power]]
    if tolerance is None or (tolerance == _NO_BAND and count == 2):
        if count == 3:
            raise InputError("three figures without a tolerance", expected="a tolerance such as 1 %")
        return tuple(bands)
    for colour, fraction in TOLERANCES.items():
        if abs(fraction - tolerance) < 1e-9:
            return (*bands, colour)
    raise InputError(f"no colour for a tolerance of {tolerance * 100:g} %", expected="a usual tolerance")


def _figures(ohms: float, tolerance: float | None) -> int:
    if tolerance is not None and tolerance < 0.05:
        return 3
    try:
        figures_of(ohms, 2)
    except InputError:
        return 3
    return 2
