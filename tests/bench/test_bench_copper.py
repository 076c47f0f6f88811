"""How fast a board of 5,000 pads is planned, and how fast and short 300 probes are walked."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from coppermend.board.model import Board, Pad, PinRef, Track
from coppermend.board.parttypes import standard_library
from coppermend.copper.plan import plan_probes
from coppermend.copper.route import travel_mm, walking_order
from coppermend.damage.area import parse_area
from coppermend.damage.touch import touch

PITCH_MM, COLUMNS, PADS = 2.54, 100, 5_000


@pytest.fixture(scope="module")
def board() -> Board:
    """Pads on a grid, 14 to a part, five in a row to a net, each joined to the next."""
    spots = [(5 + i % COLUMNS * PITCH_MM, 5 + i // COLUMNS * PITCH_MM) for i in range(PADS)]
    pads = tuple(Pad(f"U{i // 14}", str(i % 14 + 1), x, y, 0.8, 1.6) for i, (x, y) in enumerate(spots))
    nets: dict[str, tuple[PinRef, ...]] = {}
    for i, pad in enumerate(pads):
        nets[f"N{i // 5}"] = (*nets.get(f"N{i // 5}", ()), pad.ref)
    tracks = tuple(
        Track(f"N{i // 5}", "top", x, y, x + PITCH_MM, y, 0.3) for i, (x, y) in enumerate(spots) if i % 5 < 4
    )
    return Board("bench", 270, 140, pads=pads, nets=nets, tracks=tracks)


def test_bench_plan_of_five_thousand_pads(benchmark, board):
    """Damage of 60 mm across; three seconds are the most that a technician shall wait."""
    library = standard_library()
    area = shapely.Point(130, 65).buffer(30).wkt.encode()
    touched = touch(board, library, parse_area(area, board, "disc"))

    plan = benchmark.pedantic(plan_probes, (board, library, touched), rounds=3)

    assert len(plan.probes) < 0.4 * plan.naive_probes
    assert benchmark.stats.stats.min < 3


def test_bench_walk_of_three_hundred_probes(benchmark):
    """Two seconds at most, and a fifth of the way in the order given."""
    chance = np.random.default_rng(300)
    ends = chance.uniform(0, 250, (300, 1, 2)) + chance.normal(0, 25, (300, 2, 2))

    steps = benchmark.pedantic(walking_order, (ends, [False] * 300), rounds=3)

    walked = np.array([ends[i][::-1] if swapped else ends[i] for i, swapped in steps])
    assert travel_mm(walked) < 0.2 * travel_mm(ends)
    assert benchmark.stats.stats.min < 2
