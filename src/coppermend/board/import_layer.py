"""One Gerber copper layer sorted: what is a pad, what a track, what an area. Knows nothing of holes.

CAD programs draw an area as a region plus strokes along its edge that carry the same net and function as
tracks do; such strokes widen the area and are no tracks.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from coppermend.board.import_copper import Area, Point
from coppermend.board.model import Layer, Track
from coppermend.board.readers.gerber import Flash, GerberLayer, GerberObject, ObjectTag, Region, Stroke
from coppermend.errors import InputError

ON_EDGE_MM = 0.001
MAX_SWITCHES = 500
SMALL_RING = 1_000
MAX_NEAR_EDGES = 200  # by their boxes, on average over a ring; neighbours alone are three
_NOT_CONDUCTING = frozenset({"NonConductor", "NonMaterial", "Material", "OtherCopper", "AntiPad"})


@dataclass(frozen=True)
class LayerCopper:
    """One layer's objects, sorted by what they are."""

    layer: Layer
    flashes: list[Flash]
    pad_regions: list[Region]
    tracks: list[Track]
    areas: list[Area]
    notes: list[str] = field(default_factory=list)


_NO_NET = ("", "N/C")


def net_of(tag: ObjectTag) -> str:
    """The net of an object; "" for none."""
    return "" if tag.net in _NO_NET else tag.net


def sort_layer(side: Layer, layer: GerberLayer) -> LayerCopper:
    """What the objects of a copper layer are.

    Raises:
        InputError: Naming the file, if its areas are beyond computing.
    """
    try:
        return _sorted(side, layer)
    except InputError as error:
        raise error.at(layer.where) from None


def _sorted(side: Layer, layer: GerberLayer) -> LayerCopper:
    regions = [r for r in layer.regions if r.dark and r.function not in _NOT_CONDUCTING]
    area_regions = [r for r in regions if not r.tag.pin]
    strokes = [s for s in layer.strokes if s.dark and s.aperture.function not in _NOT_CONDUCTING]
    edges = _edge_strokes(strokes, area_regions)
    found = LayerCopper(
        side,
        [f for f in layer.flashes if f.dark],
        [r for r in regions if r.tag.pin],
        [_track(s, side) for s, edge in zip(strokes, edges, strict=True) if not edge],
        _areas(layer, side, area_regions, [s for s, edge in zip(strokes, edges, strict=True) if edge]),
    )
    if layer.negative:
        found.notes.append(f"{layer.where} says its polarity is negative; it is read as drawn")
    return found


def _track(stroke: Stroke, side: Layer) -> Track:
    return Track(net_of(stroke.tag), side, *stroke[:4], round(stroke.aperture.stroke_mm, 4))


def _edge_strokes(strokes: Sequence[Stroke], regions: Sequence[Region]) -> list[bool]:
    """Which strokes follow the outline of a region of their own net."""
    edges: dict[str, set[tuple[Point, Point]]] = defaultdict(set)
    for region in regions:
        known = edges[region.tag.net]
        for ring in region.contours:
            for p, q in zip(ring, (*ring[1:], ring[0]), strict=True):
                known.add((p, q) if p <= q else (q, p))
    follows = []
    doubtful: dict[str, list[int]] = defaultdict(list)
    for number, stroke in enumerate(strokes):
        p, q = (stroke.x1_mm, stroke.y1_mm), (stroke.x2_mm, stroke.y2_mm)
        known = edges.get(stroke.tag.net, set())
        follows.append(((p, q) if p <= q else (q, p)) in known)
        if known and not follows[-1]:
            doubtful[stroke.tag.net].append(number)
    for net, numbers in doubtful.items():
        lines = shapely.linestrings(np.array(sorted(edges[net]), dtype=float))
        on_edge = _along([strokes[n] for n in numbers], shapely.STRtree(lines))
        for number, along in zip(numbers, on_edge, strict=True):
            follows[number] = bool(along)
    return follows


def _along(strokes: Sequence[Stroke], edges: shapely.STRtree) -> NDArray[np.bool_]:
    """Whether five points of each stroke all lie on region edges, however those are divided."""
    ends = np.array([s[:4] for s in strokes], dtype=float)
    shares = np.linspace(0, 1, 5)
    samples = ends[:, None, :2] + (ends[:, 2:] - ends[:, :2])[:, None, :] * shares[None, :, None]
    points = shapely.points(samples.reshape(-1, 2))
    near, _ = edges.query_nearest(points, max_distance=ON_EDGE_MM, all_matches=False)
    on_edge = np.zeros(len(points), dtype=bool)
    on_edge[near] = True
    return np.asarray(on_edge.reshape(-1, len(shares)).all(axis=1), dtype=np.bool_)


def _areas(layer: GerberLayer, side: Layer, regions: Sequence[Region], edges: Sequence[Stroke]) -> list[Area]:
    """Areas as they end up in copper: regions widened by their edge strokes, less what was cleared later.

    Raises:
        InputError: If areas and clearing alternate too often, or a region crosses itself all over.
    """
    wanted = {id(region) for region in regions}
    widths = _edge_widths(regions, edges)
    areas: list[Area] = []
    clearing: list[BaseGeometry] = []
    switches = 0
    for thing in layer.objects:
        if not thing.dark:
            clearing.append(shape_of(thing))
        elif id(thing) in wanted and isinstance(thing, Region):
            switches += bool(clearing)
            if switches > MAX_SWITCHES:
                raise InputError(
                    "areas and clearing alternate too often", expected=f"{MAX_SWITCHES} times at most"
                )
            areas, clearing = _cleared(areas, clearing), []
            shape = shape_of(thing).buffer(widths[id(thing)] / 2, quad_segs=4)
            areas.append(Area(net_of(thing.tag), side, shape))
    return [area for area in _cleared(areas, clearing) if not area.shape.is_empty]


def _cleared(areas: list[Area], clearing: Sequence[BaseGeometry]) -> list[Area]:
    if not (areas and clearing):
        return areas
    gone = shapely.union_all(clearing)
    shapely.prepare(gone)
    return [a._replace(shape=a.shape.difference(gone)) if gone.intersects(a.shape) else a for a in areas]


def _edge_widths(regions: Sequence[Region], edges: Sequence[Stroke]) -> dict[int, float]:
    """Width of the strokes along each region's edge, by the region's id; 0 without such strokes."""
    width_at: dict[tuple[str, Point], float] = {}
    for stroke in edges:
        for point in ((stroke.x1_mm, stroke.y1_mm), (stroke.x2_mm, stroke.y2_mm)):
            width_at[stroke.tag.net, point] = stroke.aperture.stroke_mm
    return {
        id(r): next((width_at[r.tag.net, p] for p in r.contours[0] if (r.tag.net, p) in width_at), 0.0)
        for r in regions
    }


def shape_of(thing: GerberObject) -> BaseGeometry:
    """The copper of one object [mm]."""
    if isinstance(thing, Flash):
        return affinity.translate(thing.aperture.shape, thing.x_mm, thing.y_mm)
    if isinstance(thing, Stroke):
        line = shapely.LineString([(thing.x1_mm, thing.y1_mm), (thing.x2_mm, thing.y2_mm)])
        return line.buffer(thing.aperture.stroke_mm / 2)
    for ring in thing.contours:
        _refuse_tangle(ring)
    # Cut-in lines to holes make rings that touch themselves; "structure" turns them into real holes.
    polygons = shapely.make_valid([shapely.Polygon(ring) for ring in thing.contours], method="structure")
    return shapely.union_all(polygons)


def _refuse_tangle(ring: Sequence[Point]) -> None:
    """Real areas hardly cross themselves; one that does all over would take for ever to untangle."""
    if len(ring) <= SMALL_RING:
        return
    corners = np.array([*ring, ring[0]], dtype=float)
    edges = shapely.linestrings(np.stack([corners[:-1], corners[1:]], axis=1))
    tree = shapely.STRtree(edges)
    near = 0
    for start in range(0, len(edges), 64):
        near += tree.query(edges[start : start + 64]).shape[1]
        if near > MAX_NEAR_EDGES * len(ring):
            raise InputError(
                "an area crosses itself all over", expected="an outline that hardly meets itself"
            )
