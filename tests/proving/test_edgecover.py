"""Edge covers are as small as Gallai's identity says they can be, and as brute force finds them."""

from __future__ import annotations

from itertools import combinations
from random import Random

import networkx
import pytest

from coppermend.proving.edgecover import edge_cover, maximum_matching

# Minimum edge covers by Gallai's identity, vertices - maximum matching: star K1,4 4, path P5 3, K3,3 3, 3 x 3 grid 5.
KNOWN = {
    "star": ([(0, n) for n in range(4)], 4),
    "path": ([(0, 0), (1, 0), (1, 1), (2, 1)], 3),
    "K3,3": ([(a, b) for a in range(3) for b in range(3)], 3),
    "grid 3 x 3": (
        [(0, 0), (0, 1), (1, 0), (1, 2), (2, 0), (2, 1), (2, 2), (2, 3), (3, 1), (3, 3), (4, 2), (4, 3)],
        5,
    ),
}


def random_case(seed, most):
    dice = Random(seed)
    rows, columns = dice.randint(1, most), dice.randint(1, most)
    density = dice.random()
    edges = [(a, b) for a in range(rows) for b in range(columns) if dice.random() < density] or [(0, 0)]
    wanted = [{e[side] for e in edges if dice.random() < 0.8} for side in (0, 1)]
    return edges, *wanted


def least_by_trying(edges, left, right):
    for size in range(len(edges) + 1):
        for chosen in combinations(edges, size):
            if left <= {a for a, _ in chosen} and right <= {b for _, b in chosen}:
                return size
    raise AssertionError("isolated vertex")


@pytest.mark.parametrize("case", KNOWN.values(), ids=KNOWN)
def test_known_graphs(case):
    """Published minimum edge covers come out."""
    edges, size = case

    assert len(edge_cover(edges, {a for a, _ in edges}, {b for _, b in edges})) == size


@pytest.mark.parametrize("block", range(10))
def test_matching_is_as_large_as_the_reference_finds(block):
    """Against networkx's matching, on 50 random graphs each."""
    for seed in range(50 * block, 50 * block + 50):
        edges, _, _ = random_case(seed, 14)

        found = maximum_matching(max(a for a, _ in edges) + 1, edges)

        graph = networkx.Graph([(("s", a), ("r", b)) for a, b in edges])
        best = networkx.bipartite.hopcroft_karp_matching(graph, {("s", a) for a, _ in edges})
        assert len(found) == len(best) // 2
        assert set(found.items()) <= set(edges) and len(set(found.values())) == len(found)


@pytest.mark.parametrize("block", range(10))
def test_cover_touches_all_and_is_vertices_less_matching(block):
    """Every wanted vertex is touched by as few edges as Gallai's identity allows, on 50 random graphs each."""
    for seed in range(50 * block, 50 * block + 50):
        edges, left, right = random_case(seed, 14)

        cover = edge_cover(edges, left, right)

        inner = networkx.Graph([(("s", a), ("r", b)) for a, b in edges if a in left and b in right])
        matching = len(networkx.max_weight_matching(inner, maxcardinality=True))
        assert left <= {a for a, _ in cover} and right <= {b for _, b in cover} and set(cover) <= set(edges)
        assert len(cover) == len(left) + len(right) - matching


def test_small_covers_equal_brute_force():
    """Up to 4 x 4, no smaller set of edges exists."""
    for seed in range(150):
        edges, left, right = random_case(1000 + seed, 4)
        if len(edges) <= 10:
            assert len(edge_cover(edges, left, right)) == least_by_trying(edges, left, right)


def test_long_alternating_paths_need_no_recursion():
    """A path of 3,000 vertices is matched whole."""
    edges = [(n, n) for n in range(1500)] + [(n + 1, n) for n in range(1499)]

    assert len(maximum_matching(1500, edges)) == 1500


def test_pairs_cross_no_more_than_they_must():
    """In a full matrix the cover is the diagonal, which a wire can follow without looking back."""
    edges = [(a, b) for a in range(6) for b in range(6)]

    assert edge_cover(edges, set(range(6)), set(range(6))) == tuple((n, n) for n in range(6))


def test_nothing_wanted_needs_nothing():
    """Proven lines ask for no edge; a vertex without edges is left out."""
    assert edge_cover([(0, 0)], set(), set()) == ()
    assert edge_cover([(0, 0)], {0, 5}, {0}) == ((0, 0),)
