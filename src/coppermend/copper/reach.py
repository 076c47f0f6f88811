"""Which points a probe can touch, and from which side, with the parts now fitted. Chooses none of them."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from coppermend.board.index import Place
from coppermend.board.model import Board, PadSide, Part
from coppermend.board.packages import body_height_mm, body_shape
from coppermend.board.same import Same

_FLAT_MM = 2.0  # a body lower than this is no obstacle: edge fingers, holes (common practice, no source)
_REMEMBERED = 32
_GUESSED_MARGIN_MM = 1.0  # ``body_shape`` adds this around the pads of a part whose package it does not know


@dataclass(frozen=True, slots=True)
class ProbePoint:
    """A point that a probe can touch from ``side``; ``size_mm`` is its smaller width of copper."""

    place: Place
    side: PadSide
    size_mm: float


def probe_points(
    board: Board, nets: Iterable[str], removed: Collection[str] = ()
) -> Mapping[str, ProbePoint]:
    """The pads and vias of some nets that a probe can reach, by name.

    A pad or via under a fitted body can be touched from the other side only; one that is surface mount there,
    or under bodies on both sides, not at all. Parts in ``removed`` (refdes) are off the board. They are remembered.
    """
    return _remembered(Same(board), tuple(nets), frozenset(removed))


@lru_cache(maxsize=_REMEMBERED)
def _remembered(
    same: Same[Board], nets: tuple[str, ...], removed: frozenset[str]
) -> Mapping[str, ProbePoint]:
    """The points are asked for again after each reading, which hides none."""
    board = same.thing
    found = {place.name: (place, size_mm) for net in nets for place, size_mm in _copper_points(board, net)}
    places = [place for place, _ in found.values()]
    hidden = _hidden_sides(board, places, removed)
    points = {}
    for place, size_mm in found.values():
        open_sides = ({"top", "bottom"} if place.side == "both" else {place.side}) - hidden.get(
            place.name, set()
        )
        if open_sides:
            side: PadSide = "both" if len(open_sides) == 2 else "top" if "top" in open_sides else "bottom"
            points[place.name] = ProbePoint(place, side, size_mm)
    return MappingProxyType(points)


def _copper_points(board: Board, net: str) -> Iterable[tuple[Place, float]]:
    index = board.index
    for pad in index.pads_of_net[net]:
        if index.pads[pad.ref] is pad and not (pad.hole_mm and pad.hole_mm >= pad.size_mm):
            yield Place(str(pad.ref), net, pad.x_mm, pad.y_mm, pad.side), min(pad.size_mm, pad.height_mm)
    for via in index.vias_of_net[net]:
        if index.vias[via.name] is via:
            yield Place(via.name, net, via.x_mm, via.y_mm, "both"), via.size_mm


def _hidden_sides(board: Board, places: list[Place], removed: Collection[str]) -> dict[str, set[str]]:
    """Sides on which a fitted body stands over each place."""
    parts = [part for part in board.parts if part.refdes not in removed]
    bodies = np.array([_obstacle(board, part) for part in parts], dtype=object)
    centres = np.array([(place.x_mm, place.y_mm) for place in places], dtype=float).reshape(-1, 2)
    hidden: dict[str, set[str]] = {}
    if not len(bodies):
        return hidden
    for at, body in shapely.STRtree(bodies).query(shapely.points(centres), predicate="within").T.tolist():
        place, part = places[at], parts[body]
        own = place.name.startswith(f"{part.refdes}.")
        if not (own and not body_height_mm(part)):
            hidden.setdefault(place.name, set()).add(part.side)
    return hidden


def _obstacle(board: Board, part: Part) -> BaseGeometry:
    """The area that a part's body keeps probes from; empty when it is flat or a test point."""
    height_mm = body_height_mm(part)
    if part.package.upper() == "TP" or 0 < height_mm < _FLAT_MM:
        return shapely.Polygon()
    body = body_shape(board, part)
    return body if height_mm else body.buffer(-_GUESSED_MARGIN_MM)
