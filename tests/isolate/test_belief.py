"""The posterior, against exact inference by pgmpy on networks generated from small boards."""

from __future__ import annotations

import logging

import numpy as np
import pytest

from coppermend.isolate.belief import (
    fault_sets,
    marginals,
    set_posterior,
    set_states,
    single_posterior,
)

from .networks import exact_by_pgmpy, random_network

logging.getLogger("pgmpy").setLevel(logging.ERROR)


@pytest.mark.parametrize("seed", range(20))
def test_posterior_equals_exact_inference(seed: int) -> None:
    """On a generated board's noisy network every fault's probability equals pgmpy's to 1e-9."""
    pytest.importorskip("pgmpy")
    network = random_network(seed, faults=4 + seed % 4, nets=5)
    members = fault_sets(len(network.prior), len(network.prior))

    posterior = set_posterior(network.prior, network.seen, members)

    ours = marginals(posterior, members, len(network.prior))
    assert ours == pytest.approx(exact_by_pgmpy(network), abs=1e-9)


def test_an_imperfect_test_moves_belief_as_bayes_says() -> None:
    """Prior 0.01, sensitivity 0.95, specificity 0.98: 0.324232 (by hand, and by pgmpy)."""
    states = np.array([[0.0, 1.0]])

    posterior = set_posterior(np.array([0.01]), [(states, np.array([0.02, 0.95]))], fault_sets(1, 1))

    assert posterior[1] == pytest.approx(0.324232, abs=5e-7)


def test_two_faults_disturb_a_net_as_a_noisy_or() -> None:
    """A net that one fault spares with 0.5 and another with 0.4 is good under both with 0.2."""
    states = np.array([[0.5, 0.5], [0.4, 0.6]])

    both = set_states(states, np.array([[0, 1]]))

    assert both == pytest.approx(np.array([[0.2, 0.8]]))


def test_the_empty_set_disturbs_nothing() -> None:
    """Without a fault every net is good."""
    assert set_states(np.array([[0.1, 0.9]]), np.array([[-1]])).tolist() == [[1.0, 0.0]]


def test_single_posterior_survives_extreme_evidence() -> None:
    """Likelihoods that together underflow still give probabilities that sum to 1."""
    posterior = single_posterior(np.array([0.5, 0.3, 0.2]), np.array([-4000.0, -4001.0, -4002.0]))

    assert posterior.sum() == pytest.approx(1.0) and posterior[0] > posterior[1] > posterior[2] > 0


def test_all_sets_up_to_a_size_are_made_once() -> None:
    """Of four faults up to two at once there are 1 + 4 + 6 sets."""
    members = fault_sets(4, 2)

    assert members.shape == (11, 2) and len({tuple(row) for row in members.tolist()}) == 11
