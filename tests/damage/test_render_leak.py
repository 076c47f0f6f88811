"""Where crust begins to show against where it counts differs from leak to leak, as judgement does."""

from __future__ import annotations

import numpy as np

from coppermend.damage.layers import Canvas, draw_layers
from photo_render.boards import random_board
from photo_render.leak import LIGHT, MODERATE, corrode
from photo_render.scene import random_scene

SCALE = 6.0


def share_of_crust_in_light_damage(seed: int) -> float:
    """Of the cells that count as light on a black board, the share that crust makes bright."""
    board = random_board(3, small=True)
    canvas = Canvas(board.width_mm, board.height_mm, SCALE)
    scene = random_scene(3, board.width_mm, board.height_mm, "heavy")
    field = np.broadcast_to(np.linspace(-0.2, 0.9, canvas.shape[1], dtype=np.float32), canvas.shape)
    picture = np.zeros((*canvas.shape, 3), np.float32)

    severity = corrode(
        picture, field.copy(), board, draw_layers(board, SCALE), scene, canvas, np.random.default_rng(seed)
    )

    light = (severity >= LIGHT) & (severity < MODERATE)
    assert light.any() and (severity >= MODERATE).any()
    return float((picture[light].mean(axis=1) > 0.35).mean())


def test_crust_shows_before_it_counts_by_more_or_less() -> None:
    """Some leaks have hardly any crust in what is light, some have much; none has it all over."""
    shares = [share_of_crust_in_light_damage(seed) for seed in range(12)]

    assert min(shares) < 0.05 and max(shares) > 0.12 and max(shares) < 0.6
