"""Random nets of islands, and what brute force says of them. No planner code but the record of a net."""

from __future__ import annotations

import random
from collections.abc import Iterable
from itertools import combinations

from coppermend.copper.known import Pair, RiskGraph


def random_net(chance: random.Random, islands: int, loops: int = 0) -> RiskGraph:
    """A net whose every island can be touched and is needed: a random tree, and some more bonds."""
    bonds = [(chance.randrange(i), i) for i in range(1, islands)]
    bonds += [tuple(chance.sample(range(islands), 2)) for _ in range(loops)]
    whole = (True,) * islands
    return RiskGraph(whole, tuple(bonds), whole)


def reached(count: int, bonds: Iterable[Pair], start: int) -> set[int]:
    around: dict[int, set[int]] = {i: set() for i in range(count)}
    for a, b in bonds:
        around[a].add(b)
        around[b].add(a)
    found, queue = {start}, [start]
    while queue:
        fresh = around[queue.pop()] - found
        found |= fresh
        queue += fresh
    return found


def least_proof(net: RiskGraph) -> int:
    """The fewest pairs that, all read good, show that every island hangs together; by breadth-first search.

    A good reading joins its ends, and the ends of every bond without which they would come apart.
    """
    count = len(net.probeable)
    joins = {}
    for a, b in combinations(range(count), 2):
        needs = [
            bond
            for k, bond in enumerate(net.bonds)
            if b not in reached(count, net.bonds[:k] + net.bonds[k + 1 :], a)
        ]
        joins[a, b] = [(a, b), *needs]
    states, probes = {tuple(range(count))}, 0
    while (0,) * count not in states:
        states = {_joined(state, pairs) for state in states for pairs in joins.values()}
        probes += 1
    return probes


def _joined(state: tuple[int, ...], pairs: Iterable[Pair]) -> tuple[int, ...]:
    labels = list(state)
    for a, b in pairs:
        low, high = sorted((labels[a], labels[b]))
        labels = [low if label == high else label for label in labels]
    return tuple(labels)


def least_expected(net: RiskGraph, chances: tuple[float, ...]) -> float:
    """The least expected number of one-by-one probes until it is known who hangs together, over every plan."""
    count, bonds = len(net.probeable), net.bonds
    worlds: dict[tuple[int, ...], float] = {}
    for world in range(1 << len(bonds)):
        kept = [bond for k, bond in enumerate(bonds) if not world >> k & 1]
        weight = 1.0
        for k, p in enumerate(chances):
            weight *= p if world >> k & 1 else 1 - p
        labels = tuple(min(reached(count, kept, i)) for i in range(count))
        worlds[labels] = worlds.get(labels, 0.0) + weight
    weights = list(worlds.values())
    goods = [
        sum(1 << k for k, labels in enumerate(worlds) if labels[a] == labels[b])
        for a, b in combinations(range(count), 2)
    ]
    mass, known = {0: 0.0}, {}

    def weight(state: int) -> float:
        if state not in mass:
            mass[state] = weights[(state & -state).bit_length() - 1] + weight(state & state - 1)
        return mass[state]

    def value(state: int) -> float:
        """Expected number weighted with the chance of the worlds, given as bits, that are still possible."""
        if not state & state - 1:
            return 0.0
        if state not in known:
            known[state] = weight(state) + min(
                value(state & good) + value(state & ~good) for good in goods if state & good not in (0, state)
            )
        return known[state]

    return value((1 << len(weights)) - 1)


def walked_expected(net: RiskGraph, chances: tuple[float, ...], ask) -> float:
    """The expected number of probes that ``ask(good, opened) -> pairs`` makes, over every world; the first pair is made."""
    count, total = len(net.probeable), 0.0
    for world in range(1 << len(net.bonds)):
        kept = [bond for k, bond in enumerate(net.bonds) if not world >> k & 1]
        weight, good, opened = 1.0, [], []
        for k, p in enumerate(chances):
            weight *= p if world >> k & 1 else 1 - p
        while pairs := ask(tuple(good), tuple(opened)):
            a, b = pairs[0]
            (good if b in reached(count, kept, a) else opened).append((a, b))
        total += weight * (len(good) + len(opened))
    return total
