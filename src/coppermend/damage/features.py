"""What the corrosion model looks at, cell by cell at 4 px/mm: the straightened photo, the mask's colour, the drawing.

The photo comes at twice that scale, four sub-pixels to a cell, so that the grain of crust is kept. Brightness is put
on a common footing by the board's own mask, whose colour is estimated robustly from where the drawing has no copper.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from coppermend.board.model import Board, Layer
from coppermend.damage.layers import Canvas, draw_layers
from coppermend.damage.maps import PX_PER_MM

PHOTO_PX_PER_MM = 2.0 * PX_PER_MM
COUNT = 18
_BODIES, _COPPER_FREE = 2, 60

Drawing = NDArray[np.uint8]


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
    rows, columns = drawing.shape[1:]
    small = cv2.resize(photo, (columns, rows), interpolation=cv2.INTER_AREA)
    grown = cv2.dilate(drawing[0], np.ones((5, 5), np.uint8))
    free = (grown < _COPPER_FREE) & (drawing[_BODIES] < _COPPER_FREE) & (small.max(axis=2) > 20)
    chosen = small[free] if np.count_nonzero(free) > 100 else small.reshape(-1, 3)
    return np.asarray(np.median(chosen[:: max(1, len(chosen) // 40_000)], axis=0) / 255, np.float32)


def channels(photo: NDArray[np.uint8], drawing: Drawing, base: NDArray[Any]) -> NDArray[np.float32]:
    """(18, rows, columns) float32: 4 sub-pixels x RGB, the mask's RGB, pads, tracks, parts.

    Args:
        photo: (2 rows, 2 columns, 3) straightened photo at 8 px/mm.
        drawing: (3, rows, columns) from ``drawing_channels``.
        base: (3,) mask colour 0..1.
    """
    rows, columns = drawing.shape[1:]
    out = np.empty((COUNT, rows, columns), np.float32)
    # One brightness for the whole board: its mask becomes mid-grey in brightness, its colour stays.
    gain = np.float32(0.35 / (float(np.mean(base)) + 0.1) / 255)
    for sub in range(4):
        plane = photo[sub // 2 :: 2, sub % 2 :: 2]
        for colour in range(3):
            np.multiply(plane[..., colour], gain, out=out[3 * sub + colour])
    out[12:15] = (base * gain * 255).astype(np.float32)[:, None, None]
    np.multiply(drawing, np.float32(1 / 255), out=out[15:18])
    return np.minimum(out, 2.5, out=out)
