"""Cones and posterior together, against exact inference on the circuit itself."""

from __future__ import annotations

import logging

import numpy as np
import pytest

from coppermend.isolate.isolation import Isolation
from coppermend.isolate.states import LOGIC_VALUES

from .circuit import circuit_network
from .conftest import random_board

logging.getLogger("pgmpy").setLevel(logging.ERROR)


@pytest.mark.parametrize("seed", range(20))
def test_the_posterior_equals_exact_inference_on_the_circuit(seed: int) -> None:
    """On 20 generated boards whose network pgmpy builds net by net, every fault's probability equals ours to 1e-9."""
    pytest.importorskip("pgmpy")
    from pgmpy.inference import VariableElimination

    search, rng = Isolation(random_board(seed, chips=1 + seed % 2)), np.random.default_rng(seed)
    nets = [net for net in search.effects.graph.nets if search.effects.graph.signal(net)]
    rows = [
        (net, LOGIC_VALUES[int(rng.integers(len(LOGIC_VALUES)))])
        for net in rng.choice(nets, 4, replace=False).tolist()
    ]
    model, evidence = circuit_network(search, rows)

    for net, value in rows:
        search.record(net, "logic", value)
    exact = VariableElimination(model).query(["fault"], evidence=evidence, show_progress=False).values

    assert search.posterior == pytest.approx(exact, abs=1e-9)
