"""Photographs of ``photo_check`` with their truth: as training data, or whole for measuring from end to end.

    python tools/check_photos.py data DIR --first 900000 --count N    (npz, as ``train_corrosion.py data`` writes)
    python tools/check_photos.py full DIR --first 950000 --count N    (pickles of ``measure_photo.Case``)

One seed, one photograph. Files that are there already are left alone.
"""

from __future__ import annotations

import argparse
import pickle
import time
from functools import cache
from pathlib import Path

import cv2
import numpy as np

from coppermend.board.folder import parse_board_folder
from coppermend.board.model import Board
from coppermend.damage.camera import View
from coppermend.damage.features import drawing_channels, photo_canvas
from coppermend.damage.points import ReferenceClick
from coppermend.damage.rectify import rectify
from coppermend.demo.board_data import demo_board_files
from measure_photo import Case
from photo_check.shot import Shot, shoot
from photo_render.boards import part_of_board, random_board

REGISTERED_MM = 0.05  # how far registration is off, about
SIZES = ((1600, 1200), (2048, 1536), (3264, 2448), (4000, 3000))


@cache
def _demo() -> Board:
    return parse_board_folder(demo_board_files())


def board_of(seed: int, *, small: bool) -> Board:
    """An invented board, or a window of the demo board; a ``small`` one is near the battery everywhere."""
    rng = np.random.default_rng([seed, 111])
    if rng.random() > 0.25:
        return random_board(seed, small=small)
    width, height = (
        (rng.uniform(60, 95), rng.uniform(45, 80)) if small else (rng.uniform(100, 190), rng.uniform(80, 140))
    )
    demo = _demo()
    left, bottom = rng.uniform(0, demo.width_mm - width), rng.uniform(0, demo.height_mm - height)
    return part_of_board(demo, float(left), float(bottom), float(round(width)), float(round(height)))


def photograph(seed: int, *, small: bool, grade: str | None = None) -> tuple[Board, Shot]:
    """A board and its photograph: small at 5.5 to 15 px/mm, else as phones take them."""
    rng = np.random.default_rng([seed, 112])
    board, fill = board_of(seed, small=small), float(rng.uniform(0.6, 0.95))
    size = SIZES[int(rng.integers(len(SIZES)))]
    if small:
        finest = float(np.exp(rng.uniform(np.log(5.5), np.log(15))))
        wide = max(board.width_mm, board.height_mm * 4 / 3) * finest / fill
        size = (round(wide / 16) * 16, round(wide / 16) * 12)
    return board, shoot(board, seed, size, fill, grade)


def write_data(folder: Path, seed: int) -> str:
    """One compressed case for training: the photo straightened as registration leaves it, drawing and severity."""
    board, shot = photograph(seed, small=True)
    shift = np.eye(3)
    shift[:2, 2] = np.random.default_rng([seed, 113]).normal(0, REGISTERED_MM, 2)
    straight = rectify(shot.photo, View(shot.view.mm_to_px @ shift, shot.view.camera), photo_canvas(board))
    np.savez(folder / f"{seed}.npz", photo=straight, drawing=drawing_channels(board), severity=shot.severity)
    return f"{shot.mask} {shot.grade}"


def write_full(folder: Path, seed: int) -> str:
    """One case for measuring from the file on."""
    board, shot = photograph(seed, small=False)
    clicks = tuple(
        ReferenceClick(p.name, (p.x_mm, p.y_mm), tuple(px))
        for p, px in zip(board.reference_points, shot.clicked_px.tolist(), strict=True)
    )
    case = Case(f"check {seed} {shot.mask} {shot.grade}", shot.jpeg, board, clicks, shot.view, shot.severity)
    (folder / f"{seed}.pickle").write_bytes(pickle.dumps(case))
    return f"{shot.mask} {shot.grade} {shot.photo.shape[1]} x {shot.photo.shape[0]}"


def main() -> None:
    """Write what is asked for, one line each."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("kind", choices=("data", "full"))
    options.add_argument("folder", type=Path)
    options.add_argument("--first", type=int, default=900000)
    options.add_argument("--count", type=int, default=60)
    chosen = options.parse_args()
    chosen.folder.mkdir(parents=True, exist_ok=True)
    write, ending = (write_data, "npz") if chosen.kind == "data" else (write_full, "pickle")
    for seed in range(chosen.first, chosen.first + chosen.count):
        if not (chosen.folder / f"{seed}.{ending}").exists():
            began = time.process_time()
            print(
                seed,
                write(chosen.folder, seed),
                f"{time.process_time() - began:.1f} s of processor time",
                flush=True,
            )


if __name__ == "__main__":
    cv2.setNumThreads(1)
    main()
