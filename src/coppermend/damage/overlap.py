"""How much of each shape lies in damage, and how bad it is there. Knows copper and shapes, no parts or nets.

Drawn zones are intersected exactly. A map is sampled: each shape gets a lattice of points at most 0.125 mm
apart (half a pixel), so a map's cell that a shape clips by less than that may go unseen.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.board.atrisk import LIGHT
from coppermend.board.space import BoardSpace
from coppermend.damage.area import DamageArea
from coppermend.damage.maps import GRADE_STEPS, PX_PER_MM

_STEP_MM = 0.125
_MAX_SAMPLES = 2_000_000  # at a time, to bound memory
Floats = NDArray[np.float64]


class Overlaps(NamedTuple):
    """Items in damage: positions (k,), worst severity 0..1 (k,), share of their area in damage 0..1 (k,)."""

    items: NDArray[np.int_]
    severity: Floats
    share: Floats


def copper_overlaps(area: DamageArea, space: BoardSpace) -> Overlaps:
    """Copper of the board that lies in damage, light or worse; items are positions in ``space``, ascending.

    Copper that only meets the edge of a drawn zone counts, with share 0.
    """
    if area.grid is None:
        items = space.touching(area.shape)
        return Overlaps(items, _copper_severity(area, space, items), _share(area, space.shapes(items)))
    near = _in_damaged_boxes(area.grid, area.height_mm, space)
    fills = space.kinds[near] == "area"
    lattice = _sampled(area.grid, area.height_mm, space, near[~fills])
    filled = shape_overlaps(area, space.skeletons[near[fills]])
    items = np.concatenate([near[~fills][lattice.items], near[fills][filled.items]])
    order = np.argsort(items)
    return Overlaps(
        items[order],
        np.concatenate([lattice.severity, filled.severity])[order],
        np.concatenate([lattice.share, filled.share])[order],
    )


def shape_overlaps(area: DamageArea, shapes: NDArray[np.object_]) -> Overlaps:
    """Which of some polygons [mm] lie in damage; items are positions in ``shapes``.

    For a map the outlines of its grades are used, each with the worst severity in that grade.
    """
    severity = np.zeros(len(shapes))
    for zone in area.zones:
        if zone.severity >= LIGHT:
            shapely.prepare(zone.shape)
            hit = shapely.intersects(zone.shape, shapes)
            severity[hit] = np.maximum(severity[hit], zone.severity)
    items = np.flatnonzero(severity >= LIGHT)
    return Overlaps(items, severity[items], _share(area, shapes[items]))


def _copper_severity(area: DamageArea, space: BoardSpace, items: NDArray[np.int_]) -> Floats:
    zones = [zone for zone in area.zones if zone.severity >= LIGHT]
    if len(zones) == 1:
        return np.full(len(items), zones[0].severity)
    severity = np.zeros(len(items))
    for zone in zones:
        shapely.prepare(zone.shape)
        hit = shapely.dwithin(zone.shape, space.skeletons[items], space.reach_mm[items] + 1e-9)
        severity[hit] = np.maximum(severity[hit], zone.severity)
    return severity


def _share(area: DamageArea, shapes: NDArray[np.object_]) -> Floats:
    """Fraction of each shape's area in damage; intersections only for those on the edge."""
    share = np.ones(len(shapes))
    shapely.prepare(area.shape)
    edge = ~shapely.covers(area.shape, shapes)
    whole_mm2 = shapely.area(shapes[edge])
    inside_mm2 = shapely.area(shapely.intersection(shapes[edge], area.shape))
    share[edge] = np.divide(inside_mm2, whole_mm2, out=np.zeros_like(whole_mm2), where=whole_mm2 > 0)
    return np.minimum(share, 1.0)


def _in_damaged_boxes(grid: NDArray[np.uint8], height_mm: float, space: BoardSpace) -> NDArray[np.int_]:
    """Items whose bounding box holds a damaged cell, by a summed-area table."""
    damaged = grid >= GRADE_STEPS[0]
    if not damaged.any():
        return np.zeros(0, dtype=int)
    (top, bottom), (first, last) = (np.flatnonzero(damaged.any(axis=axis))[[0, -1]] for axis in (1, 0))
    sums = np.zeros((bottom - top + 2, last - first + 2), dtype=np.int64)
    cropped = damaged[top : bottom + 1, first : last + 1]
    np.cumsum(np.cumsum(cropped, axis=0), axis=1, out=sums[1:, 1:])
    x1, y1, x2, y2 = shapely.bounds(space.boxes).reshape(-1, 4).T * PX_PER_MM
    height_px = height_mm * PX_PER_MM
    left, right = np.clip([np.floor(x1) - first, np.ceil(x2) - first], 0, last - first + 1).astype(int)
    up, down = np.clip(
        [np.floor(height_px - y2) - top, np.ceil(height_px - y1) - top], 0, bottom - top + 1
    ).astype(int)
    found = sums[down, right] - sums[up, right] - sums[down, left] + sums[up, left]
    return np.flatnonzero(found)


def _sampled(
    grid: NDArray[np.uint8], height_mm: float, space: BoardSpace, near: NDArray[np.int_]
) -> Overlaps:
    """Overlaps of pads, vias and tracks by sampling; items are positions in ``near``."""
    runs = _Runs(space, near)
    counts = runs.nu * runs.nv
    severity, share = np.zeros(len(near)), np.zeros(len(near))
    batches = np.cumsum(counts) // _MAX_SAMPLES
    for batch in np.unique(batches):
        some = np.flatnonzero(batches == batch)
        owner, x, y, inside = runs.samples(some)
        value = _at(grid, height_mm, x, y) * inside
        starts = np.concatenate([[0], np.cumsum(counts[some])[:-1]])
        severity[some] = np.maximum.reduceat(value, starts) / 255
        damaged = np.bincount(owner, value >= GRADE_STEPS[0], len(some))
        share[some] = damaged / np.maximum(np.bincount(owner, inside, len(some)), 1)
    items = np.flatnonzero(severity >= LIGHT)
    return Overlaps(items, severity[items], share[items])


def _at(grid: NDArray[np.uint8], height_mm: float, x_mm: Floats, y_mm: Floats) -> NDArray[np.int_]:
    """Values of the map at points; 0 off the map."""
    row = np.floor((height_mm - y_mm) * PX_PER_MM).astype(int)
    column = np.floor(x_mm * PX_PER_MM).astype(int)
    on_map = (row >= 0) & (row < grid.shape[0]) & (column >= 0) & (column < grid.shape[1])
    values = np.zeros(len(row), dtype=int)
    values[on_map] = grid[row[on_map], column[on_map]]
    return values


class _Runs:
    """Items as runs from a start along a direction, each with a lattice of nu x nv sample points.

    A disc is a run of length 0 with round ends, a rectangle one with square ends.
    """

    def __init__(self, space: BoardSpace, near: NDArray[np.int_]) -> None:
        skeletons, reach_mm = space.skeletons[near], space.reach_mm[near]
        self.round = reach_mm > 0
        boxes = shapely.bounds(skeletons).reshape(-1, 4)
        middle = (boxes[:, 1] + boxes[:, 3]) / 2
        ends = np.column_stack([boxes[:, 0], middle, boxes[:, 2], middle])
        lines = shapely.get_type_id(skeletons) == shapely.GeometryType.LINESTRING
        ends[lines] = shapely.get_coordinates(skeletons[lines]).reshape(-1, 4)
        self.x, self.y = ends[:, 0], ends[:, 1]
        dx, dy = ends[:, 2] - self.x, ends[:, 3] - self.y
        self.length_mm = np.hypot(dx, dy)
        safe = np.where(self.length_mm > 0, self.length_mm, 1.0)
        self.cos, self.sin = np.where(self.length_mm > 0, dx / safe, 1.0), dy / safe
        self.cap_mm = np.where(self.round, reach_mm, 0.0)
        self.half_mm = np.where(self.round, reach_mm, (boxes[:, 3] - boxes[:, 1]) / 2)
        self.nu = np.maximum(np.ceil((self.length_mm + 2 * self.cap_mm) / _STEP_MM).astype(int), 2)
        self.nv = np.maximum(np.ceil(2 * self.half_mm / _STEP_MM).astype(int), 2)

    def samples(self, some: NDArray[np.int_]) -> tuple[NDArray[np.int_], Floats, Floats, NDArray[np.bool_]]:
        """Owner (position in ``some``), x, y [mm] of each sample, and whether it lies in its owner's copper."""
        counts = self.nu[some] * self.nv[some]
        owner = np.repeat(np.arange(len(some)), counts)
        number = np.arange(len(owner)) - np.repeat(np.cumsum(counts) - counts, counts)
        item = some[owner]
        span_mm = self.length_mm[item] + 2 * self.cap_mm[item]
        u = (number // self.nv[item] + 0.5) / self.nu[item] * span_mm - self.cap_mm[item]
        v = ((number % self.nv[item] + 0.5) / self.nv[item] * 2 - 1) * self.half_mm[item]
        over = u - np.clip(u, 0.0, self.length_mm[item])
        inside = ~self.round[item] | (np.hypot(over, v) <= self.half_mm[item])
        x = self.x[item] + u * self.cos[item] - v * self.sin[item]
        y = self.y[item] + u * self.sin[item] + v * self.cos[item]
        return owner, x, y, inside
