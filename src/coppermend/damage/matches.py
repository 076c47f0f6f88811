"""Matches: where the photo shows what the drawing has, window by window, in windows together, and hole by hole."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from coppermend.board.model import Board
from coppermend.damage.layers import Canvas
from coppermend.damage.windows import FINE_MM, Look, Plane, Surfaces, means_nearby, peak, scores_under

MIN_SCORE = 0.24  # of normalised correlation; chance stays below it
# Windows each way that are seen in common, and their least mean correlation; our choice.
_TOGETHER, _MIN_TOGETHER = 5, 0.09
_HOLE_MM, _RING_MM = 2.0, 0.7  # a mounting hole, and how much around it is compared
MIN_HOLE_SCORE = 0.75
_HOLE_WEIGHT = 30.0  # against one window of copper
MIN_RELIEF = 0.02  # mean square; a window without copper shows nothing to find


@dataclass(frozen=True)
class Matches:
    """Matches of windows or holes.

    Attributes:
        board_mm: (n, 2) where they are drawn [mm].
        shift_mm: (n, 2) how far from there they are seen [mm].
        information: (n, 2, 2) how much each tells in each direction.
        score: (n,) normalised correlation; below 0 where nothing was found.
        bias: (n,) 1 where light from a side may move the look, else 0.
    """

    board_mm: NDArray[np.float64]
    shift_mm: NDArray[np.float64]
    information: NDArray[np.float64]
    score: NDArray[np.float64]
    bias: NDArray[np.float64]

    def joined(self, other: Matches) -> Matches:
        """These and the others."""
        return Matches(*(np.concatenate([getattr(m, f.name) for m in (self, other)]) for f in fields(self)))


def hole_matches(light: Plane, board: Board, canvas: Canvas, reach_mm: float) -> Matches:
    """Mounting holes: discs darker or lighter than the ring about them."""
    soft = cv2.GaussianBlur(light, (0, 0), FINE_MM * canvas.px_per_mm)
    scale, reach = canvas.px_per_mm, round(reach_mm * canvas.px_per_mm) + 1
    at, shift, score = [], [], []
    for x_mm, y_mm, hole_mm in {(p.x_mm, p.y_mm, p.hole_mm) for p in board.pads if p.hole_mm >= _HOLE_MM}:
        half = round((hole_mm / 2 + _RING_MM) * scale)
        column, row = math.floor(x_mm * scale), math.floor((canvas.height_mm - y_mm) * scale)
        far = half + reach
        if not (far <= column < canvas.shape[1] - far and far <= row < canvas.shape[0] - far):
            continue
        steps = np.arange(-half, half + 1)
        away = np.hypot(
            (column + 0.5 + steps[None, :]) / scale - x_mm,
            (canvas.height_mm - (row + 0.5 + steps[:, None]) / scale) - y_mm,
        )
        disc = np.clip((hole_mm / 2 - away) * scale + 0.5, 0, 1).astype(np.float32)
        disc = cv2.GaussianBlur(disc, (0, 0), FINE_MM * scale)
        window = soft[row - far : row + far + 1, column - far : column + far + 1]
        found = np.asarray(cv2.matchTemplate(window, disc, cv2.TM_CCOEFF_NORMED))
        found = -found if -found.min() > found.max() else found
        r, c = (int(i) for i in np.unravel_index(int(np.argmax(found)), found.shape))
        if not (0 < r < 2 * reach and 0 < c < 2 * reach):
            continue
        here = found[r, c]
        dx = c + float(peak(found[r, c - 1], here, found[r, c + 1])) - reach
        dy = r + float(peak(found[r - 1, c], here, found[r + 1, c])) - reach
        at.append((x_mm, y_mm))
        shift.append((dx / scale, -dy / scale))
        score.append(float(here))
    count = len(at)
    return Matches(
        np.array(at, float).reshape(-1, 2), np.array(shift, float).reshape(-1, 2),
        np.tile(_HOLE_WEIGHT * np.eye(2), (count, 1, 1)), np.array(score, float), np.zeros(count),
    )  # fmt: skip


def found_alone(surfaces: Surfaces, look: Look, canvas: Canvas) -> Matches:
    """Where each window is seen best."""
    scores, _ = scores_under(surfaces, look)
    told = surfaces.moments[:, 0, 0] >= MIN_RELIEF**2
    return _peaks(scores[..., told], surfaces.centres_mm[told], surfaces.moments[told][:, 1:, 1:], canvas)


def found_together(surfaces: Surfaces, look: Look, canvas: Canvas) -> Matches:
    """Where neighbouring windows are seen best in common; scores are in units of a single window's."""
    scores, _ = scores_under(surfaces, look)
    side, _, count = scores.shape
    told = surfaces.moments[:, 0, 0] >= MIN_RELIEF**2
    slopes = surfaces.moments[:, 1:, 1:].reshape(count, 4)
    values = np.column_stack([surfaces.centres_mm, slopes, scores.reshape(-1, count).T])
    means, near = means_nearby(values, told, surfaces.grid, _TOGETHER)
    # Every other one: neighbours share most of their windows.
    apart = np.zeros(surfaces.grid, bool)
    apart[_TOGETHER // 4 :: _TOGETHER // 2, _TOGETHER // 4 :: _TOGETHER // 2] = True
    means = means[apart.ravel() & (near >= _TOGETHER**2 / 3)]
    found = _peaks(
        means[:, 6:].T.reshape(side, side, -1), means[:, :2], means[:, 2:6].reshape(-1, 2, 2), canvas
    )
    return replace(found, score=found.score * MIN_SCORE / _MIN_TOGETHER)


def _peaks(scores: NDArray[Any], at_mm: NDArray[np.float64], slopes: NDArray[Any], canvas: Canvas) -> Matches:
    """Where (rows, columns, n) correlations are highest; the score is -0.5 when that is at the rim of the search."""
    side = scores.shape[0]
    flat = scores.reshape(side * side, -1).argmax(axis=0)
    row, column = flat // side, flat % side
    inside = (row > 1) & (row < side - 2) & (column > 1) & (column < side - 2)
    r, c, n = np.clip(row, 1, side - 2), np.clip(column, 1, side - 2), np.arange(scores.shape[2])
    here = scores[r, c, n]
    dx = c + peak(scores[r, c - 1, n], here, scores[r, c + 1, n]) - side // 2
    dy = r + peak(scores[r - 1, c, n], here, scores[r + 1, c, n]) - side // 2
    tensor = slopes.astype(np.float64)
    tensor[:, 0, 1] *= -1  # y goes up
    tensor[:, 1, 0] *= -1
    tensor *= (2 / np.maximum(np.trace(tensor, axis1=1, axis2=2), 1e-9))[:, None, None]
    return Matches(
        at_mm,
        np.stack([dx, -dy], axis=1).astype(np.float64) / canvas.px_per_mm,
        tensor,
        np.where(inside, here, -0.5).astype(np.float64),
        np.ones(len(here)),
    )
