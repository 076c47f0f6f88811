"""Which parts of a drawing are fitted, with their leads; their bodies are drawn by ``recipes``."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely

from coppermend.board.model import Board, Pad, Part
from coppermend.board.packages import body_height_mm, body_shape
from photo_check.bodies import Painter, grey, tone
from photo_check.fields import Random
from photo_check.recipes import RECIPES, Look, block
from photo_check.things import Box, Thing, box_around, lifted

Severity = Callable[[float, float], float]  # at a board place [mm]


def fitted(board: Board, keep_out: shapely.Geometry, severity: Severity, rng: Random) -> list[Thing]:
    """The parts that are fitted: not those in the battery's way, and some places are empty."""
    missing = float(rng.choice([0.02, 0.1, 0.3]))
    habits = int(rng.integers(1 << 30))  # the maker's choice of colours holds for the whole board
    things = []
    for part in board.parts:
        shape = body_shape(board, part)
        if part.side != "top" or shape.is_empty or part.refdes.startswith("H"):
            continue
        if rng.random() < missing or shape.intersects(keep_out):
            continue
        box = box_around(shape)
        if min(box.long, box.short) > 0.3:
            height = (body_height_mm(part) or rng.uniform(1.5, 9)) * rng.uniform(0.8, 1.15)
            things.append(
                _thing(
                    part, board.index.pads_of_part.get(part.refdes, []), box, height, severity, rng, habits
                )
            )
    return things


def _thing(
    part: Part, pads: list[Pad], box: Box, height: float, severity: Severity, rng: Random, habits: int
) -> Thing:
    family = part.package.split("-")[0]
    makers = np.random.default_rng([habits, *family.encode()])
    seed = int(rng.integers(1 << 30))
    own = makers if rng.random() < 0.6 else rng
    hue, value = float(own.random()), float(own.uniform(0.1, 0.9))
    recipe = RECIPES.get(part.package[:6], RECIPES.get(family, block))

    def draw(painter: Painter) -> None:
        chance = np.random.default_rng(seed)
        for pad in pads:
            _lead(painter, pad, box, height, severity(pad.x_mm, pad.y_mm))
        recipe(painter, box, height, Look(hue, value, part.socketed, chance))

    return Thing(box.corners(), height, draw)


def _lead(painter: Painter, pad: Pad, box: Box, height: float, severity: float) -> None:
    """From the pad up and to the body; dull and counted where the pad is corroded."""
    start = np.array([pad.x_mm, pad.y_mm])
    off = start - box.middle
    u, v = float(off @ box.along) / box.long, float(off @ box.across) / box.short
    meet = box.at(float(np.clip(u, -1, 1)), float(np.clip(v, -1, 1)))
    if np.hypot(*(meet - start)) < 0.25:
        return
    crusted = severity >= 112
    corroded = tone(0.45, 0.5, 0.7) if crusted else tone(0.45, 0.2, 0.35)
    colour = corroded if severity >= 48 else grey(0.72)
    path = np.array([lifted(start, 0.2), lifted(start, min(1.2, height)), lifted(meet, min(1.6, height))])
    painter.line(path, min(0.8, 0.5 * pad.size_mm), colour, 0.1 if severity >= 48 else 0.7, int(severity))
