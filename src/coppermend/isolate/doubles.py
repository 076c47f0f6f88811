"""How well the search does on boards with two planted faults: find one, repair it, go on with what still holds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coppermend.isolate.isolation import Isolation
from coppermend.isolate.planting import Case, Workshop
from coppermend.isolate.trial import by_information, hear, measure, same, site_of

MOST_REPAIRS = 4


@dataclass(frozen=True)
class DoubleSearch:
    """One board with two faults: what they are, which were found, and how many measurements and repairs it took."""

    units: tuple[tuple[str, str], ...]
    found: tuple[tuple[str, str], ...]
    measurements: int
    repairs: int

    @property
    def both(self) -> bool:
        """Whether nothing was left at the end."""
        return len(self.found) == len(self.units)


def double_trial(base: Isolation, workshop: Workshop, count: int, seed: int) -> tuple[DoubleSearch, ...]:
    """Search boards on which two faults are planted and run together.

    The search runs to its stop. Of its first three suspects, and of the likeliest pair where it offers one, what is
    at fault is repaired; else the first suspect is, in vain. Then it goes on with what still holds, up to
    ``MOST_REPAIRS`` stops in all. A fault that shows nothing once the other is repaired counts as found with it:
    the board works.
    """
    cases = workshop.pairs(count, np.random.default_rng(seed))
    return tuple(search_double(base, workshop, case) for case in cases)


def search_double(base: Isolation, workshop: Workshop, case: Case) -> DoubleSearch:
    """One such board."""
    units = tuple(defect.unit for defect in case.defects)
    state, now, found, measured = base.after_nothing(), case, list[tuple[str, str]](), 0
    for repairs in range(1, MOST_REPAIRS + 1):
        hear(state, workshop, now)
        measured += len(measure(state, workshop, now, by_information))
        hit, unit = _repaired(state, now)
        state = state.after_repair(*unit)
        if hit is None:
            continue
        found.append(hit)
        left = [defect for defect in now.defects if not same(site_of(defect.unit), site_of(hit))]
        alone = workshop.alone(left[0]) if left else None
        if alone is None:
            return DoubleSearch(units, units, measured, repairs)
        now = alone
    return DoubleSearch(units, tuple(found), measured, MOST_REPAIRS)


def _repaired(state: Isolation, case: Case) -> tuple[tuple[str, str] | None, tuple[str, str]]:
    """The unit at fault that is among the accused, and the unit that is repaired: that one, or the first in vain."""
    accused = [(suspect.kind, suspect.name) for suspect in state.suspects(3)]
    accused += [(unit.kind, unit.name) for pair in state.pairs(1) for unit in pair.units]
    for unit in accused:
        for defect in case.defects:
            if same(site_of(unit), site_of(defect.unit)):
                return defect.unit, unit
    return None, accused[0]
