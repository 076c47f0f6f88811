"""Smooth random fields."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Field = NDArray[np.float32]


def smooth(rng: np.random.Generator, shape: tuple[int, int], cell_px: float) -> Field:
    """A field of mean 0 and deviation about 1 that varies over ``cell_px`` pixels."""
    size = (max(2, round(shape[1] / cell_px) + 3), max(2, round(shape[0] / cell_px) + 3))
    small = rng.standard_normal((size[1], size[0])).astype(np.float32)
    inter = cv2.INTER_CUBIC if cell_px > 1.5 else cv2.INTER_LINEAR
    big = cv2.resize(small, (round(size[0] * cell_px), round(size[1] * cell_px)), interpolation=inter)
    return (
        big[: shape[0], : shape[1]]
        if big.shape[0] >= shape[0] and big.shape[1] >= shape[1]
        else cv2.resize(small, (shape[1], shape[0]), interpolation=inter)
    )


def cloud(
    rng: np.random.Generator, shape: tuple[int, int], cell_px: float, octaves: int, gain: float = 0.6
) -> Field:
    """Octaves of ``smooth``, each half as wide and ``gain`` as strong; deviation about 1."""
    total = np.zeros(shape, np.float32)
    power = 0.0
    for octave in range(octaves):
        if cell_px / 2**octave < 1:
            break
        weight = gain**octave
        total += weight * smooth(rng, shape, cell_px / 2**octave)
        power += weight**2
    return total / np.float32(np.sqrt(power))
