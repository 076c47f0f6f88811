"""Fewest edges that touch every wanted vertex of a bipartite graph. Knows vertices by number, no matrix and no board."""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Mapping, Sequence

Edge = tuple[int, int]  # (left vertex, right vertex)


def maximum_matching(left: int, edges: Collection[Edge]) -> dict[int, int]:
    """A matching with as many edges as there can be, by Hopcroft and Karp's phases of shortest augmenting paths.

    Args:
        left: Number of left vertices; they are 0 .. left - 1.
        edges: (left, right) pairs; edges near the diagonal are tried first.

    Returns:
        Left vertex -> right vertex.

    Reference: Hopcroft and Karp, SIAM J. Comput. 2(4), 1973 (from memory).

    >>> sorted(maximum_matching(2, [(0, 0), (0, 1), (1, 0)]).items())
    [(0, 1), (1, 0)]
    """
    near: list[list[int]] = [[] for _ in range(left)]
    for a, b in sorted(edges, key=lambda edge: (abs(edge[0] - edge[1]), edge)):
        near[a].append(b)
    of_left: dict[int, int] = {}
    of_right: dict[int, int] = {}
    while layers := _layers(near, of_left, of_right):
        for start in range(left):
            if start not in of_left:
                _augment(start, near, layers, of_left, of_right)
    return of_left


def _layers(
    near: Sequence[Sequence[int]], of_left: Mapping[int, int], of_right: Mapping[int, int]
) -> dict[int, int]:
    """Left vertex -> steps from a free one; empty when no free right vertex can be reached."""
    depth = {a: 0 for a in range(len(near)) if a not in of_left}
    queue, reached = deque(depth), False
    while queue:
        a = queue.popleft()
        for b in near[a]:
            taken_by = of_right.get(b)
            if taken_by is None:
                reached = True
            elif taken_by not in depth:
                depth[taken_by] = depth[a] + 1
                queue.append(taken_by)
    return depth if reached else {}


def _augment(
    start: int, near: Sequence[Sequence[int]], depth: dict[int, int],
    of_left: dict[int, int], of_right: dict[int, int],
) -> None:  # fmt: skip
    """Follow one shortest alternating path from ``start`` and flip it; a walk without recursion."""
    path: list[Edge] = []
    todo = [(start, iter(near[start]))]
    while todo:
        a, choices = todo[-1]
        for b in choices:
            taken_by = of_right.get(b)
            if taken_by is None:
                for x, y in [*path, (a, b)]:
                    of_left[x], of_right[y] = y, x
                return
            if depth.get(taken_by) == depth[a] + 1:
                path.append((a, b))
                todo.append((taken_by, iter(near[taken_by])))
                break
        else:
            depth[a] = -1  # no way on from here in this phase
            todo.pop()
            if path:
                path.pop()


def edge_cover(edges: Collection[Edge], left: Collection[int], right: Collection[int]) -> tuple[Edge, ...]:
    """The fewest edges that touch every wanted vertex: wanted vertices less a maximum matching among them.

    A vertex that no edge touches is left out. An edge from a wanted to an unwanted vertex counts for one.

    Args:
        edges: (left, right) pairs.
        left: Wanted left vertices.
        right: Wanted right vertices.

    Returns:
        Edges by left, then right vertex. Matched pairs cross each other no more than they must, and every
        other edge leads to the vertex nearest to its own number.

    Reference: Gallai's identity, minimum edge cover = vertices - maximum matching (no isolated vertices).

    >>> edge_cover([(0, 0), (0, 1), (1, 1), (2, 1)], left={0, 1, 2}, right={0, 1})
    ((0, 0), (1, 1), (2, 1))
    """
    known = set(edges)
    both = [(a, b) for a, b in known if a in left and b in right]
    matched = _uncrossed(maximum_matching(max(left, default=-1) + 1, both), set(both))
    chosen = set(matched.items())
    done_left, done_right = set(matched), set(matched.values())
    for a, b in sorted(known, key=lambda edge: (abs(edge[0] - edge[1]), edge)):
        if (a in left and a not in done_left) or (b in right and b not in done_right):
            chosen.add((a, b))
            done_left.add(a)
            done_right.add(b)
    return tuple(sorted(chosen))


def _uncrossed(matched: Mapping[int, int], edges: Collection[Edge]) -> dict[int, int]:
    """The same vertices matched with fewer crossings: ends are swapped wherever the graph has both edges."""
    found = dict(matched)
    swapped = True
    while swapped:
        swapped = False
        rows = sorted(found)
        for i, a in enumerate(rows):
            for c in rows[i + 1 :]:
                b, d = found[a], found[c]
                if b > d and (a, d) in edges and (c, b) in edges:
                    found[a], found[c] = d, b
                    swapped = True
    return found
