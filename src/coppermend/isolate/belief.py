"""Exact posterior over sets of faults, as arrays. Knows no board: priors and likelihoods in, probabilities out.

Faults are independent before anything is seen; given a set of faults, a net is good only if every one of them
leaves it good (noisy OR), and observations are independent. With sets of one fault this is the single-fault
posterior; with all sets it is exact inference in the two-layer network.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from coppermend.isolate.states import Floats

Members = NDArray[np.int64]


def single_posterior(prior: Floats, log_likelihood: Floats) -> Floats:
    """P(fault | everything seen), given that there is exactly one; shape (faults,), sums to 1.

    Args:
        prior: Weights of the faults, not all zero; shape (faults,).
        log_likelihood: Sum of the logarithms of the likelihoods, finite; shape (faults,).
    """
    with np.errstate(divide="ignore"):
        logs = np.log(prior) + log_likelihood
    weights = np.exp(logs - logs.max())
    return np.asarray(weights / weights.sum())


def fault_sets(count: int, most: int) -> Members:
    """All sets of 0 to ``most`` of ``count`` faults, shape (sets, most), filled up with -1."""
    rows = [
        (*members, *[-1] * (most - size))
        for size in range(most + 1)
        for members in combinations(range(count), size)
    ]
    return np.array(rows, dtype=np.int64).reshape(len(rows), most)


def set_log_prior(prior: Floats, members: Members) -> Floats:
    """Logarithm of the prior odds of each set, shape (sets,); ``prior`` are probabilities below 1."""
    odds = np.append(np.log(prior) - np.log1p(-prior), 0.0)
    return np.asarray(odds[members].sum(axis=1))


def set_states(states: Floats, members: Members) -> Floats:
    """Distribution over a net's states under each set, shape (sets, states); column 0 is "good".

    The net is good if no member disturbs it; else its bad states are mixed as the members disturb it.

    Args:
        states: Distribution under each fault alone, shape (faults, states).
        members: Sets as made by ``fault_sets``.
    """
    none = np.zeros((1, states.shape[1]))
    none[0, 0] = 1.0
    chosen = np.vstack([states, none])[members]  # (sets, most, states)
    good = chosen[:, :, 0].prod(axis=1)
    bad = chosen[:, :, 1:].sum(axis=1)
    total = bad.sum(axis=1, keepdims=True)
    share = np.divide(bad, total, out=np.zeros_like(bad), where=total > 0)
    return np.hstack([good[:, None], (1.0 - good)[:, None] * share])


def set_posterior(prior: Floats, seen: Sequence[tuple[Floats, Floats]], members: Members) -> Floats:
    """P(set | everything seen), shape (sets,), sums to 1.

    Args:
        prior: Probability of each fault on its own, shape (faults,).
        seen: For each observation the states of its net under each fault (faults, states), and
            P(observation | state) (states,).
        members: The sets that are considered.
    """
    logs = set_log_prior(prior, members)
    for states, given_state in seen:
        logs = logs + np.log(np.maximum(set_states(states, members) @ given_state, 1e-300))
    weights = np.exp(logs - logs.max())
    return np.asarray(weights / weights.sum())


def marginals(posterior: Floats, members: Members, count: int) -> Floats:
    """P(fault is among those present), shape (count,)."""
    flat = np.where(members < 0, count, members)
    found = np.zeros(count + 1)
    for column in flat.T:
        found += np.bincount(column, posterior, minlength=count + 1)
    return found[:count]
