"""The photo brought to board space: one image of the board, straight and to scale. No judgement of what it shows."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from coppermend.damage.camera import View
from coppermend.damage.layers import Canvas

_COARSE_PX = 16  # the view is smooth: it is computed on a coarse grid and interpolated between


def rectify(photo: NDArray[np.uint8], view: View, canvas: Canvas) -> NDArray[np.uint8]:
    """``photo`` as seen straight from above.

    Where the photo is finer than the canvas it is averaged first, so that nothing shimmers.

    Args:
        photo: (rows, columns) or (rows, columns, 3) uint8.
        view: How the photo sees the board.
        canvas: Size and scale of the result.

    Returns:
        Image of the canvas's shape; places that the photo does not show are 0.
    """
    centre = np.array([[canvas.width_mm / 2, canvas.height_mm / 2]])
    ratio = canvas.px_per_mm / float(view.px_per_mm(centre)[0])
    if ratio < 0.75:
        size = (max(1, round(photo.shape[1] * ratio * 1.2)), max(1, round(photo.shape[0] * ratio * 1.2)))
        factor = size[0] / photo.shape[1]
        photo = np.asarray(cv2.resize(photo, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
        view = view.scaled(factor)
    u, v = _pixel_grid(view, canvas)
    return np.asarray(cv2.remap(photo, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT))


def shown(view: View, canvas: Canvas, photo_shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Which pixels of the canvas the photo shows."""
    u, v = _pixel_grid(view, canvas)
    return (u >= -0.5) & (v >= -0.5) & (u <= photo_shape[1] - 0.5) & (v <= photo_shape[0] - 0.5)


def _pixel_grid(view: View, canvas: Canvas) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Photo pixels (u, v) of every pixel of the canvas."""
    rows, columns = canvas.shape
    coarse = (rows // _COARSE_PX + 2, columns // _COARSE_PX + 2)
    x = (np.arange(coarse[1]) * _COARSE_PX + 0.5) / canvas.px_per_mm
    y = canvas.height_mm - (np.arange(coarse[0]) * _COARSE_PX + 0.5) / canvas.px_per_mm
    grid_x, grid_y = np.meshgrid(x, y)
    at = view.pixels(np.column_stack([grid_x.ravel(), grid_y.ravel()])).astype(np.float32)
    # Coarse pixel i stands at fine pixel 16 i, so fine pixel p is coarse coordinate p / 16.
    to_coarse = np.array([[1 / _COARSE_PX, 0, 0], [0, 1 / _COARSE_PX, 0]], dtype=np.float64)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    u, v = (cv2.warpAffine(at[:, i].reshape(coarse), to_coarse, (columns, rows), flags=flags) for i in (0, 1))
    return np.asarray(u, np.float32), np.asarray(v, np.float32)
