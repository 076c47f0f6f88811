"""What a matrix would report with given faults and closures: a model of the scan, many faults at a time. No judgement.

Signals run from a driven strobe through closed switches to returns; a diode lets them run that way only. Lines
that are not driven float, so that without diodes they carry signals on (ghosts).
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from coppermend.proving.matrix import Crossing, SwitchMatrix

FaultKind = Literal[
    "open strobe", "open return", "stuck strobe", "stuck return", "shorted lines", "swapped lines",
    "shorted diode", "open diode", "open switch", "stuck switch",
]  # fmt: skip
Bits = NDArray[np.unsignedinteger[Any]]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class MatrixFault:
    """A fault. ``ends`` are line numbers (strobes from 0, returns after them): one line, two, or a crossing."""

    kind: FaultKind
    ends: tuple[int, ...]


Faults = tuple[MatrixFault, ...]  # () is a sound matrix


class Scanner:
    """Predicts reports of one matrix. Lines are numbered: strobes from 0, returns after them."""

    def __init__(self, matrix: SwitchMatrix) -> None:
        self.matrix = matrix
        self.strobes, self.returns = len(matrix.strobes), len(matrix.returns)
        self.lines = self.strobes + self.returns
        # Narrow words where the lines fit in one: the closure below then moves a quarter of the memory.
        self.width = next((w for w in (16, 32) if self.lines <= w), 64)
        self.words = -(-self.lines // self.width)
        self.dtype = np.dtype(f"uint{self.width}")

    @cached_property
    def populated(self) -> dict[tuple[int, int], bool]:
        """(strobe, return line) of every populated position -> whether it has a diode."""
        return {self.ends(p.crossing): p.diode for p in self.matrix.positions}

    def ends(self, crossing: Crossing) -> tuple[int, int]:
        """Line numbers of a crossing."""
        matrix = self.matrix
        return matrix.strobe_number[crossing.strobe], self.strobes + matrix.return_number[crossing.ret]

    def flags(self, crossings: Collection[Crossing]) -> Flags:
        """(strobes, returns) array of these crossings."""
        made = np.zeros((self.strobes, self.returns), bool)
        for crossing in crossings:
            strobe, line = self.ends(crossing)
            made[strobe, line - self.strobes] = True
        return made

    @cached_property
    def visible(self) -> Flags:
        """(strobes, returns): crossings that are populated."""
        return self.flags([p.crossing for p in self.matrix.positions])

    def predict(self, hypotheses: Sequence[Faults], closed: Sequence[frozenset[Crossing]]) -> Flags:
        """What would be reported.

        Args:
            hypotheses: Sets of faults, n of them.
            closed: Sets of closed (in a lamp matrix: commanded) positions, m of them.

        Returns:
            (n, m, strobes, returns) array, True where reported (lit); unpopulated crossings included.
        """
        sets = [[self.ends(c) for c in one] for one in closed]
        if self.matrix.kind == "lamp":
            return _lit(self, hypotheses, sets)
        rows = self._joined(hypotheses, sets)
        self._close(rows.reshape(-1, self.lines, self.words))
        return self._read(hypotheses, rows)

    def _close(self, rows: Bits) -> None:
        """Transitive closure of (k, lines, words) in place: whoever reaches a line reaches what it reaches."""
        own = np.zeros((self.lines, self.words), self.dtype)
        for line in range(self.lines):
            _set(own, line, line)
            # Few lines lead anywhere: with one switch closed, only its strobe does.
            onward = rows[:, line, 0] & ~own[line, 0]
            for word in range(1, self.words):
                onward |= rows[:, line, word] & ~own[line, word]
            leads = np.flatnonzero(onward)
            some = rows[leads]
            some |= self._bit(some, line)[..., None] * some[:, line, None, :]
            rows[leads] = some

    def _bit(self, rows: Bits, line: int) -> Bits:
        word, bit = divmod(line, self.width)
        found: Bits = (rows[..., word] >> self.dtype.type(bit)) & self.dtype.type(1)
        return found

    def _joined(self, hypotheses: Sequence[Faults], sets: Sequence[Sequence[tuple[int, int]]]) -> Bits:
        """(n, m, lines, words): bit b of row a says that a signal on line a appears on line b."""
        sound = np.zeros((len(sets), self.lines, self.words), self.dtype)
        for line in range(self.lines):
            _set(sound, line, line)
        for number, one in enumerate(sets):
            for a, b in one:
                _set(sound[number], a, b)
                if not self.populated.get((a, b), False):
                    _set(sound[number], b, a)
        rows = np.repeat(sound[None], len(hypotheses), axis=0)
        for number, faults in enumerate(hypotheses):
            for fault in faults:
                _add(rows[number], fault, sets, faults, self.populated)
        return rows

    def _read(self, hypotheses: Sequence[Faults], rows: Bits) -> Flags:
        driven, sensed = _wiring(hypotheses, self.strobes, self.returns)
        active = rows[:, :, : self.strobes].copy()
        for number, faults in enumerate(hypotheses):
            if any(f.kind in ("open strobe", "swapped lines") for f in faults):
                # A line more that reaches nothing stands for a driver that is open.
                reached = np.concatenate([rows[number], np.zeros_like(rows[number, :, :1])], axis=1)
                active[number] = reached[:, driven[number]]
            for fault in faults:
                if fault.kind in ("stuck strobe", "stuck return"):
                    active[number] |= rows[number, :, fault.ends[0], None, :]
        read = np.stack([self._bit(active, self.strobes + r) for r in range(self.returns)], axis=-1).astype(
            bool
        )
        for number, faults in enumerate(hypotheses):
            if any(f.kind in ("open return", "swapped lines") for f in faults):
                # Likewise a return more that is never active.
                spread = np.concatenate([read[number], np.zeros_like(read[number, ..., :1])], axis=2)
                read[number] = spread[..., sensed[number]]
        return read


def _set(rows: Bits, line: int, other: int) -> None:
    width = rows.dtype.itemsize * 8
    rows[..., line, other // width] |= rows.dtype.type(1 << other % width)


def _clear(rows: Bits, line: int, other: int) -> None:
    width = rows.dtype.itemsize * 8
    rows[..., line, other // width] &= ~rows.dtype.type(1 << other % width)


def _add(
    rows: Bits, fault: MatrixFault, sets: Sequence[Sequence[tuple[int, int]]], faults: Faults,
    populated: dict[tuple[int, int], bool],
) -> None:  # fmt: skip
    """Change the joints of one hypothesis, rows (m, lines, words), by one of its faults."""
    if fault.kind == "shorted lines":
        a, b = fault.ends
        _set(rows, a, b)
        _set(rows, b, a)
    elif fault.kind == "stuck switch":
        a, b = fault.ends
        _set(rows, a, b)
        if not populated.get((a, b), False) or MatrixFault("shorted diode", fault.ends) in faults:
            _set(rows, b, a)
    elif fault.kind in ("shorted diode", "open diode", "open switch"):
        a, b = fault.ends
        held = any(f.kind in ("stuck switch", "shorted lines") and f.ends == fault.ends for f in faults)
        for number, one in enumerate(sets):
            if (a, b) in one:
                if fault.kind == "shorted diode":
                    _set(rows[number], b, a)
                elif not held:
                    _clear(rows[number], a, b)
                    _clear(rows[number], b, a)


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


def _lit(scanner: Scanner, hypotheses: Sequence[Faults], sets: Sequence[Sequence[tuple[int, int]]]) -> Flags:
    """Lamps that light in a lamp matrix: those whose column and row are both on in some time slot."""
    strobes, returns = scanner.strobes, scanner.returns
    wanted = np.zeros((len(sets), strobes, returns), bool)
    for number, one in enumerate(sets):
        for a, b in one:
            wanted[number, a, b - strobes] = True
    driven, sensed = _wiring(hypotheses, strobes, returns)
    lit = np.zeros((len(hypotheses), len(sets), strobes, returns), bool)
    for number, faults in enumerate(hypotheses):
        # (slot, column) and (set, slot, row) that are on
        columns = np.zeros((strobes, strobes + returns + 1), bool)
        columns[np.arange(strobes), driven[number]] = True
        columns = columns[:, :strobes]
        rows = np.zeros((len(sets), strobes, returns), bool)
        for ret in range(returns):
            if sensed[number, ret] < returns:
                rows[:, :, sensed[number, ret]] |= wanted[:, :, ret]
        for fault in faults:
            _drive(fault, columns, rows, strobes)
        one = np.einsum("sc,msr->mcr", columns, rows).astype(bool)
        lit[number] = _lamps(scanner, faults, columns, rows, one) & scanner.visible
    return lit


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


def _lamps(scanner: Scanner, faults: Faults, columns: Flags, rows: Flags, lit: Flags) -> Flags:
    """``lit`` (m, columns, rows) with what single lamps and their diodes change."""
    strobes, found = scanner.strobes, lit.copy()
    for fault in faults:
        if fault.kind == "shorted diode":
            # Back through it from its row: lamps in line with it glow, whatever else is on in that slot.
            a, b = fault.ends[0], fault.ends[1] - strobes
            others = columns & scanner.visible[:, b][None, :]
            others[:, a] = False
            found[:, a, :] |= np.einsum("sc,msr->mr", others, rows).astype(bool)
            found[:, :, b] |= np.einsum(
                "sc,msr->mc", others, rows & scanner.visible[a][None, None, :]
            ).astype(bool)
    for fault in faults:
        if fault.kind in ("open diode", "open switch"):
            found[:, fault.ends[0], fault.ends[1] - strobes] = False
    return found
