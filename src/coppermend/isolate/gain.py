"""What a measurement would tell: expected information about the unit at fault [bit]. Arrays only, no board."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from coppermend.isolate.states import MODES, SEEN, Floats, entropy_bits

Numbers = NDArray[np.int64]
# P(what a technician says | mode), shape (modes, outcomes); the same for every net.
SAID: Final[Floats] = MODES @ SEEN
_MODES: Final = len(MODES)
_SAID_BITS: Final[Floats] = entropy_bits(SAID)
NEGLIGIBLE = 1e-6


def totals(number: Numbers, weight: Floats, count: int) -> Floats:
    """Sums of ``weight`` by ``number``, shape (count,)."""
    return np.asarray(np.bincount(number, weight, minlength=count), dtype=np.float64)


@dataclass(frozen=True)
class Suspicion:
    """The faults that still count, renormalised: their numbers, probabilities, and units from 0 up.

    ``unit_numbers[k]`` is the number that unit ``k`` has on the board.
    """

    faults: Numbers
    probability: Floats
    unit: Numbers
    unit_numbers: Numbers

    @classmethod
    def of(cls, posterior: Floats, unit_of_fault: Numbers) -> Suspicion:
        """Keep what is likelier than ``NEGLIGIBLE``."""
        faults = np.flatnonzero(posterior > NEGLIGIBLE)
        unit_numbers, unit = np.unique(unit_of_fault[faults], return_inverse=True)
        kept = posterior[faults]
        return cls(faults, kept / kept.sum(), unit.astype(np.int64), unit_numbers)

    def by_unit(self) -> Floats:
        """Probability of each unit."""
        return totals(self.unit, self.probability, len(self.unit_numbers))

    def joint_modes(self, modes: NDArray[np.uint8]) -> Floats:
        """P(unit, outcome) of a logic measurement, from the mode of every kept fault; shape (units, outcomes)."""
        keys = self.unit * _MODES + modes
        counts = totals(keys, self.probability, len(self.unit_numbers) * _MODES)
        return np.asarray(counts.reshape(-1, _MODES) @ SAID)

    def joint_two(self, shown: Floats) -> Floats:
        """P(unit, outcome) of a yes-no measurement with P(yes | kept fault) ``shown``; shape (units, 2)."""
        yes = totals(self.unit, self.probability * shown, len(self.unit_numbers))
        return np.column_stack([yes, self.by_unit() - yes])

    def after(self, outcome_likelihood: Floats) -> Suspicion:
        """The suspicion after an outcome with P(outcome | kept fault)."""
        weights = self.probability * outcome_likelihood
        return Suspicion(self.faults, weights / weights.sum(), self.unit, self.unit_numbers)


def information_bits(joint: Floats) -> float:
    """Mutual information between unit and outcome [bit].

    Args:
        joint: P(unit, outcome), shape (units, outcomes), sums to 1.

    Source: Shannon's definition, I = H(outcome) + H(unit) - H(unit, outcome).

    >>> round(information_bits(np.array([[0.5, 0.0], [0.0, 0.5]])), 6)
    1.0
    """
    outcome, unit = joint.sum(axis=0), joint.sum(axis=1)
    bits = entropy_bits(outcome) + entropy_bits(unit) - entropy_bits(joint.ravel())
    return max(float(bits), 0.0)


def screening_bits(mass: Floats) -> Floats:
    """Upper estimate for many nets at once: information about the fault (not its unit) [bit].

    Args:
        mass: P(mode) at each net, shape (modes, nets).
    """
    outcome = mass.T @ SAID
    return np.asarray(entropy_bits(outcome) - mass.T @ _SAID_BITS)
