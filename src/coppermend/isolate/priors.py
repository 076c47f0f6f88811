"""How likely each thing is to have failed before anything is measured, and why. No signals, no readings.

A weight is a published failure rate, multiplied by what is known of this board: age, damage, history, rework.
"""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from importlib import resources
from typing import Any

from coppermend.board.atrisk import Touch
from coppermend.board.kinds import kind_of
from coppermend.board.model import Part
from coppermend.board.parttypes import PartLibrary

# Common practice, no source: what lay in leaked electrolyte fails 10 to 100 times as often.
DAMAGE_LEAST, DAMAGE_MOST = 10.0, 100.0
COMEBACK_FACTOR, REWORKED_FACTOR = 3.0, 4.0
TYPE_FACTOR, TYPE_MOST = 0.5, 3.0  # a bad type counts less than a bad place, and only so much


@dataclass(frozen=True, slots=True)
class Rate:
    """A failure rate [per 1e6 h] with its factors, and where it comes from in words."""

    per_million_h: float
    quality: float
    age: float
    source: str

    @property
    def weight(self) -> float:
        """Rate times factors: what hypotheses are weighed with."""
        return self.per_million_h * self.quality * self.age


@lru_cache(maxsize=1)
def _table() -> Mapping[str, Any]:
    text = resources.files("coppermend.isolate.data").joinpath("rates.toml").read_text("utf-8")
    return tomllib.loads(text)


def rate_of_class(failure_class: str) -> Rate:
    """The rate of a failure class of the part-type library.

    Raises:
        KeyError: If the table has no such class, which is a mistake in the library.

    >>> round(rate_of_class("cpu_8bit").weight, 3)
    0.48
    """
    row = _table()["class"][failure_class]
    return Rate(row["rate"], row["quality"], row.get("age", 1.0), f"{failure_class}: {_table()['source']}")


def rate_of(part: Part, library: PartLibrary) -> Rate:
    """The rate of a fitted part: by its type, else by its kind, else that of small logic."""
    known = library.of(part)
    if known and known.failure_class in _table()["class"]:
        return rate_of_class(known.failure_class)
    kind = kind_of(part, library) or "logic"
    return rate_of_class(_table()["kind"].get(kind, "digital_bipolar"))


@dataclass(frozen=True)
class Knowledge:
    """What is known of this board besides its circuit.

    Args:
        touch: What the damage touched, if a damage map was given.
        comebacks: Refdes or net -> how often it was the fault on boards of this type, or came back.
        reworked: Refdes and nets that were just worked on.
        same_type: Refdes -> how often a part of its type was the fault, on any board.
    """

    touch: Touch | None = None
    comebacks: Mapping[str, int] = field(default_factory=dict)
    reworked: Collection[str] = ()
    same_type: Mapping[str, int] = field(default_factory=dict)

    def factor(self, name: str) -> float:
        """What multiplies the weight of a part or net called ``name``.

        >>> Knowledge(comebacks={"U3": 2}).factor("U3")
        7.0
        """
        factor = 1.0 + COMEBACK_FACTOR * self.comebacks.get(name, 0) + self._of_type(name)
        if name in self.reworked:
            factor *= REWORKED_FACTOR
        return factor * damage_factor(self.severity(name))

    def _of_type(self, name: str) -> float:
        return min(TYPE_FACTOR * self.same_type.get(name, 0), TYPE_MOST)

    def severity(self, name: str) -> float:
        """Worst damage [0..1] on a part or net."""
        if self.touch is None:
            return 0.0
        return max(self.touch.severity_of_part.get(name, 0.0), self.touch.severity_of_net.get(name, 0.0))

    def why(self, name: str) -> tuple[str, ...]:
        """The reasons beyond the failure rate, in words."""
        reasons = []
        if severity := self.severity(name):
            reasons.append(f"damage of severity {severity:.2f}: x{damage_factor(severity):.0f}")
        if count := self.comebacks.get(name, 0):
            reasons.append(f"was the fault {count} times before: x{1 + COMEBACK_FACTOR * count:.0f}")
        if count := self.same_type.get(name, 0):
            reasons.append(f"parts of its type were the fault {count} times: +{self._of_type(name):g}")
        if name in self.reworked:
            reasons.append(f"was just worked on: x{REWORKED_FACTOR:.0f}")
        return tuple(reasons)


def damage_factor(severity: float) -> float:
    """1 without damage, then 10 for the lightest to 100 for the worst.

    >>> damage_factor(0.0), damage_factor(1.0)
    (1.0, 100.0)
    """
    return 1.0 if severity <= 0 else DAMAGE_LEAST + (DAMAGE_MOST - DAMAGE_LEAST) * severity
