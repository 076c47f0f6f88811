"""What readings tell and which to take next, on random graphs of islands beside the planted truth."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.copper.bridges import bridge_forest
from coppermend.copper.choose import next_pairs, proof_pairs
from coppermend.copper.islands import Groups
from coppermend.copper.known import RiskGraph, learn


def tree(bonds, needed=None, probeable=None) -> RiskGraph:
    count = max(max(bond) for bond in bonds) + 1
    touchable = probeable or (True,) * count
    return RiskGraph(touchable, tuple(bonds), needed or touchable)


def test_a_chain_takes_one_probe():
    """Both ends of a chain prove everything between."""
    chain = tree([(0, 1), (1, 2), (2, 3)])

    assert [set(pair) for pair in proof_pairs(chain, learn(chain, [], []))] == [{0, 3}]


def test_a_star_takes_half_its_leaves():
    """Five arms need three probes, ceil(5 / 2)."""
    star = tree([(0, i) for i in range(1, 6)])

    assert len(proof_pairs(star, learn(star, [], []))) == 3


def test_a_loop_is_spanned():
    """In a loop every island must be touched, since current can go round it."""
    ring = tree([(0, 1), (1, 2), (2, 3), (3, 0)])

    pairs = proof_pairs(ring, learn(ring, [], []))

    assert len(pairs) == 3 and {island for pair in pairs for island in pair} == {0, 1, 2, 3}


def test_an_open_chain_is_halved():
    """After the whole chain read open, the next probe is to its middle, or a little before: what lies behind an open
    must be probed again."""
    chain = tree([(i, i + 1) for i in range(8)])

    (pair,) = next_pairs(chain, learn(chain, [], [(0, 8)]), [(0, 8)])

    assert pair in ((0, 3), (0, 4))


def test_an_open_without_a_point_between_is_pinned_to_its_stretch():
    """Two bonds in a row with no point between cannot be told apart: both are named."""
    chain = tree([(0, 1), (1, 2)], probeable=(True, False, True))

    known = learn(chain, [], [(0, 2)])

    assert [set(cluster.bonds) for cluster in known.opens] == [{0, 1}]
    assert known.broken == frozenset() and next_pairs(chain, known, []) == []


def test_a_junction_without_a_point_is_asked_from_its_third_arm():
    """When two arms of a junction read open, the third tells which."""
    star = tree([(0, 3), (1, 3), (2, 3)], probeable=(True, True, True, False))
    known = learn(star, [], [(0, 1)])

    (pair,) = next_pairs(star, known, [])
    settled = learn(star, [(0, 2)], [(0, 1)])

    assert set(pair) == {0, 2}
    assert settled.broken == {1} and settled.proven == {0, 2}


def test_an_open_reading_against_a_proven_path_is_told():
    """Good readings prove the path whole; an open one over it is torn."""
    chain = tree([(0, 1), (1, 2)])

    known = learn(chain, [(0, 1), (1, 2)], [(0, 2)])

    assert known.torn == ((0, 2),)


def test_a_good_reading_where_no_copper_is_left_is_odd():
    """It joins the groups but proves no bond."""
    lone = RiskGraph((True, True), (), (True, True))

    known = learn(lone, [(0, 1)], [])

    assert known.odd == ((0, 1),) and known.same(0, 1)


@st.composite
def cases(draw):
    count = draw(st.integers(2, 11))
    node = st.integers(0, count - 1)
    spine = [(draw(st.integers(0, i - 1)), i) for i in range(1, count)]
    extra = [pair for pair in draw(st.lists(st.tuples(node, node), max_size=4)) if pair[0] != pair[1]]
    bonds = (*spine, *extra)
    probeable = tuple(
        draw(st.lists(st.sampled_from([True, True, True, False]), min_size=count, max_size=count))
    )
    wanted = draw(st.lists(st.booleans(), min_size=count, max_size=count))
    needed = tuple(p and w for p, w in zip(probeable, wanted, strict=True))
    broken = draw(st.sets(st.integers(0, len(bonds) - 1), max_size=len(bonds)))
    return RiskGraph(probeable, bonds, needed), broken, draw(st.booleans())


def truth(graph: RiskGraph, broken) -> Groups:
    groups = Groups(len(graph.probeable))
    for number, bond in enumerate(graph.bonds):
        if number not in broken:
            groups.join(*bond)
    return groups


@settings(max_examples=150)
@given(cases())
def test_the_dialogue_with_a_meter_is_sound_and_complete(case):
    """No pair is asked twice, nothing false is concluded, and in the end all needed islands are known."""
    graph, broken, one_by_one = case
    real = truth(graph, broken)
    planned = proof_pairs(graph, learn(graph, [], []))
    assert len(planned) <= max(sum(graph.needed) - 1, 0)
    good, opened, asked = [], [], set()
    while True:
        known = learn(graph, good, opened)
        assert not known.torn and not known.odd
        assert known.proven.isdisjoint(broken) and known.broken <= broken
        assert all(real.root(i) == real.root(group) for i, group in enumerate(known.group))
        pairs = next_pairs(graph, known, planned)
        if not pairs:
            break
        for a, b in pairs[:1] if one_by_one else pairs:
            assert graph.probeable[a] and graph.probeable[b] and frozenset((a, b)) not in asked
            asked.add(frozenset((a, b)))
            (good if real.root(a) == real.root(b) else opened).append((a, b))

    ends = [i for i, wanted in enumerate(graph.needed) if wanted]
    assert all(known.same(a, b) == (real.root(a) == real.root(b)) for a in ends for b in ends)
    assert all(broken.intersection(cluster.bonds) for cluster in known.opens)


@settings(max_examples=100)
@given(cases())
def test_good_readings_of_the_whole_plan_prove_every_bridge(case):
    """After all planned probes read good, no bond that a needed island depends on is left in doubt."""
    graph, _, _ = case
    known = learn(graph, proof_pairs(graph, learn(graph, [], [])), [])
    forest = bridge_forest(len(graph.probeable), graph.bonds)
    ends = [i for i, wanted in enumerate(graph.needed) if wanted]

    depended = {bond for a in ends for b in ends for bond in forest.bridges_between(a, b)}

    assert depended <= known.proven


@settings(max_examples=100)
@given(cases())
def test_on_trees_the_plan_has_half_as_many_probes_as_leaves(case):
    """ceil(leaves / 2), the least possible: every leaf must be touched, and a probe touches two."""
    graph, _, _ = case
    spine = graph.bonds[: len(graph.probeable) - 1]
    everywhere = (True,) * len(graph.probeable)
    plain = RiskGraph(everywhere, spine, everywhere)
    degree = [sum(i in bond for bond in spine) for i in range(len(everywhere))]

    pairs = proof_pairs(plain, learn(plain, [], []))

    assert len(pairs) == (degree.count(1) + 1) // 2
