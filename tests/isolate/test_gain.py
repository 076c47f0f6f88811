"""Information of a measurement, against published and hand-computed figures."""

from __future__ import annotations

import numpy as np
import pytest

from coppermend.isolate.gain import Suspicion, information_bits, screening_bits
from coppermend.isolate.states import MODES, entropy_bits

PRIOR = np.array([0.4, 0.3, 0.2, 0.1])


@pytest.mark.parametrize(
    ("probabilities", "bits"),
    [(PRIOR, 1.846439), ([0.5, 0.25, 0.125, 0.125], 1.75), ([1 / 6] * 6, 2.584963), ([0.5, 0.2, 0.15, 0.1, 0.05], 1.923220), ([1.0, 0.0], 0.0)],
)  # fmt: skip
def test_entropy(probabilities: list[float], bits: float) -> None:
    """Entropies computed by hand from Shannon's definition; zeros count nothing."""
    assert float(entropy_bits(np.array(probabilities))) == pytest.approx(bits, abs=5e-7)


@pytest.mark.parametrize(("split", "bits"), [((0, 3), 1.0), ((0,), 0.970951), ((0, 1), 0.881291)])
def test_a_binary_test_tells_the_entropy_of_its_split(split: tuple[int, ...], bits: float) -> None:
    """With priors .4 .3 .2 .1 the test that holds the first and the last against the rest tells most (by hand)."""
    hit = np.zeros(4)
    hit[list(split)] = 1.0
    suspicion = Suspicion(np.arange(4), PRIOR, np.arange(4), np.arange(4))

    assert information_bits(suspicion.joint_two(hit)) == pytest.approx(bits, abs=5e-7)


def test_an_outcome_that_depends_on_nothing_tells_nothing() -> None:
    """A meter that says good half the time whatever is wrong is worth no step."""
    assert information_bits(np.outer(PRIOR, [0.5, 0.5])) == pytest.approx(0.0, abs=1e-12)


def test_faults_of_one_unit_need_not_be_told_apart() -> None:
    """Two ways in which one part fails count as one unit."""
    suspicion = Suspicion.of(np.array([0.3, 0.2, 0.5, 1e-9]), np.array([7, 7, 9, 4]))

    assert suspicion.unit_numbers.tolist() == [7, 9] and suspicion.by_unit() == pytest.approx([0.5, 0.5])
    assert information_bits(suspicion.joint_two(np.array([1.0, 0.0, 0.0]))) < 0.4


def test_screening_is_never_below_what_a_unit_can_tell() -> None:
    """The quick figure for many nets counts faults, so it is at least the information about units."""
    rng = np.random.default_rng(4)
    for _ in range(50):
        p = rng.dirichlet(np.ones(9))
        modes = rng.integers(0, len(MODES), 9).astype(np.uint8)
        suspicion = Suspicion.of(p, np.arange(9) // 3)
        mass = np.bincount(modes, p, minlength=len(MODES))[:, None]

        assert screening_bits(mass)[0] >= information_bits(suspicion.joint_modes(modes)) - 1e-6


def test_what_a_second_step_tells_is_bayes_and_shannon() -> None:
    """After an outcome that leaves 1:1:0 a test of the first against the others tells 1 bit, after 0:0:1 nothing."""
    suspicion = Suspicion.of(np.full(3, 1 / 3), np.arange(3))
    first = np.array([[1.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
    second = np.array([[1.0, 0.0], [0.0, 1.0], [0.0, 1.0]])

    left, right = suspicion.bits_after([first[:, 0], first[:, 1]], [second, np.full((3, 2), 0.5)])

    assert left == pytest.approx([1.0, 0.0], abs=1e-9) and right == pytest.approx([0.0, 0.0], abs=1e-9)


def test_bits_after_equal_the_plain_formula() -> None:
    """On random beliefs the fast figure for the second step equals the mutual information worked out plainly."""
    rng = np.random.default_rng(8)
    for _ in range(20):
        suspicion = Suspicion.of(rng.dirichlet(np.ones(12)), np.arange(12) // 2)
        seen = rng.uniform(0.05, 1.0, 12)
        outcomes = rng.dirichlet(np.ones(4), 12)
        weights = suspicion.probability * seen
        after = Suspicion(suspicion.faults, weights / weights.sum(), suspicion.unit, suspicion.unit_numbers)
        joint = np.array([(after.probability[after.unit == u][:, None] * outcomes[after.unit == u]).sum(axis=0)
                          for u in range(6)])  # fmt: skip

        assert suspicion.bits_after([seen], [outcomes])[0][0] == pytest.approx(
            information_bits(joint), abs=1e-9
        )


def test_the_heaviest_faults_carry_the_share_that_is_asked() -> None:
    """Of .4 .3 .2 .1 the first two make 60 %, and what is left of a suspicion is renormalised."""
    suspicion = Suspicion.of(PRIOR, np.array([5, 7, 7, 9]))

    kept = suspicion.heaviest(0.6)

    assert kept.tolist() == [True, True, False, False]
    assert suspicion.only(kept).unit_numbers.tolist() == [5, 7]
    assert suspicion.only(kept).by_unit() == pytest.approx([4 / 7, 3 / 7])
