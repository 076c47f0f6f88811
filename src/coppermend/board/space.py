"""Where copper is: shapes of a board's pads, vias, tracks and areas, and one STRtree over them.

Shapes are plain shapely geometry in board mm. Queries are vectorised, since a damage map of a large
board asks for thousands of overlaps at once. Bodies of parts are left to ``packages``.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from coppermend.board.model import Board, CopperArea, Pad, Track, Via

ItemKind = Literal["pad", "via", "track", "area"]
TOP, BOTTOM, BOTH = 1, 2, 3
_LAYER_BITS = {"top": TOP, "bottom": BOTTOM, "both": BOTH}


def board_shape(board: Board) -> BaseGeometry:
    """The board's own area [mm]: its outline, else its width by its height."""
    if not board.outline:
        return shapely.box(0, 0, board.width_mm, board.height_mm)
    return shapely.make_valid(shapely.Polygon(board.outline))


def pad_shape(pad: Pad) -> BaseGeometry:
    """The copper of a pad: a disc, a run with round ends, or an axis-parallel rectangle."""
    skeleton, reach_mm = _pad_skeleton(pad)
    return skeleton.buffer(reach_mm) if reach_mm else skeleton


def via_shape(via: Via) -> BaseGeometry:
    """The copper disc of a via."""
    return shapely.Point(via.x_mm, via.y_mm).buffer(via.size_mm / 2)


def track_shape(track: Track) -> BaseGeometry:
    """The copper of a track: its centre line thickened to its width, round ends."""
    line = shapely.LineString([(track.x1_mm, track.y1_mm), (track.x2_mm, track.y2_mm)])
    return line.buffer(track.width_mm / 2)


def area_shape(area: CopperArea) -> BaseGeometry:
    """The copper of an area: a valid polygon or multipolygon.

    Outlines that cross or touch themselves, as plotted areas do, are mended the way shapely does it.
    """
    shape = shapely.from_wkt(area.wkt)
    if shapely.is_valid(shape):
        return shape
    pieces = shapely.get_parts(shapely.make_valid(shape))
    return shapely.union_all(pieces[shapely.get_dimensions(pieces) == 2])


def _pad_skeleton(pad: Pad) -> tuple[BaseGeometry, float]:
    """What a pad's copper is grown from, and by how much [mm]."""
    half_w, half_h = pad.size_mm / 2, pad.height_mm / 2
    if not pad.round:
        return shapely.box(pad.x_mm - half_w, pad.y_mm - half_h, pad.x_mm + half_w, pad.y_mm + half_h), 0.0
    if half_w == half_h:
        return shapely.Point(pad.x_mm, pad.y_mm), half_w
    run_w, run_h = max(half_w - half_h, 0.0), max(half_h - half_w, 0.0)
    ends = [(pad.x_mm - run_w, pad.y_mm - run_h), (pad.x_mm + run_w, pad.y_mm + run_h)]
    return shapely.LineString(ends), min(half_w, half_h)


def _pad_skeletons(pads: Sequence[Pad]) -> tuple[NDArray[np.object_], NDArray[np.float64]]:
    """Skeletons and reaches of many pads; the discs, which are most, are made in one call."""
    skeletons = np.asarray(shapely.points(_floats([(p.x_mm, p.y_mm) for p in pads], 2)), dtype=object)
    reach_mm = np.array([p.size_mm / 2 for p in pads], dtype=float)
    for i, pad in enumerate(pads):
        if not (pad.round and pad.height_mm == pad.size_mm):
            skeletons[i], reach_mm[i] = _pad_skeleton(pad)
    return skeletons, reach_mm


def _floats(rows: Sequence[tuple[float, ...]], width: int) -> NDArray[np.float64]:
    return np.array(rows, dtype=float).reshape(-1, width)


class BoardSpace:
    """Skeletons (points, centre lines, polygons) with a reach each, in one STRtree.

    A disc is stored as its centre with reach = radius, a track as its centre line with reach = half its
    width: distance tests on them are exact and need no buffered polygons. Rectangular pads and copper
    areas are stored as polygons with reach 0.

    Attributes:
        kinds: (n,) array of item kinds, in the order pads, vias, tracks, areas of the board.
        numbers: (n,) int array, each item's position in its own tuple of the board.
        nets: (n,) object array of net names, "" for copper of no net.
        layers: (n,) int array: TOP, BOTTOM or BOTH.
        skeletons: (n,) object array of shapely geometry.
        reach_mm: (n,) float array.
        bounds: (n, 4) float array: left, bottom, right, top of each item's copper [mm].
        tree: STRtree over ``skeletons``.
    """

    def __init__(self, board: Board) -> None:
        self.board = board
        pads, vias, tracks, areas = board.pads, board.vias, board.tracks, board.areas
        pad_skeletons, pad_reach_mm = _pad_skeletons(pads)
        via_points = shapely.points(_floats([(v.x_mm, v.y_mm) for v in vias], 2))
        ends = _floats([(t.x1_mm, t.y1_mm, t.x2_mm, t.y2_mm) for t in tracks], 4)
        counts = (len(pads), len(vias), len(tracks), len(areas))
        self.kinds: NDArray[np.str_] = np.repeat(np.array(["pad", "via", "track", "area"]), counts)
        self.numbers: NDArray[np.int_] = np.concatenate([np.arange(n) for n in counts])
        nets = [*board.index.net_of_pad, *(v.net for v in vias)]
        nets += [t.net for t in tracks] + [a.net for a in areas]
        self.nets: NDArray[np.object_] = np.array(nets, dtype=object)
        layers = [_LAYER_BITS[p.side] for p in pads] + [BOTH] * len(vias)
        layers += [_LAYER_BITS[t.layer] for t in tracks] + [_LAYER_BITS[a.layer] for a in areas]
        self.layers: NDArray[np.int_] = np.array(layers, dtype=int)
        self.skeletons: NDArray[np.object_] = np.concatenate(
            [
                pad_skeletons,
                np.asarray(via_points, dtype=object),
                np.asarray(shapely.linestrings(ends.reshape(-1, 2, 2)), dtype=object),
                np.array([area_shape(area) for area in areas], dtype=object),
            ]
        )
        self.reach_mm: NDArray[np.float64] = np.concatenate(
            [
                pad_reach_mm,
                np.array([v.size_mm / 2 for v in vias], dtype=float),
                np.array([t.width_mm / 2 for t in tracks], dtype=float),
                np.zeros(len(areas)),
            ]
        )
        grow = self.reach_mm[:, None] * [-1.0, -1.0, 1.0, 1.0]
        self.bounds: NDArray[np.float64] = shapely.bounds(self.skeletons).reshape(-1, 4) + grow
        self.tree = shapely.STRtree(self.skeletons)
        self._max_reach_mm = float(self.reach_mm.max(initial=0.0))

    @cached_property
    def boxes(self) -> NDArray[np.object_]:
        """(n,) object array of diagonals, each spanning the box around its item's copper; for trees."""
        return np.asarray(shapely.linestrings(self.bounds.reshape(-1, 2, 2)), dtype=object)

    def touching(self, area: BaseGeometry, clearance_mm: float = 0.0) -> NDArray[np.int_]:
        """Items whose copper comes within ``clearance_mm`` of ``area``.

        Args:
            area: Any shapely geometry [mm].
            clearance_mm: Distance that still counts as touching [mm].

        Returns:
            Sorted (k,) int array of positions into ``kinds``/``numbers``; shape (0,) when nothing touches.
        """
        if area.is_empty:
            return np.zeros(0, dtype=int)
        # 1e-9 mm: copper that just meets the area counts, in spite of rounding.
        slack_mm = clearance_mm + 1e-9
        margin_mm = slack_mm + self._max_reach_mm
        left, bottom, right, top = area.bounds
        around = shapely.box(left - margin_mm, bottom - margin_mm, right + margin_mm, top + margin_mm)
        near = self.tree.query(around)
        shapely.prepare(area)
        close = shapely.dwithin(area, self.skeletons[near], self.reach_mm[near] + slack_mm)
        return np.sort(near[close])

    def shapes(self, items: NDArray[np.int_]) -> NDArray[np.object_]:
        """Copper polygons of the given items, (k,) object array."""
        shapes, reach_mm = self.skeletons[items], self.reach_mm[items]
        grown = reach_mm > 0
        shapes[grown] = shapely.buffer(shapes[grown], reach_mm[grown], quad_segs=16)
        return shapes
