"""Effective resistance and junction voltages against textbook networks and a circuit simulator."""

from __future__ import annotations

import math
import random
import re
import shutil
import subprocess

import numpy as np
import pytest

from coppermend.copper.solve import Junction, Resistor, effective_ohms, node_volts

NGSPICE = shutil.which("ngspice")
needs_ngspice = pytest.mark.skipif(NGSPICE is None, reason="outside check skipped: ngspice is absent")


def ohms(resistors, a, b) -> float:
    nodes = 1 + max(max(r[0], r[1]) for r in resistors)
    return effective_ohms(nodes, [Resistor(*r) for r in resistors], [(a, b)])[0]


def test_cube_corner_to_corner():
    """Twelve equal resistors on the edges of a cube read 5/6 R across the long diagonal (textbook)."""
    edges = [(i, i ^ bit, 1.0) for i in range(8) for bit in (1, 2, 4) if i < i ^ bit]

    assert ohms(edges, 0, 7) == pytest.approx(5 / 6, rel=1e-12)
    assert ohms(edges, 0, 1) == pytest.approx(7 / 12, rel=1e-12)
    assert ohms(edges, 0, 3) == pytest.approx(3 / 4, rel=1e-12)


def test_a_balanced_bridge_ignores_its_middle():
    """R1/R2 = R3/R4: whatever the fifth resistor is, the bridge reads as two series pairs in parallel."""
    arms = [(0, 1, 100.0), (1, 3, 200.0), (0, 2, 150.0), (2, 3, 300.0)]

    found = {round(ohms([*arms, (1, 2, middle)], 0, 3), 9) for middle in (0.1, 10.0, 1e6)}

    assert found == {180.0}


def test_an_unbalanced_bridge():
    """1, 2, 3, 4 Ω arms and 5 Ω between: by star-delta on the upper triangle (1, 2, 5 Ω)."""
    star = [1 * 2 / 8, 1 * 5 / 8, 2 * 5 / 8]
    left, right = star[1] + 3, star[2] + 4
    expected = star[0] + left * right / (left + right)

    found = ohms([(0, 1, 1.0), (0, 2, 2.0), (1, 2, 5.0), (1, 3, 3.0), (2, 3, 4.0)], 0, 3)

    assert found == pytest.approx(expected, rel=1e-12)


def test_a_long_ladder_reads_the_golden_ratio():
    """An endless ladder of 1 Ω rungs and sides reads (1 + √5) / 2 Ω (textbook)."""
    sections = 40
    ladder = [(i, i + 1, 1.0) for i in range(1, sections + 1)]
    ladder += [(i + 1, 0, 1.0) for i in range(1, sections + 1)]

    assert ohms(ladder, 1, 0) == pytest.approx((1 + math.sqrt(5)) / 2, rel=1e-12)


def test_a_square_grid_reads_half_an_ohm():
    """Neighbours in an endless grid of 1 Ω read 1/2 Ω; a grid of 61 x 61 comes within a thousandth."""
    side = 61
    rows = [(r * side + c, r * side + c + 1, 1.0) for r in range(side) for c in range(side - 1)]
    columns = [(r * side + c, (r + 1) * side + c, 1.0) for r in range(side - 1) for c in range(side)]
    middle = side * (side // 2) + side // 2

    assert ohms([*rows, *columns], middle, middle + 1) == pytest.approx(0.5, abs=1e-3)


@pytest.mark.parametrize(
    ("resistors", "pair", "expected"),
    [
        ([], (0, 1), math.inf),
        ([(0, 1, 5.0)], (0, 2), math.inf),
        ([(0, 1, 5.0)], (1, 1), 0.0),
        ([(0, 1, 0.0)], (0, 1), 0.0),
        ([(0, 1, 0.0), (1, 2, 7.0)], (0, 2), 7.0),
        ([(0, 1, 4.0), (0, 1, 4.0), (1, 1, 9.0)], (1, 0), 2.0),
    ],
)
def test_the_edges_of_the_question(resistors, pair, expected):
    """Nothing between, the same node, no ohms, parallel ones, one that bites its tail."""
    assert effective_ohms(3, [Resistor(*r) for r in resistors], [pair]) == [expected]


def test_several_pairs_in_several_networks():
    """Each pair as if it were asked alone."""
    resistors = [Resistor(0, 1, 3.0), Resistor(1, 2, 4.0), Resistor(3, 4, 5.0)]
    pairs = [(0, 2), (4, 3), (1, 0), (2, 3)]

    found = effective_ohms(5, resistors, pairs)

    assert found == pytest.approx([7.0, 5.0, 3.0, math.inf])


def test_a_negative_resistance_is_refused():
    """No part has one."""
    with pytest.raises(ValueError, match="negative"):
        effective_ohms(2, [Resistor(0, 1, -1.0)], [(0, 1)])


def test_one_junction_follows_its_law():
    """1 mA through I = Is (exp(V / nVt) - 1), and nothing the other way round."""
    law = Junction(1, 0, 4.35e-9, 1.906)

    volts = node_volts(2, [], [law], 1, 0, source_v=1000.6, source_ohm=1e6)
    reverse = node_volts(2, [], [law._replace(anode=0, cathode=1)], 1, 0, source_v=3.0, source_ohm=2400.0)

    assert volts[1] == pytest.approx(1.906 * 0.025852 * math.log(1e-3 / 4.35e-9 + 1), abs=1e-6)
    assert reverse[1] == pytest.approx(3.0, abs=1e-3)


def network(chance: random.Random) -> tuple[int, list[Resistor]]:
    """A random connected network of E12 values over seven decades."""
    nodes = chance.randint(2, 15)
    ends = [(chance.randrange(i), i) for i in range(1, nodes)]
    ends += [tuple(chance.sample(range(nodes), 2)) for _ in range(chance.randint(0, 2 * nodes))]
    decades = (0.01, 0.1, 1, 10, 100, 1e3, 1e4, 1e5)
    e12 = (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)
    return nodes, [Resistor(a, b, chance.choice(e12) * chance.choice(decades)) for a, b in ends]


def simulated(deck: list[str], names: list[str]) -> list[float]:
    """Operating-point voltages of a deck, by ngspice."""
    body = "\n".join(
        ["* deck", ".options temp=26.85 tnom=26.85 reltol=1e-7 vntol=1e-10 abstol=1e-15 noinit", *deck, ".control", "set numdgt=12",
         "op", *(f"print v({name})" for name in names), ".endc", ".end", ""]
    )  # fmt: skip
    run = subprocess.run(
        [NGSPICE, "-b", "/dev/stdin"], check=False, input=body, capture_output=True, text=True, timeout=120
    )
    found = dict(re.findall(r"v\((\w+)\) = (\S+)", run.stdout))
    return [float(found[name]) for name in names]


@needs_ngspice
@pytest.mark.debian
def test_two_hundred_random_networks_against_ngspice():
    """1 A driven through each: the operating point is the resistance, to 0.1 % (in fact far better)."""
    chance = random.Random(4)
    deck, names, ours = [], [], []
    for k in range(200):
        nodes, resistors = network(chance)
        a, b = chance.sample(range(nodes), 2)
        node = {i: "0" if i == b else f"n{k}x{i}" for i in range(nodes)}
        deck += [f"R{k}x{i} {node[r.a]} {node[r.b]} {r.ohms!r}" for i, r in enumerate(resistors)]
        deck.append(f"I{k} 0 {node[a]} 1")
        names.append(node[a])
        ours += effective_ohms(nodes, resistors, [(a, b)])

    theirs = simulated(deck, names)

    assert np.allclose(ours, theirs, rtol=1e-5, atol=0)


@needs_ngspice
@pytest.mark.debian
def test_junction_networks_against_ngspice():
    """Sixty random networks of resistors and diodes under a meter's diode test, to a millivolt."""
    chance = random.Random(11)
    kinds = [(4.35e-9, 1.906), (6.734e-15, 1.0), (1e-7, 1.05), (3.6e-17, 2.0)]
    deck, names, ours = [f".model d{i} d(is={s} n={n})" for i, (s, n) in enumerate(kinds)], [], []
    for k in range(60):
        nodes, resistors = network(chance)
        junctions = [
            (*chance.sample(range(nodes), 2), chance.randrange(len(kinds)))
            for _ in range(chance.randint(1, 2 * nodes))
        ]
        a, b = chance.sample(range(nodes), 2)
        node = {i: "0" if i == b else f"n{k}x{i}" for i in range(nodes)}
        deck += [f"R{k}x{i} {node[r.a]} {node[r.b]} {r.ohms!r}" for i, r in enumerate(resistors)]
        deck += [f"D{k}x{i} {node[p]} {node[q]} d{kind}" for i, (p, q, kind) in enumerate(junctions)]
        deck += [f"V{k} s{k} 0 3", f"RS{k} s{k} {node[a]} 2400"]
        names.append(node[a])
        found = node_volts(
            nodes, resistors, [Junction(p, q, *kinds[kind]) for p, q, kind in junctions], a, b,
            source_v=3.0, source_ohm=2400.0,
        )  # fmt: skip
        ours.append(found[a])

    theirs = simulated(deck, names)

    assert np.allclose(ours, theirs, rtol=0, atol=1e-3)
