"""The least number of probes, and the least expected number, beside brute force on small nets."""

from __future__ import annotations

import random
from functools import cache
from itertools import pairwise

import pytest

from coppermend.copper.chances import Severities, bond_chance, point_chance, track_chance
from coppermend.copper.choose import next_pairs, proof_pairs
from coppermend.copper.expected import best_probe
from coppermend.copper.graph import Link, NetGraph, Spot
from coppermend.copper.islands import Bond
from coppermend.copper.known import RiskGraph, learn
from coppermend.copper.stretches import _Way, first_stretch

from .nets import least_expected, least_proof, random_net, walked_expected


def asker(net: RiskGraph, chances: tuple[float, ...]):
    """What the planner asks, as a function of the readings."""
    planned = proof_pairs(net, learn(net, [], []))
    return cache(lambda good, opened: next_pairs(net, learn(net, good, opened), planned, chances))


@pytest.mark.parametrize("loops", [0, 1, 2])
def test_no_plan_proves_a_net_with_fewer_probes(loops):
    """60 random nets of up to seven islands: as many probes as breadth-first search needs."""
    chance = random.Random(loops)
    for _ in range(60):
        net = random_net(chance, chance.randint(2, 7), loops)

        assert len(proof_pairs(net, learn(net, [], []))) == least_proof(net)


def test_the_expected_number_is_within_three_per_cent_of_the_least():
    """60 random nets of up to five islands with chances of up to a half, over every world and every plan."""
    chance = random.Random(3)
    ours = least = 0.0
    for _ in range(60):
        net = random_net(chance, chance.randint(2, 5))
        chances = tuple(round(chance.uniform(0.02, 0.5), 2) for _ in net.bonds)
        ours += walked_expected(net, chances, asker(net, chances))
        least += least_expected(net, chances)

    assert least <= ours * (1 + 1e-9) and ours <= 1.03 * least


def test_the_expected_number_is_within_three_per_cent_on_larger_nets():
    """Two nets of seven islands; those of eight are measured by ``tools/measure_copper.py``, since brute force takes long."""
    chance = random.Random(7)
    ours = least = 0.0
    for _ in range(2):
        net = random_net(chance, 7)
        chances = tuple(round(chance.uniform(0.02, 0.5), 2) for _ in net.bonds)
        ours += walked_expected(net, chances, asker(net, chances))
        least += least_expected(net, chances)

    assert least <= ours * (1 + 1e-9) and ours <= 1.03 * least


def test_a_chain_of_eight_islands_is_no_dearer_than_its_best_stretches():
    """Two programs of their own: stretches from one end are some of all plans on a chain."""
    chances = (0.05, 0.3, 0.1, 0.02, 0.4, 0.1, 0.2)
    stretches = tuple(((1 << j) - 1) & ~((1 << i) - 1) for i in range(7) for j in range(i + 1, 8))

    value, _ = best_probe(stretches, chances)

    by_stretches = _Way(chances, range(8)).unknown(0, 7)
    assert 0.9 * by_stretches < value <= by_stretches + 1e-9


def test_readings_that_contradict_each_other_leave_nothing_to_ask():
    """A mask that reads open though all its bonds hold."""
    assert best_probe((0b01, 0b11), (0.1, 0.1), (0b01,), 0b01) == (0.0, ())


def test_two_bonds_are_probed_at_once_when_they_are_likely_sound():
    """1 + P(open) (1 more): at 0.1 each 1.29 against 2 one by one; at 0.5 each one by one."""
    masks = (0b01, 0b10, 0b11)

    assert best_probe(masks, (0.1, 0.1)) == (1.29, (2,))
    assert best_probe(masks, (0.5, 0.5))[0] == 2.0


def test_nothing_left_to_tell():
    """One bond known open, or no probe at all."""
    assert best_probe((1,), (0.3,), (1,)) == (0.0, ()) and best_probe((), (0.3,)) == (0.0, ())


def test_a_long_way_is_probed_in_stretches():
    """Twenty bonds at 0.3: about two at a time; at 0.01 all at once."""
    stops = tuple(range(21))

    assert 1 <= first_stretch((0.3,) * 20, stops, False) <= 5
    assert first_stretch((0.01,) * 20, stops, False) == 20


def test_an_open_way_is_split_where_it_is_likely_open():
    """One bad bond at the end: everything before it is probed in one."""
    assert first_stretch((0.01, 0.01, 0.01, 0.5), (0, 1, 2, 3, 4), True) == 3


def test_a_planned_way_that_is_likely_open_is_asked_in_stretches():
    """Eight bonds in a row at 0.4: the probes run through the chain one after the other."""
    chain = RiskGraph((True,) * 9, tuple((i, i + 1) for i in range(8)), (True,) * 9)

    pairs = next_pairs(chain, learn(chain, [], []), [(0, 8)], (0.4,) * 8)

    assert len(pairs) > 2 and pairs[0][0] == 0 and pairs[-1][1] == 8
    assert all(a[1] == b[0] for a, b in pairwise(pairs))


def test_chances_follow_severity_width_length_and_kind():
    """Worse, thinner, longer is likelier; a via more than a pad; bounded at both ends."""
    assert track_chance(0.9, 0.3, 10) > track_chance(0.5, 0.3, 10) > track_chance(0.5, 0.6, 10)
    assert track_chance(0.9, 0.3, 20) > track_chance(0.9, 0.3, 10) == track_chance(0.9, 0.0, 10)
    assert point_chance(0.8, via=True) > point_chance(0.8, via=False)
    assert (track_chance(1.0, 0.1, 1e4), track_chance(0.0, 0.3, 1.0)) == (0.6, 0.005)


def test_a_bond_is_as_likely_open_as_its_track_and_ends():
    """A track of 15 mm at full severity (0.1) with a touched via (0.1): 1 - 0.9 * 0.9."""
    graph = NetGraph("N", [Spot("via", "V1", 0, 0), Spot("pad", "U1.1", 15, 0)], [Link(0, 1, 7, 0.1)])
    touched = Severities({7: 1.0}, {"V1": 1.0})

    assert bond_chance(graph, Bond(0, 1, 0, 7), touched, 0.3) == pytest.approx(0.19)
    assert bond_chance(graph, Bond(0, 1, 0, 0), Severities(), 0.3) == 0.005
