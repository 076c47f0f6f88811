"""Bridges of a graph and the tree of blocks they leave. Pure graph work: knows no copper.

A bridge is an edge without which its two ends come apart; a block is what hangs together without bridges
(a 2-edge-connected component). Blocks joined by bridges form a forest. Method: depth-first search with low
points, R. E. Tarjan, "A note on finding the bridges of a graph", Information Processing Letters 2 (1974).
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class BridgeForest:
    """Blocks numbered in depth-first order, so that a parent comes before its children.

    Attributes:
        block: Block of each node.
        parent: Parent of each block, -1 for the root of a tree.
        parent_edge: The bridge to the parent, as a position in the given edges; -1 for a root.
        depth: Bridges between a block and its root.
        tree: Root block of each block.
    """

    block: tuple[int, ...]
    parent: tuple[int, ...]
    parent_edge: tuple[int, ...]
    depth: tuple[int, ...]
    tree: tuple[int, ...]

    def bridges_between(self, a: int, b: int) -> list[int] | None:
        """The bridges that every way from node ``a`` to node ``b`` passes; None when there is no way."""
        low, high = self.block[a], self.block[b]
        if self.tree[low] != self.tree[high]:
            return None
        passed = []
        while low != high:
            if self.depth[low] < self.depth[high]:
                low, high = high, low
            passed.append(self.parent_edge[low])
            low = self.parent[low]
        return passed

    def pruned(self, wanted: Collection[int]) -> set[int]:
        """Blocks that remain when leaves that are not ``wanted`` are cut off, again and again."""
        around = self._around()
        dropped = [block for block, near in enumerate(around) if len(near) <= 1 and block not in wanted]
        gone = set(dropped)
        while dropped:
            block = dropped.pop()
            for neighbour in around[block] - gone:
                around[neighbour].discard(block)
                if len(around[neighbour]) <= 1 and neighbour not in wanted:
                    gone.add(neighbour)
                    dropped.append(neighbour)
        return set(range(len(self.parent))) - gone

    def leaves(self, kept: Collection[int]) -> list[int]:
        """Blocks at the ends of the kept part of the forest, in depth-first order; lone blocks are none."""
        around = self._around()
        return [block for block in sorted(kept) if len(around[block].intersection(kept)) == 1]

    def _around(self) -> list[set[int]]:
        around: list[set[int]] = [set() for _ in self.parent]
        for child, parent in enumerate(self.parent):
            if parent >= 0:
                around[child].add(parent)
                around[parent].add(child)
        return around


def bridge_forest(nodes: int, edges: Sequence[tuple[int, int]]) -> BridgeForest:
    """The forest of blocks of a graph with nodes 0..nodes-1; parallel edges and loops are allowed."""
    around: list[list[tuple[int, int]]] = [[] for _ in range(nodes)]
    for number, (a, b) in enumerate(edges):
        if a != b:
            around[a].append((b, number))
            around[b].append((a, number))
    order, came_from, low = _search(around)
    return _blocks(order, came_from, low)


def _search(
    around: Sequence[Sequence[tuple[int, int]]],
) -> tuple[list[int], list[tuple[int, int]], list[int]]:
    """Nodes in depth-first order, (parent, edge) of each node, and each node's low point (a rank in the order)."""
    count = len(around)
    rank, low = [-1] * count, [0] * count
    came_from = [(-1, -1)] * count
    order: list[int] = []
    for start in range(count):
        if rank[start] >= 0:
            continue
        rank[start] = low[start] = len(order)
        order.append(start)
        stack = [(start, iter(around[start]))]
        while stack:
            node, rest = stack[-1]
            for neighbour, edge in rest:
                if edge == came_from[node][1]:
                    continue
                if rank[neighbour] >= 0:
                    low[node] = min(low[node], rank[neighbour])
                    continue
                rank[neighbour] = low[neighbour] = len(order)
                order.append(neighbour)
                came_from[neighbour] = (node, edge)
                stack.append((neighbour, iter(around[neighbour])))
                break
            else:
                stack.pop()
                if stack:
                    low[stack[-1][0]] = min(low[stack[-1][0]], low[node])
    return order, came_from, [low[node] for node in range(count)]


def _blocks(order: Sequence[int], came_from: Sequence[tuple[int, int]], low: Sequence[int]) -> BridgeForest:
    block = [-1] * len(order)
    parent: list[int] = []
    parent_edge: list[int] = []
    depth: list[int] = []
    tree: list[int] = []
    for rank, node in enumerate(order):
        above, edge = came_from[node]
        if above >= 0 and low[node] < rank:
            block[node] = block[above]
            continue
        block[node] = len(parent)
        upper = block[above] if above >= 0 else -1
        parent.append(upper)
        parent_edge.append(edge)
        depth.append(depth[upper] + 1 if upper >= 0 else 0)
        tree.append(tree[upper] if upper >= 0 else block[node])
    return BridgeForest(tuple(block), tuple(parent), tuple(parent_edge), tuple(depth), tuple(tree))
