"""Which parts stand in damage, and under which of them it may be hidden. Copper is in ``overlap``.

Damage seen on two sides of a body has very likely crept through beneath it (common practice, no source),
though neither a photo nor a drawn outline shows it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from coppermend.board.model import Board, Part
from coppermend.board.packages import body_shape
from coppermend.damage.area import DamageArea
from coppermend.damage.overlap import shape_overlaps

STRIP_MM = 1.5  # how close to a body damage must come to count as beside it; our choice
_KNOWN_SHARE = 0.5  # with this much of the body in damage nothing is hidden: it is known
_OVERHANG_MM = 15.0  # how far a body may reach beyond its outermost pads: a coin cell's holder, from memory
_NO_PADS_MM = 40.0  # how far a body may reach from a part's place when its pads are not known


class TouchedBody(NamedTuple):
    """A body in damage: worst severity and share of its area; ``hidden`` when damage may lie under it."""

    severity: float
    share: float
    hidden: bool


def touched_bodies(area: DamageArea, board: Board) -> dict[str, TouchedBody]:
    """Bodies in damage or with damage on two sides, by refdes.

    A body that damage only surrounds has share 0 and the severity of the second-worst side.
    """
    parts = _parts_near(area, board)
    bodies = np.array([body_shape(board, part) for part in parts], dtype=object)
    known = np.flatnonzero(shapely.area(bodies) > 0) if parts else np.zeros(0, dtype=int)
    direct = shape_overlaps(area, bodies[known])
    found = {int(known[i]): (s, f) for i, s, f in zip(*direct, strict=True)}
    partly = [int(i) for i in known if found.get(int(i), (0.0, 0.0))[1] < _KNOWN_SHARE]
    beside = _second_worst_sides(area, bodies, partly)
    result = {}
    for i in sorted({*found, *beside}):
        severity, share = found.get(i, (0.0, 0.0))
        result[parts[i].refdes] = TouchedBody(
            max(float(severity), beside.get(i, 0.0)), float(share), i in beside
        )
    return result


def _parts_near(area: DamageArea, board: Board) -> list[Part]:
    """Parts whose body may come near the damage, so that few bodies need to be drawn."""
    if area.shape.is_empty or not board.parts:
        return []
    boxes = _reach_boxes(board)
    x1, y1, x2, y2 = area.shape.bounds
    near = (boxes[:, 0] <= x2) & (boxes[:, 2] >= x1) & (boxes[:, 1] <= y2) & (boxes[:, 3] >= y1)
    firsts = board.index.parts
    return [part for part, hit in zip(board.parts, near, strict=True) if hit and firsts[part.refdes] is part]


def _reach_boxes(board: Board) -> NDArray[np.float64]:
    """(parts, 4) boxes [mm] that surely hold each part's body."""
    row_of = {part.refdes: i for i, part in reversed(list(enumerate(board.parts)))}
    places = np.array([(part.x_mm, part.y_mm) for part in board.parts], dtype=float).reshape(-1, 2)
    low, high = places - _NO_PADS_MM, places + _NO_PADS_MM
    owners = np.array([row_of.get(pad.refdes, -1) for pad in board.pads], dtype=int)
    boxes = shapely.bounds(board.space.boxes[: len(owners)]).reshape(-1, 4)[owners >= 0]
    owners = owners[owners >= 0]
    low[owners], high[owners] = np.inf, -np.inf
    np.minimum.at(low, owners, boxes[:, :2] - _OVERHANG_MM)
    np.maximum.at(high, owners, boxes[:, 2:] + _OVERHANG_MM)
    return np.hstack([low, high])


def _second_worst_sides(
    area: DamageArea, bodies: NDArray[np.object_], numbers: list[int]
) -> dict[int, float]:
    """Severity on the second-worst side of those bodies that have damage beside at least two sides."""
    if not numbers:
        return {}
    strips = np.concatenate([_side_strips(bodies[i]) for i in numbers])
    overlaps = shape_overlaps(area, strips)
    severity = np.zeros(len(strips))
    severity[overlaps.items] = overlaps.severity
    second = np.sort(severity.reshape(-1, 4), axis=1)[:, -2]
    return {i: float(s) for i, s in zip(numbers, second, strict=True) if s > 0}


def _side_strips(body: BaseGeometry) -> NDArray[np.object_]:
    """Four strips just outside the sides of a body's tightest rectangle."""
    corners = shapely.get_coordinates(shapely.orient_polygons(shapely.oriented_envelope(body)))
    start, along = corners[:4], np.diff(corners[:5], axis=0)
    outward = np.column_stack([along[:, 1], -along[:, 0]]) / np.hypot(*along.T)[:, None] * STRIP_MM
    # Half a strip of distance keeps damage that ends at the body's edge from counting as beside it.
    inner = start + outward / 15
    ring = np.stack([inner, inner + along, start + along + outward, start + outward], axis=1)
    return np.asarray(shapely.polygons(ring), dtype=object)
