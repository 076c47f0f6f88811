"""A value with its limits, as it is typed ("0.47F 20%", "4.75..5.25 V"), and formulas run over those limits."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from coppermend.errors import InputError
from coppermend.quantity import parse_quantity
from coppermend.rework.figures.interval import Interval, Num

Formula = Callable[[Mapping[str, Num]], Mapping[str, Num]]
_NONE = ("none", "inf", "open", "infinite")
_TOLERANCE = re.compile(r"^(?P<value>.*?\S)\s*(?:±|\+/-|\+-|,|\s)\s*(?P<percent>\d+(?:[.,]\d+)?)\s*%$")
_LOPSIDED = re.compile(
    r"^(?P<value>.*?\S)\s*-\s*(?P<down>\d+(?:[.,]\d+)?)\s*%?\s*\+\s*(?P<up>\d+(?:[.,]\d+)?)\s*%$"
)
_MOST_CORNERS = 14
_BLOCK = 1 << 14


@dataclass(frozen=True, slots=True)
class Spread:
    """A value and the limits within which it lies; equal limits when it is exact."""

    nominal: float
    low: float
    high: float

    @classmethod
    def within(cls, value: float, fraction: float) -> Spread:
        """A value with a symmetric tolerance.

        >>> Spread.within(100.0, 0.25)
        Spread(nominal=100.0, low=75.0, high=125.0)
        """
        reach = abs(value) * fraction
        return cls(value, value - reach, value + reach)

    @property
    def exact(self) -> bool:
        """Whether there is no spread."""
        return self.low == self.high


def parse_spread(text: str, unit: str = "") -> Spread:
    """Read a value with its limits.

    Args:
        text: "0.47F", "0.47F 20%", "0.47F ±20%", "0.1F -20+80%", "4.75..5.25V", "2uA (1uA..10uA)";
            "none" for a resistance that is not there (infinite).
        unit: Unit that the value may carry.

    Raises:
        InputError: If it is none of these, or the limits do not enclose the value.

    >>> parse_spread("0.5F 20%", "F")
    Spread(nominal=0.5, low=0.4, high=0.6)
    """
    cleaned = text.strip()
    if cleaned.lower() in _NONE:
        return Spread(math.inf, math.inf, math.inf)
    if found := re.fullmatch(r"(.*\S)\s*\((.+)\.\.(.+)\)", cleaned):
        return _checked(text, *(parse_quantity(part, unit) for part in found.groups()))
    if ".." in cleaned:
        return _range(cleaned, text, unit)
    if found := _LOPSIDED.match(cleaned):
        value = parse_quantity(found["value"], unit)
        down, up = (float(found[name].replace(",", ".")) / 100 for name in ("down", "up"))
        return _checked(text, value, value - abs(value) * down, value + abs(value) * up)
    if found := _TOLERANCE.match(cleaned):
        value = parse_quantity(found["value"], unit)
        return Spread.within(value, float(found["percent"].replace(",", ".")) / 100)
    value = parse_quantity(cleaned, unit)
    return Spread(value, value, value)


def _range(cleaned: str, text: str, unit: str) -> Spread:
    first, _, last = cleaned.partition("..")
    low, high = parse_quantity(first, unit), parse_quantity(last, unit)
    return _checked(text, (low + high) / 2, low, high)


def _checked(text: str, nominal: float, low: float, high: float) -> Spread:
    if not low <= nominal <= high:
        raise InputError(f"the limits in {text!r} do not enclose the value", expected="lower limit first")
    return Spread(nominal, low, high)


@dataclass(frozen=True, slots=True)
class Bounds:
    """What one output can be.

    ``low`` and ``high`` are the least and greatest over all corners of the inputs; ``surely_low`` and
    ``surely_high`` an interval that holds every possible value, None where no interval is known.
    """

    nominal: float
    low: float
    high: float
    surely_low: float | None = None
    surely_high: float | None = None


def worst_case(formula: Formula, spreads: Mapping[str, Spread]) -> dict[str, Bounds]:
    """Every output of a formula at nominal, over all corners, and as an interval.

    A formula that rises or falls with each input takes its extremes at corners; then the corners are exact, and
    the interval shows by how much one could at most be mistaken.

    Raises:
        InputError: If more than 14 inputs are spread (16,384 corners).
    """
    nominal = formula({name: spread.nominal for name, spread in spreads.items()})
    loose = [name for name, spread in spreads.items() if not spread.exact]
    if len(loose) > _MOST_CORNERS:
        raise InputError(f"{len(loose)} inputs with tolerances", expected=f"at most {_MOST_CORNERS}")
    corners = np.array(list(itertools.product((0, 1), repeat=len(loose))), dtype=bool).reshape(
        2 ** len(loose), len(loose)
    )
    arrays: dict[str, Num] = {name: spread.nominal for name, spread in spreads.items()}
    for column, name in enumerate(loose):
        arrays[name] = np.where(corners[:, column], spreads[name].high, spreads[name].low)
    at_corners = formula(arrays)
    sure = formula({n: s.nominal if s.exact else Interval(s.low, s.high) for n, s in spreads.items()})
    return {name: _bounds(float(value), at_corners[name], sure[name]) for name, value in nominal.items()}


def _bounds(nominal: float, at_corners: Num, sure: Num) -> Bounds:
    low, high = float(np.min(at_corners)), float(np.max(at_corners))
    if isinstance(sure, Interval):
        return Bounds(nominal, min(low, nominal), max(high, nominal), sure.low, sure.high)
    return Bounds(nominal, min(low, nominal), max(high, nominal), float(sure), float(sure))


def monte_carlo(
    formula: Formula, spreads: Mapping[str, Spread], samples: int, seed: int = 1
) -> dict[str, np.ndarray]:
    """Samples of every output, with each input uniform between its limits and independent of the others.

    Uniform is the cautious choice where only limits are published (common practice, no source).

    Args:
        formula: What to compute; called with arrays.
        spreads: Inputs by name.
        samples: How many, at least one.
        seed: Start of NumPy's default generator; equal seeds give equal samples.

    Returns:
        One array of ``samples`` floats for each output; shape () for one that no spread input moves.

    Raises:
        InputError: If there are no samples, or more than ten million.
    """
    if not 1 <= samples <= 10_000_000:
        raise InputError(f"{samples} samples", expected="1 to 10,000,000")
    generator = np.random.default_rng(seed)
    found: dict[str, list[np.ndarray]] = {}
    for start in range(0, samples, _BLOCK):  # blocks stay in the processor's cache: twice as quick
        count = min(_BLOCK, samples - start)
        drawn: dict[str, Num] = {
            name: spread.nominal if spread.exact else generator.uniform(spread.low, spread.high, count)
            for name, spread in spreads.items()
        }
        for name, value in formula(drawn).items():
            found.setdefault(name, []).append(np.asarray(value, dtype=float))
    return {
        name: blocks[0] if blocks[0].ndim == 0 else np.concatenate(blocks) for name, blocks in found.items()
    }
