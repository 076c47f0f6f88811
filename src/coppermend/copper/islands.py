"""Islands of safe copper of one net, and the at-risk copper that joins them. No readings, no choice of probes.

A touched track is at risk along its whole length, a touched pad or via with everything that lands on it: each
is an island of its own until a reading has proven the copper into it. A path that passes a pad or via proves
it, since its ring carries the path. Filled copper is taken as whole: it is too wide to open.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from coppermend.copper.graph import NetGraph


class Bond(NamedTuple):
    """At-risk copper between islands ``a`` and ``b``: ``link`` is its position in the graph, -1 a jumper.

    ``track`` is the at-risk track's number, 0 when only a pad, via or jumper is at risk.
    """

    a: int
    b: int
    link: int
    track: int


@dataclass(frozen=True)
class Island:
    """Spots joined by safe copper. ``points`` are those a probe can reach, ``pads`` counts named pads."""

    spots: tuple[int, ...]
    points: tuple[str, ...]
    pads: int
    at_risk: bool


@dataclass(frozen=True)
class NetIslands:
    """One net cut where it is at risk.

    Attributes:
        graph: The net's copper.
        islands: Islands of safe copper; an at-risk pad or via is one of its own.
        bonds: At-risk copper between two islands; what starts and ends on one island is left out.
        island_of: Island of each spot of the graph.
        unseen: True when the files do not show how all pads of the net hang together.
        parallel_tracks: At-risk tracks beside safe copper, or that lead nowhere: no meter can prove them.
    """

    graph: NetGraph
    islands: tuple[Island, ...]
    bonds: tuple[Bond, ...]
    island_of: tuple[int, ...]
    unseen: bool
    parallel_tracks: tuple[int, ...] = ()
    point_island: dict[str, int] = field(default_factory=dict)


class Groups:
    """Disjoint sets over 0..n-1."""

    def __init__(self, count: int) -> None:
        self.parent = list(range(count))

    def root(self, item: int) -> int:
        """The set's representative."""
        parent = self.parent
        while parent[item] != item:
            parent[item] = parent[parent[item]]
            item = parent[item]
        return item

    def join(self, a: int, b: int) -> bool:
        """Unite two sets; False when they were one already."""
        low, high = sorted((self.root(a), self.root(b)))
        self.parent[high] = low
        return low != high

    def labels(self) -> list[int]:
        """The representative of every item."""
        return [self.root(item) for item in range(len(self.parent))]


def net_islands(
    graph: NetGraph, risky_tracks: Collection[int], risky_points: Collection[str], reachable: Collection[str]
) -> NetIslands:
    """Cut a net's copper where it is at risk.

    Args:
        graph: The net's copper.
        risky_tracks: Numbers of touched tracks, counted from 1.
        risky_points: Names of touched pads and vias.
        reachable: Points that a probe can reach.
    """
    risky_spot = [bool(spot.name) and spot.name in risky_points for spot in graph.spots]
    safe, whole = Groups(len(graph.spots)), Groups(len(graph.spots))
    for link in graph.links:
        whole.join(link.a, link.b)
        if link.track not in risky_tracks and not risky_spot[link.a] and not risky_spot[link.b]:
            safe.join(link.a, link.b)
    island_of, islands = _islands(graph, safe, risky_spot, reachable)
    bonds = tuple(
        Bond(island_of[link.a], island_of[link.b], i, link.track if link.track in risky_tracks else 0)
        for i, link in enumerate(graph.links)
        if island_of[link.a] != island_of[link.b]
    )
    bonded = {bond.track for bond in bonds}
    pieces = {whole.root(i) for i, spot in enumerate(graph.spots) if spot.kind == "pad" and spot.name}
    return NetIslands(
        graph,
        islands,
        bonds,
        island_of,
        unseen=len(pieces) > 1,
        parallel_tracks=tuple(sorted(set(risky_tracks) - bonded)),
        point_island={name: island_of[spot] for name, spot in graph.points.items()},
    )


def _islands(
    graph: NetGraph, safe: Groups, risky_spot: Sequence[bool], reachable: Collection[str]
) -> tuple[tuple[int, ...], tuple[Island, ...]]:
    members: dict[int, list[int]] = {}
    for spot, root in enumerate(safe.labels()):
        members.setdefault(root, []).append(spot)
    number = {root: i for i, root in enumerate(members)}
    islands = tuple(_island(graph, spots, risky_spot, reachable) for spots in members.values())
    return tuple(number[root] for root in safe.labels()), islands


def _island(
    graph: NetGraph, spots: Iterable[int], risky_spot: Sequence[bool], reachable: Collection[str]
) -> Island:
    own = tuple(spots)
    named = [graph.spots[spot] for spot in own if graph.spots[spot].name]
    return Island(
        spots=own,
        points=tuple(spot.name for spot in named if spot.name in reachable),
        pads=sum(spot.kind == "pad" for spot in named),
        at_risk=any(risky_spot[spot] for spot in own),
    )
