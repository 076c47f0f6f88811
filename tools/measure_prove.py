"""Measure proving: edge covers, faults inferred in a switch matrix, and a simulated machine.

Run ``python tools/measure_prove.py [cover|singles|bare|lamps|doubles|machine ...]``; prints figures, seeds are fixed.
"""

from __future__ import annotations

import importlib
import sys
import time
from collections.abc import Iterator, Sequence
from itertools import combinations
from pathlib import Path
from random import Random

import networkx
import numpy as np

from coppermend.proving.edgecover import edge_cover
from coppermend.proving.infer import Inference, infer
from coppermend.proving.matrix import Crossing, Faults, MatrixKind, Position, SwitchMatrix
from coppermend.proving.matrixfaults import single_faults
from coppermend.proving.matrixfile import Observation
from coppermend.proving.nextclosure import three_corners
from coppermend.proving.scan import Scanner

MOST_STEPS = 80


def cover(trials: int = 5000, seed: int = 8) -> None:
    """Edge covers of random matrices against vertices less maximum matching, small ones against brute force."""
    dice, brute = Random(seed), 0
    for trial in range(trials):
        strobes, returns = (dice.randint(1, 4 if trial % 2 else 16) for _ in range(2))
        density = dice.random()
        crossings = [(a, b) for a in range(strobes) for b in range(returns)]
        edges = [e for e in crossings if dice.random() < density] or [(0, 0)]
        wanted = [{e[side] for e in edges if dice.random() < 0.8} for side in (0, 1)]
        found = len(edge_cover(edges, *wanted))
        inner = [(("s", a), ("r", b)) for a, b in edges if a in wanted[0] and b in wanted[1]]
        graph = networkx.Graph(inner)
        tops = {end for end, _ in inner}
        matching = len(networkx.bipartite.hopcroft_karp_matching(graph, tops)) // 2 if inner else 0
        assert found == len(wanted[0]) + len(wanted[1]) - matching
        if strobes <= 4 and returns <= 4 and len(edges) <= 10:
            assert found == least_by_trying(edges, *wanted)
            brute += 1
    print(f"cover: {trials} random matrices equal vertices - maximum matching, {brute} equal brute force")


def least_by_trying(edges: Sequence[tuple[int, int]], left: set[int], right: set[int]) -> int:
    """Size of the smallest set of edges that touches every wanted vertex, by trying all."""
    for size in range(len(edges) + 1):
        for chosen in combinations(edges, size):
            if left <= {a for a, _ in chosen} and right <= {b for _, b in chosen}:
                return size
    raise AssertionError("isolated vertex")


def full_matrix(size: int, diodes: bool, kind: MatrixKind = "switch") -> SwitchMatrix:
    """A square matrix with every position populated."""
    strobes = tuple(f"S{n}" for n in range(size))
    returns = tuple(f"R{n}" for n in range(size))
    positions = tuple(Position(s, r, "", diodes) for s in strobes for r in returns)
    return SwitchMatrix(strobes, returns, positions, kind)


class SimulatedMatrix:
    """Answers what a matrix with planted faults reports."""

    def __init__(self, matrix: SwitchMatrix, faults: Faults) -> None:
        self.matrix, self.faults, self.scanner = matrix, faults, Scanner(matrix)

    def look(self, *closed: frozenset[Crossing]) -> list[Observation]:
        """One observation a set of closed positions."""
        reports = self.scanner.predict([self.faults], list(closed))[0]
        strobes, returns = self.matrix.strobes, self.matrix.returns
        return [
            Observation(
                one, frozenset(Crossing(strobes[a], returns[b]) for a, b in np.argwhere(report).tolist())
            )
            for one, report in zip(closed, reports, strict=True)
        ]


def whole_test(matrix: SwitchMatrix) -> list[frozenset[Crossing]]:
    """Nothing, every switch alone, and a three-corner closure for every diode."""
    scanner = Scanner(matrix)
    corners = [c for ends, diode in scanner.populated.items() if diode for c in three_corners(scanner, *ends)]
    return [frozenset(), *(frozenset({p.crossing}) for p in matrix.positions), *corners]


def diagnose(
    machine: SimulatedMatrix, times: list[float], start: Sequence[frozenset[Crossing]], most: int = MOST_STEPS
) -> tuple[Inference, list[Observation]]:
    """Close ``start``, then what is proposed, until no closure would tell more or ``most`` were made.

    A proposal that is worth less than a hundredth of a bit is the end for a technician as well.
    """
    seen = machine.look(*start)
    for _ in range(most):
        began = time.thread_time()
        found = infer(machine.matrix, seen)
        times.append(time.thread_time() - began)
        if found.next is None or found.next.gain_bits < 0.01:
            break
        seen += machine.look(frozenset(found.next.closed))
    return found, seen


def same_for_good(scanner: Scanner, a: Faults, b: Faults) -> bool:
    """Whether two explanations predict the same for nothing, every one, every two and every three of all positions
    closed among the lines that they are on and four others, which is all that can tell single faults apart.
    """
    populated = [p.crossing for p in scanner.matrix.positions]
    near = {end for fault in (*a, *b) for end in fault.ends}
    lines = near | {n for n in range(scanner.strobes) if n < 3} | {scanner.strobes + n for n in range(3)}
    around = [c for c in populated if set(scanner.ends(c)) <= lines]
    sets = [frozenset(chosen) for size in range(4) for chosen in combinations(around, size)]
    sets += [frozenset({c}) for c in populated]
    predicted = scanner.predict([a, b], sets)
    return bool((predicted[0] == predicted[1]).all())


def lamps(size: int = 8) -> None:
    """Every single fault of a lamp matrix."""
    singles(size, "lamp")


def bare(size: int = 8) -> None:
    """Every single fault of a switch matrix without diodes."""
    singles(size, diodes=False)


def singles(size: int = 8, kind: MatrixKind = "switch", *, diodes: bool = True) -> None:
    """Every single fault of a matrix, after a whole test."""
    matrix = full_matrix(size, diodes, kind)
    scanner, times = Scanner(matrix), list[float]()
    unique = grouped = wrong = steps = 0
    faults = [fault for fault, _ in single_faults(matrix)]
    for fault in faults:
        found, seen = diagnose(SimulatedMatrix(matrix, (fault,)), times, whole_test(matrix))
        steps += len(seen)
        top = [e.faults for e in found.explanations if e.group == 1]
        if (fault,) not in top:
            wrong += 1
            print("wrong", fault, found.explanations[:2])
        elif all(e == (fault,) or len(e) > 1 for e in top):
            unique += 1
        elif all(same_for_good(scanner, e, (fault,)) for e in top if len(e) < 2):
            grouped += 1
        else:
            wrong += 1
            print("not told apart", fault, top)
    print(
        f"singles, {kind} matrix {size}x{size} {'with' if diodes else 'without'} diodes: {len(faults)} faults, {unique} unique, "
        f"{grouped} in a proven group, {wrong} wrong; {steps / len(faults):.1f} observations each; "
        f"processor time an answer {timing(times)}",
        flush=True,
    )


def timing(times: Sequence[float]) -> str:
    """Median, 99th percentile and longest time in words [ms]."""
    median, high = np.percentile(times, [50, 99]) * 1e3
    return f"median {median:.0f} ms, 99 % under {high:.0f} ms, longest {max(times) * 1e3:.0f} ms"


def doubles(trials: int = 200, size: int = 8, seed: int = 8) -> None:
    """Random pairs of faults, drawn by their odds and evenly."""
    for diodes in (True, False):
        matrix = full_matrix(size, diodes)
        known = single_faults(matrix)
        for evenly in (False, True):
            dice, times = Random(seed), list[float]()
            exact = group = steps = 0
            for _ in range(trials):
                pair = tuple(draw(dice, known, evenly))
                found, seen = diagnose(SimulatedMatrix(matrix, pair), times, whole_test(matrix), 6)
                steps += len(seen)
                ranks = [set(e.faults) for e in found.explanations[:3]]
                exact += set(pair) in ranks
                group += set(pair) in ranks or any(
                    same_for_good(Scanner(matrix), e.faults, pair) for e in found.explanations[:3]
                )
            print(
                f"doubles, {size}x{size} {'with' if diodes else 'without'} diodes, "
                f"{'evenly' if evenly else 'by odds'}: {exact / trials:.1%} in the top 3, {group / trials:.1%} with what "
                f"no closure tells from them; {steps / trials:.1f} observations each; processor time an answer {timing(times)}",
                flush=True,
            )


def draw(dice: Random, known: Sequence[tuple[object, float]], evenly: bool) -> Iterator[object]:
    """Two different faults."""
    faults = [fault for fault, _ in known]
    weights = [1.0 if evenly else odds for _, odds in known]
    first = dice.choices(faults, weights)[0]
    second = first
    while second == first:
        second = dice.choices(faults, weights)[0]
    yield from (first, second)


def machine(trials: int = 1000, seed: int = 8) -> None:
    """The demo job with up to three faults planted, proofs infallible, then as strong as they say."""
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests" / "proving"))
    simulated = importlib.import_module("simulated_machine")
    board = simulated.demo_machine()
    suspects, dice = board.suspects(), Random(seed)
    for fallible in (False, True):
        escaped = missed = 0
        expected = 0.0
        strength = {proof.id: proof.strength for proof in board.proofs}
        for _ in range(trials):
            faults = dice.sample(suspects, dice.randint(1, 3))
            judged, evidence = simulated.work_through(board, faults, dice if fallible else None)
            if judged.passed:
                could = [set(board.sees(f.pin)) & evidence.keys() for f in faults]
                missed += all(could) and all(f.sort == "pin" for f in faults)
                escaped += 1
            chance = [1.0 - (f.sort == "pad") for f in faults]
            for n, fault in enumerate(faults):
                for name in board.sees(fault.pin) & evidence.keys():
                    chance[n] *= 1 - strength[name]
            expected += float(np.prod(chance))
        words = "by their stated strength" if fallible else "infallible"
        print(
            f"machine, proofs {words}: {escaped} of {trials} faulty machines passed, {missed} of them because every proof "
            f"that could see the faults missed; {expected:.1f} expected from the stated strengths"
        )


MEASURES = {
    "cover": cover,
    "singles": singles,
    "bare": bare,
    "lamps": lamps,
    "doubles": doubles,
    "machine": machine,
}

if __name__ == "__main__":
    for name in sys.argv[1:] or MEASURES:
        MEASURES[name]()
