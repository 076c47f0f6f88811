"""Conflicts, diagnoses and hitting sets, against a published example and a SAT-based solver."""

from __future__ import annotations

import random

import pytest

from coppermend.isolate.diagnosis import (
    diagnosis_weights,
    hitting_sets,
    minimal_conflicts,
    minimal_diagnoses,
    probe_bits,
)

# Three multipliers and two adders: de Kleer and Williams, "Diagnosing multiple faults" (1987), figure 1, from
# memory; inputs 3, 2, 2, 3, 3, observed F = 10 and G = 12 where 12 and 12 were due.
PARTS = ("A1", "A2", "M1", "M2", "M3")
INPUTS = {"M1": (3, 2), "M2": (2, 3), "M3": (2, 3)}


def _products(broken: frozenset[str]) -> dict[str, int | None]:
    """x, y, z as far as they follow from the sound parts and F = 10, G = 12; None where nothing does."""
    known: dict[str, int | None] = {
        name: None if part in broken else INPUTS[part][0] * INPUTS[part][1]
        for name, part in (("x", "M1"), ("y", "M2"), ("z", "M3"))
    }
    for _ in range(2):
        for adder, total, (a, b) in (("A1", 10, ("x", "y")), ("A2", 12, ("y", "z"))):
            for one, other in ((a, b), (b, a)):
                if adder not in broken and known[one] is None and known[other] is not None:
                    known[one] = total - known[other]
    return known


def _consistent(broken: frozenset[str]) -> bool:
    known = _products(broken)
    sums = (("A1", 10, "x", "y"), ("A2", 12, "y", "z"))
    return all(
        adder in broken or known[a] is None or known[b] is None or known[a] + known[b] == total
        for adder, total, a, b in sums
    )


def _sets(*names: str) -> set[frozenset[str]]:
    return {frozenset(name.split()) for name in names}


def test_the_published_conflicts_are_found() -> None:
    """The two minimal conflicts of the published circuit, and no other."""
    assert set(minimal_conflicts(PARTS, _consistent)) == _sets("A1 M1 M2", "A1 A2 M1 M3")


def test_the_published_diagnoses_are_found() -> None:
    """The four minimal diagnoses of the published circuit; they hit the conflicts."""
    diagnoses = minimal_diagnoses(PARTS, _consistent)

    assert set(diagnoses) == _sets("A1", "M1", "A2 M2", "M2 M3")
    assert set(hitting_sets(minimal_conflicts(PARTS, _consistent))) == set(diagnoses)


def test_the_probabilities_of_the_published_circuit() -> None:
    """With one fault in a hundred each: 27 consistent sets, A1 and M1 alike, 1.35945 bit (brute force, by hand)."""
    weights = diagnosis_weights(PARTS, _consistent, 0.01)

    marginal = {part: sum(w for one, w in weights.items() if part in one) for part in PARTS}
    assert len(weights) == 27 and weights[frozenset({"A1"})] == pytest.approx(0.478026, abs=5e-7)
    assert marginal == pytest.approx(
        {"A1": 0.497635, "M1": 0.497635, "M2": 0.019609, "M3": 0.014780, "A2": 0.014780}, abs=5e-7
    )
    assert probe_bits(weights, lambda broken: broken) == pytest.approx(1.35945, abs=5e-6)


def test_the_published_probe_is_chosen() -> None:
    """X tells most, as published; y and z hardly anything."""
    weights = diagnosis_weights(PARTS, _consistent, 0.01)

    bits = {name: probe_bits(weights, lambda broken, n=name: _products(broken)[n]) for name in "xyz"}
    assert bits == pytest.approx({"x": 1.0408, "y": 0.0815, "z": 0.0474}, abs=5e-5)


def test_hitting_sets_equal_those_of_a_sat_solver() -> None:
    """On 200 random families python-sat's implicit hitting set enumerator finds the very same minimal sets."""
    hitman = pytest.importorskip("pysat.examples.hitman")
    rng = random.Random(7)
    for _ in range(200):
        families = [rng.sample(range(9), rng.randint(1, 4)) for _ in range(rng.randint(1, 7))]

        with hitman.Hitman(bootstrap_with=families, htype="sorted") as solver:
            expected = {frozenset(one) for one in solver.enumerate()}

        assert set(hitting_sets(families)) == expected


def test_a_family_without_members_cannot_be_hit() -> None:
    """No set hits an empty family; no family is hit by the empty set."""
    assert hitting_sets([{"a"}, set()]) == () and hitting_sets([]) == (frozenset(),)


def test_large_sets_are_left_out() -> None:
    """With a limit only the sets up to it remain."""
    families = [{"a", "b"}, {"c", "d"}]

    assert hitting_sets(families, most=1) == () and len(hitting_sets(families, most=2)) == 4
