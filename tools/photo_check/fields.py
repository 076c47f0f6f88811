"""Random fields, and how far a leak has come: first-passage percolation over the board's drawing.

Cells of unequal speed are reached one after another from the battery, copper and drilled holes faster than mask, and
downhill faster than up (Eden growth in the limit of first passage; M. Eden 1961, J. Hammersley and D. Welsh 1965).
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import dijkstra

from coppermend.damage.layers import DrawnLayers

Plane = NDArray[np.float32]
Random = np.random.Generator


def ease(x: Plane, low: float, high: float) -> Plane:
    """0 up to ``low``, 1 from ``high``, smooth between."""
    t = np.clip((x - np.float32(low)) * np.float32(1 / (high - low)), 0, 1)
    return np.asarray(t * t * (3 - 2 * t), np.float32)


def resized(plane: NDArray[np.generic], shape: tuple[int, ...], how: int = cv2.INTER_LINEAR) -> Plane:
    """``plane`` in the rows and columns of ``shape``."""
    return np.asarray(cv2.resize(plane, (shape[1], shape[0]), interpolation=how), np.float32)


def rough(rng: Random, shape: tuple[int, ...], cell_px: float, octaves: int = 4, gain: float = 0.55) -> Plane:
    """Cloudy noise, mean 0 and spread about 1, its largest clouds ``cell_px`` across."""
    total, power, weight = np.zeros(shape, np.float32), 0.0, 1.0
    for _ in range(octaves):
        size = (max(2, round(shape[0] / cell_px) + 2), max(2, round(shape[1] / cell_px) + 2))
        clouds = rng.standard_normal(size, dtype=np.float32)
        how = cv2.INTER_CUBIC if cell_px > 1.5 else cv2.INTER_LINEAR
        total += np.float32(weight) * resized(clouds, shape, how)
        power += weight**2
        cell_px, weight = cell_px / 2, weight * gain
        if cell_px < 1:
            break
    return np.asarray(total * np.float32(1.4 / np.sqrt(power)), np.float32)


def cells(rng: Random, shape: tuple[int, ...], spacing_px: float) -> tuple[Plane, Plane]:
    """Distance to the nearest of random seeds in units of their spacing, and a value 0..1 that each seed's cell shares."""
    seeds = np.full(shape, 255, np.uint8)
    count = max(2, int(shape[0] * shape[1] / spacing_px**2))
    seeds[rng.integers(0, shape[0], count), rng.integers(0, shape[1], count)] = 0
    away, label = cv2.distanceTransformWithLabels(seeds, cv2.DIST_L2, 3, labelType=cv2.DIST_LABEL_PIXEL)
    values = rng.random(int(label.max()) + 1, dtype=np.float32)
    return np.asarray(away, np.float32) / np.float32(spacing_px), values[label]


def arrival(speed: Plane, sources: NDArray[np.int64], down: tuple[float, float], gravity: float) -> Plane:
    """When each cell is reached from ``sources`` (flat indices), moving to eight neighbours at the cells' speeds.

    ``down`` is the downhill direction as (row, column), ``gravity`` 0..0.9 how much it counts.
    """
    rows, columns = speed.shape
    index = np.arange(rows * columns, dtype=np.int32).reshape(rows, columns)
    cost = 1 / speed
    starts, ends, weights = [], [], []
    for dr, dc in ((0, 1), (1, 0), (1, 1), (1, -1), (0, -1), (-1, 0), (-1, -1), (-1, 1)):
        here = (slice(max(0, -dr), rows - max(0, dr)), slice(max(0, -dc), columns - max(0, dc)))
        there = (slice(max(0, dr), rows - max(0, -dr)), slice(max(0, dc), columns - max(0, -dc)))
        step = float(np.hypot(dr, dc))
        slope = 1 - gravity * (dr * down[0] + dc * down[1]) / step
        starts.append(index[here].ravel())
        ends.append(index[there].ravel())
        weights.append(((cost[here] + cost[there]) * np.float32(0.5 * step * slope)).ravel())
    graph = coo_matrix(
        (np.concatenate(weights), (np.concatenate(starts), np.concatenate(ends))),
        shape=(index.size, index.size),
    ).tocsr()
    return np.asarray(dijkstra(graph, indices=sources, min_only=True).reshape(rows, columns), np.float32)


def leak(
    layers: DrawnLayers, scale: float, ends: Sequence[tuple[int, int]], share: float, peak: float, rng: Random
) -> Plane:
    """Severity 0..255 of a leak that covers about ``share`` of the board.

    Args:
        layers: The drawing at ``scale``.
        scale: px/mm of the result.
        ends: (row, column) of where the battery leaks.
        share: Of the board's area that is reached.
        peak: Severity at its worst.
        rng: Where chance comes from.
    """
    board, copper = layers.board > 127, np.maximum(layers.tracks, layers.areas) > 127
    pins = np.maximum(layers.pads, layers.vias) > 127
    shape = layers.board.shape
    pace = rng.uniform(0.2, 0.9) * rough(rng, shape, rng.uniform(4, 14) * scale, 3)
    pace += rng.uniform(0.2, 1.0) * rng.standard_normal(shape, dtype=np.float32)
    pace += np.where(copper, rng.uniform(-0.1, 1.4), 0) + np.where(pins, rng.uniform(0, 1.6), 0)
    pace += np.where(layers.bodies > 127, rng.uniform(-0.6, 0.9), 0)
    speed = np.where(board, np.exp(np.clip(pace, -4, 4)), 1e-3).astype(np.float32)
    sources = np.array([r * shape[1] + c for r, c in ends])
    turn = rng.uniform(0, 2 * np.pi)
    gravity = float(rng.choice([0, rng.uniform(0, 0.5), rng.uniform(0.4, 0.9)]))
    when = arrival(speed, sources, (float(np.sin(turn)), float(np.cos(turn))), gravity)
    reach = max(float(np.quantile(when[board], share)), 1e-6)
    gone = cv2.GaussianBlur(when / np.float32(reach), (0, 0), rng.uniform(0.3, 1.2))
    amount = _profile(np.minimum(gone, 9), rng)
    amount *= np.exp(rng.uniform(0.1, 0.45) * rough(rng, shape, rng.uniform(1.5, 6) * scale, 4) - 0.05)
    amount = np.maximum(amount, _islands(gone, pins, scale, rng))
    amount *= np.where(pins, _per_pin(pins, rng), 1)
    severity = np.float32(peak) * np.minimum(amount, 1.1)
    if rng.random() < 0.75:  # creep along copper, ahead of the crust
        ahead = ease(rng.uniform(1.1, 1.7) - gone, 0, rng.uniform(0.1, 0.5)) * rng.uniform(55, 95)
        severity = np.maximum(severity, np.where(copper | pins, ahead * _per_pin(copper | pins, rng), 0))
    return np.asarray(np.where(board, np.clip(severity, 0, 255), 0), np.float32)


def _profile(gone: Plane, rng: Random) -> Plane:
    """How much is left where the front passed at ``gone`` (1 = where it stopped)."""
    kind = rng.random()
    if kind < 0.4:
        return np.asarray(np.clip(1 - gone, 0, 1) ** rng.uniform(0.35, 1.1), np.float32)
    if kind < 0.75:  # a plateau with an edge of its own width
        return ease(1 - gone, 0, rng.uniform(0.05, 0.5)) * np.float32(rng.uniform(0.8, 1))
    ring, width = rng.uniform(0.6, 0.9), rng.uniform(0.06, 0.2)  # it dried from the middle outwards
    rim = np.exp(-(((gone - ring) / width) ** 2)) * rng.uniform(0.6, 1)
    return np.asarray(np.maximum(rim, rng.uniform(0.25, 0.6) * ease(1 - gone, 0, 0.3)), np.float32)


def _islands(gone: Plane, pins: NDArray[np.bool_], scale: float, rng: Random) -> Plane:
    """Separate spots, mostly near the leak and on pins."""
    out = np.zeros(gone.shape, np.float32)
    count = int(rng.choice([0, rng.integers(1, 6), rng.integers(5, 40)]))
    chance = np.exp(-np.abs(gone - 1) * rng.uniform(0.8, 4)) * np.where(pins, rng.uniform(1, 12), 1)
    chance = (chance / chance.sum()).ravel().astype(np.float64)
    shapes = 0.5 * rough(rng, gone.shape, 1.2 * scale, 3)
    for place in rng.choice(chance.size, count, p=chance / chance.sum()) if count else ():
        row, column = divmod(int(place), gone.shape[1])
        radius = float(np.exp(rng.uniform(np.log(0.4), np.log(4)))) * scale
        far = int(2 * radius) + 2
        there = slice(max(0, row - far), row + far), slice(max(0, column - far), column + far)
        r, c = np.mgrid[there]
        inside = 1.2 - np.hypot(r - row, c - column)[: out.shape[0], : out.shape[1]] / radius
        height, width = out[there].shape
        spot = ease(inside[:height, :width] + 0.5 * shapes[there], 0, rng.uniform(0.2, 0.9))
        out[there] = np.maximum(out[there], spot * rng.uniform(0.35, 1))
    return out


def _per_pin(pins: NDArray[np.bool_], rng: Random) -> Plane:
    """A factor for each connected piece: some pins are eaten, their neighbours spared."""
    count, label = cv2.connectedComponents(pins.astype(np.uint8))
    factors = np.exp(rng.uniform(0.1, 0.5) * rng.standard_normal(count)).astype(np.float32)
    return np.asarray(factors[label], np.float32)
