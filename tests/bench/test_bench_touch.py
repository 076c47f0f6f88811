"""How fast a board of 10,000 pads, 1,000 vias and 2,000 tracks says what an area touches, and what hangs together."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely

from coppermend.board.connectivity import connected_copper
from coppermend.board.draw import draw_board
from coppermend.board.model import Board, Pad, PinRef, Track, Via

PITCH_MM, COLUMNS, PADS = 2.54, 125, 10_000


@pytest.fixture(scope="module")
def board() -> Board:
    """Pads on a grid, 14 to a part, five to a net; tracks along the rows, a via every ten pads."""
    spots = [(5 + i % COLUMNS * PITCH_MM, 5 + i // COLUMNS * PITCH_MM) for i in range(PADS)]
    pads = tuple(Pad(f"U{i // 14}", str(i % 14 + 1), x, y, 0.8, 1.6) for i, (x, y) in enumerate(spots))
    nets: dict[str, list[PinRef]] = {}
    for i, pad in enumerate(pads):
        nets.setdefault(f"N{i // 5}", []).append(pad.ref)
    tracks = tuple(
        Track(f"N{i // 5}", "top" if i % 3 else "bottom", x, y, x + PITCH_MM, y, 0.3)
        for i, (x, y) in enumerate(spots)
        if i % 5 < 2 and i % 2
    )
    vias = tuple(Via(f"V{i}", f"N{i // 5}", x + 1.27, y + 1.27, 0.4) for i, (x, y) in enumerate(spots[::10]))
    wired = {net: tuple(pins) for net, pins in nets.items()}
    return Board("bench", 330, 215, pads=pads, nets=wired, tracks=tracks, vias=vias)


AREAS = {
    "a spot": shapely.Point(100, 100).buffer(2),
    "a quarter of the board": shapely.box(0, 0, 165, 107),
    "a ragged spill": shapely.union_all(
        shapely.buffer(shapely.points([(60 + 7 * i % 90, 40 + 13 * i % 80) for i in range(200)]), 5.0)
    ),
}


@pytest.mark.parametrize("area", AREAS.values(), ids=AREAS)
def test_bench_touching(benchmark, board, area):
    """Once the tree is there, a query takes a few milliseconds."""
    items = benchmark(board.space.touching, area)

    assert len(items) and benchmark.stats.stats.median < 0.01


def test_bench_touching_from_scratch(benchmark, board):
    """Index, tree and a query over a ragged spill, all built anew each time, take less than 50 ms."""
    area = AREAS["a ragged spill"]

    items = benchmark(lambda: replace(board).space.touching(area))

    assert len(items) and benchmark.stats.stats.median < 0.05


def test_bench_connected_copper(benchmark, board):
    """Labels of all copper, contacts included."""
    labels = benchmark(connected_copper, board)

    assert labels.max() < 10_000


def test_bench_drawing(benchmark, board):
    """One side of the board as SVG."""
    assert benchmark(draw_board, board).startswith("<svg")
