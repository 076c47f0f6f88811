"""Corrosion in a photo: severity 0..255 of every cell of the board, 4 px/mm, by a small network trained on synthetic
photographs. Where the photo lies is found by ``registration``; what the damage touches by ``touch``.

The network gives three probabilities: light, moderate, heavy or worse. A grade is given where its probability
passes a threshold, and within a grade the value follows the probability.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import Any

import cv2
import numpy as np
import onnxruntime
import scipy.ndimage
from numpy.typing import NDArray

from coppermend.board.model import Board, Layer
from coppermend.board.space import board_shape
from coppermend.damage.camera import View
from coppermend.damage.features import BRIGHTEST, FINE_CONTRAST, channels, drawing_channels, photo_canvas
from coppermend.damage.layers import Canvas
from coppermend.damage.maps import GRADE_STEPS, PX_PER_MM
from coppermend.damage.own_colours import by_own_colours, in_order
from coppermend.damage.photo import Photo
from coppermend.damage.rectify import rectify, shown

# Of the probability of each grade: best on full-size synthetic photographs held out.
THRESHOLDS = (0.5, 0.6, 0.5)
_BLOCK = 16  # the network halves its input four times
_THREADS = 2
# By held-out synthetic photographs of two renderers.
_SURE, _CORE_MM2, _NEAR_MM, _CREEP_MM, _SHARE = 0.7, 2.0, 12.0, 20.0, 0.1
# Crust has 0.125 and more of the contrast that a quarter of the board exceeds, however blurred the photo; a lamp had 0.06.
_DULL = 0.12
# Where a colour burns out, lamps had a contrast of 0.02 to 0.04, and crust 0.05 and more.
_BURNT, _BURNT_DULL = 0.5, 0.045
_DATA = "coppermend.damage.data"


def corrosion_map(photo: Photo, board: Board, view: View, side: Layer = "top") -> NDArray[np.uint8]:
    """Severity of corrosion as the photo shows it.

    Args:
        photo: The photo.
        board: The drawing.
        view: Board mm to pixels of the full photo, from ``register``.
        side: Which side the photo shows.

    Returns:
        (round(height x 4), round(width x 4)) uint8, row 0 at the top edge: 0 none, from 48 light, from 112
        moderate, from 176 heavy. Off the board, and where the photo does not reach, 0. The bottom side is given
        in board coordinates too, not mirrored.
    """
    inside = view.scaled(photo.scale)
    straight = rectify(photo.rgb, inside, photo_canvas(board))
    drawing = drawing_channels(board, side)
    planes = channels(straight, drawing)
    chances = by_own_colours(rooted(grade_chances(planes), planes), planes)
    canvas = Canvas(board.width_mm, board.height_mm, PX_PER_MM)
    on_board = canvas.blank()
    canvas.fill(on_board, board_shape(board))
    visible = (on_board >= 128) & shown(inside, canvas, photo.rgb.shape)
    return np.where(visible, severity_of(chances), 0).astype(np.uint8)


def grade_chances(planes: NDArray[np.float32]) -> NDArray[np.float32]:
    """(3, rows, columns) probabilities of light, moderate and heavy or worse, from ``features.channels``."""
    count, rows, columns = planes.shape
    # As by np.pad in mode "edge", in a third of its time.
    padded = np.empty((count, rows + -rows % _BLOCK, columns + -columns % _BLOCK), np.float32)
    padded[:, :rows, :columns] = planes
    padded[:, rows:, :columns] = planes[:, -1:]
    padded[:, :, columns:] = padded[:, :, columns - 1 : columns]
    (logits,) = _session().run(None, {"channels": padded[None]})
    chances = 1 / (1 + np.exp(-np.clip(logits[0][:, :rows, :columns], -30, 30)))
    return in_order(np.asarray(chances, np.float32))


def rooted(chances: NDArray[np.float32], planes: NDArray[np.float32]) -> NDArray[np.float32]:
    """``chances``, but 0 where no core of the leak is near: a leak has one, print and lamps have none.

    A core is a patch that is surely crust. Crust is rough: a smooth patch is the board under a mirrored lamp, and so is what
    hangs together with it and with no core. Leaks creep, so a patch far from all cores is one only where it is large beside
    the largest; what stands by itself is print or a part as a rule, and the user can paint it in.

    Args:
        chances: (3, rows, columns) of light, moderate and heavy or worse.
        planes: (channels, rows, columns) from ``features.channels``.
    """
    sure = (chances[1] >= _SURE).astype(np.uint8)
    sure = cv2.morphologyEx(sure, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    sure = cv2.morphologyEx(sure, cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
    _, patches, figures, _ = cv2.connectedComponentsWithStats(sure, connectivity=8)
    area = figures[:, cv2.CC_STAT_AREA].astype(np.int64)
    area[0] = 0  # what is not sure
    candidates = np.flatnonzero(area >= _CORE_MM2 * PX_PER_MM**2)
    if not len(candidates):
        return np.zeros_like(chances)
    smooth = _smooth(patches, candidates, planes[FINE_CONTRAST], planes[BRIGHTEST])
    large, lamp = np.zeros(len(area), np.bool_), np.zeros(len(area), np.bool_)
    large[candidates[~smooth]], lamp[candidates[smooth]] = True, True
    if not large.any():
        return np.zeros_like(chances)
    core = large & (area >= _SHARE * area[large].max())
    while True:
        away = cv2.distanceTransform((~core[patches]).astype(np.uint8), cv2.DIST_L2, 5)
        waiting = np.flatnonzero(large & ~core)
        nearest = scipy.ndimage.minimum(away, patches, waiting)
        reached = waiting[np.asarray(nearest) <= _CREEP_MM * PX_PER_MM]
        if not len(reached):
            break
        core[reached] = True
    lit = _apart_from(chances[0] >= THRESHOLDS[0], lamp[patches], core[patches])
    return np.asarray(chances * ((away <= _NEAR_MM * PX_PER_MM) & ~lit), np.float32)


def _smooth(
    patches: NDArray[Any],
    which: NDArray[np.intp],
    contrast: NDArray[np.float32],
    brightest: NDArray[np.float32],
) -> NDArray[np.bool_]:
    """Which patches have hardly any contrast from cell to cell: for this photo, which may be blurred, or for one burnt out."""
    chosen = np.isin(patches, which)  # ndimage sorts all that it is given, and most of the board is no patch
    inside, bright = (
        np.asarray(scipy.ndimage.median(plane[chosen], patches[chosen], which))
        for plane in (contrast, brightest)
    )
    return np.asarray(
        (inside < _DULL * np.percentile(contrast, 75)) | ((inside < _BURNT_DULL) & (bright >= _BURNT))
    )


def _apart_from(
    likely: NDArray[np.bool_], lamp: NDArray[np.bool_], core: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """What of ``likely`` hangs together with a lamp and with no core."""
    _, together = cv2.connectedComponents((likely | lamp).astype(np.uint8), connectivity=8)
    lit = np.setdiff1d(together[lamp], together[core])
    return np.asarray(np.isin(together, lit))


def severity_of(
    chances: NDArray[np.float32], thresholds: tuple[float, float, float] = THRESHOLDS
) -> NDArray[np.uint8]:
    """Severity 0..255 from the probabilities of the grades.

    >>> severity_of(np.array([0.9, 0.5, 0.1], np.float32).reshape(3, 1, 1), (0.5, 0.5, 0.5)).tolist()
    [[112]]
    """
    severity = np.zeros(chances.shape[1:], np.float32)
    tops = (*GRADE_STEPS[1:], 256)
    for chance, threshold, step, top in zip(chances, thresholds, GRADE_STEPS, tops, strict=True):
        within = (chance - threshold) / (1 - threshold) * (top - 1 - step)
        severity = np.where(chance >= threshold, step + np.clip(within, 0, None), severity)
    return np.asarray(severity, np.uint8)


def encode_map(severity: NDArray[np.uint8]) -> bytes:
    """A damage map as an 8-bit grey PNG."""
    return bytes(cv2.imencode(".png", severity)[1].tobytes())


@cache
def _session() -> onnxruntime.InferenceSession:
    """The network, loaded once."""
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = _THREADS
    options.inter_op_num_threads = 1
    options.log_severity_level = 3
    data = files(_DATA).joinpath("corrosion.onnx").read_bytes()
    return onnxruntime.InferenceSession(data, options, providers=["CPUExecutionProvider"])
