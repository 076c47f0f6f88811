"""Preferred numbers E3 to E192, by rule; and which of them lie nearest to a value. Knows no codes."""

from __future__ import annotations

import math
from functools import cache

from coppermend.errors import InputError

SERIES: tuple[str, ...] = ("E3", "E6", "E12", "E24", "E48", "E96", "E192")
# E24 has two figures and leaves the rule 10^(i/24) at eight places: kept from an older series (IEC 60063).
_E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)
_LISTED = {919: 920}  # the only entry of E192 that is not the rounded rule (IEC 60063)
_RELATIVE = 1e-9


@cache
def preferred_numbers(series: str) -> tuple[int, ...]:
    """The numbers of one decade: two figures up to E24, three from E48.

    Args:
        series: "E3", "E6", "E12", "E24", "E48", "E96" or "E192".

    Returns:
        Ascending; as many as the name says.

    Raises:
        InputError: If there is no such series.

    Source: IEC 60063; member i of series n is 10^(i/n), rounded; E24 and E192 with their listed exceptions.

    >>> preferred_numbers("E12")
    (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)
    """
    if series not in SERIES:
        raise InputError(f"there is no series {series!r}", expected=", ".join(SERIES))
    count = int(series[1:])
    if count <= 24:
        return _E24[:: 24 // count]
    rounded = [round(100 * 10 ** (i / count)) for i in range(count)]
    return tuple(_LISTED.get(value, value) for value in rounded)


def decade_of(value: float) -> int:
    """Power of ten of the first figure of a positive value.

    >>> decade_of(4700), decade_of(0.47)
    (3, -1)
    """
    power = math.floor(math.log10(value))
    # log10 may land a hair below a power of ten.
    return power + 1 if value >= 10.0 ** (power + 1) * (1 - _RELATIVE) else power


def series_values(series: str, low: float, high: float) -> tuple[float, ...]:
    """All preferred values from ``low`` to ``high``, both included.

    Raises:
        InputError: If ``low`` is not positive or above ``high``, or there is no such series.

    >>> series_values("E6", 1, 10)
    (1.0, 1.5, 2.2, 3.3, 4.7, 6.8, 10.0)
    """
    if not 0 < low <= high or not math.isfinite(high):
        raise InputError(
            f"no values from {low:g} to {high:g}", expected="two positive limits, lower one first"
        )
    digits = 1 if int(preferred_numbers(series)[0]) == 10 else 2
    return tuple(
        value
        for power in range(decade_of(low), decade_of(high) + 1)
        for number in preferred_numbers(series)
        if low * (1 - _RELATIVE) <= (value := float(f"{number}e{power - digits}")) <= high * (1 + _RELATIVE)
    )


def in_series(value: float, series: str) -> bool:
    """Whether a value is one of a series, in any decade.

    >>> in_series(4700, "E6"), in_series(4700, "E96")
    (True, False)
    """
    if not (value > 0 and math.isfinite(value)):
        return False
    return any(abs(found / value - 1) < _RELATIVE for found in nearest(value, series))


def nearest(value: float, series: str) -> tuple[float, ...]:
    """The preferred values on both sides of ``value``, nearest in ratio first.

    Raises:
        InputError: If the value is not positive.

    >>> nearest(4500, "E12")
    (4700.0, 3900.0)
    """
    if not (value > 0 and math.isfinite(value)):
        raise InputError(f"{value:g} has no neighbours in {series}", expected="a positive value")
    around = series_values(series, value / 10, value * 10)
    below = max(v for v in around if v <= value * (1 + _RELATIVE))
    above = min(v for v in around if v >= value * (1 - _RELATIVE))
    return tuple(sorted({below, above}, key=lambda v: abs(math.log(v / value))))
