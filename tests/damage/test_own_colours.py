"""What the network left open near a leak is judged by the colours of its sure cells."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.optimize

from coppermend.damage.features import COUNT
from coppermend.damage.own_colours import by_own_colours, logistic_fit

ROWS, COLUMNS = 60, 160
LEFT, RIGHT = 30, 70  # where the leak is; the network is unsure of 8 columns at each end


def leak(seed: int = 0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Chances, planes and truth of a band of crust that is paler than the mask, with noise in every plane."""
    rng = np.random.default_rng(seed)
    truth = np.zeros((ROWS, COLUMNS), bool)
    ends = rng.integers(-6, 7, (2, ROWS))
    for row in range(ROWS):
        truth[row, LEFT + ends[0, row] : RIGHT + ends[1, row]] = True
    planes = rng.normal(0, 0.1, (COUNT, ROWS, COLUMNS)).astype(np.float32)
    planes[:3] += truth * np.float32(0.8)
    chance = np.zeros((ROWS, COLUMNS), np.float32)
    chance[:, LEFT - 8 : RIGHT + 8] = 0.5
    chance[:, LEFT + 8 : RIGHT - 8] = 0.95
    return np.stack([chance, chance, 0.5 * chance]), planes, truth


def false_cells(chance: np.ndarray, truth: np.ndarray) -> int:
    return np.count_nonzero((chance >= 0.5) != truth)


@pytest.mark.parametrize("seed", range(3))
def test_an_open_edge_is_judged_by_colour(seed: int) -> None:
    """Where the network says one half, the photo's own colours decide; as good as all of them rightly."""
    chances, planes, truth = leak(seed)

    looked = by_own_colours(chances, planes)

    assert false_cells(chances[1], truth) > 200
    assert false_cells(looked[1], truth) < 10 and false_cells(looked[0], truth) < 10


def test_what_is_far_from_the_leak_stays() -> None:
    """The same colour elsewhere on the board is no crust."""
    chances, planes, _ = leak()
    planes[:3, :, 120:140] += 0.8

    looked = by_own_colours(chances, planes)

    assert not looked[:, :, 100:].any()
    assert np.array_equal(looked[:, :, :10], chances[:, :, :10])


def test_a_sure_network_is_not_overruled() -> None:
    """A patch of another colour amid sure crust stays crust: the photo's own answer has the smaller share."""
    chances, planes, _ = leak()
    chances[:, 25:35, 45:55] = 0.999
    planes[:3, 25:35, 45:55] -= 0.8

    assert (by_own_colours(chances, planes)[1, 25:35, 45:55] >= 0.6).all()


def test_too_little_to_learn_from_changes_nothing() -> None:
    """No sure crust, or none at all: the network's answer stands."""
    chances, planes, _ = leak()
    unsure = np.minimum(chances, 0.6)
    few = chances.copy()
    few[:, 10:] = 0
    few[:, :, LEFT + 20 :] = 0

    for kept in (unsure, few, np.zeros_like(chances)):
        assert np.array_equal(by_own_colours(kept.astype(np.float32), planes), kept.astype(np.float32))


def test_a_worse_grade_is_never_likelier() -> None:
    chances, planes, _ = leak()
    chances[2] = chances[1]

    looked = by_own_colours(chances, planes)

    assert (looked[0] >= looked[1]).all() and (looked[1] >= looked[2]).all()


def test_published_fit_of_o_rings() -> None:
    """Dalal, Fowlkes, Hoadley, "Risk analysis of the space shuttle", J. Am. Stat. Assoc. 84 (1989) 945: distress of O-rings on 23
    flights by temperature [deg F] gives 15.043 - 0.232 t (data and figures from memory)."""
    warm = [66, 70, 69, 68, 67, 72, 73, 70, 57, 63, 70, 78, 67, 53, 67, 75, 70, 81, 76, 79, 75, 76, 58]
    distress = [0, 1, 0, 0, 0, 0, 0, 0, 1, 1, 1, 0, 0, 1, 0, 0, 0, 0, 0, 0, 1, 0, 1]
    terms = np.column_stack([np.ones(23), np.array(warm, float)])

    assert logistic_fit(terms, np.array(distress, bool), 1e-9) == pytest.approx([15.043, -0.232], abs=5e-4)


@pytest.mark.parametrize("seed", range(5))
def test_fit_is_the_least_by_a_reference(seed: int) -> None:
    """scipy's BFGS on the same sum finds the same weights, with kinds that a plane parts too."""
    rng = np.random.default_rng(seed)
    terms = rng.normal(size=(300, 5))
    is_so = terms @ rng.normal(size=5) + rng.normal(0, seed / 2, 300) > 0

    def cost(weights: np.ndarray) -> float:
        signed = np.where(is_so, 1, -1) * (terms @ weights)
        return float(np.logaddexp(0, -signed).sum() + weights @ weights / 2)

    least = scipy.optimize.minimize(cost, np.zeros(5), method="BFGS", options={"gtol": 1e-7}).x

    assert logistic_fit(terms, is_so) == pytest.approx(least, abs=2e-3)
