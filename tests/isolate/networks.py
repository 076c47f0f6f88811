"""Noisy networks generated at random: faults, nets that follow them, observations; and their exact solution."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np


@dataclass(frozen=True)
class Network:
    """Priors (faults,), and per observed net its states under each fault and P(seen | state)."""

    prior: np.ndarray
    seen: tuple[tuple[np.ndarray, np.ndarray], ...]


def random_network(seed: int, *, faults: int, nets: int, states: int = 3) -> Network:
    """A network in which every net follows about half of the faults."""
    rng = np.random.default_rng(seed)
    seen = []
    for _ in range(nets):
        under = np.zeros((faults, states))
        under[:, 0] = 1.0
        for fault in np.flatnonzero(rng.random(faults) < 0.5):
            under[fault] = rng.dirichlet(np.ones(states))
        seen.append((under, rng.uniform(0.02, 0.98, states)))
    return Network(rng.uniform(0.01, 0.3, faults), tuple(seen))


def exact_by_pgmpy(network: Network) -> np.ndarray:
    """P(fault) of every fault by variable elimination, shape (faults,)."""
    from pgmpy.inference import VariableElimination

    model, evidence = model_of(network)
    solver = VariableElimination(model)
    faults = [f"F{k}" for k in range(len(network.prior))]
    return np.array([solver.query([f], evidence=evidence, show_progress=False).values[1] for f in faults])


def model_of(network: Network):
    """The same network for pgmpy: fault nodes, net nodes with a table over their faults, observation nodes."""
    from pgmpy.factors.discrete import TabularCPD
    from pgmpy.models import DiscreteBayesianNetwork

    model, evidence = DiscreteBayesianNetwork(), {}
    for k, prior in enumerate(network.prior):
        model.add_node(f"F{k}")
        model.add_cpds(TabularCPD(f"F{k}", 2, [[1 - prior], [prior]]))
    for n, (under, given) in enumerate(network.seen):
        parents = [k for k in range(len(under)) if under[k, 0] < 1.0]
        names = [f"F{k}" for k in parents]
        model.add_nodes_from([f"N{n}", f"S{n}"])
        model.add_edges_from([*((name, f"N{n}") for name in names), (f"N{n}", f"S{n}")])
        table = np.column_stack([_state(under, parents, on) for on in product((0, 1), repeat=len(parents))])
        model.add_cpds(
            TabularCPD(f"N{n}", under.shape[1], table, names or None, [2] * len(parents) or None),
            TabularCPD(f"S{n}", 2, np.vstack([given, 1 - given]), [f"N{n}"], [under.shape[1]]),
        )
        evidence[f"S{n}"] = 0
    return model, evidence


def _state(under: np.ndarray, parents: list[int], on: tuple[int, ...]) -> np.ndarray:
    """Distribution of a net under the parents that are present, written out from the definition."""
    present = [under[k] for k, here in zip(parents, on, strict=True) if here]
    good = 1.0
    bad = np.zeros(under.shape[1] - 1)
    for states in present:
        good *= states[0]
        bad += states[1:]
    if not present or bad.sum() == 0:
        return np.array([1.0, *bad])
    return np.array([good, *((1 - good) * bad / bad.sum())])
