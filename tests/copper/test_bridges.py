"""Bridges and blocks of graphs, beside taking each edge out in turn."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from coppermend.copper.bridges import bridge_forest
from coppermend.copper.islands import Groups


def parts(nodes: int, edges: list[tuple[int, int]], without: int = -1) -> Groups:
    groups = Groups(nodes)
    for number, (a, b) in enumerate(edges):
        if number != without:
            groups.join(a, b)
    return groups


@st.composite
def graphs(draw):
    nodes = draw(st.integers(1, 9))
    node = st.integers(0, nodes - 1)
    return nodes, draw(st.lists(st.tuples(node, node), max_size=14))


@given(graphs(), st.data())
def test_bridges_between_two_nodes_beside_brute_force(graph, data):
    """They are exactly the edges whose loss parts the two nodes."""
    nodes, edges = graph
    a, b = (data.draw(st.integers(0, nodes - 1)) for _ in range(2))

    found = bridge_forest(nodes, edges).bridges_between(a, b)

    if parts(nodes, edges).root(a) != parts(nodes, edges).root(b):
        assert found is None
    else:
        cuts = [e for e in range(len(edges)) if (g := parts(nodes, edges, e)).root(a) != g.root(b)]
        assert sorted(found) == cuts


@given(graphs())
def test_a_tree_walk_numbers_parents_first(graph):
    """Blocks come in depth-first order, each one deeper than its parent and in the same tree."""
    forest = bridge_forest(*graph)

    for block, parent in enumerate(forest.parent):
        if parent >= 0:
            assert parent < block and forest.depth[block] == forest.depth[parent] + 1
            assert forest.tree[block] == forest.tree[parent]


def test_leaves_and_pruning_of_a_star():
    """Unwanted arms fall away, arm by arm, until a wanted end or nothing is left."""
    forest = bridge_forest(6, [(0, 1), (0, 2), (0, 3), (3, 4), (4, 5)])

    assert len(forest.leaves(range(6))) == 3
    kept = forest.pruned({forest.block[1], forest.block[4]})
    assert kept == {forest.block[n] for n in (1, 0, 3, 4)}
    assert forest.pruned(()) == set()
