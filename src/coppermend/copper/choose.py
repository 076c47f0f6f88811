"""Which pairs of islands to probe next on one net, given what is known. No points, no places.

On a tree of blocks, ceil(leaves / 2) probes from leaf to leaf prove every bridge: number the leaves in
depth-first order and pair the i-th with the (i + half)-th; no subtree's leaves are paired among themselves.
In a block with loops the islands are spanned one after the other. After an open reading the way between its
ends is halved until the open lies between two neighbouring probe points.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import NamedTuple

from coppermend.copper.bridges import bridge_forest
from coppermend.copper.islands import Groups
from coppermend.copper.known import (
    Cluster,
    Known,
    Pair,
    RiskGraph,
    clusters,
    learn,
    live_bonds,
    unknown_pairs,
)


def proof_pairs(graph: RiskGraph, known: Known) -> list[Pair]:
    """Pairs that, when all read good, show that all needed islands hang together and prove every bridge.

    Every pair joins two groups that are not known to be one or apart, so there are fewer pairs than groups.
    """
    pairs: list[Pair] = []
    state = known
    while True:
        fresh = _round(graph, state)
        if not fresh:
            return pairs
        pairs += fresh
        good = [*pairs, *_chains(known)]
        state = learn(graph, good, [], known)


def next_pairs(graph: RiskGraph, known: Known, planned: Sequence[Pair]) -> list[Pair]:
    """What to probe now: first pin down what reads open, and go on with the plan elsewhere.

    Args:
        graph: Islands and bonds.
        known: What the readings told.
        planned: The pairs of the plan made before any reading; they are kept as long as they tell something.
    """
    live = _Live(graph, known)
    ways = _open_ways(known, live)
    suspects = {bond for way in ways for bond in way.bonds}
    pairs = [_halving(graph, known, way) for way in ways]
    for a, b in planned:
        if known.same(a, b) or known.are_apart(a, b) or not live.joined(known.group[a], known.group[b]):
            continue
        way = live.way(known.group[a], known.group[b]) if suspects else None
        if way is None or not suspects.intersection(way.bonds):
            pairs.append((a, b))
    return list({frozenset(pair): pair for pair in pairs}.values()) or proof_pairs(graph, known)


def _chains(known: Known) -> Iterable[Pair]:
    """Pairs that join what is already known to hang together."""
    return ((island, group) for island, group in enumerate(known.group) if island != group)


def _round(graph: RiskGraph, known: Known) -> list[Pair]:
    """Leaf-to-leaf pairs on every tree of blocks, or a spanning chain where one block is all there is."""
    live = live_bonds(graph, known)
    forest = bridge_forest(
        len(known.group), [(known.group[graph.bonds[i][0]], known.group[graph.bonds[i][1]]) for i in live]
    )
    needed = {known.group[island] for island, wanted in enumerate(graph.needed) if wanted}
    spokes: dict[int, list[int]] = {}  # block -> one island of each needed group in it
    for island in _probe_islands(graph, known):
        if known.group[island] not in needed:
            continue
        spokes.setdefault(forest.block[known.group[island]], []).append(island)
    trees: dict[int, list[int]] = {}
    for block in forest.leaves(forest.pruned(spokes)):
        trees.setdefault(forest.tree[block], []).append(block)
    pairs = []
    for leaves in trees.values():
        if len(leaves) > 1:
            half = len(leaves) // 2
            ends = [spokes[block][0] for block in leaves]
            pairs += [(ends[i], ends[(i + half) % len(ends)]) for i in range((len(ends) + 1) // 2)]
    if pairs:
        return pairs
    return [pair for islands in spokes.values() for pair in pairwise(islands)]


def _probe_islands(graph: RiskGraph, known: Known) -> Iterable[int]:
    """The first probeable island of each group."""
    seen = set()
    for island, probeable in enumerate(graph.probeable):
        if probeable and known.group[island] not in seen:
            seen.add(known.group[island])
            yield island


class _Way(NamedTuple):
    """Groups along a way, and the bonds between them."""

    groups: tuple[int, ...]
    bonds: tuple[int, ...]


class _Live:
    """Groups joined by copper that may hold."""

    def __init__(self, graph: RiskGraph, known: Known) -> None:
        self.around: dict[int, list[tuple[int, int]]] = {}
        self.pieces = Groups(len(known.group))
        for bond in live_bonds(graph, known):
            a, b = (known.group[island] for island in graph.bonds[bond])
            self.around.setdefault(a, []).append((b, bond))
            self.around.setdefault(b, []).append((a, bond))
            self.pieces.join(a, b)

    def joined(self, start: int, goal: int) -> bool:
        """Whether copper may still join two groups."""
        return self.pieces.root(start) == self.pieces.root(goal)

    def way(self, start: int, goal: int) -> _Way:
        """The shortest way between two groups that are joined."""
        came_from: dict[int, tuple[int, int]] = {start: (-1, -1)}
        queue = deque([start])
        while goal not in came_from:
            here = queue.popleft()
            for there, bond in self.around[here]:
                if there not in came_from:
                    came_from[there] = (here, bond)
                    queue.append(there)
        groups, bonds = [goal], []
        while groups[-1] != start:
            upper, bond = came_from[groups[-1]]
            groups.append(upper)
            bonds.append(bond)
        return _Way(tuple(reversed(groups)), tuple(reversed(bonds)))


def _open_ways(known: Known, live: _Live) -> list[_Way]:
    """Ways that read open though copper may still join their ends, each cut down to its shortest open stretch."""
    found = {}
    for a, b in sorted(known.apart):
        if live.joined(a, b):
            stretch = _shortest_open(known, live.way(a, b))
            found[stretch.bonds] = stretch
    return list(found.values())


def _shortest_open(known: Known, way: _Way) -> _Way:
    """The shortest stretch of a way whose ends are known to be apart."""
    place = {group: i for i, group in enumerate(way.groups)}
    spans = ((place[a], place[b]) for a, b in known.apart if a in place and b in place)
    start, stop = min((sorted(span) for span in spans), key=lambda span: (span[1] - span[0], span))
    return _Way(way.groups[start : stop + 1], way.bonds[start:stop])


def _halving(graph: RiskGraph, known: Known, way: _Way) -> Pair:
    """The pair that halves an open stretch, or tells more of the cluster that it runs through."""
    islands = {known.group[island]: island for island in _probe_islands(graph, known)}
    inner = [group for group in way.groups[1:-1] if group in islands]
    if inner:
        return islands[way.groups[0]], islands[inner[len(inner) // 2]]
    cluster = next(c for c in clusters(graph, known) if way.bonds[0] in c.bonds)
    a, b = (known.group[island] for island in _telling_pair(known, cluster, way.groups[0]))
    return islands[a], islands[b]


def _telling_pair(known: Known, cluster: Cluster, start: int) -> Pair:
    """An unknown pair of a cluster, from the open stretch's start where possible; without one it were settled."""
    pairs = unknown_pairs(known, cluster)
    return next((pair for pair in pairs if start in (known.group[pair[0]], known.group[pair[1]])), pairs[0])
