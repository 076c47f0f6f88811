"""What a measurement would tell: expected information about the unit at fault [bit]. Arrays only, no board."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from coppermend.isolate.states import MODES, SEEN, Floats, entropy_bits

Numbers = NDArray[np.int64]
# P(what a technician says | mode), shape (modes, outcomes); the same for every net.
SAID: Final[Floats] = MODES @ SEEN
_SAID_BITS: Final[Floats] = entropy_bits(SAID)
NEGLIGIBLE = 1e-6
_FEW = 8  # outcomes


def totals(number: Numbers, weight: Floats, count: int) -> Floats:
    """Sums of ``weight`` by ``number``, shape (count,)."""
    return np.asarray(np.bincount(number, weight, minlength=count), dtype=np.float64)


def said_again(seen: Floats) -> Floats:
    """What a technician says where something was seen already, shape (2 modes, outcomes).

    A net's state does not change between two looks, so that a second look at it tells little: the first half of
    the rows is P(said | mode, seen before); the second half P(said | mode), for faults that the two pins show
    differently.

    Args:
        seen: P(everything seen there so far | state), shape (states,).
    """
    weights = MODES * seen
    return np.vstack([weights / weights.sum(axis=1, keepdims=True) @ SEEN, SAID])


@dataclass(frozen=True)
class Suspicion:
    """The faults that still count, renormalised: their numbers, probabilities, and units from 0 up.

    Faults of one unit stand together, units in order; ``unit_numbers[k]`` is the number that unit ``k`` has on
    the board.
    """

    faults: Numbers
    probability: Floats
    unit: Numbers
    unit_numbers: Numbers

    @classmethod
    def of(cls, posterior: Floats, unit_of_fault: Numbers, least: float = NEGLIGIBLE) -> Suspicion:
        """Keep what is likelier than ``least``; the likeliest in any case."""
        faults = np.flatnonzero(posterior > min(least, float(posterior.max()) / 2))
        number = unit_of_fault[faults]
        order = np.argsort(number, kind="stable")
        faults, number = faults[order], number[order]
        first = np.append(True, number[1:] != number[:-1])
        kept = posterior[faults]
        return cls(faults, kept / kept.sum(), np.cumsum(first) - 1, number[first])

    @cached_property
    def _by_unit(self) -> Floats:
        return totals(self.unit, self.probability, len(self.unit_numbers))

    def by_unit(self) -> Floats:
        """Probability of each unit; not to be written to."""
        return self._by_unit

    def joint_modes(self, modes: NDArray[np.uint8], said: Floats = SAID) -> Floats:
        """P(unit, outcome) of a logic measurement, shape (units, outcomes).

        Args:
            modes: The row of ``said`` that holds for every kept fault.
            said: P(what a technician says | mode), shape (rows, outcomes).
        """
        keys = self.unit * len(said) + modes
        counts = totals(keys, self.probability, len(self.unit_numbers) * len(said))
        return np.asarray(counts.reshape(-1, len(said)) @ said)

    def joint_two(self, shown: Floats) -> Floats:
        """P(unit, outcome) of a yes-no measurement with P(yes | kept fault) ``shown``; shape (units, 2)."""
        yes = totals(self.unit, self.probability * shown, len(self.unit_numbers))
        return np.column_stack([yes, self.by_unit() - yes])

    def heaviest(self, share: float) -> NDArray[np.bool_]:
        """Which kept faults make up ``share`` of the suspicion, likeliest first; shape (kept faults,)."""
        order = np.argsort(-self.probability)
        needed = int(np.searchsorted(np.cumsum(self.probability[order]), share)) + 1
        kept = np.zeros(len(order), dtype=bool)
        kept[order[:needed]] = True
        return kept

    def only(self, kept: NDArray[np.bool_]) -> Suspicion:
        """The suspicion among ``kept`` faults alone."""
        probability, unit = self.probability[kept], self.unit[kept]
        numbers, renumbered = np.unique(unit, return_inverse=True)
        return Suspicion(
            self.faults[kept], probability / probability.sum(), renumbered.astype(np.int64),
            self.unit_numbers[numbers],
        )  # fmt: skip

    def bits_after(self, likelihoods: Sequence[Floats], outcomes: Sequence[Floats]) -> list[Floats]:
        """For each outcome with P(outcome | kept fault) what every further measurement would then tell [bit].

        Args:
            likelihoods: One array of shape (kept faults,) for each outcome.
            outcomes: Of each further measurement P(outcome | kept fault), shape (kept faults, outcomes).
        """
        beside, sizes = np.hstack(outcomes), [one.shape[1] for one in outcomes]
        bounds = np.cumsum([0, *sizes])[:-1]
        found = []
        for likelihood in likelihoods:
            weights = self.probability * likelihood
            weights /= weights.sum()
            joint = sparse.csr_array((weights, self._place, self._bounds)) @ beside
            unit = totals(self.unit, weights, len(self.unit_numbers))
            own = np.add.reduceat(_surprise(joint), bounds)
            outcome = np.add.reduceat(_surprise(outcome_of(joint)[None]), bounds)
            found.append(np.maximum(outcome + float(entropy_bits(unit)) - own, 0.0))
        return found

    @cached_property
    def _place(self) -> Numbers:
        return np.arange(len(self.faults))

    @cached_property
    def _bounds(self) -> Numbers:
        """Where each unit's faults begin, and where the last ends."""
        return np.searchsorted(self.unit, np.arange(len(self.unit_numbers) + 1))


def _surprise(joint: Floats) -> Floats:
    """Minus the sum of p log2 p along the columns, shape (columns,); zeros count nothing."""
    return -outcome_of(joint * np.log2(np.maximum(joint, 1e-300)))


def information_bits(joint: Floats) -> float:
    """Mutual information between unit and outcome [bit].

    Args:
        joint: P(unit, outcome), shape (units, outcomes), sums to 1.

    Source: Shannon's definition, I = H(outcome) + H(unit) - H(unit, outcome).

    >>> round(information_bits(np.array([[0.5, 0.0], [0.0, 0.5]])), 6)
    1.0
    """
    bits = entropy_bits(outcome_of(joint)) + entropy_bits(_unit_of(joint)) - entropy_bits(joint.ravel())
    return max(float(bits), 0.0)


def outcome_of(joint: Floats) -> Floats:
    """P(outcome) from P(unit, outcome), shape (outcomes,)."""
    return np.asarray(np.einsum("ij->j", joint))  # down tall columns several times quicker than sum


def _unit_of(joint: Floats) -> Floats:
    """P(unit) from P(unit, outcome), shape (units,): the few columns added up, quicker than many short rows."""
    return sum(joint.T[1:], joint[:, 0]) if 0 < joint.shape[1] < _FEW else joint.sum(axis=1)


def screening_bits(mass: Floats) -> Floats:
    """Upper estimate for many nets at once: information about the fault (not its unit) [bit].

    Args:
        mass: P(mode) at each net, shape (modes, nets).
    """
    outcome = mass.T @ SAID
    return np.asarray(entropy_bits(outcome) - mass.T @ _SAID_BITS)
