"""The fewest pairs that prove a small net with loops, found by breadth-first search over what they join.

A good reading joins its two ends, and the ends of every bridge between them. On nets without loops a rule finds
the fewest at once; see ``choose``.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import combinations

from coppermend.copper.bridges import bridge_forest
from coppermend.copper.known import Pair, RiskGraph

MOST_ISLANDS = 8


@lru_cache(maxsize=512)
def least_pairs(graph: RiskGraph, most: int) -> tuple[Pair, ...] | None:
    """A smallest set of pairs of fewer than ``most`` that joins all needed islands; None when there is none.

    Args:
        graph: A net of at most ``MOST_ISLANDS`` islands in one piece; others are given up at once.
        most: A number of pairs that is known to be enough.
    """
    count = len(graph.probeable)
    ends = [i for i, wanted in enumerate(graph.needed) if wanted]
    if count > MOST_ISLANDS or not ends:
        return None
    forest = bridge_forest(count, graph.bonds)
    if len(set(forest.tree)) > 1:
        return None
    joins: dict[Pair, list[Pair]] = {}
    for a, b in combinations([i for i, probeable in enumerate(graph.probeable) if probeable], 2):
        joins[a, b] = [(a, b), *(graph.bonds[k] for k in forest.bridges_between(a, b) or ())]
    states: dict[tuple[int, ...], tuple[Pair, ...]] = {tuple(range(count)): ()}
    for _ in range(most - 1):
        grown: dict[tuple[int, ...], tuple[Pair, ...]] = {}
        for labels, pairs in states.items():
            for pair, joined in joins.items():
                if labels[pair[0]] == labels[pair[1]]:
                    continue
                after = _joined(labels, joined)
                if len({after[i] for i in ends}) == 1:
                    return (*pairs, pair)
                grown.setdefault(after, (*pairs, pair))
        states = grown
    return None


def _joined(labels: tuple[int, ...], pairs: Sequence[Pair]) -> tuple[int, ...]:
    found = list(labels)
    for a, b in pairs:
        low, high = sorted((found[a], found[b]))
        if low != high:
            found = [low if label == high else label for label in found]
    return tuple(found)
