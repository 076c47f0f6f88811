"""Matrices for tests, and a simulated one that answers what it would report."""

from __future__ import annotations

import numpy as np

from coppermend.proving.infer import infer
from coppermend.proving.matrix import Crossing, MatrixFault, Position, SwitchMatrix
from coppermend.proving.matrixfile import Observation
from coppermend.proving.scan import Scanner
from coppermend.proving.walk import walk_of


def full_matrix(size=8, diodes=True, kind="switch", **change):
    """A square matrix with every position populated."""
    strobes = tuple(f"S{n}" for n in range(size))
    returns = tuple(f"R{n}" for n in range(size))
    positions = tuple(Position(s, r, "", diodes) for s in strobes for r in returns)
    return SwitchMatrix(strobes, returns, positions, kind, **change)


def crossings(text):
    """Crossings from "S0:R0 S0:R1"."""
    return frozenset(Crossing(*one.split(":")) for one in text.split())


def reports(matrix, faults, *closed):
    """What a matrix with these faults reports for each set of closed positions."""
    found = Scanner(matrix).predict([tuple(faults)], list(closed))[0]
    return [
        frozenset(Crossing(matrix.strobes[a], matrix.returns[b]) for a, b in np.argwhere(one).tolist())
        for one in found
    ]


def look(matrix, faults, *closed):
    """The same as observations."""
    return [
        Observation(one, seen) for one, seen in zip(closed, reports(matrix, faults, *closed), strict=True)
    ]


def walked(matrix):
    """Nothing closed, then each closure of the walk."""
    return [frozenset(), *(frozenset({c.crossing}) for c in walk_of(matrix).closures)]


def diagnose(matrix, faults, most=80, least_bits=0.01):
    """Walk, then follow the proposals until they are worth little."""
    seen = look(matrix, faults, *walked(matrix))
    for _ in range(most):
        found = infer(matrix, seen)
        if found.next is None or found.next.gain_bits < least_bits:
            break
        seen += look(matrix, faults, frozenset(found.next.closed))
    return found


def fault(kind, *ends):
    """A fault on these line numbers."""
    return MatrixFault(kind, ends)
