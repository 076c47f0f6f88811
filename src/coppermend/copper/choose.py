"""Which pairs of islands to probe next on one net, given what is known. No points, no places.

On a tree of blocks, ceil(leaves / 2) probes from leaf to leaf prove every bridge: number the leaves in
depth-first order and pair the i-th with the (i + half)-th; no subtree's leaves are paired among themselves.
In a block with loops the islands are spanned one after the other. After an open reading the way between its
ends is halved until the open lies between two neighbouring probe points.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Sequence
from itertools import combinations, pairwise
from typing import NamedTuple

from coppermend.copper.bridges import bridge_forest
from coppermend.copper.expected import MOST_BONDS, best_probe, effort
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
from coppermend.copper.leastproof import least_pairs
from coppermend.copper.stretches import first_stretch


def proof_pairs(graph: RiskGraph, known: Known) -> list[Pair]:
    """Pairs that, when all read good, show that all needed islands hang together and prove every bridge.

    Every pair joins two groups that are not known to be one or apart, so there are fewer pairs than groups.
    """
    pairs: list[Pair] = []
    state = known
    while True:
        fresh = _round(graph, state)
        if not fresh:
            untouched = not (known.proven or known.settled or any(_chains(known)))
            fewer = least_pairs(graph, len(pairs)) if untouched and _has_loops(graph) else None
            return pairs if fewer is None else list(fewer)
        pairs += fresh
        good = [*pairs, *_chains(known)]
        state = learn(graph, good, [], known)


def next_pairs(
    graph: RiskGraph,
    known: Known,
    planned: Sequence[Pair],
    chances: Sequence[float] = (),
    *,
    exact: bool = True,
) -> list[Pair]:
    """What to probe now: first pin down what reads open, and go on with the plan elsewhere.

    Small pieces are planned for the least expected number of probes; in large ones the plan is followed, ways that
    are likely to be open are probed in stretches, and open ones are split where that tells most.

    Args:
        graph: Islands and bonds.
        known: What the readings told.
        planned: The pairs of the plan made before any reading; they are kept as long as they tell something.
        chances: Chance of each bond to be open, 0..1; () for all alike and small.
        exact: Whether small pieces are planned for the least number; see ``effort_of`` for what that costs.
    """
    odds = tuple(chances) or (_SMALL,) * len(graph.bonds)
    live = _Live(graph, known)
    least = _exact_pairs(graph, known, live, planned, odds) if exact else {}
    pairs = [pair for found in least.values() for pair in found]
    done = {root for root, found in least.items() if found}
    ways = [way for way in _open_ways(known, live) if live.pieces.root(way.groups[0]) not in done]
    suspects = {bond for way in ways for bond in way.bonds}
    pairs += [_split(graph, known, way, odds) for way in ways]
    for a, b in planned:
        start, goal = known.group[a], known.group[b]
        if start == goal or known.are_apart(a, b) or not live.joined(start, goal):
            continue
        way = live.way(start, goal)
        if live.pieces.root(start) not in done and not suspects.intersection(way.bonds):
            pairs += _stretches(graph, known, way, odds, (a, b))
    return list({frozenset(pair): pair for pair in pairs}.values()) or proof_pairs(graph, known)


def effort_of(graph: RiskGraph, known: Known) -> int:
    """About how many states of knowledge ``next_pairs`` goes through to plan the small pieces of a net exactly."""
    return sum(effort(len(bonds)) for bonds in _small_pieces(graph, known, _Live(graph, known)).values())


def _has_loops(graph: RiskGraph) -> bool:
    """Whether some bond could be lost without parting its ends."""
    forest = bridge_forest(len(graph.probeable), graph.bonds)
    return any(forest.block[a] == forest.block[b] for a, b in graph.bonds)


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


_SMALL = 0.05  # chance of a bond to be open when none is given


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


def _stops(islands: dict[int, int], way: _Way) -> list[int]:
    """Positions along a way that a probe can touch."""
    return [at for at, group in enumerate(way.groups) if group in islands]


def _split(graph: RiskGraph, known: Known, way: _Way, odds: Sequence[float]) -> Pair:
    """The pair that splits an open stretch best, or tells more of the cluster that it runs through."""
    islands = {known.group[island]: island for island in _probe_islands(graph, known)}
    stops = _stops(islands, way)
    if len(stops) > 2:
        stop = first_stretch(tuple(odds[bond] for bond in way.bonds), tuple(stops), True)
        return islands[way.groups[0]], islands[way.groups[stops[stop]]]
    cluster = next(c for c in clusters(graph, known) if way.bonds[0] in c.bonds)
    a, b = (known.group[island] for island in _telling_pair(known, cluster, way.groups[0]))
    return islands[a], islands[b]


def _stretches(graph: RiskGraph, known: Known, way: _Way, odds: Sequence[float], whole: Pair) -> list[Pair]:
    """A planned way at once, or in stretches one after the other where it is likely to be open."""
    islands = {known.group[island]: island for island in _probe_islands(graph, known)}
    stops = _stops(islands, way)
    pairs, start = [], 0
    while start < len(stops) - 1:
        rest = tuple(stop - stops[start] for stop in stops[start:])
        chances = tuple(odds[bond] for bond in way.bonds[stops[start] :])
        stop = start + first_stretch(chances, rest, False)
        pairs.append((islands[way.groups[stops[start]]], islands[way.groups[stops[stop]]]))
        start = stop
    return pairs if len(pairs) > 1 else [whole]


def _exact_pairs(
    graph: RiskGraph, known: Known, live: _Live, planned: Sequence[Pair], odds: Sequence[float]
) -> dict[int, list[Pair]]:
    """For every small piece without loops the probes of the best plan, as it runs while all reads good.

    Where something reads open already, only the first: what comes next depends on it.
    """
    touchable: dict[int, list[int]] = {}
    for island in _probe_islands(graph, known):
        touchable.setdefault(live.pieces.root(known.group[island]), []).append(island)
    wanted = {frozenset((known.group[a], known.group[b])) for a, b in planned}
    found = {}
    for root, bonds in _small_pieces(graph, known, live).items():
        pairs = list(combinations(touchable.get(root, ()), 2))
        pairs.sort(key=lambda pair: frozenset(known.group[i] for i in pair) not in wanted)
        found[root] = _best_run(known, live, bonds, pairs, odds)
    return found


def _small_pieces(graph: RiskGraph, known: Known, live: _Live) -> dict[int, list[int]]:
    """The undecided bonds of every piece without loops that is small enough to be planned exactly."""
    pieces: dict[int, list[int]] = {}
    for bond in live_bonds(graph, known):
        root = live.pieces.root(known.group[graph.bonds[bond][0]])
        pieces.setdefault(root, []).append(bond)
    islands = {
        root: {known.group[island] for bond in bonds for island in graph.bonds[bond]}
        for root, bonds in pieces.items()
    }
    return {
        root: bonds
        for root, bonds in pieces.items()
        if len(bonds) <= MOST_BONDS and len(islands[root]) == len(bonds) + 1
    }


def _best_run(
    known: Known, live: _Live, bonds: Sequence[int], pairs: Sequence[Pair], odds: Sequence[float]
) -> list[Pair]:
    bit = {bond: 1 << k for k, bond in enumerate(bonds)}

    def mask(a: int, b: int) -> int:
        return sum(bit[bond] for bond in live.way(known.group[a], known.group[b]).bonds)

    masks = [mask(a, b) for a, b in pairs]
    opened = [m for (a, b), m in zip(pairs, masks, strict=True) if known.are_apart(a, b)]
    chances = tuple(min(max(round(odds[bond], 2), 0.01), 0.9) for bond in bonds)
    run: list[Pair] = []
    sound = 0
    while True:
        _, first = best_probe(tuple(masks), chances, tuple(opened), sound)
        if not first:
            return run
        # of first probes that are as good, one that was planned
        chosen = min(first) if not run and not opened else first[0]
        run.append(pairs[chosen])
        if opened:  # what comes next depends on this reading
            return run
        sound |= masks[chosen]


def _telling_pair(known: Known, cluster: Cluster, start: int) -> Pair:
    """An unknown pair of a cluster, from the open stretch's start where possible; without one it were settled."""
    pairs = unknown_pairs(known, cluster)
    return next((pair for pair in pairs if start in (known.group[pair[0]], known.group[pair[1]])), pairs[0])
