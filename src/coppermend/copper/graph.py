"""The copper of nets as graphs: spots (pads, vias, junctions, filled areas) joined by links of copper.

Built from where copper touches. Says nothing about damage; ``islands`` does.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.board.connectivity import copper_contacts
from coppermend.board.model import Board
from coppermend.board.same import Same
from coppermend.copper.resistance import track_resistance_ohm

SpotKind = Literal["pad", "via", "junction", "area"]
_SAME_MM = 1e-3  # contacts on a track closer than this are one: files round to a few micrometres


@dataclass(frozen=True, slots=True)
class Spot:
    """A place where copper meets: ``name`` is its written point, "" for junctions and filled areas.

    A second pad of one pin has no name either, since the pin's name means the first.
    """

    kind: SpotKind
    name: str
    x_mm: float
    y_mm: float
    size_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Link:
    """Copper between two spots: part of track ``track`` (counted from 1), or 0 where they just touch."""

    a: int
    b: int
    track: int
    ohms: float


@dataclass
class NetGraph:
    """Spots and links of one net; links hold positions in ``spots``."""

    net: str
    spots: list[Spot] = field(default_factory=list)
    links: list[Link] = field(default_factory=list)

    @property
    def points(self) -> dict[str, int]:
        """Position of each named spot."""
        return {spot.name: i for i, spot in enumerate(self.spots) if spot.name}


def net_graphs(board: Board, nets: Collection[str]) -> dict[str, NetGraph]:
    """Graphs of the given nets, by name; a net without copper has an empty graph. They are remembered: change none."""
    return dict(_remembered(Same(board), tuple(nets)))


@lru_cache(maxsize=16)
def _remembered(same: Same[Board], nets: tuple[str, ...]) -> dict[str, NetGraph]:
    """The copper is asked for again after each reading, and a board never changes."""
    board, wanted = same.thing, set(nets)
    builders = {net: _Builder(board, net) for net in nets}
    space = board.space
    for item in np.flatnonzero([net in wanted for net in space.nets]).tolist():
        builders[space.nets[item]].add_item(item)
    for net, contacts in _contacts_by_net(board, wanted).items():
        builders[net].add_contacts(contacts)
    return {net: builder.graph() for net, builder in builders.items()}


def _contacts_by_net(board: Board, nets: Collection[str]) -> dict[str, NDArray[np.int_]]:
    """Touching pairs of each net, (k, 2) positions in ``board.space``; contacts between nets are left out."""
    space = board.space
    pairs = copper_contacts(board)
    chosen = [
        i
        for i, (a, b) in enumerate(zip(space.nets[pairs[:, 0]], space.nets[pairs[:, 1]], strict=True))
        if a == b and a in nets
    ]
    by_net: dict[str, list[int]] = defaultdict(list)
    for i in chosen:
        by_net[space.nets[pairs[i, 0]]].append(i)
    return {net: pairs[rows] for net, rows in by_net.items()}


class _Builder:
    """Collects one net's items and contacts, then makes the graph."""

    def __init__(self, board: Board, net: str) -> None:
        self.board, self.space = board, board.space
        self.made = NetGraph(net)
        self.spot_of_item: dict[int, int] = {}
        self.tracks: list[int] = []
        self.events: dict[int, list[tuple[float, int]]] = defaultdict(list)  # track item -> (mm along, spot)
        self.same: dict[int, int] = {}  # junction -> junction that it merges into

    def add_item(self, item: int) -> None:
        """A pad, via or area becomes a spot; tracks become links later."""
        kind, number = str(self.space.kinds[item]), int(self.space.numbers[item])
        if kind == "track":
            self.tracks.append(item)
            return
        self.spot_of_item[item] = len(self.made.spots)
        if kind == "pad":
            pad = self.board.pads[number]
            first = self.board.index.pads[pad.ref] is pad
            spot = Spot(
                "pad", str(pad.ref) if first else "", pad.x_mm, pad.y_mm, min(pad.size_mm, pad.height_mm)
            )
        elif kind == "via":
            via = self.board.vias[number]
            first = self.board.index.vias[via.name] is via
            spot = Spot("via", via.name if first else "", via.x_mm, via.y_mm, via.size_mm)
        else:
            inside = self.space.skeletons[item].representative_point()
            spot = Spot("area", "", inside.x, inside.y)
        self.made.spots.append(spot)

    def add_contacts(self, pairs: NDArray[np.int_]) -> None:
        """Contacts become events along tracks, or links where no track is involved."""
        is_track = self.space.kinds[pairs] == "track"
        for a, b in pairs[~is_track.any(axis=1)].tolist():
            self.made.links.append(Link(self.spot_of_item[a], self.spot_of_item[b], 0, 0.0))
        one = pairs[is_track.sum(axis=1) == 1]
        swap = self.space.kinds[one[:, 0]] != "track"
        one[swap] = one[swap][:, ::-1]
        self._add_spots_on_tracks(one)
        self._add_junctions(pairs[is_track.all(axis=1)])

    def _add_spots_on_tracks(self, pairs: NDArray[np.int_]) -> None:
        """``pairs`` are (track, other)."""
        lines = self.space.skeletons[pairs[:, 0]]
        spots = [self.spot_of_item[other] for other in pairs[:, 1].tolist()]
        centres = shapely.points(
            [(self.made.spots[s].x_mm, self.made.spots[s].y_mm) for s in spots] or np.zeros((0, 2))
        )
        along = shapely.line_locate_point(lines, centres)
        for (track, other), spot, at in zip(pairs.tolist(), spots, along.tolist(), strict=True):
            if self.made.spots[spot].kind == "area":
                self.events[track] += [(mm, spot) for mm in self._on_area(track, other)]
            else:
                self.events[track].append((at, spot))

    def _on_area(self, track: int, area: int) -> list[float]:
        """Where along a track it meets a filled area: at the ends that lie in it, else where it comes nearest."""
        line, shape = self.space.skeletons[track], self.space.skeletons[area]
        ends = shapely.get_coordinates(line)
        inside = shapely.dwithin(shape, shapely.points(ends), self.space.reach_mm[track])
        found = [mm for mm, hit in zip((0.0, line.length), inside, strict=True) if hit]
        return found or [float(line.project(shapely.Point(shapely.shortest_line(line, shape).coords[0])))]

    def _add_junctions(self, pairs: NDArray[np.int_]) -> None:
        """Tracks that meet where no pad or via of both lies become a junction."""
        first, second = self.space.skeletons[pairs[:, 0]], self.space.skeletons[pairs[:, 1]]
        ends = shapely.get_coordinates(shapely.shortest_line(first, second)).reshape(-1, 2, 2)
        along_first = shapely.line_locate_point(first, shapely.points(ends[:, 0]))
        along_second = shapely.line_locate_point(second, shapely.points(ends[:, 1]))
        item_of_spot = {spot: item for item, spot in self.spot_of_item.items()}
        for row, (a, b) in enumerate(pairs.tolist()):
            x, y = ends[row].mean(axis=0).tolist()
            shared = {spot for _, spot in self.events[a]} & {spot for _, spot in self.events[b]}
            if any(self._covers(item_of_spot[spot], x, y) for spot in shared if spot in item_of_spot):
                continue
            spot = len(self.made.spots)
            self.made.spots.append(Spot("junction", "", x, y))
            self.events[a].append((float(along_first[row]), spot))
            self.events[b].append((float(along_second[row]), spot))

    def _covers(self, item: int, x_mm: float, y_mm: float) -> bool:
        """Whether a pad or via covers a place."""
        if self.space.kinds[item] == "area":
            return False
        reach_mm = self.space.reach_mm[item] + _SAME_MM
        return bool(shapely.dwithin(self.space.skeletons[item], shapely.Point(x_mm, y_mm), reach_mm))

    def graph(self) -> NetGraph:
        """The finished graph, junctions at one place merged."""
        for track in self.tracks:
            self.events[track].sort()
            self._merge_junctions(self.events[track])
        for track in self.tracks:
            self.made.links += self._links_of(track)
        return _without_unused(self.made, {self._root(spot) for spot in range(len(self.made.spots))})

    def _merge_junctions(self, events: list[tuple[float, int]]) -> None:
        spots = self.made.spots
        for (mm, a), (next_mm, b) in pairwise(events):
            if next_mm - mm <= _SAME_MM and spots[a].kind == spots[b].kind == "junction":
                self.same[max(self._root(a), self._root(b))] = min(self._root(a), self._root(b))

    def _root(self, spot: int) -> int:
        while self.same.get(spot, spot) != spot:
            spot = self.same[spot]
        return spot

    def _links_of(self, item: int) -> Iterator[Link]:
        number = int(self.space.numbers[item])
        width_mm = self.board.tracks[number].width_mm
        events = [(mm, self._root(spot)) for mm, spot in self.events[item]]
        for (mm, a), (next_mm, b) in pairwise(events):
            if a != b:
                ohms = track_resistance_ohm(next_mm - mm, width_mm) if width_mm > 0 else 0.0
                yield Link(a, b, number + 1, ohms)


def _without_unused(graph: NetGraph, used: Iterable[int]) -> NetGraph:
    """Renumber, leaving out junctions that were merged into others."""
    order = {old: new for new, old in enumerate(sorted(used))}
    links = [Link(order[link.a], order[link.b], link.track, link.ohms) for link in graph.links]
    return NetGraph(graph.net, [graph.spots[old] for old in order], links)
