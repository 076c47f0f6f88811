"""What is laid on the board besides its parts: the battery, wires and paper labels."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from coppermend.board.model import Board
from photo_check.bodies import Painter, grey, lettering, tone
from photo_check.fields import Random
from photo_check.things import Box, Points, Thing, lifted, rounded


def battery(board: Board, rng: Random) -> tuple[list[Thing], shapely.Geometry, list[Points]]:
    """A battery somewhere, or where one was: what stands there, the room it takes, and where it leaks [mm]."""
    limit = 0.42 * min(board.width_mm, board.height_mm)
    long, radius = min(rng.uniform(12, 42), 1.6 * limit) / 2, min(rng.uniform(4.5, 9), limit / 2)
    kind = str(rng.choice(["barrel", "coin", "pack", "removed"], p=[0.35, 0.15, 0.15, 0.35]))
    if kind == "coin":
        long = radius = min(rng.uniform(6, 11.5), limit / 2)
    turn = float(rng.choice([0, 90, rng.uniform(0, 180)], p=[0.45, 0.4, 0.15])) * np.pi / 180
    along = np.array([np.cos(turn), np.sin(turn)])
    edge = rng.random() < 0.6  # they sit at an edge more often than not
    place = np.array([rng.beta(0.6, 0.6), rng.beta(0.6, 0.6)]) if edge else rng.uniform(0.2, 0.8, 2)
    margin = long + 6
    middle = margin + place * np.maximum(np.array([board.width_mm, board.height_mm]) - 2 * margin, 1)
    box = Box(middle, along, np.array([-along[1], along[0]]), long, radius)
    ends = [box.at(s * rng.uniform(0.8, 1.05), rng.uniform(-0.6, 0.6)) for s in (-1, 1)]
    leaks = ends if rng.random() < 0.5 else [ends[int(rng.integers(2))]]
    if rng.random() < 0.3:
        leaks = [*leaks, box.at(0, 0)]
    room = shapely.Polygon(box.corners()).buffer(0.8)
    seed = int(rng.integers(1 << 30))
    if kind == "removed":
        return [], room, leaks
    high = {"barrel": 2 * radius, "pack": 2 * radius, "coin": rng.uniform(3, 6)}[kind]
    return (
        [Thing(box.corners(), high, lambda p: _battery(p, box, kind, high, np.random.default_rng(seed)))],
        room,
        leaks,
    )


def _battery(p: Painter, box: Box, kind: str, high: float, rng: Random) -> None:
    sleeve = tone(rng.random(), rng.choice([0.05, 0.5, 0.85]), rng.uniform(0.15, 0.9))
    steel = grey(rng.uniform(0.55, 0.8))
    if kind == "coin":
        holder = [grey(0.12), grey(0.8), sleeve][int(rng.integers(3))]
        p.prism(
            rounded(replace(box, long=box.long * 1.05, short=box.short * 1.05), 28),
            0.1,
            0.6 * high,
            holder,
            holder,
            0.4,
        )
        p.prism(rounded(box, 28), 0.5, high, steel, steel, 0.9, 0.97)
        return
    cells_ = 1 if kind == "barrel" else int(rng.integers(2, 4))
    for i in range(cells_):
        offset = (2 * i + 1) / cells_ - 1
        radius = box.short / cells_
        stations = np.array(
            [
                (0, 0.75),
                (0.0, 0.96),
                (0.04, 1.0),
                (0.3, 1.0),
                (0.33, 0.99),
                (0.66, 0.99),
                (0.7, 1.0),
                (0.96, 1.0),
                (1.0, 0.96),
                (1.0, 0.7),
            ]
        )
        band = sleeve if rng.random() < 0.6 else tone(rng.random(), 0.6, 0.7)
        colours = np.array([steel, sleeve, sleeve, band, sleeve, sleeve, sleeve, sleeve, steel])
        p.turned(
            lifted(box.at(-1, offset), radius + 0.3), lifted(box.along, 0), stations * [2 * box.long, radius], colours, (steel, steel),
            float(rng.uniform(0.3, 0.8)), 24,
        )  # fmt: skip
    if rng.random() < 0.6:
        picture = lettering(rng, (40, 120), sleeve, grey(0.9) if sleeve.mean() < 0.3 else grey(0.1), 2)
        corners = [box.at(u, v) for u, v in ((-0.5, 0.3), (0.5, 0.3), (0.5, -0.3), (-0.5, -0.3))]
        p.flat(np.array([lifted(c, 2 * box.short / cells_ + 0.3) for c in corners]), picture)


def loose(board: Board, rng: Random) -> list[Thing]:
    """Wires across the board and paper labels."""
    things = []
    for _ in range(int(rng.choice([0, 0, 0, rng.integers(1, 4), 6]))):
        a, b = (rng.uniform(0, 1, 2) * [board.width_mm, board.height_mm] for _ in range(2))
        b = a + (b - a) * min(1.0, rng.uniform(10, 60) / max(1.0, float(np.hypot(*(b - a)))))
        bow, t = rng.normal(0, 0.15, 2) * np.hypot(*(b - a)), np.linspace(0, 1, 20)[:, None]
        path = np.column_stack(
            [a + (b - a) * t + 4 * t * (1 - t) * bow, 0.5 + 4 * rng.uniform(0.5, 3) * (t * (1 - t))]
        )
        colour, width = (
            tone(rng.random(), rng.choice([0.0, 0.8]), rng.uniform(0.15, 0.95)),
            float(rng.uniform(0.4, 1.3)),
        )
        things.append(
            Thing(
                np.empty((0, 2)),
                2.0,
                lambda p, path=path, width=width, colour=colour: p.line(path, width, colour),
            )
        )
    for _ in range(int(rng.choice([0, 0, 1, 2]))):
        angle = rng.normal(0, 0.1) + rng.choice([0, np.pi / 2])
        along = np.array([np.cos(angle), np.sin(angle)])
        middle = rng.uniform(0.15, 0.85, 2) * [board.width_mm, board.height_mm]
        box = Box(
            middle,
            along,
            np.array([-along[1], along[0]]),
            float(rng.uniform(5, 14)),
            float(rng.uniform(2, 6)),
        )
        paper = [
            grey(0.93),
            tone(0.14, 0.2, 0.95),
            tone(0.15, 0.5, 0.95),
            tone(rng.random(), 0.25, 0.9),
            grey(0.7),
        ][int(rng.integers(5))]
        picture = lettering(
            rng,
            (int(box.short * 16), int(box.long * 16)),
            paper,
            [grey(0.1), tone(0.63, 0.7, 0.4)][int(rng.integers(2))],
            int(rng.integers(1, 4)),
        )
        corners = np.array([lifted(box.at(u, v), 0.15) for u, v in ((-1, 1), (1, 1), (1, -1), (-1, -1))])
        things.append(
            Thing(box.corners(), 0.2, lambda p, corners=corners, picture=picture: p.flat(corners, picture))
        )
    return things
