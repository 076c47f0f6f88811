"""Diagnosis by consistency: conflicts, minimal diagnoses and hitting sets over named components. Knows no board.

A component set is a conflict when not all of it can be sound, given what was observed; a diagnosis hits every
conflict. Source: R. Reiter, "A theory of diagnosis from first principles", and J. de Kleer and B. Williams,
"Diagnosing multiple faults", both Artificial Intelligence 32 (1987), from memory.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable, Iterable, Mapping, Sequence
from itertools import combinations
from typing import TypeVar

import numpy as np

from coppermend.isolate.states import entropy_bits

T = TypeVar("T", bound=Hashable)
Consistent = Callable[[frozenset[T]], bool]  # may exactly these components be broken, all others sound?


def minimal(sets: Iterable[frozenset[T]]) -> tuple[frozenset[T], ...]:
    """Those sets that contain no other of them, smallest first.

    >>> minimal([frozenset("ab"), frozenset("a"), frozenset("bc")])
    (frozenset({'a'}), frozenset({'b', 'c'}))
    """
    kept: list[frozenset[T]] = []
    for one in sorted(set(sets), key=lambda s: (len(s), sorted(map(str, s)))):
        if not any(other <= one for other in kept):
            kept.append(one)
    return tuple(kept)


def hitting_sets(families: Iterable[Collection[T]], most: int | None = None) -> tuple[frozenset[T], ...]:
    """Minimal sets that share a member with every family, smallest first.

    Args:
        families: Sets of components; an empty family cannot be hit.
        most: Leave out sets of more members than this.

    Returns:
        () when some family is empty; one empty set when there is no family.

    >>> hitting_sets([{"a", "b"}, {"b"}])
    (frozenset({'b'}),)
    """
    found: tuple[frozenset[T], ...] = (frozenset(),)
    for family in minimal(frozenset(family) for family in families):
        hit = [one for one in found if one & family]
        grown = [one | {member} for one in found if not one & family for member in family]
        found = minimal([*hit, *(one for one in grown if most is None or len(one) <= most)])
    return found


def minimal_diagnoses(components: Sequence[T], consistent: Consistent[T]) -> tuple[frozenset[T], ...]:
    """Minimal sets of broken components that agree with what was observed, smallest first.

    Args:
        components: All components.
        consistent: Whether exactly these may be broken; must hold for every superset of one for which it holds.
    """
    found: list[frozenset[T]] = []
    for size in range(len(components) + 1):
        for chosen in map(frozenset, combinations(components, size)):
            if not any(one <= chosen for one in found) and consistent(chosen):
                found.append(chosen)
    return tuple(found)


def minimal_conflicts(components: Sequence[T], consistent: Consistent[T]) -> tuple[frozenset[T], ...]:
    """Minimal sets of components that cannot all be sound, smallest first; as ``minimal_diagnoses``."""
    found: list[frozenset[T]] = []
    for size in range(len(components) + 1):
        for chosen in map(frozenset, combinations(components, size)):
            if not any(one <= chosen for one in found) and not consistent(frozenset(components) - chosen):
                found.append(chosen)
    return tuple(found)


def diagnosis_weights(
    components: Sequence[T], consistent: Consistent[T], broken: float
) -> dict[frozenset[T], float]:
    """P(exactly these are broken | what was observed), for every consistent set.

    Args:
        components: All components, broken independently of each other.
        consistent: As for ``minimal_diagnoses``.
        broken: P(a component is broken) before anything was seen.
    """
    sets = (frozenset(c) for size in range(len(components) + 1) for c in combinations(components, size))
    raw = {
        one: broken ** len(one) * (1 - broken) ** (len(components) - len(one))
        for one in sets
        if consistent(one)
    }
    total = sum(raw.values())
    return {one: weight / total for one, weight in raw.items()}


def probe_bits(weights: Mapping[frozenset[T], float], predicted: Callable[[frozenset[T]], Hashable]) -> float:
    """Entropy of what a probe will show [bit]: the probe with the most tells most.

    Args:
        weights: As from ``diagnosis_weights``.
        predicted: What the probe shows if exactly these are broken; None where nothing is predicted, which
            counts as one outcome.
    """
    chance: dict[Hashable, float] = {}
    for one, weight in weights.items():
        shown = predicted(one)
        chance[shown] = chance.get(shown, 0.0) + weight
    return float(entropy_bits(np.array(list(chance.values()))))
