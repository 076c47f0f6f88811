"""The way of least resistance through one net's copper: its ohms and the tracks it runs on. Knows no damage."""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from typing import NamedTuple

from coppermend.copper.graph import Link, NetGraph

_TOUCH_OHM = 1e-7  # so that of two ways without resistance the shorter one wins


class CopperPath(NamedTuple):
    """A way through copper [Ω] and the numbers of its tracks, 0 for jumpers and touching copper."""

    ohms: float
    tracks: tuple[int, ...]


class PathFinder:
    """Shortest ways from any spot of a graph, each start searched once.

    Copper in parallel is not added up: the true reading is this or a little less.
    """

    def __init__(self, graph: NetGraph, jumpers: Sequence[Link] = ()) -> None:
        self._around: list[list[tuple[int, float, int]]] = [[] for _ in graph.spots]
        for link in (*graph.links, *jumpers):
            self._around[link.a].append((link.b, link.ohms + _TOUCH_OHM, link.track))
            self._around[link.b].append((link.a, link.ohms + _TOUCH_OHM, link.track))
        self._trees: dict[int, dict[int, tuple[float, int, int]]] = {}

    def path(self, start: int, goal: int) -> CopperPath | None:
        """The way between two spots, or None when no copper joins them."""
        if start not in self._trees:
            self._trees[start] = self._search(start)
        tree = self._trees[start]
        if goal not in tree:
            return None
        ohms, tracks = tree[goal][0], []
        while goal != start:
            _, goal, track = tree[goal]
            tracks.append(track)
        return CopperPath(ohms, tuple(reversed(tracks)))

    def _search(self, start: int) -> dict[int, tuple[float, int, int]]:
        """(ohms, spot before, track) of every spot that copper joins to ``start``. Method: Dijkstra, 1959."""
        done: dict[int, tuple[float, int, int]] = {}
        queue = [(0.0, start, start, 0)]
        while queue:
            ohms, spot, before, track = heapq.heappop(queue)
            if spot in done:
                continue
            done[spot] = (ohms, before, track)
            for there, more, number in self._around[spot]:
                if there not in done:
                    heapq.heappush(queue, (ohms + more, there, spot, number))
        return done
