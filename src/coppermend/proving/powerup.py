"""Whether power may be put on the board, from what is recorded. Measures nothing itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

# Common practice, no source: a rail that reads less than this to ground is taken for a short.
SHORT_OHM = 1.0


@dataclass(frozen=True, slots=True)
class PowerFacts:
    """What is recorded about safety before power.

    ``batteries`` and ``rails`` are what the board has; ``batteries_off`` those recorded as taken off;
    ``rails_ohm`` the recorded resistance of each rail to ground [Ω], None for open (no reading in range).
    ``charge_gone`` says that the discharge of stored voltage was confirmed by measurement.
    """

    batteries: tuple[str, ...] = ()
    batteries_off: frozenset[str] = frozenset()
    rails: tuple[str, ...] = ()
    rails_ohm: Mapping[str, float | None] = field(default_factory=dict)
    charge_gone: bool = False


@dataclass(frozen=True, slots=True)
class PowerUp:
    """Whether power is allowed, and if not, what is missing, one sentence each."""

    allowed: bool
    missing: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """allowed, missing."""
        return {"allowed": self.allowed, "missing": list(self.missing)}


def power_up_allowed(facts: PowerFacts) -> PowerUp:
    """Refuse power until battery removal, every rail's resistance and the discharge are on record.

    A rail recorded as a short is refused as well.

    >>> power_up_allowed(PowerFacts(charge_gone=True, rails=("+5V",))).missing
    ('Resistance of +5V to ground is not recorded.',)
    """
    missing = [
        f"Battery {battery} is not recorded as removed."
        for battery in facts.batteries
        if battery not in facts.batteries_off
    ]
    for rail in facts.rails:
        if rail not in facts.rails_ohm:
            missing.append(f"Resistance of {rail} to ground is not recorded.")
        elif (ohm := facts.rails_ohm[rail]) is not None and ohm < SHORT_OHM:
            missing.append(f"{rail} reads {ohm:g} Ω to ground: find the short first.")
    if not facts.charge_gone:
        missing.append("Discharge of stored voltage is not confirmed by measurement.")
    return PowerUp(not missing, tuple(missing))
