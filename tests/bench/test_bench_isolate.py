"""Timings of the search: first answer, updates, a large board; and the posterior beside exact inference by pgmpy."""

from __future__ import annotations

import logging
import time
from dataclasses import replace

import numpy as np
import pytest

from coppermend.board.folder import parse_board_folder
from coppermend.board.model import Board, PinRef
from coppermend.board.parttypes import standard_library
from coppermend.demo.board_data import demo_board_files
from coppermend.isolate.belief import fault_sets, marginals, set_posterior
from coppermend.isolate.isolation import Isolation

LIBRARY = standard_library()
SHARED_NETS = ("+5V", "+12V", "GND", "PGND", "VSOL")


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
        search.record("U1X0.40", "logic", "good")
        search.suspects(10)
        search.propose(3)

    benchmark(update)


def test_first_answer_on_3000_parts(benchmark) -> None:
    """The same on 3,036 parts."""
    benchmark.pedantic(_answer, setup=lambda: ((tiled(22),), {}), rounds=3)


@pytest.mark.parametrize("who", ["ours", "pgmpy"])
def test_posterior_beside_exact_inference(benchmark, who: str) -> None:
    """The largest network that both can do in reasonable time: 12 faults in all 4,096 combinations, 10 nets."""
    pytest.importorskip("pgmpy")
    logging.getLogger("pgmpy").setLevel(logging.ERROR)
    from networks import model_of, random_network
    from pgmpy.inference import VariableElimination

    network = random_network(5, faults=12, nets=10)
    members = fault_sets(12, 12)
    if who == "ours":
        benchmark(lambda: marginals(set_posterior(network.prior, network.seen, members), members, 12))
        return
    model, evidence = model_of(network)
    solver = VariableElimination(model)
    benchmark.pedantic(
        lambda: [solver.query([f"F{k}"], evidence=evidence, show_progress=False) for k in range(12)], rounds=1
    )


def median_ms(call, times: int = 7) -> float:  # noqa: ANN001
    """Median time of a call [ms]."""
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        spent.append(1000 * (time.perf_counter() - start))
    return float(np.median(spent))
