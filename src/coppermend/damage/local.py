"""What a cell and its near surroundings look like, and a small pixel model on it: sharp where the network is blurred.

Colour against the mask's colour, how grey and how blue-green, brightness and its spread at four scales, and the
drawing. The model is two hidden layers, trained by ``tools/train_corrosion.py``, kept as plain arrays.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

COUNT = 40
_SCALES_PX = (1.0, 2.5, 6.0, 16.0)
_FLOOR = 0.03  # added before ratios and logarithms: darkness is noise
_LIMIT = 6.0  # standard deviations; what is further out tells no more
_BAND_ROWS = 64


def local_features(planes: NDArray[np.float32]) -> NDArray[np.float32]:
    """(40, rows, columns) float32 from the (18, rows, columns) of ``features.channels``."""
    rgb = planes[:12].reshape(4, 3, *planes.shape[1:]).mean(axis=0)
    bright, base = rgb.mean(axis=0), planes[12:15].mean(axis=(1, 2))
    against = np.log((rgb + _FLOOR) / (base[:, None, None] + _FLOOR))
    red, green, blue = rgb
    strength = (rgb.max(axis=0) - rgb.min(axis=0)) / (rgb.max(axis=0) + _FLOOR)
    tints = [(a - b) / (bright + 0.1) for a, b in ((red, green), (blue, green), (blue, red))]
    grain = planes[:12].reshape(4, 3, *planes.shape[1:]).mean(axis=1).std(axis=0) / (bright + 0.1)
    found = [*rgb, *against, strength, *tints, grain]
    light = np.log(bright + 0.05)
    for scale_px in _SCALES_PX:
        around = _blurred(light, scale_px)
        found += [around, light - around, np.sqrt(_blurred((light - around) ** 2, scale_px))]
        found += [_blurred(tint, scale_px) for tint in (tints[0], tints[1], strength)]
    found += [*planes[15:18], _blurred(planes[15], 2.0), _blurred(planes[17], 3.0)]
    return np.stack(found).astype(np.float32)


def local_chances(features: NDArray[np.float32], model: Mapping[str, NDArray[Any]]) -> NDArray[np.float32]:
    """(3, rows, columns) probabilities of the grades, cell by cell.

    Args:
        features: From ``local_features``.
        model: ``mean`` and ``spread`` (40,), weights and biases ``w1``, ``b1`` to ``w3``, ``b3``.
    """
    out = np.empty((3, *features.shape[1:]), np.float32)
    for top in range(0, features.shape[1], _BAND_ROWS):  # in bands: the hidden layers are large
        band = features[:, top : top + _BAND_ROWS]
        x = (band.reshape(COUNT, -1).T - model["mean"]) / model["spread"]
        x = np.clip(x, -_LIMIT, _LIMIT).astype(np.float32)
        for layer in "12":
            x = np.maximum(x @ model[f"w{layer}"].T + model[f"b{layer}"], 0)
        logits = np.clip(x @ model["w3"].T + model["b3"], -30, 30)
        out[:, top : top + _BAND_ROWS] = (1 / (1 + np.exp(-logits))).T.reshape(3, *band.shape[1:])
    return out


def _blurred(image: NDArray[np.float32], scale_px: float) -> NDArray[np.float32]:
    return np.asarray(cv2.GaussianBlur(np.ascontiguousarray(image), (0, 0), scale_px), np.float32)
