"""How fast a matrix answers, an edge cover is found beside networkx, and the demo job's least plan beside greedy."""

from __future__ import annotations

from random import Random

import networkx
import numpy as np
import pytest

from coppermend.board.folder import parse_board_folder
from coppermend.board.parttypes import standard_library
from coppermend.demo import story
from coppermend.demo.board_data import demo_board_files
from coppermend.job.assess import assess
from coppermend.job.state import JobState
from coppermend.proving.edgecover import edge_cover
from coppermend.proving.gate import least_cover
from coppermend.proving.infer import infer
from coppermend.proving.leastplan import least_plan
from coppermend.proving.matrix import Crossing, MatrixFault, Position, SwitchMatrix
from coppermend.proving.matrixfile import Observation
from coppermend.proving.scan import Scanner

STROBES, RETURNS = (tuple(f"{letter}{n}" for n in range(8)) for letter in "SR")
FAULTS = {
    "one": (MatrixFault("open strobe", (2,)),),
    "two": (MatrixFault("open strobe", (2,)), MatrixFault("stuck return", (12,))),
}


@pytest.mark.parametrize("diodes", [True, False], ids=["diodes", "no diodes"])
@pytest.mark.parametrize("faults", FAULTS.values(), ids=FAULTS)
def test_bench_inference(benchmark, faults, diodes):
    """After every switch was closed once, an answer about an 8 x 8 matrix takes less than 50 ms."""
    matrix = SwitchMatrix(
        STROBES, RETURNS, tuple(Position(s, r, "", diodes) for s in STROBES for r in RETURNS)
    )
    sets = [frozenset(), *(frozenset({p.crossing}) for p in matrix.positions)]
    reports = Scanner(matrix).predict([faults], sets)[0]
    seen = [
        Observation(one, frozenset(Crossing(STROBES[a], RETURNS[b]) for a, b in np.argwhere(report).tolist()))
        for one, report in zip(sets, reports, strict=True)
    ]

    found = benchmark(infer, matrix, seen)

    assert set(found.explanations[0].faults) == set(faults) and benchmark.stats.stats.median < 0.05


def edges(size):
    dice = Random(8)
    return [(a, b) for a in range(size) for b in range(size) if dice.random() < 0.1]


def test_bench_edge_cover_ours(benchmark):
    """Of a 100 x 100 matrix with a tenth of its positions."""
    found = edges(100)

    assert benchmark(edge_cover, found, {a for a, _ in found}, {b for _, b in found})


def test_bench_edge_cover_networkx(benchmark):
    """The same by networkx, for comparison."""
    graph = networkx.Graph([(("s", a), ("r", b)) for a, b in edges(100)])
    tops = {node for node in graph if node[0] == "s"}

    assert benchmark(
        networkx.min_edge_cover, graph, lambda g: networkx.bipartite.hopcroft_karp_matching(g, tops)
    )


@pytest.fixture(scope="module")
def damaged():
    """The demo job with everything on its strip list off."""
    board, library = parse_board_folder(demo_board_files()), standard_library()
    state = JobState(damage=story.damage_area(), remedies=story.REMEDIES)
    strip = {item.refdes: item.fate for item in assess(board, library, state).strip}
    return assess(board, library, JobState(damage=state.damage, remedies=state.remedies, strip=strip))


def test_bench_least_plan(benchmark, damaged):
    """A page asks for it after every entry: less than 100 ms."""
    assert benchmark(least_plan, damaged.gate, damaged.proofs).optimal
    assert benchmark.stats.stats.median < 0.1


def test_bench_greedy_cover(benchmark, damaged):
    """The greedy choice that it is measured against."""
    assert benchmark(least_cover, damaged.gate, damaged.proofs)
