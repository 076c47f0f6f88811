"""What the corrosion model looks at, cell by cell at 4 px/mm: the straightened photo against the board's own mask, and the drawing.

Light is unknown and uneven, so colours are logarithms of ratios to the mask's colour near the place, estimated where the
drawing has no copper and the photo still looks like mask. The photo comes at twice the scale, four sub-pixels to a
cell, so that the grain of crust is kept.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import reduce
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from coppermend.board.model import Board, Layer
from coppermend.damage.layers import Canvas, draw_layers
from coppermend.damage.maps import PX_PER_MM

PHOTO_PX_PER_MM = 2.0 * PX_PER_MM
COUNT = 22
# Of the channels: how near the brightest colour is to burning out, and how much brightness differs from cell to cell.
BRIGHTEST, FINE_CONTRAST = 3, 10
_PADS, _BODIES, _COPPER_FREE = 0, 2, 60
_FLOOR = 0.02  # added before logarithms: darkness is noise
_LIMIT = 2.0  # natural logarithm of a ratio; what is further out tells no more
_SCALES_PX = (1.0, 2.5, 6.0)
_NEAR_MM = 8.0  # light changes over more than this
_TINT, _LIGHT = (
    0.25,
    0.7,
)  # how far mask may be from its usual colour and brightness, in logarithms; our choice
_PRIOR = 0.03

Drawing = NDArray[np.uint8]
Plane = NDArray[np.float32]


def photo_canvas(board: Board) -> Canvas:
    """The canvas to straighten a photo to: twice the rows and columns of a damage map."""
    rows, columns = Canvas(board.width_mm, board.height_mm, PX_PER_MM).shape
    return Canvas(board.width_mm, board.height_mm, PHOTO_PX_PER_MM, (2 * rows, 2 * columns))


def drawing_channels(board: Board, side: Layer = "top") -> Drawing:
    """(3, rows, columns) uint8 coverage by pads, by tracks and vias, and by parts, at 4 px/mm."""
    layers = draw_layers(board, PX_PER_MM, side)
    return np.stack([layers.pads, np.maximum(layers.tracks, layers.vias), layers.bodies])


def mask_colour(photo: NDArray[np.uint8], drawing: Drawing) -> NDArray[np.float32]:
    """(3,) RGB 0..1 of the board's mask: the median of what is neither pad nor part nor black.

    Args:
        photo: Straightened photo at 8 px/mm.
        drawing: From ``drawing_channels``.
    """
    return _colour_of_mask(_cells(photo, drawing), drawing)


def _cells(photo: NDArray[np.uint8], drawing: Drawing) -> NDArray[np.uint8]:
    rows, columns = drawing.shape[1:]
    return np.asarray(cv2.resize(photo, (columns, rows), interpolation=cv2.INTER_AREA), np.uint8)


def _colour_of_mask(cells: NDArray[np.uint8], drawing: Drawing) -> NDArray[np.float32]:
    grown = cv2.dilate(drawing[_PADS], np.ones((5, 5), np.uint8))
    free = (grown < _COPPER_FREE) & (drawing[_BODIES] < _COPPER_FREE) & (_extreme(cv2.max, cells) > 20)
    chosen = cells[free] if np.count_nonzero(free) > 100 else cells.reshape(-1, 3)
    return np.asarray(np.median(chosen[:: max(1, len(chosen) // 40_000)], axis=0) / 255, np.float32)


def channels(photo: NDArray[np.uint8], drawing: Drawing) -> NDArray[np.float32]:
    """(22, rows, columns) float32: what the model sees of each cell.

    Colour against the mask nearby (3), burnt out (2), brightness, grain, brightness against its surroundings and its
    spread at three scales (6), colour around at two scales (4), the drawing (3); and, the same everywhere, the
    mask's tint (2). Nothing else is told about the photo as a whole: a model would learn what goes with damage in
    its training set (measured: how bright the brightest is, and the colour of pads, hid all damage on other boards).

    Args:
        photo: (2 rows, 2 columns, 3) straightened photo at 8 px/mm.
        drawing: (3, rows, columns) from ``drawing_channels``.
    """
    rows, columns = drawing.shape[1:]
    cells = _cells(photo, drawing)
    base = _colour_of_mask(cells, drawing)
    logs = _logarithm(cells)
    nearby = _mask_nearby(cells, drawing, np.asarray(np.log(base + _FLOOR), np.float32))
    against = np.clip(logs - nearby, -_LIMIT, _LIMIT)
    light = _mean(logs)
    out = np.empty((COUNT, rows, columns), np.float32)
    out[0:3] = against.transpose(2, 0, 1)
    out[BRIGHTEST] = np.clip((_extreme(cv2.max, cells) - np.float32(235)) / 20, 0, 1)
    out[4] = np.clip((_extreme(cv2.min, cells) - np.float32(235)) / 20, 0, 1)
    out[5] = _mean(cells.astype(np.float32)) * np.float32(1 / 255)
    out[6] = 4 * _grain(photo)
    for number, scale_px in enumerate(_SCALES_PX):
        apart = light - cv2.GaussianBlur(light, (0, 0), scale_px)
        out[7 + number] = 2 * apart
        out[FINE_CONTRAST + number] = 3 * np.sqrt(cv2.GaussianBlur(apart * apart, (0, 0), scale_px))
    tints = np.ascontiguousarray(against[..., ::2] - against[..., 1:2])
    for number, scale_px in enumerate(_SCALES_PX[1:]):
        out[13 + 2 * number : 15 + 2 * number] = cv2.GaussianBlur(tints, (0, 0), scale_px).transpose(2, 0, 1)
    np.multiply(drawing, np.float32(1 / 255), out=out[17:20])
    usual = np.log(base + _FLOOR)
    out[20], out[21] = usual[0] - usual[1], usual[2] - usual[1]
    return out


def _mean(image: Plane) -> Plane:
    """Mean of the three channels of every pixel; many times as fast as reducing over so short an axis."""
    return np.asarray(cv2.transform(image, np.full((1, 3), 1 / 3, np.float32)), np.float32)


def _extreme(of_two: Callable[[Any, Any], Any], image: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The least or the greatest channel of every pixel, as ``of_two`` says."""
    return np.asarray(reduce(of_two, cv2.split(image)), np.uint8)


_LOGARITHMS = np.log(np.arange(256, dtype=np.float32) / 255 + np.float32(_FLOOR))


def _logarithm(image: NDArray[Any]) -> Plane:
    return np.asarray(cv2.LUT(image, _LOGARITHMS), np.float32)


def _mask_nearby(cells: NDArray[np.uint8], drawing: Drawing, base: NDArray[np.float32]) -> Plane:
    """(rows, columns, 3) logarithm of the mask's colour as lit at each place; the usual colour where none is near."""
    rows, columns = drawing.shape[1:]
    size = (max(1, columns // round(PX_PER_MM)), max(1, rows // round(PX_PER_MM)))
    small = _logarithm(cv2.resize(cells, size, interpolation=cv2.INTER_AREA))
    covered = cv2.resize(np.maximum(drawing[_PADS], drawing[_BODIES]), size, interpolation=cv2.INTER_AREA)
    off = small - base
    lighter = _mean(off)
    tint = np.sum((off - lighter[..., None]) ** 2, axis=2)
    weight = np.exp(-tint / _TINT**2 - (lighter / _LIGHT) ** 2) * (1 - covered * np.float32(1 / 255)) ** 2
    spread = _NEAR_MM
    total = cv2.GaussianBlur(weight, (0, 0), spread) + np.float32(_PRIOR)
    shift = cv2.GaussianBlur(off * weight[..., None], (0, 0), spread) / total[..., None]
    return np.asarray(cv2.resize(shift, (columns, rows), interpolation=cv2.INTER_LINEAR) + base, np.float32)


def _grain(photo: NDArray[np.uint8]) -> Plane:
    """Standard deviation of the brightness's logarithm within each cell."""
    fine = _logarithm(cv2.cvtColor(photo, cv2.COLOR_RGB2GRAY))
    half = (photo.shape[1] // 2, photo.shape[0] // 2)
    mean = cv2.resize(fine, half, interpolation=cv2.INTER_AREA)
    square = cv2.resize(fine * fine, half, interpolation=cv2.INTER_AREA)
    return np.asarray(np.sqrt(np.clip(square - mean * mean, 0, None)), np.float32)
