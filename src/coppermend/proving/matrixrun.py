"""A matrix test as it goes: what to close now, from the walk or from what odd reports ask for. Keeps nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from coppermend.proving.infer import Inference, infer
from coppermend.proving.matrix import Crossing, SwitchMatrix
from coppermend.proving.matrixfile import Observation
from coppermend.proving.scan import Scanner
from coppermend.proving.walk import Closure, Walk, walk_of

# A proposal that tells less than this is not worth a walk to the machine (common practice, no source).
_WORTH_BITS = 0.02
TurnKind = Literal["rest", "walk", "find"]


@dataclass(frozen=True, slots=True)
class MatrixTurn:
    """What to close now (nothing at "rest"), and what a sound matrix reports then.

    ``closure`` is the step of the walk, None for rest and for what only looks for a fault ("find").
    """

    kind: TurnKind
    closed: tuple[Crossing, ...]
    names: tuple[str, ...]
    expected: tuple[Crossing, ...]
    closure: Closure | None = None


@dataclass(frozen=True)
class MatrixRun:
    """Where a matrix test stands: ``turn`` is None when nothing is left to close.

    ``found`` is what explains the reports so far, None before the first; ``odd`` says that a sound matrix does not.
    """

    matrix: SwitchMatrix
    walk: Walk
    turn: MatrixTurn | None
    found: Inference | None
    done: int
    total: int

    @property
    def odd(self) -> bool:
        """Whether a fault is likelier than a sound matrix."""
        return self.found is not None and bool(self.found.explanations[0].faults)

    def to_json(self) -> dict[str, Any]:
        """Turn {kind, closed, names, expected} or null, found (as ``Inference``) or null, done, total, odd."""
        turn = self.turn and {
            "kind": self.turn.kind, "closed": [str(c) for c in self.turn.closed], "names": list(self.turn.names),
            "expected": [str(c) for c in self.turn.expected],
        }  # fmt: skip
        found = self.found.to_json() if self.found else None
        return {"turn": turn, "found": found, "done": self.done, "total": self.total, "odd": self.odd}


def matrix_run(matrix: SwitchMatrix, observations: Sequence[Observation]) -> MatrixRun:
    """Where a test stands after ``observations``.

    A single closure that was reported exactly proves its lines whether or not the walk asked for it: so a button in
    use counts, and the walk is planned for what it leaves.

    Args:
        matrix: The matrix.
        observations: In the order in which they were made.
    """
    walk = _walk_beside(matrix, observations)
    seen = {one.closed for one in observations}
    steps: list[Closure | None] = [None, *walk.closures, *walk.extra]
    left = [step for step in steps if (frozenset({step.crossing}) if step else frozenset()) not in seen]
    found = infer(matrix, observations) if observations else None
    turn: MatrixTurn | None = None
    if found and found.explanations[0].faults and found.next and found.next.gain_bits >= _WORTH_BITS:
        turn = _turn(matrix, "find", found.next.closed)
    elif left:
        step = left[0]
        turn = _turn(matrix, "walk" if step else "rest", (step.crossing,) if step else ())
        turn = replace(turn, closure=step)
    return MatrixRun(matrix, walk, turn, found, len(steps) - len(left), len(steps))


def _walk_beside(matrix: SwitchMatrix, observations: Sequence[Observation]) -> Walk:
    """The walk for what closures outside it have not proven already."""
    exact = {next(iter(o.closed)) for o in observations if len(o.closed) == 1 and o.closed == o.reported}
    while True:
        walk = walk_of(matrix)
        beside = exact - {closure.crossing for closure in (*walk.closures, *walk.extra)}
        wider = replace(
            matrix,
            proven_strobes=matrix.proven_strobes | {c.strobe for c in beside},
            proven_returns=matrix.proven_returns | {c.ret for c in beside},
            proven_diodes=matrix.proven_diodes | ({matrix.at[c].diode_on_board for c in beside} - {""}),
        )
        if wider == matrix:
            return walk
        matrix = wider


def _turn(matrix: SwitchMatrix, kind: TurnKind, closed: tuple[Crossing, ...]) -> MatrixTurn:
    return MatrixTurn(
        kind, closed, tuple(matrix.at[c].name for c in closed), sound_report(matrix, frozenset(closed))
    )


def sound_report(matrix: SwitchMatrix, closed: frozenset[Crossing]) -> tuple[Crossing, ...]:
    """What a sound matrix reports, by strobe and return; ghosts through switches without diodes included.

    >>> sound_report(SwitchMatrix(("S",), ("R",), ()), frozenset())
    ()
    """
    report = Scanner(matrix).predict([()], [closed])[0, 0]
    places = np.argwhere(report & Scanner(matrix).visible).tolist()
    return tuple(Crossing(matrix.strobes[a], matrix.returns[b]) for a, b in places)
