"""Timings of the search: first answer, updates, a large board; and the posterior beside exact inference by pgmpy."""

from __future__ import annotations

import gc
import logging
from dataclasses import replace

import numpy as np
import pytest

from coppermend.board.folder import parse_board_folder
from coppermend.board.model import Board, PinRef
from coppermend.board.parttypes import standard_library
from coppermend.demo.board_data import demo_board_files
from coppermend.isolate.isolation import Isolation
from coppermend.isolate.states import MODES, logic_likelihood

LIBRARY = standard_library()
SHARED_NETS = ("+5V", "+12V", "GND", "PGND", "VSOL")


@pytest.fixture(autouse=True)
def _own_rubbish_only():
    """What the test runner holds (ten times the program's heap) is not collected anew in each round."""
    gc.collect()
    gc.freeze()
    yield
    gc.unfreeze()


def tiled(copies: int) -> Board:
    """The demo board several times over, with common rails."""
    one = parse_board_folder(demo_board_files())
    nets: dict[str, list[PinRef]] = {}
    parts = []
    for k in range(copies):
        parts += [replace(part, refdes=f"{part.refdes}X{k}") for part in one.parts]
        for net, pins in one.nets.items():
            name = net if net in SHARED_NETS else f"{net}X{k}"
            nets.setdefault(name, []).extend(PinRef(f"{p.refdes}X{k}", p.pin) for p in pins)
    return Board(
        "Tiled", 1000, 1000, parts=tuple(parts), rails=one.rails, nets={n: tuple(p) for n, p in nets.items()}
    )


def _answer(board: Board) -> Isolation:
    search = Isolation(board, LIBRARY)
    search.suspects(10)
    search.propose(3)
    return search


def test_first_answer_on_300_parts(benchmark) -> None:
    """Suspects and the next three measurements on a board of 276 parts."""
    benchmark.pedantic(_answer, setup=lambda: ((tiled(2),), {}), rounds=8)


def test_update_on_300_parts(benchmark) -> None:
    """One more reading on that board, and the next three measurements."""
    base = _answer(tiled(2))

    def update() -> None:
        search = base.after_nothing()
        search.forget_likelihoods()
        search.record("U1X0.40", "logic", "good")
        search.suspects(10)
        search.propose(3)

    benchmark(update)


def test_first_answer_on_3000_parts(benchmark) -> None:
    """The same on 3,036 parts."""
    benchmark.pedantic(_answer, setup=lambda: ((tiled(22),), {}), rounds=3)


@pytest.mark.parametrize("who", ["ours", "pgmpy"])
def test_posterior_beside_exact_inference(benchmark, who: str) -> None:
    """The demo board with 20 readings: all likelihoods and the posterior, beside one query of the same network."""
    pytest.importorskip("pgmpy")
    logging.getLogger("pgmpy").setLevel(logging.ERROR)
    base = _answer(parse_board_folder(demo_board_files()))
    rows = _rows(base, 20)
    if who == "ours":
        benchmark(lambda: ours(base, rows))
    else:
        solver, evidence = exact(base, rows)
        benchmark.pedantic(lambda: solver.query(["fault"], evidence=evidence, show_progress=False), rounds=3)


@pytest.mark.parametrize("who", ["ours", "pgmpy"])
def test_posterior_on_a_circuit_beside_exact_inference(benchmark, who: str) -> None:
    """A board of 160 gates with 8 readings, about the largest that both can do: net follows net in pgmpy's network, which
    knows nothing of our cones; at 192 gates it gave no answer in seven minutes.
    """
    pytest.importorskip("pgmpy")
    from pgmpy.inference import VariableElimination
    from tests.isolate.circuit import circuit_network
    from tests.isolate.conftest import random_board

    logging.getLogger("pgmpy").setLevel(logging.ERROR)
    base = Isolation(random_board(1, chips=CIRCUIT_CHIPS))
    rows = _rows(base, 8)
    if who == "ours":
        benchmark(lambda: ours(base, rows))
    else:
        model, evidence = circuit_network(base, rows)
        solver = VariableElimination(model)
        benchmark.pedantic(lambda: solver.query(["fault"], evidence=evidence, show_progress=False), rounds=3)


CIRCUIT_CHIPS = 40


def _rows(base: Isolation, count: int) -> list[tuple[str, str]]:
    rng = np.random.default_rng(2)
    nets = [net for net in base.effects.graph.nets if base.effects.graph.signal(net)]
    words = ("good", "wrong", "stuck low")
    return [(net, words[int(rng.integers(3))]) for net in rng.choice(nets, count, replace=False).tolist()]


def ours(base: Isolation, rows: list[tuple[str, str]]) -> np.ndarray:
    """P(fault) from scratch: every reading's likelihood, then the posterior."""
    search = base.after_nothing()
    search.forget_likelihoods()
    for net, value in rows:
        search.record(net, "logic", value)
    return search.posterior


def exact(base: Isolation, rows: list[tuple[str, str]]):
    """The same network for pgmpy, and the evidence."""
    from pgmpy.factors.discrete import TabularCPD
    from pgmpy.inference import VariableElimination
    from pgmpy.models import DiscreteBayesianNetwork

    effects, model, evidence = base.effects, DiscreteBayesianNetwork(), {}
    model.add_node("fault")
    model.add_cpds(TabularCPD("fault", len(effects.faults), effects.prior[:, None]))
    for k, (net, value) in enumerate(rows):
        modes = effects.modes_at(effects.graph.number[net], "running")
        shown = logic_likelihood(value)
        model.add_edges_from([("fault", f"net{k}"), (f"net{k}", f"seen{k}")])
        model.add_cpds(
            TabularCPD(f"net{k}", 6, MODES[modes].T, ["fault"], [len(effects.faults)]),
            TabularCPD(f"seen{k}", 2, np.vstack([shown, 1 - shown]), [f"net{k}"], [6]),
        )
        evidence[f"seen{k}"] = 0
    return VariableElimination(model), evidence
