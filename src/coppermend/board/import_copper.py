"""Copper found in one source, as records that can be moved, and the outline they lie in. Reads nothing.

Everything is millimetres in the source's own frame until ``moved``.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from coppermend.board.model import CopperArea, Layer, Pad, Track, Via

Point = tuple[float, float]
MOUNTING_HOLE_MM = 2.0  # common practice, no source: narrower ones take no screw
ROW_MM = 0.03
MOST_DIVIDED = 2_000
SNAP_MM = 0.001  # ends of outline strokes closer than this meet


class NetPad(NamedTuple):
    """A pad with the net its source gives it; "" for none."""

    net: str
    pad: Pad


class Area(NamedTuple):
    """A filled area, still as geometry."""

    net: str
    layer: Layer
    shape: BaseGeometry


class Mounting(NamedTuple):
    """A hole that a screw may go through: no net, 2 mm or wider."""

    x_mm: float
    y_mm: float
    hole_mm: float


@dataclass(frozen=True)
class Copper:
    """What one source knows of the board.

    ``bare_pads`` are pads that name no pin (refdes and pin are ""); ``points_mm`` are places of pads and
    holes, to align by only.
    """

    pads: tuple[NetPad, ...] = ()
    vias: tuple[Via, ...] = ()
    tracks: tuple[Track, ...] = ()
    areas: tuple[Area, ...] = ()
    mountings: tuple[Mounting, ...] = ()
    outline: shapely.Polygon | None = None
    bare_pads: tuple[Pad, ...] = ()
    points_mm: tuple[Point, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def named(self) -> bool:
        """Whether this source names any pin."""
        return bool(self.pads)

    def moved(self, dx_mm: float, dy_mm: float) -> Copper:
        """The same copper in a frame whose coordinates are larger by the given shift."""

        def at(x: float, y: float) -> tuple[float, float]:
            return round(x + dx_mm, 4), round(y + dy_mm, 4)

        def shifted_pad(pad: Pad) -> Pad:
            x, y = at(pad.x_mm, pad.y_mm)
            return replace(pad, x_mm=x, y_mm=y)

        return replace(
            self,
            pads=tuple(NetPad(net, shifted_pad(pad)) for net, pad in self.pads),
            vias=tuple(Via(v.name, v.net, *at(v.x_mm, v.y_mm), v.hole_mm, v.size_mm) for v in self.vias),
            tracks=tuple(
                Track(t.net, t.layer, *at(t.x1_mm, t.y1_mm), *at(t.x2_mm, t.y2_mm), t.width_mm)
                for t in self.tracks
            ),
            areas=tuple(a._replace(shape=affinity.translate(a.shape, dx_mm, dy_mm)) for a in self.areas),
            mountings=tuple(Mounting(*at(m.x_mm, m.y_mm), m.hole_mm) for m in self.mountings),
            outline=self.outline and affinity.translate(self.outline, dx_mm, dy_mm),
            bare_pads=tuple(map(shifted_pad, self.bare_pads)),
            points_mm=tuple(at(*p) for p in self.points_mm),
        )

    def with_notes(self, *notes: str) -> Copper:
        """The same copper with more notes, put first."""
        return replace(self, notes=(*notes, *self.notes))

    def bounds_mm(self) -> tuple[float, float, float, float] | None:
        """Lower left and upper right of all copper, or None when there is none."""
        boxes = [
            (
                p.x_mm - p.size_mm / 2,
                p.y_mm - p.height_mm / 2,
                p.x_mm + p.size_mm / 2,
                p.y_mm + p.height_mm / 2,
            )
            for _, p in self.pads
        ]
        for track in self.tracks:
            half = track.width_mm / 2
            xs, ys = sorted((track.x1_mm, track.x2_mm)), sorted((track.y1_mm, track.y2_mm))
            boxes.append((xs[0] - half, ys[0] - half, xs[1] + half, ys[1] + half))
        for via in self.vias:
            half = via.size_mm / 2
            boxes.append((via.x_mm - half, via.y_mm - half, via.x_mm + half, via.y_mm + half))
        boxes += [area.shape.bounds for area in self.areas if not area.shape.is_empty]
        if not boxes:
            return None
        table = np.array(boxes)
        low, high = table[:, :2].min(axis=0), table[:, 2:].max(axis=0)
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def outline_of(lines: Iterable[Sequence[Point]]) -> tuple[shapely.Polygon | None, tuple[str, ...]]:
    """The largest closed ring that lines make, without holes, and what the user should know about it.

    Returns:
        The polygon; the box around all lines when they do not close; None when there are no lines.
    """
    snapped = [_snap(line) for line in lines]
    pieces = [shapely.LineString(line) for line in snapped if len(line) > 1]
    if not pieces:
        return None, ()
    # Lines that cross or meet between their ends are divided there first, unless that could take for ever.
    divided = [shapely.union_all(pieces)] if len(pieces) <= MOST_DIVIDED else pieces
    rings = list(shapely.polygonize(divided).geoms)
    if not rings:
        box = shapely.box(*shapely.total_bounds(pieces))
        return box, ("the outline does not close: the box around it is taken",)
    outer = shapely.union_all(rings)
    largest = max(shapely.get_parts(outer), key=lambda p: p.area)
    notes = () if len(rings) == 1 else (f"the outline has {len(rings)} rings: the outer edge is taken",)
    return shapely.Polygon(largest.exterior), notes


def _snap(line: Sequence[Point]) -> list[Point]:
    points: list[Point] = []
    for x, y in line:
        point = (round(round(x / SNAP_MM) * SNAP_MM, 6), round(round(y / SNAP_MM) * SNAP_MM, 6))
        if not points or points[-1] != point:
            points.append(point)
    return points


def named_vias(vias: Iterable[Via]) -> tuple[Via, ...]:
    """Vias called V1, V2, ... in reading order: rows from the top edge down, each row from the left."""
    rows: list[list[Via]] = []
    for via in sorted(vias, key=lambda v: (-v.y_mm, v.x_mm)):
        # Sources round differently: what lies within a row's height of its neighbour is one row.
        if rows and rows[-1][-1].y_mm - via.y_mm < ROW_MM:
            rows[-1].append(via)
        else:
            rows.append([via])
    ordered = (via for row in rows for via in sorted(row, key=lambda v: v.x_mm))
    return tuple(replace(via, name=f"V{number}") for number, via in enumerate(ordered, 1))


def copper_areas(areas: Iterable[Area]) -> tuple[CopperArea, ...]:
    """Areas as the board keeps them: WKT in steps of 0.1 µm, none empty."""
    rounded = [area._replace(shape=shapely.set_precision(area.shape, 1e-4)) for area in areas]
    return tuple(
        CopperArea(area.net, area.layer, shapely.to_wkt(area.shape, rounding_precision=4))
        for area in rounded
        if not area.shape.is_empty
    )
