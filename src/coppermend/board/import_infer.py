"""Names copper that has no net by the pins and vias it touches. Two nets that touch stay unnamed, with a note."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from coppermend.board.import_copper import Copper
from coppermend.board.model import LAYERS, Layer
from coppermend.board.space import pad_shape, track_shape, via_shape


class _Piece(NamedTuple):
    """Copper on one layer; ``number`` is the same for both sides of a hole."""

    shape: BaseGeometry
    number: int


def with_nets_by_touch(copper: Copper) -> Copper:
    """``copper`` with the nets of tracks and areas found from what they touch; what stays unnamed is left out.

    Returns:
        The same copper when everything has a net already.
    """
    if all(t.net for t in copper.tracks) and all(a.net for a in copper.areas):
        return copper
    first_track = len(copper.pads) + len(copper.vias)
    first_area = first_track + len(copper.tracks)
    groups = _Groups(first_area + len(copper.areas))
    for layer in LAYERS:
        _join_touching(_pieces(copper, layer), groups)
    nets: dict[int, set[str]] = {}
    for number, net in enumerate(_known_nets(copper)):
        if net:
            nets.setdefault(groups.root(number), set()).add(net)
    bridged = {root: names for root, names in nets.items() if len(names) > 1}

    def net_of(number: int, own: str) -> str:
        names = nets.get(groups.root(number), set())
        return own or (next(iter(names)) if len(names) == 1 else "")

    tracks = [replace(t, net=net_of(first_track + n, t.net)) for n, t in enumerate(copper.tracks)]
    areas = [a._replace(net=net_of(first_area + n, a.net)) for n, a in enumerate(copper.areas)]
    lost = sum(not t.net for t in tracks), sum(not a.net for a in areas)
    notes = [f"copper joins nets {', '.join(sorted(names)[:6])}: left unnamed" for names in bridged.values()]
    if any(lost):
        notes.append(f"{lost[0]} tracks and {lost[1]} areas could be given no net and are left out")
    return replace(
        copper,
        tracks=tuple(t for t in tracks if t.net),
        areas=tuple(a for a in areas if a.net),
        notes=(*copper.notes, *notes),
    )


def _known_nets(copper: Copper) -> list[str]:
    return [
        *(net for net, _ in copper.pads),
        *(v.net for v in copper.vias),
        *(t.net for t in copper.tracks),
        *(a.net for a in copper.areas),
    ]


def _pieces(copper: Copper, layer: Layer) -> list[_Piece]:
    """Copper on one layer, each with its number in the order pads, vias, tracks, areas."""
    shaped: list[tuple[bool, BaseGeometry]] = [
        *((pad.side in (layer, "both"), pad_shape(pad)) for _, pad in copper.pads),
        *((True, via_shape(via)) for via in copper.vias),
        *((track.layer == layer, track_shape(track)) for track in copper.tracks),
        *((area.layer == layer, area.shape) for area in copper.areas),
    ]
    return [_Piece(shape, number) for number, (here, shape) in enumerate(shaped) if here]


class _Groups:
    """Union-find over copper numbers."""

    def __init__(self, count: int) -> None:
        self.parent = list(range(count))

    def root(self, number: int) -> int:
        while self.parent[number] != number:
            self.parent[number] = self.parent[self.parent[number]]
            number = self.parent[number]
        return number

    def join(self, a: int, b: int) -> None:
        root_a, root_b = self.root(a), self.root(b)
        if root_a != root_b:
            self.parent[max(root_a, root_b)] = min(root_a, root_b)


def _join_touching(pieces: Sequence[_Piece], groups: _Groups) -> None:
    """Joins pieces that lie in one connected part of the layer's copper."""
    shapes = np.array([piece.shape for piece in pieces], dtype=object)
    parts = shapely.get_parts(shapely.union_all(shapes))
    first: dict[int, int] = {}
    for piece, part in shapely.STRtree(parts).query(shapes, predicate="intersects").T:
        number = pieces[piece].number
        groups.join(first.setdefault(part, number), number)
