"""Correlating windows of a drawn image with a straightened photo, at many shifts at once, under several looks of copper.

Reference: J. P. Lewis, Fast normalized cross-correlation, Vision Interface 1995.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
import scipy.fft
import scipy.ndimage
from numpy.typing import NDArray

from coppermend.damage.layers import Canvas

Plane = NDArray[np.float32]

FINE_MM = 0.15  # relief is wider than a photo's blur
_COARSE_MM = 0.7  # and narrower than most parts
_BLOCK_MM = 6.5  # windows are two by two blocks, and overlap by half
_LEAST_ENERGY = 0.15  # of the usual, that a leaning look must have in a window


@dataclass(frozen=True)
class Look:
    """How copper looks: lighter (1) or darker (-1) than the board around, or (0) lit from a side."""

    contrast: float
    lean: tuple[float, float] = (0.0, 0.0)  # (x, y down) of the edges that are bright


@dataclass(frozen=True)
class Surfaces:
    """Correlation of one drawn image with the photo: for every shift and window, and what normalises it.

    Attributes:
        covariance: (2 r + 1, 2 r + 1, n) for shifts by -r..r px down and right.
        strength: (n,) root of the photo's energy in the windows.
        moments: (n, 3, 3) mean products of the drawn image and its slopes along columns and rows.
        centres_mm: (n, 2) middles of the windows [mm].
        grid: How many rows and columns of windows there are; n is their product.
    """

    covariance: Plane
    strength: Plane
    moments: Plane
    centres_mm: NDArray[np.float64]
    grid: tuple[int, int]


@dataclass(frozen=True)
class Pattern:
    """A drawn image, made ready to be looked for more than once.

    Attributes:
        spectrum: (rows, columns, ...) Fourier transforms of its blocks.
        moments: (n, 3, 3) as in ``Surfaces``.
        canvas: Where it is drawn.
        reach_mm: How far it can be looked for [mm].
    """

    spectrum: NDArray[np.complex64]
    moments: Plane
    canvas: Canvas
    reach_mm: float

    @property
    def size(self) -> int:
        """Pixels each way that the blocks are transformed at."""
        block, reach = _block_px(self.canvas), _reach_px(self.canvas, self.reach_mm)
        return int(scipy.fft.next_fast_len(block + 2 * reach, real=True))


def pattern_of(drawn: Plane, canvas: Canvas, reach_mm: float) -> Pattern:
    """Make a drawn image ready to be looked for, ``reach_mm`` to each side at most."""
    block, (rows, columns) = _block_px(canvas), _block_grid(canvas)
    below, right = rows * block - canvas.shape[0], columns * block - canvas.shape[1]
    drawn = np.asarray(
        cv2.copyMakeBorder(drawn, 0, below, 0, right, cv2.BORDER_CONSTANT, value=0), np.float32
    )
    slopes = [np.zeros_like(drawn), np.zeros_like(drawn)]
    slopes[0][:, 1:-1] = (drawn[:, 2:] - drawn[:, :-2]) / 2
    slopes[1][1:-1] = (drawn[2:] - drawn[:-2]) / 2
    parts = [drawn, *slopes]
    moments = np.empty((3, 3, (rows - 1) * (columns - 1)), np.float32)
    for i in range(3):
        for j in range(i, 3):
            moments[i, j] = moments[j, i] = _windows(shrunk(parts[i] * parts[j], (rows, columns)))
    empty = Pattern(
        np.zeros(0, np.complex64), np.ascontiguousarray(moments.transpose(2, 0, 1)), canvas, reach_mm
    )
    near = drawn.reshape(rows, block, columns, block).transpose(0, 2, 1, 3)
    return replace(empty, spectrum=scipy.fft.rfft2(near, (empty.size, empty.size)))


def correlated(seen: Plane, patterns: Mapping[str, Pattern], reach_mm: float) -> dict[str, Surfaces]:
    """Correlate every window of each pattern with a photo at all shifts within reach, block by block by Fourier transform.

    Args:
        seen: What the photo shows, on the canvas that the patterns, made for this reach or more, have in common.
        patterns: By name.
        reach_mm: How far to look [mm].
    """
    if not patterns:
        return {}
    canvas, size = next((p.canvas, p.size) for p in patterns.values())
    block, reach, (rows, columns) = _block_px(canvas), _reach_px(canvas, reach_mm), _block_grid(canvas)
    below, right = rows * block - canvas.shape[0], columns * block - canvas.shape[1]
    around = cv2.copyMakeBorder(
        seen, reach, reach + below, reach, reach + right, cv2.BORDER_CONSTANT, value=0
    )
    wide = block + 2 * reach
    far = np.lib.stride_tricks.sliding_window_view(around, (wide, wide))[::block, ::block]
    spectrum = scipy.fft.rfft2(far, (size, size))
    inner = around[reach : reach + rows * block, reach : reach + columns * block]
    strength = np.sqrt(_windows(shrunk(inner * inner, (rows, columns)))) + np.float32(1e-6)
    across, down = (block * (np.arange(n - 1) + 1) / canvas.px_per_mm for n in (columns, rows))
    centres = np.stack(np.meshgrid(across, canvas.height_mm - down), axis=-1).reshape(-1, 2)

    def surfaces(pattern: Pattern) -> Surfaces:
        shifts = scipy.fft.irfft2(np.conj(pattern.spectrum) * spectrum, (size, size))
        shifts = shifts[..., : 2 * reach + 1, : 2 * reach + 1].transpose(2, 3, 0, 1)
        covariance = _windows(np.ascontiguousarray(shifts)) / np.float32(block * block)
        return Surfaces(covariance, strength, pattern.moments, centres, (rows - 1, columns - 1))

    return {name: surfaces(pattern) for name, pattern in patterns.items()}


def _block_px(canvas: Canvas) -> int:
    return round(_BLOCK_MM * canvas.px_per_mm)


def _reach_px(canvas: Canvas, reach_mm: float) -> int:
    return max(2, round(reach_mm * canvas.px_per_mm))


def _block_grid(canvas: Canvas) -> tuple[int, int]:
    """Rows and columns of blocks that cover the canvas, two at least."""
    rows, columns = (max(2, -(-n // _block_px(canvas))) for n in canvas.shape)
    return rows, columns


def _windows(blocks: Plane) -> Plane:
    """(..., n) means of two by two blocks, from (..., rows, columns) means of blocks."""
    total = blocks[..., :-1, :-1] + blocks[..., 1:, :-1] + blocks[..., :-1, 1:] + blocks[..., 1:, 1:]
    return np.asarray(total.reshape(*blocks.shape[:-2], -1) / 4, np.float32)


def scores_under(surfaces: Surfaces, look: Look) -> tuple[Plane, Plane]:
    """((rows, columns, n) normalised correlation under a look, (n,) mean square of the drawn windows)."""
    c = surfaces.covariance
    amount = np.array([look.contrast, *np.multiply(look.lean, _lean_unit(surfaces))], np.float32)
    # The correlation with an image's slope is the slope of the correlation, against the shift.
    total = amount[0] * c
    if amount[1] or amount[2]:
        total[:, 1:-1] += amount[1] * (c[:, :-2] - c[:, 2:]) / 2
        total[1:-1] += amount[2] * (c[:-2] - c[2:]) / 2
    energy = np.einsum("nij,i,j->n", surfaces.moments, amount, amount)
    return np.asarray(
        total
        / (np.sqrt(np.maximum(energy, _LEAST_ENERGY * surfaces.moments[:, 0, 0]) + 1e-9) * surfaces.strength),
        np.float32,
    ), energy


def means_nearby(
    values: NDArray[Any], told: NDArray[np.bool_], grid: tuple[int, int], across: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Means over the windows around each, of those that tell something, and how many these are.

    Args:
        values: (n, k) of every window.
        told: (n,) which windows count.
        grid: From ``Surfaces``.
        across: Windows from side to side of what is around, an odd number.

    Returns:
        ((n, k), (n,)); where no window counts the mean is 0.
    """
    both = np.column_stack([told, np.where(told[:, None], values, 0)]).reshape(*grid, -1)
    total = (
        scipy.ndimage.uniform_filter(both.astype(np.float64), (across, across, 0), mode="constant")
        * across**2
    )
    count = np.rint(total[..., 0]).ravel()
    return total[..., 1:].reshape(len(values), -1) / np.maximum(count, 1)[:, None], count


def _lean_unit(surfaces: Surfaces) -> float:
    """By how much slopes are multiplied to be as strong as the image itself."""
    mean = surfaces.moments.mean(axis=0)
    return float(np.sqrt(mean[0, 0] / max(1e-9, (mean[1, 1] + mean[2, 2]) / 2)))


def peak(before: Plane, here: Plane, after: Plane) -> Plane:
    """Vertex of the parabola through three neighbours, within half a step."""
    bend = np.minimum(before - 2 * here + after, -1e-6)
    return np.asarray(np.clip((before - after) / (2 * bend), -0.5, 0.5), np.float32)


def shrunk(image: NDArray[Any], shape: tuple[int, int]) -> NDArray[Any]:
    """Means of an image's pixels over a coarser grid."""
    return np.asarray(cv2.resize(image, shape[::-1], interpolation=cv2.INTER_AREA))


def luminance(image: NDArray[np.uint8]) -> Plane:
    """Logarithm of the brightness: a line in shadow counts as much as one in light."""
    return np.asarray(np.log(np.arange(256, dtype=np.float32) + 12.0)[image], np.float32)


def high_pass(image: Plane, px_per_mm: float) -> Plane:
    """What stands out from its surroundings."""
    fine = cv2.GaussianBlur(image, (0, 0), FINE_MM * px_per_mm)
    small = cv2.resize(fine, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    coarse = cv2.GaussianBlur(small, (0, 0), _COARSE_MM * px_per_mm / 4)
    return np.asarray(fine - cv2.resize(coarse, image.shape[::-1], interpolation=cv2.INTER_LINEAR))


def relief_of(image: Plane, px_per_mm: float) -> Plane:
    """What stands out, lighter or darker, in units of what is usual, and bounded."""
    relief = high_pass(image, px_per_mm)
    usual = float(np.sqrt(np.mean(np.minimum(relief[::4, ::4] ** 2, 0.25)))) + 1e-6
    return np.asarray(np.tanh(relief / (1.5 * usual)), np.float32)
