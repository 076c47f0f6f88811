"""Interval arithmetic for worst cases: a range that surely holds every result. No figures, no units."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.lib.mixins import NDArrayOperatorsMixin

# A formula takes floats, arrays of floats (many samples at once) or Intervals, and does not know which.
Num = Any


class Interval(NDArrayOperatorsMixin):
    """All numbers from ``low`` to ``high``; NumPy's operators and functions work on it.

    Results are rounded outward, so that they hold every value that a formula can take. They may be too wide
    where an input stands in a formula more than once (IEEE 1788, from memory: the dependency problem).

    >>> 2 / Interval(4.0, 5.0)
    Interval(0.4, 0.5)
    """

    __slots__ = ("high", "low")

    def __init__(self, low: float, high: float) -> None:
        if not low <= high:
            raise ValueError(f"an interval runs upward, not from {low} to {high}")
        self.low, self.high = float(low), float(high)

    def __repr__(self) -> str:
        return f"Interval({self.low:.6g}, {self.high:.6g})"

    def __contains__(self, value: float) -> bool:
        return self.low <= value <= self.high

    def __array_ufunc__(self, ufunc: np.ufunc, method: str, *inputs: Any, **kwargs: Any) -> Any:
        """Apply a NumPy function to the ends."""
        rule = _RULES.get(ufunc.__name__)
        if method != "__call__" or kwargs or rule is None:
            return NotImplemented
        return rule(*(_as_interval(value) for value in inputs))


def _as_interval(value: Num) -> Interval:
    return value if isinstance(value, Interval) else Interval(float(value), float(value))


def _outward(*ends: float) -> Interval:
    kept = [end for end in ends if not np.isnan(end)]
    if len(kept) < len(ends):
        kept += [-np.inf, np.inf]  # 0·∞ or ∞ − ∞ may be anything
    return Interval(float(np.nextafter(min(kept), -np.inf)), float(np.nextafter(max(kept), np.inf)))


def _product(a: Interval, b: Interval) -> Interval:
    ends = [0.0 if x == 0 or y == 0 else x * y for x in (a.low, a.high) for y in (b.low, b.high)]
    return _outward(*ends)


def _quotient(a: Interval, b: Interval) -> Interval:
    if b.low <= 0 <= b.high:
        return _over_zero(a, b)
    return _product(a, _outward(1 / b.low, 1 / b.high))


def _over_zero(a: Interval, b: Interval) -> Interval:
    """A quotient whose divisor may be zero: bounded on one side when the divisor only touches zero."""
    if b.low == 0 < b.high and a.low >= 0:
        return Interval(float(np.nextafter(a.low / b.high, -np.inf)) if a.low else 0.0, np.inf)
    return Interval(-np.inf, np.inf)


def monotone(function: Callable[[float], float]) -> Callable[[Interval], Interval]:
    """A function that only rises, or only falls, as a rule on intervals."""
    return lambda a: _outward(float(function(a.low)), float(function(a.high)))


def _power(a: Interval, b: Interval) -> Interval:
    if a.low < 0:
        raise ValueError(f"powers are for positive values, not {a}")
    return _outward(*(float(x**y) for x in (a.low, a.high) for y in (b.low, b.high)))


_RULES: dict[str, Callable[..., Interval]] = {
    "add": lambda a, b: _outward(a.low + b.low, a.high + b.high),
    "subtract": lambda a, b: _outward(a.low - b.high, a.high - b.low),
    "multiply": _product,
    "divide": _quotient,
    "negative": lambda a: Interval(-a.high, -a.low),
    "maximum": lambda a, b: Interval(max(a.low, b.low), max(a.high, b.high)),
    "minimum": lambda a, b: Interval(min(a.low, b.low), min(a.high, b.high)),
    "power": _power,
    "log": monotone(lambda x: float(np.log(x)) if x > 0 else -np.inf),
    "log1p": monotone(lambda x: float(np.log1p(x)) if x > -1 else -np.inf),
    "exp": monotone(lambda x: float(np.exp(x))),
    "sqrt": monotone(lambda x: float(np.sqrt(max(x, 0.0)))),
}


def log1p_ratio(x: Num) -> Num:
    """ln(1 + x)/x, which tends to 1 at zero; falls as x grows. For floats, arrays and intervals, x >= 0.

    >>> round(log1p_ratio(1.0), 4), log1p_ratio(0.0)
    (0.6931, 1.0)
    """
    if isinstance(x, Interval):
        return monotone(log1p_ratio)(Interval(max(x.low, 0.0), max(x.high, 0.0)))
    values = np.asarray(x, dtype=float)
    # Between 0 and 1e-300 the ratio is 1 to the last digit; 0/0 of a formula without load and leak is taken as 0.
    safe = np.fmax(values, 1e-300)
    with np.errstate(invalid="ignore"):
        ratio = np.log1p(safe) / safe
    ratio = np.where(np.isinf(values), 0.0, ratio) if np.isinf(values).any() else ratio
    return float(ratio) if ratio.ndim == 0 else ratio
