"""What a matrix would report with given faults and closures: a model of the scan, many faults at a time. No judgement.

Signals run from a driven strobe through closed switches to returns; a diode lets them run that way only. Lines
that are not driven float, so that without diodes they carry signals on (ghosts).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coppermend.proving.lampscan import lit
from coppermend.proving.matrix import Crossing, FaultKind, Faults, MatrixFault, SwitchMatrix

Bits = NDArray[np.unsignedinteger[Any]]
Flags = NDArray[np.bool_]
_WHOLE = ("shorted lines", "stuck switch")  # change the joints whatever is closed
_LOCAL = ("shorted diode", "open diode", "open switch")  # only where their crossing is closed
# The order at the ends of the lines: wrong wires to drivers (0), drivers, what is always on, wrong wires to inputs (3), inputs.
_AT_THE_ENDS: Mapping[FaultKind, int] = {
    "swapped lines": 0, "open strobe": 1, "stuck strobe": 2, "stuck return": 2, "open return": 4,
}  # fmt: skip


class Scanner:
    """Predicts reports of one matrix. Lines are numbered: strobes from 0, returns after them.

    A report is packed: for each strobe the bits of its returns, ``width`` to a word. Many thousands of them are
    compared for one answer.
    """

    def __init__(self, matrix: SwitchMatrix) -> None:
        self.matrix = matrix
        self.strobes, self.returns = len(matrix.strobes), len(matrix.returns)
        self.lines = self.strobes + self.returns
        # Narrow words where the lines fit in one: the closure below then moves a quarter of the memory.
        self.row_width = next((w for w in (16, 32) if self.lines <= w), 64)
        self.row_dtype = np.dtype(f"<u{self.row_width // 8}")
        self.width = next((w for w in (8, 16, 32) if self.returns <= w), 64)
        self.dtype = np.dtype(f"<u{self.width // 8}")
        self.words = -(-self.returns // self.width)
        # Too many lines for one word: returns start a word, so that a report is read off without shifting.
        self.first_return = self.strobes if self.lines <= self.row_width else -(-self.strobes // 64) * 64

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

    def pack(self, flags: Flags) -> Bits:
        """(..., strobes, returns) flags as packed reports (..., strobes, words)."""
        if self.returns == self.words * self.width:  # no gaps: all in one go, which is ten times as fast
            whole = np.packbits(np.ascontiguousarray(flags).reshape(-1), bitorder="little")
            return whole.view(self.dtype).reshape(*flags.shape[:-1], self.words)
        narrow = np.packbits(flags, axis=-1, bitorder="little")
        made = np.zeros((*flags.shape[:-1], self.words * self.dtype.itemsize), np.uint8)
        made[..., : narrow.shape[-1]] = narrow
        return made.view(self.dtype)

    def unpack(self, reports: Bits) -> Flags:
        """Packed reports as (..., strobes, returns) flags."""
        narrow = np.ascontiguousarray(reports).view(np.uint8)
        return np.unpackbits(narrow, axis=-1, count=self.returns, bitorder="little").view(bool)

    def predict(self, hypotheses: Sequence[Faults], closed: Sequence[frozenset[Crossing]]) -> Flags:
        """What would be reported.

        Args:
            hypotheses: Sets of faults, n of them.
            closed: Sets of closed (in a lamp matrix: commanded) positions, m of them.

        Returns:
            (n, m, strobes, returns) array, True where reported (lit); unpopulated crossings included.
        """
        return self.unpack(self.reports(hypotheses, closed))

    def reports(self, hypotheses: Sequence[Faults], closed: Sequence[frozenset[Crossing]]) -> Bits:
        """The same packed: (n, m, strobes, words)."""
        if self.matrix.kind == "lamp":
            commanded = np.zeros((len(closed), self.strobes, self.returns), bool)
            for number, one in enumerate(closed):
                commanded[number] = self.flags(one)
            return lit(self, hypotheses, self.pack(commanded))
        sets = [[self.ends(c) for c in one] for one in closed]
        rows, place = self._joined(hypotheses, sets)
        self._close(rows)
        return self._read(hypotheses, self._returns(rows)[place])

    @cached_property
    def _at(self) -> list[tuple[int, Any]]:
        """(word, bit) that stands for each line in a row."""
        places = [*range(self.strobes), *range(self.first_return, self.first_return + self.returns)]
        return [
            (place // self.row_width, self.row_dtype.type(1 << place % self.row_width)) for place in places
        ]

    def _close(self, rows: Bits) -> None:
        """Transitive closure of (k, lines, words) in place: whoever reaches a line reaches what it reaches."""
        for line in range(self.lines):
            word, bit = self._at[line]
            # Few lines lead anywhere: with one switch closed, only its strobe does.
            onward = rows[:, line, word] & ~bit
            for other in (w for w in range(rows.shape[2]) if w != word):
                onward |= rows[:, line, other]
            leads = np.flatnonzero(onward)
            if leads.size:
                some = rows[leads]
                reaches = (some[:, :, word] & bit) != 0
                some |= reaches[..., None] * some[:, line, None, :]
                rows[leads] = some

    def _joined(
        self, hypotheses: Sequence[Faults], sets: Sequence[Sequence[tuple[int, int]]]
    ) -> tuple[Bits, NDArray[np.intp]]:
        """((k, lines, words) rows, (n, m) which of them each hypothesis has for each set).

        Bit b of row a says that a signal on line a appears on line b. What no fault changes stands once.
        """
        sound = np.zeros((len(sets), self.lines, self._at[-1][0] + 1), self.row_dtype)
        for line in range(self.lines):
            self._join(sound, line, line)
        closed_in: dict[tuple[int, int], list[int]] = {}
        for number, one in enumerate(sets):
            for ends in one:
                closed_in.setdefault(ends, []).append(number)
        for (a, b), numbers in closed_in.items():
            self._join(sound, a, b, numbers)
            if not self.populated[a, b]:
                self._join(sound, b, a, numbers)
        every = range(len(sets))
        place = np.tile(np.arange(len(sets)), (len(hypotheses), 1))
        all_sets, count = np.arange(len(sets)), len(sets)
        origin, blocks = [all_sets], list[tuple[Faults, int, Sequence[int]]]()
        for number, faults in enumerate(hypotheses):
            if changed := _changed(faults, closed_in, every):
                at = all_sets if changed is every else np.array(changed)
                place[number, at] = np.arange(count, count + len(at))
                blocks.append((faults, count, changed))
                origin.append(at)
                count += len(at)
        rows = sound[np.concatenate(origin)]
        for faults, start, changed in blocks:
            block = rows[start : start + len(changed)]
            for fault in faults:
                closed: Sequence[int] = closed_in.get(_crossing(fault), ())
                if changed is not every:
                    closed = [changed.index(number) for number in closed]
                self._add(block, fault, closed, faults)
        return rows, place

    def _join(self, rows: Bits, line: int, other: int, numbers: Sequence[int] | slice = slice(None)) -> None:
        word, bit = self._at[other]
        rows[numbers, line, word] |= bit

    def _part(self, rows: Bits, line: int, other: int, numbers: Sequence[int]) -> None:
        word, bit = self._at[other]
        rows[numbers, line, word] &= ~bit

    def _add(self, rows: Bits, fault: MatrixFault, numbers: Sequence[int], faults: Faults) -> None:
        """Change joints (m, lines, words) by one fault of ``faults``; at a crossing it is closed in ``numbers``."""
        if fault.kind == "shorted lines":
            a, b = fault.ends
            self._join(rows, a, b)
            self._join(rows, b, a)
        elif fault.kind == "stuck switch":
            a, b = fault.ends
            self._join(rows, a, b)
            if not self.populated.get((a, b), False) or MatrixFault("shorted diode", fault.ends) in faults:
                self._join(rows, b, a)
        elif fault.kind in _LOCAL:
            a, b = fault.ends
            if fault.kind == "shorted diode":
                self._join(rows, b, a, numbers)
            elif not any(f.kind in _WHOLE and f.ends == (a, b) for f in faults):
                self._part(rows, a, b, numbers)
                self._part(rows, b, a, numbers)

    def _read(self, hypotheses: Sequence[Faults], reach: Bits) -> Bits:
        """What reaches the inputs, from reach (n, m, lines, words)."""
        active = reach[:, :, : self.strobes].copy()
        for number, faults in enumerate(hypotheses):
            for fault in sorted((f for f in faults if f.kind in _AT_THE_ENDS), key=self._turn):
                if fault.kind in ("stuck strobe", "stuck return"):
                    active[number] |= reach[number, :, fault.ends[0], None]
                else:
                    self.at_end(active[number], fault)
        return active

    def _returns(self, rows: Bits) -> Bits:
        """(k, lines, report words): which returns a signal on each line appears on."""
        if self.first_return == self.strobes and rows.shape[-1] == 1:
            narrow: Bits = (rows >> self.row_dtype.type(self.strobes)).astype(self.dtype)
            return narrow
        return rows[..., self.first_return // 64 :]

    def _turn(self, fault: MatrixFault) -> int:
        return (
            3 * (fault.ends[0] >= self.strobes) if fault.kind == "swapped lines" else _AT_THE_ENDS[fault.kind]
        )

    def at_end(self, active: Bits, fault: MatrixFault) -> None:
        """Change reports (m, strobes, words) in place by an open or exchanged wire at the end of a line."""
        first = fault.ends[0]
        if fault.kind == "open strobe":
            active[:, first] = 0
        elif fault.kind == "open return":
            word, bit = self.input(first)
            active[..., word] &= ~bit
        elif first < self.strobes:  # swapped
            active[:, list(fault.ends)] = active[:, list(reversed(fault.ends))]
        else:
            (word_a, bit_a), (word_b, bit_b) = (self.input(end) for end in fault.ends)
            has_a, has_b = (active[..., word_a] & bit_a) != 0, (active[..., word_b] & bit_b) != 0
            active[..., word_a] = (active[..., word_a] & ~bit_a) | has_b * bit_a
            active[..., word_b] = (active[..., word_b] & ~bit_b) | has_a * bit_b

    def input(self, line: int) -> tuple[int, Any]:
        """(word, bit) that stands for a return in a report."""
        word, bit = divmod(line - self.strobes, self.width)
        return word, self.dtype.type(1 << bit)


def _changed(
    faults: Faults, closed_in: Mapping[tuple[int, int], Sequence[int]], every: Sequence[int]
) -> Sequence[int]:
    """The sets, of all ``every``, in which these faults change the joints."""
    if any(fault.kind in _WHOLE for fault in faults):
        return every
    return sorted({one for f in faults if f.kind in _LOCAL for one in closed_in.get(_crossing(f), ())})


def _crossing(fault: MatrixFault) -> tuple[int, int]:
    """The ends of a fault, twice the same for a fault of one line (which is no crossing)."""
    return fault.ends[0], fault.ends[-1]
