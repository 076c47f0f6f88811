"""Small synthetic photographs with their truth, as tests use them."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache

import numpy as np

from coppermend.board.model import Board
from coppermend.damage.camera import View
from coppermend.damage.points import ReferenceClick
from photo_render.boards import random_board
from photo_render.scene import MASKS, Scene, random_scene
from photo_render.shoot import Shot, shoot


@cache
def small_scene(
    seed: int = 3, grade: str = "heavy", mask: str = "green", *, small: bool = False
) -> tuple[Board, Scene, Shot]:
    """Board, scene and shot of one photograph of 1600 x 1200 px, of 1200 x 900 px for a small board; drawn once per run."""
    board = random_board(seed, small=small)
    scene = random_scene(seed, board.width_mm, board.height_mm, grade)
    scene = replace(
        scene, photo_size=(1200, 900) if small else (1600, 1200), click_sigma_px=1.2, mask=mask, mask_rgb=MASKS[mask][0], exposure=1.0,
        fill=0.8,
    )  # fmt: skip
    return board, scene, shoot(board, scene)


def clicks_of(shot: Shot) -> tuple[ReferenceClick, ...]:
    """The reference points of a shot as a user clicks them."""
    pairs = zip(shot.points_mm.tolist(), shot.clicked_px.tolist(), strict=True)
    return tuple(
        ReferenceClick(f"hole-{i}", tuple(mm), tuple(px)) for i, (mm, px) in enumerate(pairs, start=1)
    )


def points_json(shot: Shot) -> str:
    """The same as a points file."""
    return json.dumps([{"name": c.name, "board_mm": c.board_mm, "pixel": c.pixel} for c in clicks_of(shot)])


def grid_rms_mm(board: Board, truth: View, view: View) -> float:
    """Root mean square error of a view over an 11 x 11 grid of board points [mm]."""
    across, up = np.linspace(0, board.width_mm, 11), np.linspace(0, board.height_mm, 11)
    grid = np.stack(np.meshgrid(across, up), axis=-1).reshape(-1, 2)
    return float(np.sqrt(np.mean(np.sum((view.board_mm(truth.pixels(grid)) - grid) ** 2, axis=1))))
