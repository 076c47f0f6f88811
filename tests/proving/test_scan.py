"""The model of the scan against hand-made cases, and against a plain walk of the same circuit."""

from __future__ import annotations

from collections import deque
from dataclasses import replace
from random import Random

import pytest

from coppermend.proving.matrix import Crossing
from coppermend.proving.matrixfaults import single_faults

from .matrix_cases import crossings, fault, full_matrix, reports

SIX = 6  # lines of a 3 x 3 matrix: strobes 0..2, returns 3..5


def report(matrix, faults, closed):
    return reports(matrix, faults, crossings(closed))[0]


def test_a_rectangle_without_diodes_ghosts_at_its_fourth_corner():
    """Closing (0,0), (0,1), (1,0) also reads (1,1) without diodes, and with diodes does not (elementary circuit)."""
    closed = "S0:R0 S0:R1 S1:R0"

    assert report(full_matrix(3, diodes=False), [], closed) == crossings(closed + " S1:R1")
    assert report(full_matrix(3), [], closed) == crossings(closed)


@pytest.mark.parametrize(("rows", "columns", "ghosting", "triples"), [(2, 2, 4, 4), (3, 3, 36, 84)])
def test_number_of_ghosting_triples(rows, columns, ghosting, triples):
    """4 C(R,2) C(C,2) triples of closed switches ghost: 4 of 4, 36 of 84 (counted by hand from the formula)."""
    from itertools import combinations

    matrix = full_matrix(rows, diodes=False)
    sets = [frozenset(t) for t in combinations([p.crossing for p in matrix.positions], 3)]

    seen = reports(matrix, [], *sets)

    assert len(sets) == triples
    assert sum(report != closed for report, closed in zip(seen, sets, strict=True)) == ghosting


CASES = {
    "open strobe": ([fault("open strobe", 0)], "S0:R0 S1:R0", "S1:R0"),
    "stuck strobe is active in every slot": ([fault("stuck strobe", 0)], "S0:R0", "S0:R0 S1:R0 S2:R0"),
    "open return": ([fault("open return", 4)], "S0:R0 S0:R1", "S0:R0"),
    "stuck return": ([fault("stuck return", 5)], "", "S0:R2 S1:R2 S2:R2"),
    "short of strobes": ([fault("shorted lines", 0, 1)], "S0:R0", "S0:R0 S1:R0"),
    "short of returns": ([fault("shorted lines", 3, 4)], "S0:R0", "S0:R0 S0:R1"),
    "short of strobe and return": ([fault("shorted lines", 0, 3)], "", "S0:R0"),
    "stuck switch": ([fault("stuck switch", 2, 5)], "S0:R0", "S0:R0 S2:R2"),
    "open diode": ([fault("open diode", 0, 3)], "S0:R0 S1:R0", "S1:R0"),
    "shorted diode ghosts": (
        [fault("shorted diode", 0, 3)], "S0:R0 S0:R1 S1:R0", "S0:R0 S0:R1 S1:R0 S1:R1"
    ),
    "shorted diode is invisible alone": ([fault("shorted diode", 0, 3)], "S0:R0", "S0:R0"),
    "swapped strobes": ([fault("swapped lines", 0, 2)], "S0:R1", "S2:R1"),
    "swapped returns": ([fault("swapped lines", 3, 4)], "S0:R1", "S0:R0"),
    "two faults": ([fault("open strobe", 0), fault("swapped lines", 3, 4)], "S0:R0 S1:R0", "S1:R1"),
    "open diode of a stuck switch": ([fault("stuck switch", 0, 3), fault("open diode", 0, 3)], "S0:R0", "S0:R0"),
    "shorted diode of a stuck switch": (
        [fault("stuck switch", 0, 3), fault("shorted diode", 0, 3)],
        "S0:R1 S1:R0", "S0:R0 S0:R1 S1:R0 S1:R1",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_hand_made_faults(case):
    """What each fault does to a 3 x 3 matrix with diodes."""
    faults, closed, seen = case

    assert report(full_matrix(3), faults, closed) == crossings(seen)


def walked_report(matrix, faults, closed):
    """The same by a breadth-first walk over single lines, for faults that join lines or hold switches."""
    strobes = len(matrix.strobes)
    arcs = {n: set() for n in range(strobes + len(matrix.returns))}

    def join(a, b, both):
        arcs[a].add(b)
        if both:
            arcs[b].add(a)

    shorted = {f.ends for f in faults if f.kind == "shorted diode"}
    for f in faults:
        if f.kind == "shorted lines":
            join(*f.ends, both=True)
    held = [f.ends for f in faults if f.kind == "stuck switch"]
    ends = [(matrix.strobe_number[c.strobe], strobes + matrix.return_number[c.ret]) for c in closed]
    for a, b in (*ends, *held):
        diode = matrix.at[Crossing(matrix.strobes[a], matrix.returns[b - strobes])].diode
        join(a, b, both=not diode or (a, b) in shorted)
    found = set()
    for strobe in range(strobes):
        reached, queue = {strobe}, deque([strobe])
        while queue:
            for other in arcs[queue.popleft()] - reached:
                reached.add(other)
                queue.append(other)
        found |= {
            Crossing(matrix.strobes[strobe], matrix.returns[n - strobes]) for n in reached if n >= strobes
        }
    return found


@pytest.mark.parametrize("size", [3, 9, 20, 34])
def test_bit_by_bit_closure_equals_a_plain_walk(size):
    """Random closures and faults, in matrices whose lines fill a word of 16, 32, 64 bits and more than one."""
    dice = Random(size)
    matrix = full_matrix(size)
    matrix = replace(matrix, positions=tuple(replace(p, diode=dice.random() < 0.5) for p in matrix.positions))
    known = [
        f for f, _ in single_faults(matrix) if f.kind in ("shorted lines", "stuck switch", "shorted diode")
    ]
    for _ in range(6):
        faults = dice.sample(known, 3)
        closed = frozenset(p.crossing for p in dice.sample(matrix.positions, 2 * size - 2))

        assert reports(matrix, faults, closed)[0] == walked_report(matrix, faults, closed)


LAMPS = {
    "none": ([], "S0:R0", "S0:R0"),
    "open column": ([fault("open strobe", 0)], "S0:R0 S1:R1", "S1:R1"),
    "open row": ([fault("open return", 3)], "S0:R0 S1:R1", "S1:R1"),
    "stuck column lights with its row": ([fault("stuck strobe", 1)], "S0:R0", "S0:R0 S1:R0"),
    "stuck row lights with every column": ([fault("stuck return", 3)], "", "S0:R0 S1:R0 S2:R0"),
    "shorted columns": ([fault("shorted lines", 0, 1)], "S0:R2", "S0:R2 S1:R2"),
    "shorted rows": ([fault("shorted lines", 4, 5)], "S1:R1", "S1:R1 S1:R2"),
    "open lamp": ([fault("open diode", 0, 3)], "S0:R0 S0:R1", "S0:R1"),
    "shorted diode glows through": ([fault("shorted diode", 0, 3)], "S1:R1", "S1:R1 S0:R1 S1:R0"),
    "swapped columns": ([fault("swapped lines", 0, 1)], "S0:R0", "S1:R0"),
}


@pytest.mark.parametrize("case", LAMPS.values(), ids=LAMPS)
def test_hand_made_lamp_faults(case):
    """In a lamp matrix current needs its column and its row at the same moment."""
    faults, commanded, lit = case

    assert report(full_matrix(3, kind="lamp"), faults, commanded) == crossings(lit)


def slot_by_slot(matrix, faults, commanded):
    """What lights, one time slot after the other with sets of lines: the lamp scan without bits."""
    columns, rows = len(matrix.strobes), len(matrix.returns)
    known = [(f.kind, tuple(f.ends)) for f in faults]
    opened = {ends[0] for kind, ends in known if kind in ("open strobe", "open return")}
    stuck = {ends[0] for kind, ends in known if kind in ("stuck strobe", "stuck return")}
    joined = [set(ends) for kind, ends in known if kind == "shorted lines"]
    wires = {line: line for line in range(columns + rows)}
    for a, b in (ends for kind, ends in known if kind == "swapped lines"):
        wires[a], wires[b] = wires[b], wires[a]
    lit = set()
    for slot in range(columns):
        driven = {slot} | {columns + matrix.return_number[c.ret] for c in commanded if c.strobe == f"S{slot}"}
        on = {wires[line] for line in driven - opened} | stuck
        for pair in joined:
            on |= pair if on & pair else set()
        lit |= {(a, b) for a in range(columns) for b in range(columns, columns + rows) if {a, b} <= on}
    for kind, ends in known:
        lit -= {ends} if kind == "open diode" else set()
    return frozenset(Crossing(matrix.strobes[a], matrix.returns[b - columns]) for a, b in lit)


@pytest.mark.parametrize("size", [3, 9, 20, 66])
def test_packed_lamps_equal_slot_by_slot(size):
    """Random commands and faults of lines and lamps, in matrices whose rows fill 8, 16, 32 bits and two words."""
    dice = Random(size)
    matrix = full_matrix(size, kind="lamp")
    known = [f for f, _ in single_faults(matrix) if f.kind != "shorted diode"]
    for _ in range(8):
        faults = dice.sample([f for f in known if f.kind != "shorted lines"], 2)
        faults.append(dice.choice([f for f in known if f.kind == "shorted lines"]))
        commanded = frozenset(p.crossing for p in dice.sample(matrix.positions, size))

        assert reports(matrix, faults, commanded)[0] == slot_by_slot(matrix, faults, commanded)
