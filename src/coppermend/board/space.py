"""Where copper and bodies are: shapes of a board's items and one STRtree over them.

Shapes are plain shapely geometry in board mm. Queries are vectorised, since a damage map of a large
board asks for thousands of overlaps at once.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from coppermend.board.model import Board, Pad, Track, Via

ItemKind = Literal["pad", "via", "track", "area"]


def pad_shape(pad: Pad) -> BaseGeometry:
    """The copper of a pad: a disc when round, else an axis-parallel rectangle."""
    if pad.round and pad.height_mm == pad.size_mm:
        return shapely.Point(pad.x_mm, pad.y_mm).buffer(pad.size_mm / 2)
    half_w, half_h = pad.size_mm / 2, pad.height_mm / 2
    return shapely.box(pad.x_mm - half_w, pad.y_mm - half_h, pad.x_mm + half_w, pad.y_mm + half_h)


def via_shape(via: Via) -> BaseGeometry:
    """The copper disc of a via."""
    return shapely.Point(via.x_mm, via.y_mm).buffer(via.size_mm / 2)


def track_shape(track: Track) -> BaseGeometry:
    """The copper of a track: its centre line thickened to its width, round ends."""
    line = shapely.LineString([(track.x1_mm, track.y1_mm), (track.x2_mm, track.y2_mm)])
    return line.buffer(track.width_mm / 2)


class BoardSpace:
    """Skeletons (points, centre lines, polygons) with a reach each, in one STRtree.

    A disc is stored as its centre with reach = radius, a track as its centre line with reach = half its
    width: distance tests on them are exact and need no buffered polygons. Rectangular pads and copper
    areas are stored as polygons with reach 0.

    Attributes:
        kinds: (n,) array of item kinds, in the order pads, vias, tracks, areas of the board.
        numbers: (n,) int array, each item's position in its own tuple of the board.
        skeletons: (n,) object array of shapely geometry.
        reach_mm: (n,) float array.
    """

    def __init__(self, board: Board) -> None:
        self.board = board
        pads, vias, tracks = board.pads, board.vias, board.tracks
        pad_points = shapely.points(np.array([(p.x_mm, p.y_mm) for p in pads], dtype=float).reshape(-1, 2))
        discs = np.array([p.round and p.height_mm == p.size_mm for p in pads], dtype=bool)
        for i in np.flatnonzero(~discs):
            pad_points[i] = pad_shape(pads[i])
        pad_reach = np.where(discs, np.array([p.size_mm / 2 for p in pads], dtype=float), 0.0)
        via_points = shapely.points(np.array([(v.x_mm, v.y_mm) for v in vias], dtype=float).reshape(-1, 2))
        lines = shapely.linestrings(
            np.array([(t.x1_mm, t.y1_mm, t.x2_mm, t.y2_mm) for t in tracks], dtype=float).reshape(-1, 2, 2)
        )
        areas = shapely.from_wkt(np.array([a.wkt for a in board.areas], dtype=object))
        counts = (len(pads), len(vias), len(tracks), len(board.areas))
        self.kinds: NDArray[np.str_] = np.repeat(np.array(["pad", "via", "track", "area"]), counts)
        self.numbers: NDArray[np.int_] = np.concatenate([np.arange(n) for n in counts])
        self.skeletons: NDArray[np.object_] = np.concatenate(
            [np.asarray(g, dtype=object).reshape(-1) for g in (pad_points, via_points, lines, areas)]
        )
        self.reach_mm: NDArray[np.float64] = np.concatenate(
            [
                pad_reach.reshape(-1),
                np.array([v.size_mm / 2 for v in vias], dtype=float),
                np.array([t.width_mm / 2 for t in tracks], dtype=float),
                np.zeros(counts[3]),
            ]
        )
        self.tree = shapely.STRtree(self.skeletons)
        self._max_reach_mm = float(self.reach_mm.max(initial=0.0))

    def touching(self, area: BaseGeometry, clearance_mm: float = 0.0) -> NDArray[np.int_]:
        """Items whose copper comes within ``clearance_mm`` of ``area``.

        Returns:
            Sorted (k,) int array of positions into ``kinds``/``numbers``; shape (0,) when nothing touches.
        """
        if area.is_empty:
            return np.zeros(0, dtype=int)
        shapely.prepare(area)
        near = self.tree.query(area, predicate="dwithin", distance=self._max_reach_mm + clearance_mm)
        # 1e-9 mm: copper that just meets the area counts, in spite of rounding.
        close = shapely.distance(self.skeletons[near], area) <= self.reach_mm[near] + clearance_mm + 1e-9
        return np.sort(near[close])

    def shapes(self, items: NDArray[np.int_]) -> NDArray[np.object_]:
        """Copper polygons of the given items, (k,) object array."""
        grown = shapely.buffer(self.skeletons[items], self.reach_mm[items])
        return np.where(self.reach_mm[items] > 0, grown, self.skeletons[items])
