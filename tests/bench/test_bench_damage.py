"""How fast a board of 10,000 IPC-D-356 records says what is damaged, and how fast its copper is planned."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
import shapely

from coppermend.board.import_sources import Source
from coppermend.board.importing import import_board
from coppermend.board.model import Board, Pad, Part, PinRef, Track, Via
from coppermend.board.parttypes import standard_library
from coppermend.copper.plan import plan_probes
from coppermend.damage.area import DamageArea, parse_area
from coppermend.damage.touch import touch

from .generate import HEIGHT_MM, generate_ipcd356

DISC = shapely.Point(150, 150).buffer(30)


@pytest.fixture(scope="module")
def board() -> Board:
    netlist = Source("board.d356", generate_ipcd356(10_000, conductors=2_000).encode())
    return import_board(name="bench", ipc356=netlist, gerber=(), parts=None, library=standard_library())[0]


def drawn(board: Board) -> DamageArea:
    return parse_area(DISC.wkt.encode(), board, "disc")


def mapped(board: Board) -> DamageArea:
    rows, columns = np.mgrid[0 : round(board.height_mm * 4), 0 : round(board.width_mm * 4)]
    distance = np.hypot((columns + 0.5) / 4 - 150, HEIGHT_MM - (rows + 0.5) / 4 - 150)
    grid = np.clip(300 - 8 * distance, 0, 255).astype(np.uint8)
    return parse_area(cv2.imencode(".png", grid)[1].tobytes(), board, "map.png")


@pytest.mark.parametrize("area", [drawn, mapped])
@pytest.mark.benchmark(group="touch on 10,000 records")
def test_bench_touch_from_scratch(benchmark, board, area):
    """Index, tree and touch, all built anew each time, take less than 50 ms."""
    damage, library = area(board), standard_library()

    touched = benchmark(lambda: touch(replace(board), library, damage))

    assert len(touched.pads) > 50 and benchmark.stats.stats.min < 0.05


@pytest.mark.benchmark(group="touch on 10,000 records")
def test_bench_map_reading(benchmark, board):
    """A damage map of 1600 x 1200 px, decoded, checked and outlined."""
    area = benchmark(mapped, board)

    assert len(area.zones) == 3


def plan_board() -> Board:
    """5,000 pads in 250 parts, four or five to a net, each net a chain of tracks and vias over both layers."""
    pads = tuple(
        Pad(f"U{i // 20 + 1}", str(i % 20 + 1), 5 + i % 100 * 2.54, 5 + i // 100 * 5.08, 0.8, 1.6)
        for i in range(5000)
    )
    nets: dict[str, list[PinRef]] = {}
    tracks, vias = [], []
    for i, pad in enumerate(pads):
        net = f"N{i // 100 // 5 * 100 + i % 100}"
        if net in nets:
            above = pads[i - 100]
            middle = (above.y_mm + pad.y_mm) / 2
            vias.append(Via(f"V{i}", net, pad.x_mm, middle, 0.4, 0.8))
            tracks.append(Track(net, "top", above.x_mm, above.y_mm, pad.x_mm, middle, 0.3))
            tracks.append(Track(net, "bottom", pad.x_mm, middle, pad.x_mm, pad.y_mm, 0.3))
        nets.setdefault(net, []).append(pad.ref)
    return Board(
        "bench",
        264.0,
        264.0,
        parts=tuple(Part(f"U{n + 1}") for n in range(250)),
        pads=pads,
        vias=tuple(vias),
        tracks=tuple(tracks),
        nets={net: tuple(pins) for net, pins in nets.items()},
    )


@pytest.mark.benchmark(group="copper plan on 5,000 pads")
def test_bench_plan_of_a_whole_board(benchmark):
    """Everything at risk: each of the 1,000 nets is proven, in less than 3 s."""
    board, library = plan_board(), standard_library()
    touched = touch(board, library, parse_area(b"POLYGON((0 0,264 0,264 264,0 264,0 0))", board, "all"))

    plan = benchmark.pedantic(plan_probes, (board, library, touched), rounds=3)

    assert len(touched.nets) == len(plan.probes) == 1000 and plan.naive_probes == 4000
    assert benchmark.stats.stats.min < 3
