"""How long a memory will keep, from two or three voltage readings of what keeps it. Measures nothing.

Two readings fix a straight decay (constant current) and an exponential one (leakage through a resistance); the truth
lies between. The spread of both, and the meter's own, give the range.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, log
from typing import Any, Literal

import numpy as np

from coppermend.errors import InputError

# Common practice, no source: a bench meter repeats within this over some hours and a few degrees.
METER_V = 0.005
_SIGMAS = 2.0
_BURY_V = 5  # readings should differ by this many times the meter's spread before they say much

Verdict = Literal["long enough", "too short", "measure again"]


@dataclass(frozen=True, slots=True)
class Decay:
    """One reading: hours since power-off [h], and volts kept [V]."""

    hours: float
    volts: float


@dataclass(frozen=True, slots=True)
class HoldUp:
    """What the readings predict.

    ``leak_a`` is the mean current out of the capacitor [A] (None without its capacitance), ``rate_v_per_h`` the
    decay at the last reading [V/h]. ``hours``, ``least_hours`` and ``most_hours`` count from power-off down to the
    voltage that the memory needs [h]; inf when no decay was seen. ``again_at_hours`` is when another reading would
    tell, 0 when none is needed.
    """

    leak_a: float | None
    leak_spread_a: float | None
    rate_v_per_h: float
    hours: float
    least_hours: float
    most_hours: float
    verdict: Verdict
    again_at_hours: float
    words: str

    def to_json(self) -> dict[str, Any]:
        """The fields by name; an unlimited time is null."""
        limited = {
            name: None if (value := getattr(self, name)) == inf else value
            for name in ("hours", "least_hours", "most_hours")
        }
        return {
            "leak_a": self.leak_a, "leak_spread_a": self.leak_spread_a, "rate_v_per_h": self.rate_v_per_h,
            **limited, "verdict": self.verdict, "again_at_hours": self.again_at_hours, "words": self.words,
        }  # fmt: skip


def hold_up(
    readings: Sequence[Decay], least_v: float, wanted_hours: float, *, farads: float | None = None,
    meter_v: float = METER_V,
) -> HoldUp:  # fmt: skip
    """Predict the hold-up, and say whether the wait can be cut short.

    Args:
        readings: Two or more, at different times after power-off.
        least_v: Voltage down to which the memory keeps its contents [V].
        wanted_hours: Hold-up that the job asks for [h].
        farads: Capacitance, for the leakage current [F].
        meter_v: Spread of one reading, one standard deviation [V].

    Raises:
        InputError: If there are fewer than two times, or a value is not positive.

    Reference: t = C (V0 - V1) / I for a constant current, t = R C ln(V0 / V1) for a resistance (elementary).

    >>> hold_up([Decay(0, 4.7), Decay(10, 4.6)], 2.0, 24).verdict
    'long enough'
    """
    ordered = sorted(readings, key=lambda r: r.hours)
    _check(ordered, least_v, wanted_hours, farads, meter_v)
    hours, volts = np.array([r.hours for r in ordered]), np.array([r.volts for r in ordered])
    straight = _line(hours, volts, meter_v)
    # In the logarithm a reading's spread is relative to its voltage.
    bent = _line(hours, np.log(volts), meter_v / float(volts.mean()))
    times = [_until(straight, least_v), _until(bent, log(least_v))]
    middle = min(times[0][0], times[1][0])
    least, most = min(t[1] for t in times), max(t[2] for t in times)
    verdict, again = _verdict((least, most), wanted_hours, hours, straight, meter_v)
    rate, spread = -straight[1], straight[2]
    leak = None if farads is None else max(rate, 0.0) * farads / 3600
    leak_spread = None if farads is None else spread * farads / 3600
    words = _words((middle, least, most), wanted_hours, verdict, again)
    return HoldUp(leak, leak_spread, rate, middle, least, most, verdict, again, words)


def _check(
    ordered: Sequence[Decay], least_v: float, wanted_hours: float, farads: float | None, meter_v: float
) -> None:
    if len({r.hours for r in ordered}) < 2:
        raise InputError("hold-up needs readings at two times", expected="HOURS:VOLTS twice or more")
    values = [*(r.volts for r in ordered), least_v, wanted_hours, meter_v, 1.0 if farads is None else farads]
    if not all(np.isfinite(values)) or min(values) <= 0 or not all(0 <= r.hours < inf for r in ordered):
        raise InputError("a value is not positive", expected="volts, farads and hours above zero")
    if ordered[-1].volts <= least_v:
        raise InputError(
            f"the last reading, {ordered[-1].volts:g} V, is not above {least_v:g} V",
            expected="readings while the memory still keeps",
        )


Line = tuple[float, float, float]  # value at hour 0, slope per hour, standard deviation of the slope


def _line(
    hours: np.ndarray[Any, np.dtype[np.float64]], values: np.ndarray[Any, np.dtype[np.float64]], sigma: float
) -> Line:
    """Straight line by least squares; the spread is the meter's or that of the residues, whichever is larger."""
    centred = hours - hours.mean()
    squares = float(centred @ centred)
    slope = float(centred @ values) / squares
    start = float(values.mean() - slope * hours.mean())
    left = values - start - slope * hours
    scatter = float(np.sqrt(left @ left / (len(hours) - 2))) if len(hours) > 2 else 0.0
    return start, slope, max(sigma, scatter) / squares**0.5


def _until(line: Line, end: float) -> tuple[float, float, float]:
    """(hours until the line reaches ``end``, least, most)."""
    start, slope, spread = line
    fall = start - end

    def hours(rate: float) -> float:
        return fall / rate if rate > 0 else inf

    return hours(-slope), hours(-slope + _SIGMAS * spread), hours(-slope - _SIGMAS * spread)


def _verdict(
    span: tuple[float, float], wanted: float, hours: np.ndarray[Any, np.dtype[np.float64]], line: Line,
    meter_v: float,
) -> tuple[Verdict, float]:  # fmt: skip
    least, most = span
    if least >= wanted:
        return "long enough", 0.0
    if most < wanted:
        return "too short", 0.0
    last, first = float(hours.max()), float(hours.min())
    rate = max(-line[1], line[2])
    # When the fall since the first reading is well above the meter's spread, or twice as late, whichever is later.
    return "measure again", round(max(2 * last, first + _BURY_V * meter_v / rate), 2)


def _words(span_hours: tuple[float, float, float], wanted: float, verdict: Verdict, again: float) -> str:
    middle, least, most = map(_span, span_hours)
    span = f"about {middle} ({least} to {most})"
    end = {
        "long enough": f"{wanted:g} h are wanted: the wait can be cut short.",
        "too short": f"{wanted:g} h are wanted: no need to wait, it will not keep that long.",
        "measure again": f"{wanted:g} h are wanted: not decided yet, read again {again:g} h after power-off.",
    }[verdict]
    return f"Keeps {span}; {end}"


def _span(hours: float) -> str:
    return "without end in sight" if hours == inf else f"{hours:.3g} h"
