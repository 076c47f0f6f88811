"""Values made from what there is: one part, or two in series or parallel, from a series or from the shelf."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from coppermend.errors import InputError
from coppermend.quantity import format_quantity, parse_quantity
from coppermend.rework.codes.series import series_values

Way = Literal["one", "series", "parallel"]


@dataclass(frozen=True, slots=True)
class Made:
    """A value made of one or two parts. ``error`` is the deviation from what was wanted, as a fraction."""

    value: float
    parts: tuple[float, ...]
    way: Way
    error: float
    unit: str

    @property
    def words(self) -> str:
        """How it is made: "2.2 kΩ in parallel with 4.7 kΩ"."""
        joint = {"one": "", "series": " in series with ", "parallel": " in parallel with "}[self.way]
        return joint.join(format_quantity(part, self.unit) for part in self.parts)

    def to_json(self) -> dict[str, Any]:
        """value, parts, way, error, unit, words."""
        return {
            "value": self.value,
            "parts": list(self.parts),
            "way": self.way,
            "error": self.error,
            "unit": self.unit,
            "words": self.words,
        }


def make_value(
    target: float, stock: Sequence[float], unit: str = "Ω", *, pairs: bool = True, most: int = 5
) -> tuple[Made, ...]:
    """The ways to make ``target`` from ``stock``, closest first; of equals the simpler.

    Args:
        target: Wanted value [unit], greater than zero.
        stock: Values at hand [unit], each greater than zero; each may be used twice.
        unit: "Ω", "H" (series adds) or "F" (parallel adds).
        pairs: Whether two parts may be joined.
        most: How many ways to return.

    Returns:
        At most ``most`` ways; () when there is no stock.

    Raises:
        InputError: If target or a stock value is not positive, or the unit is another.

    Source: R = R1 + R2, R = R1·R2/(R1 + R2); capacitors the other way round.

    >>> make_value(1500.0, [1000.0, 2200.0, 3300.0, 4700.0])[0].words
    '2.2 kΩ in parallel with 4.7 kΩ'
    """
    values = np.unique(np.asarray(stock, dtype=float))
    if unit not in ("Ω", "F", "H"):
        raise InputError(f"parts with the unit {unit!r}", expected="Ω, F or H")
    if not target > 0 or not np.all(values > 0):
        raise InputError("a value that is not above zero", expected="positive values only")
    if not len(values):
        return ()
    ways = [_best(values, target, unit, most)]
    if pairs:
        ways += _pairs(values, target, unit, most)
    ordered = sorted(
        (m for some in ways for m in some), key=lambda m: (round(abs(m.error), 12), len(m.parts))
    )
    return tuple(ordered[:most])


def _best(values: np.ndarray, target: float, unit: str, most: int) -> list[Made]:
    order = np.argsort(np.abs(values - target), kind="stable")[:most]
    return [Made(float(v), (float(v),), "one", float(v / target - 1), unit) for v in values[order]]


def _pairs(values: np.ndarray, target: float, unit: str, most: int) -> list[list[Made]]:
    first, second = np.triu_indices(len(values))
    a, b = values[first], values[second]
    added, divided = a + b, a * b / (a + b)
    made = {"series": divided, "parallel": added} if unit == "F" else {"series": added, "parallel": divided}
    found = []
    for way, results in made.items():
        order = np.argsort(np.abs(results - target), kind="stable")[:most]
        found.append([
            Made(float(results[n]), (float(a[n]), float(b[n])), way, float(results[n] / target - 1), unit)  # type: ignore[arg-type]
            for n in order
        ])  # fmt: skip
    return found


def stock_of(series: str, target: float, unit: str = "Ω") -> tuple[float, ...]:
    """The values of a series that can help to make ``target``: two decades around it.

    Raises:
        InputError: If there is no such series, or the target is not positive.
    """
    if not 0 < target < float("inf"):
        raise InputError(f"{target:g} {unit} cannot be made", expected="a value above zero")
    return series_values(series, target / 100, target * 100)


def unit_of(text: str) -> str:
    """The unit that a typed value is meant in: farad or henry when it says so, else ohm.

    >>> unit_of("100n"), unit_of("22 mH"), unit_of("4k7")
    ('F', 'H', 'Ω')
    """
    if re.search(r"[fF]\b|^\d*[pnuµ]\d*$", text.strip()):
        return "F"
    return "H" if re.search(r"H\b", text) else "Ω"


def ways_to_make(wanted: str, series: str = "", shelf: str = "") -> tuple[Made, ...]:
    """The ways to make a typed value from a series, or from what is on the shelf.

    Args:
        wanted: Value as typed, such as "7.25k" or "94nF".
        series: "E12" and the like; "" is E24. Not used with a shelf.
        shelf: Values at hand, between commas, semicolons or blanks.

    Raises:
        InputError: If a value cannot be read or is not positive, or there is no such series.

    >>> ways_to_make("7.25k", "E12")[0].words
    '470 Ω in series with 6.8 kΩ'
    """
    unit = unit_of(wanted)
    target = parse_quantity(wanted, unit)
    if shelf.strip():
        stock: Sequence[float] = [
            parse_quantity(part, unit) for part in re.split(r"[;,\s]+", shelf.strip()) if part
        ]
    else:
        stock = stock_of((series or "E24").strip().upper(), target, unit)
    return make_value(target, stock, unit)
