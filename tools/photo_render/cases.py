"""Synthetic photographs by seed: a board, its damage, the photo and the truth; straightened and written for training."""

from __future__ import annotations

import time
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np

from coppermend.board.folder import parse_board_folder
from coppermend.damage.camera import View
from coppermend.damage.features import drawing_channels, photo_canvas
from coppermend.damage.rectify import rectify
from coppermend.demo.board_data import demo_board_files
from photo_render.boards import part_of_board, random_board
from photo_render.scene import random_scene
from photo_render.shoot import shoot


def board_for(seed: int, *, small: bool = False):
    """An invented board, or now and then a window of the demo board."""
    rng = np.random.default_rng([seed, 5])
    if rng.random() < 0.2:
        demo = _demo_board()
        width, height = float(rng.integers(100, 190)), float(rng.integers(80, 140))
        if small:
            width, height = width * 0.5, height * 0.55
        left, bottom = rng.uniform(0, demo.width_mm - width), rng.uniform(0, demo.height_mm - height)
        return part_of_board(demo, float(left), float(bottom), width, height)
    return random_board(seed, small=small)


@cache
def _demo_board():
    return parse_board_folder(demo_board_files())


def make_case(seed: int, grade: str | None = None, *, small: bool = False):
    """One photograph with its board and scene; ``small`` boards are cheap, for training."""
    board = board_for(seed, small=small)
    scene = random_scene(seed, board.width_mm, board.height_mm, grade)
    if small:
        px_per_mm = float(np.exp(np.random.default_rng([seed, 7]).uniform(np.log(5.5), np.log(15))))
        wide = max(board.width_mm, board.height_mm * 4 / 3) * px_per_mm / scene.fill
        scene = replace(scene, photo_size=(round(wide / 16) * 16, round(wide / 16) * 12))
    return board, scene, shoot(board, scene)


def jittered(view: View, seed: int) -> View:
    """A view as registration leaves it: off by some hundredths of a millimetre."""
    shift = np.eye(3)
    shift[:2, 2] = np.random.default_rng([seed, 3]).normal(0, 0.05, 2)
    return View(view.mm_to_px @ shift, view.camera)


def make_data(folder: Path, first: int, count: int) -> None:
    """Write one compressed file per case: the straightened photo, the drawing and the truth."""
    folder.mkdir(parents=True, exist_ok=True)
    for seed in range(first, first + count):
        target = folder / f"{seed}.npz"
        if target.exists():
            continue
        began = time.time()
        board, scene, shot = make_case(seed, small=seed % 12 != 3)
        straight = rectify(shot.photo, jittered(shot.view, seed), photo_canvas(board))
        np.savez(target, photo=straight, drawing=drawing_channels(board), severity=shot.severity)
        print(seed, scene.mask, scene.grade, f"{time.time() - began:.1f} s", flush=True)
