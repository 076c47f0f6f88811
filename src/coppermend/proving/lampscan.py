"""What a lamp matrix would light with given faults and commands, many faults at a time. Knows lines by number.

Columns take turns, one a time slot; a lamp lights when its column and its row are both on in some slot.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from coppermend.proving.matrix import Faults, MatrixFault

if TYPE_CHECKING:  # it asks here for lamps
    from coppermend.proving.scan import Bits, Scanner

Flags = NDArray[np.bool_]


def lit(scanner: Scanner, hypotheses: Sequence[Faults], wanted: Bits) -> Bits:
    """Lamps that light.

    Args:
        scanner: The matrix.
        hypotheses: Sets of faults, n of them.
        wanted: Commanded lamps, packed (m, columns, words).

    Returns:
        Packed (n, m, columns, words).
    """
    columns = np.tile(
        np.eye(scanner.strobes, dtype=bool), (len(hypotheses), 1, 1)
    )  # (n, slot, column) that are on
    rows = np.repeat(wanted[None], len(hypotheses), axis=0)  # (n, m, slot, words) that are on
    for number, faults in enumerate(hypotheses):
        _wire(scanner, faults, columns[number], rows[number])
        for fault in faults:
            _drive(scanner, fault, columns[number], rows[number])
    # Columns that take their own turns only leave the rows as they are, which is so for most faults.
    turned = np.flatnonzero((columns != np.eye(scanner.strobes, dtype=bool)).any(axis=(1, 2)))
    found = rows.copy()
    found[turned] = _spread(columns[turned], rows[turned])
    for number, faults in enumerate(hypotheses):
        _glow(scanner, faults, columns[number], rows[number], found[number])
        for fault in (f for f in faults if f.kind in ("open diode", "open switch")):
            word, bit = scanner.input(fault.ends[1])
            found[number, :, fault.ends[0], word] &= ~bit
    found &= scanner.pack(scanner.visible)
    return found


def _spread(columns: Flags, rows: Bits) -> Bits:
    """(k, m, column, words) that are on together in some slot."""
    found = np.zeros_like(rows)
    for slot in range(columns.shape[1]):
        found |= columns[:, None, slot, :, None] * rows[:, :, slot, None, :]
    return found


def _wire(scanner: Scanner, faults: Faults, columns: Flags, rows: Bits) -> None:
    """Wrong and open wires from the drivers: open ones carry nothing, exchanged ones carry each other's."""
    for fault in faults:
        if fault.kind == "open strobe":
            columns[fault.ends[0]] = False
        elif fault.kind == "open return":
            scanner.at_end(rows, fault)
    for fault in (f for f in reversed(faults) if f.kind == "swapped lines"):
        if fault.ends[0] < scanner.strobes:
            columns[:, list(fault.ends)] = columns[:, list(reversed(fault.ends))]
        else:
            scanner.at_end(rows, fault)


def _drive(scanner: Scanner, fault: MatrixFault, columns: Flags, rows: Bits) -> None:
    """What drives a line besides its driver."""
    if fault.kind == "stuck strobe":
        columns[:, fault.ends[0]] = True
    elif fault.kind == "stuck return":
        word, bit = scanner.input(fault.ends[0])
        rows[..., word] |= bit
    elif fault.kind == "shorted lines":
        a, b = fault.ends
        if b < scanner.strobes:
            columns[:, a] |= columns[:, b]
            columns[:, b] |= columns[:, a]
        elif a >= scanner.strobes:
            (word_a, bit_a), (word_b, bit_b) = scanner.input(a), scanner.input(b)
            on = ((rows[..., word_a] & bit_a) | (rows[..., word_b] & bit_b)) != 0
            rows[..., word_a] |= on * bit_a
            rows[..., word_b] |= on * bit_b


def _glow(scanner: Scanner, faults: Faults, columns: Flags, rows: Bits, found: Bits) -> None:
    """Add to ``found`` (m, columns, words) what lights back through shorted diodes."""
    for fault in (f for f in faults if f.kind == "shorted diode"):
        # From its row: lamps in line with it glow, whatever else is on in that slot.
        column, (word, bit) = fault.ends[0], scanner.input(fault.ends[1])
        others = columns & scanner.visible[:, fault.ends[1] - scanner.strobes]
        others[:, column] = False
        found[:, column] |= np.bitwise_or.reduce(rows[:, others.any(axis=1)], axis=1)
        on = (rows & scanner.pack(scanner.visible[column])).any(axis=2)
        found[..., word] |= np.matmul(on, others) * bit
