"""What a lamp matrix would light with given faults and commands, many faults at a time. Knows lines by number.

Columns take turns, one a time slot; a lamp lights when its column and its row are both on in some slot.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from coppermend.proving.matrix import Faults, MatrixFault

Flags = NDArray[np.bool_]


def lit(visible: Flags, hypotheses: Sequence[Faults], sets: Sequence[Sequence[tuple[int, int]]]) -> Flags:
    """Lamps that light.

    Args:
        visible: (columns, rows), True where there is a lamp.
        hypotheses: Sets of faults, n of them.
        sets: Sets of commanded lamps as (column, columns + row), m of them.

    Returns:
        (n, m, columns, rows).
    """
    strobes, returns = visible.shape
    wanted = np.zeros((len(sets), strobes, returns), bool)
    for number, one in enumerate(sets):
        for a, b in one:
            wanted[number, a, b - strobes] = True
    driven, sensed = _wiring(hypotheses, strobes, returns)
    found = np.zeros((len(hypotheses), len(sets), strobes, returns), bool)
    for number, faults in enumerate(hypotheses):
        # (slot, column) and (set, slot, row) that are on
        columns = np.zeros((strobes, strobes + returns + 1), bool)
        columns[np.arange(strobes), driven[number]] = True
        columns = columns[:, :strobes]
        rows = wanted.copy()
        if (sensed[number] != np.arange(returns)).any():
            rows[:] = False
            for ret in np.flatnonzero(sensed[number] < returns):
                rows[:, :, sensed[number, ret]] |= wanted[:, :, ret]
        for fault in faults:
            _drive(fault, columns, rows, strobes)
        # Columns that take their own turns only leave the rows as they are, which is so for most faults.
        own = bool((columns == np.eye(strobes, dtype=bool)).all())
        both: Flags = rows if own else _spread(columns, rows)
        found[number] = _lamps(visible, faults, columns, rows, both) & visible
    return found


def _spread(columns: Flags, rows: Flags) -> Flags:
    """(m, columns, rows) that are on together in some slot."""
    found = np.zeros((len(rows), columns.shape[1], rows.shape[2]), bool)
    for slot, column in np.argwhere(columns).tolist():
        found[:, column] |= rows[:, slot]
    return found


def _drive(fault: MatrixFault, columns: Flags, rows: Flags, strobes: int) -> None:
    if fault.kind == "stuck strobe":
        columns[:, fault.ends[0]] = True
    elif fault.kind == "stuck return":
        rows[:, :, fault.ends[0] - strobes] = True
    elif fault.kind == "shorted lines":
        a, b = fault.ends
        if b < strobes:
            columns[:, a] |= columns[:, b]
            columns[:, b] |= columns[:, a]
        elif a >= strobes:
            rows[:, :, a - strobes] |= rows[:, :, b - strobes]
            rows[:, :, b - strobes] |= rows[:, :, a - strobes]


def _lamps(visible: Flags, faults: Faults, columns: Flags, rows: Flags, lit: Flags) -> Flags:
    """``lit`` (m, columns, rows) with what single lamps and their diodes change."""
    strobes, found = len(visible), lit.copy()
    for fault in faults:
        if fault.kind == "shorted diode":
            # Back through it from its row: lamps in line with it glow, whatever else is on in that slot.
            a, b = fault.ends[0], fault.ends[1] - strobes
            others = columns & visible[:, b][None, :]
            others[:, a] = False
            found[:, a, :] |= np.any(rows & np.any(others, axis=1)[None, :, None], axis=1)
            on: Flags = np.any(rows & visible[a], axis=2)
            found[:, :, b] |= np.matmul(on, others)
    for fault in faults:
        if fault.kind in ("open diode", "open switch"):
            found[:, fault.ends[0], fault.ends[1] - strobes] = False
    return found


def _wiring(
    hypotheses: Sequence[Faults], strobes: int, returns: int
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """((n, strobes) line that each driver drives, (n, returns) return that each input reads); opens lead to the end."""
    driven = np.tile(np.arange(strobes), (len(hypotheses), 1))
    sensed = np.tile(np.arange(returns), (len(hypotheses), 1))
    for number, faults in enumerate(hypotheses):
        for fault in (f for f in faults if f.kind == "swapped lines"):
            a, b = fault.ends
            row = driven[number] if a < strobes else sensed[number]
            a, b = (a, b) if a < strobes else (a - strobes, b - strobes)
            row[[a, b]] = row[[b, a]]
        for fault in faults:
            if fault.kind == "open strobe":
                driven[number, fault.ends[0]] = strobes + returns
            elif fault.kind == "open return":
                sensed[number, fault.ends[0] - strobes] = returns
    return driven, sensed
