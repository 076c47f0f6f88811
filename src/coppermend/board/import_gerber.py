"""From Gerber layers and drill holes to pads, vias, tracks and copper areas. Chooses no frame, reads no text."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import shapely

from coppermend.board.import_copper import (
    MOUNTING_HOLE_MM,
    Copper,
    Mounting,
    NetPad,
    Point,
    outline_of,
)
from coppermend.board.import_layer import LayerCopper, net_of, sort_layer
from coppermend.board.model import Layer, Pad, PadSide, Via
from coppermend.board.readers.excellon import Hole
from coppermend.board.readers.gerber import Flash, GerberLayer, ObjectTag, Region, Stroke

SAME_PLACE_MM = 0.02


def copper_of(
    layers: Mapping[Layer, GerberLayer], profile: GerberLayer | None, holes: Sequence[Hole]
) -> Copper:
    """Everything that Gerber and drill files of one board say, in their common frame.

    Args:
        layers: The copper layers that there are.
        profile: The outline's layer, if any.
        holes: Holes of all drill files.
    """
    sorted_layers = [sort_layer(side, layer) for side, layer in layers.items()]
    places = _group_flashes(sorted_layers)
    found = _pads_and_vias(places, holes)
    outline, outline_notes = outline_of(_profile_lines(profile)) if profile else (None, ())
    return Copper(
        pads=tuple(found.pads),
        vias=tuple(found.vias),
        tracks=tuple(t for layer in sorted_layers for t in layer.tracks),
        areas=tuple(a for layer in sorted_layers for a in layer.areas),
        mountings=_mountings(holes, found.pads),
        outline=outline,
        bare_pads=tuple(found.bare),
        points_mm=(*(h.centre_mm for h in holes), *((p.x_mm, p.y_mm) for p in places)),
        notes=(*(n for layer in sorted_layers for n in layer.notes), *outline_notes),
    )


def _profile_lines(profile: GerberLayer) -> Iterable[Sequence[Point]]:
    for thing in profile.objects:
        if isinstance(thing, Stroke):
            yield (thing.x1_mm, thing.y1_mm), (thing.x2_mm, thing.y2_mm)
        elif isinstance(thing, Region):
            for contour in thing.contours:
                yield (*contour, contour[0])


@dataclass
class _Place:
    """Copper put down at one place by one pin (or none), on one side or both."""

    tag: ObjectTag
    function: str
    x_mm: float
    y_mm: float
    size_mm: float
    height_mm: float
    round: bool
    sides: set[Layer]

    def merge(self, other: _Place) -> None:
        """Take the larger of two shapes put down at the same place."""
        self.sides |= other.sides
        if other.size_mm * other.height_mm > self.size_mm * self.height_mm:
            self.size_mm, self.height_mm, self.round = other.size_mm, other.height_mm, other.round


def _group_flashes(layers: Sequence[LayerCopper]) -> list[_Place]:
    """Flashes of one pin at one place on any layer, joined; in order of the first one."""
    groups: dict[tuple[str, str, float, float], _Place] = {}
    for layer in layers:
        for place in (*map(_flash_place, layer.flashes), *map(_region_place, layer.pad_regions)):
            place.sides = {layer.layer}
            key = (place.tag.refdes, place.tag.pin, round(place.x_mm, 3), round(place.y_mm, 3))
            if key in groups:
                groups[key].merge(place)
            else:
                groups[key] = place
    return list(groups.values())


def _flash_place(flash: Flash) -> _Place:
    tool = flash.aperture
    return _Place(
        flash.tag, tool.function, flash.x_mm, flash.y_mm, tool.size_mm, tool.height_mm, tool.round, set()
    )


def _region_place(region: Region) -> _Place:
    """A pad of its own shape, drawn as a region: its box stands for it."""
    points = [point for ring in region.contours for point in ring]
    x1, y1, x2, y2 = (limit(p[axis] for p in points) for limit in (min, max) for axis in (0, 1))
    middle = round((x1 + x2) / 2, 6), round((y1 + y2) / 2, 6)
    return _Place(region.tag, region.function, *middle, round(x2 - x1, 6), round(y2 - y1, 6), False, set())


@dataclass
class _Found:
    """Places sorted by what they are."""

    pads: list[NetPad] = field(default_factory=list)
    vias: list[Via] = field(default_factory=list)
    bare: list[Pad] = field(default_factory=list)


def _pads_and_vias(places: Sequence[_Place], holes: Sequence[Hole]) -> _Found:
    """Pads by their pin; vias by their function or, where other pads have pins, by being a plated hole."""
    found = _Found()
    named = any(place.tag.refdes and place.tag.pin for place in places)
    for place, hole in zip(places, _holes_of(places, holes), strict=True):
        tag, diameter = place.tag, hole.diameter_mm if hole else 0.0
        side: PadSide = "both" if len(place.sides) == 2 or diameter else next(iter(place.sides))
        sizes = round(place.size_mm, 4), side, round(place.height_mm, 4), place.round
        pad = Pad(tag.refdes, tag.pin, place.x_mm, place.y_mm, diameter, *sizes)
        plated = hole is not None and hole.plated is not False
        if tag.refdes and tag.pin:
            found.pads.append(NetPad(net_of(tag), pad))
        elif place.function == "ViaPad" or (named and plated and not place.function):
            found.vias.append(Via("", net_of(tag), place.x_mm, place.y_mm, diameter, round(place.size_mm, 4)))
        else:
            found.bare.append(replace(pad, refdes="", pin=""))
    return found


def _holes_of(places: Sequence[_Place], holes: Sequence[Hole]) -> list[Hole | None]:
    """The hole in each place: one in its middle, else the nearest one within a pad that is on both sides."""
    found: list[Hole | None] = [None] * len(places)
    for number, hole in _nearest(places, holes):
        if math.dist(hole.centre_mm, (places[number].x_mm, places[number].y_mm)) <= SAME_PLACE_MM:
            found[number] = hole
    for number, hole in _nearest(places, [h for h in holes if h.function != "ViaDrill"]):
        place, (x, y) = places[number], hole.centre_mm
        inside = abs(x - place.x_mm) <= place.size_mm / 2 and abs(y - place.y_mm) <= place.height_mm / 2
        if found[number] is None and inside and len(place.sides) == 2:
            found[number] = hole
    return found


def _nearest(places: Sequence[_Place], holes: Sequence[Hole]) -> list[tuple[int, Hole]]:
    """The number of each place with the hole nearest to its middle."""
    if not (places and holes):
        return []
    tree = shapely.STRtree(shapely.points([hole.centre_mm for hole in holes]))
    middles = shapely.points([(place.x_mm, place.y_mm) for place in places])
    return [(int(n), holes[h]) for n, h in tree.query_nearest(middles, all_matches=False).T]


def _mountings(holes: Sequence[Hole], pads: Sequence[NetPad]) -> tuple[Mounting, ...]:
    """Wide round holes that carry no net."""
    on_net = {(round(p.x_mm, 2), round(p.y_mm, 2)) for net, p in pads if net}
    return tuple(
        Mounting(hole.x_mm, hole.y_mm, hole.diameter_mm)
        for hole in holes
        if hole.diameter_mm >= MOUNTING_HOLE_MM
        and not hole.is_slot
        and (round(hole.x_mm, 2), round(hole.y_mm, 2)) not in on_net
    )
