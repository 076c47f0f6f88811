"""What lies downstream of a net in a graph, and its loops, as bits. Knows no board.

Feedback (CPU - bus - memory - CPU) makes one strongly connected group, in which everything is downstream of
everything. A condition opens such loops by cutting edges; see ``conditions``.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import chain

import numpy as np
from numpy.typing import NDArray

Bits = NDArray[np.uint8]


class Downstream:
    """For every net the nets that follow it, itself included, as packed bits; ``groups`` numbers the loops.

    ``order`` puts nets from sources to ends; nets of one loop have one place.
    """

    @classmethod
    def of(cls, count: int, edges: Iterable[tuple[int, int]]) -> Downstream:
        """From pairs (net, net that follows it)."""
        followers: list[set[int]] = [set() for _ in range(count)]
        for source, sink in edges:
            followers[source].add(sink)
        return cls(followers)

    def __init__(self, followers: Sequence[set[int]]) -> None:
        count = len(followers)
        self.count, self.width = count, max((count + 7) // 8, 1)
        self.groups, made = _strong_groups(followers)
        masks: list[int] = []  # groups come ends first, so that what follows a group is known before it
        for members in made:
            mask = 0
            for net in members:
                mask |= 1 << net
                for sink in followers[net]:
                    if self.groups[sink] != len(masks):
                        mask |= masks[self.groups[sink]]
            masks.append(mask)
        self._masks = masks
        self.order = len(made) - 1 - np.array(self.groups, dtype=np.int64)
        self.loops: tuple[tuple[int, ...], ...] = tuple(tuple(m) for m in made if len(m) > 1)

    def packed(self, masks: Sequence[int]) -> Bits:
        """Masks as rows of bytes, shape (n, width), bit ``i & 7`` of byte ``i >> 3`` for net ``i``."""
        data = b"".join([mask.to_bytes(self.width, "little") for mask in masks])
        return np.frombuffer(data, dtype=np.uint8).reshape(len(masks), self.width)

    def rows(self, sets: Sequence[Sequence[int]]) -> Bits:
        """For each set of nets those downstream of any of them, as a packed row; shape (sets, width)."""
        none = len(self._masks)  # an empty set has one member, which nothing follows
        of_group, groups = self.packed([*self._masks, 0]), [*self.groups, none]
        members = [nets or (-1,) for nets in sets]
        group = np.array(groups, dtype=np.int64)[list(chain.from_iterable(members))]
        count = np.array([len(nets) for nets in members], dtype=np.int64)
        first = np.cumsum(count) - count
        rows: Bits = of_group[group[first]]
        for k in range(
            1, int(count.max(initial=0))
        ):  # the second member of those that have one, the third, ...
            more = np.flatnonzero(count > k)
            rows[more] |= of_group[group[first[more] + k]]
        return rows


def _strong_groups(followers: Sequence[Iterable[int]]) -> tuple[list[int], list[list[int]]]:
    """Strongly connected groups, ends first: the group of every node, and the groups (Tarjan, without recursion)."""
    count = len(followers)
    index, low = [-1] * count, [0] * count
    group, groups = [-1] * count, list[list[int]]()
    stack: list[int] = []
    clock = 0
    for root in range(count):
        if index[root] >= 0:
            continue
        index[root] = low[root] = clock
        clock += 1
        stack.append(root)
        work = [(root, iter(followers[root]))]
        while work:
            node, ahead = work[-1]
            for sink in ahead:
                if index[sink] < 0:
                    index[sink] = low[sink] = clock
                    clock += 1
                    stack.append(sink)
                    work.append((sink, iter(followers[sink])))
                    break
                if group[sink] < 0:
                    low[node] = min(low[node], index[sink])
            else:
                work.pop()
                if work:
                    low[work[-1][0]] = min(low[work[-1][0]], low[node])
                if low[node] == index[node]:
                    members = []
                    while True:
                        member = stack.pop()
                        group[member] = len(groups)
                        members.append(member)
                        if member == node:
                            break
                    groups.append(members)
    return group, groups
