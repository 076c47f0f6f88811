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
_WHOLE = ("shorted lines", "stuck switch")  # join lines whatever is closed
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
        reach = self._returns(rows)[place]
        joining = [
            number for number, faults in enumerate(hypotheses) if any(f.kind in _WHOLE for f in faults)
        ]
        if joining:
            more = rows[place[joining]]
            self._join_closed(more, [hypotheses[number] for number in joining])
            reach[joining] = self._returns(more)
        return self._read(hypotheses, reach)

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

        Bit b of row a says that a signal on line a appears on line b. What no fault changes stands once; what
        joins lines whatever is closed is left to ``_join_closed``.
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
        place = np.tile(np.arange(len(sets)), (len(hypotheses), 1))
        count = len(sets)
        origin, blocks = [np.arange(count)], list[tuple[Faults, int, list[int]]]()
        for number, faults in enumerate(hypotheses):
            if changed := _changed(faults, closed_in):
                place[number, changed] = np.arange(count, count + len(changed))
                blocks.append((faults, count, changed))
                origin.append(np.array(changed))
                count += len(changed)
        rows = sound[np.concatenate(origin)]
        for faults, start, changed in blocks:
            block = rows[start : start + len(changed)]
            for fault in (f for f in faults if f.kind in _LOCAL):
                closed = [changed.index(number) for number in closed_in.get(_crossing(fault), ())]
                self._change(block, fault, closed, faults)
        return rows, place

    def _join_closed(self, rows: Bits, hypotheses: Sequence[Faults]) -> None:
        """Add to closed rows (n, m, lines, words) in place what each hypothesis joins whatever is closed.

        With a new way from a to b, whoever reaches a reaches what b reaches: no closure has to be worked out anew.
        """
        joins = [[f for f in faults if f.kind in _WHOLE] for faults in hypotheses]
        for step in range(max(map(len, joins))):
            some = np.array([number for number, one in enumerate(joins) if len(one) > step])
            faults = [(joins[number][step], hypotheses[number]) for number in some.tolist()]
            a, b = np.array([fault.ends for fault, _ in faults]).T
            back = np.array([self._both_ways(fault, beside) for fault, beside in faults])
            held = rows[some]
            every = np.arange(len(some))
            onward = held[every, :, b] | held[every, :, a] * back[:, None, None]
            reaching = self._reaching(held, a) | self._reaching(held, b) & back[:, None, None]
            rows[some] = held | reaching[..., None] * onward[:, :, None]

    def _reaching(self, rows: Bits, lines: NDArray[np.intp]) -> Flags:
        """(n, m, lines) whether each line reaches that one of ``lines`` which is the row's own."""
        words, bits = zip(*(self._at[line] for line in lines.tolist()), strict=True)
        found: Flags = (rows[np.arange(len(rows)), :, :, words] & np.array(bits)[:, None, None]) != 0
        return found

    def _both_ways(self, fault: MatrixFault, beside: Faults) -> bool:
        """Whether what a fault joins carries signals back as well: all but a stuck switch with a sound diode."""
        ends = fault.ends[0], fault.ends[1]
        sound_diode = (
            self.populated.get(ends, False) and MatrixFault("shorted diode", fault.ends) not in beside
        )
        return fault.kind != "stuck switch" or not sound_diode

    def _join(self, rows: Bits, line: int, other: int, numbers: Sequence[int] | slice = slice(None)) -> None:
        word, bit = self._at[other]
        rows[numbers, line, word] |= bit

    def _part(self, rows: Bits, line: int, other: int, numbers: Sequence[int]) -> None:
        word, bit = self._at[other]
        rows[numbers, line, word] &= ~bit

    def _change(self, rows: Bits, fault: MatrixFault, numbers: Sequence[int], faults: Faults) -> None:
        """Change joints (m, lines, words) by a fault at a crossing, one of ``faults``; it is closed in ``numbers``."""
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


def _changed(faults: Faults, closed_in: Mapping[tuple[int, int], Sequence[int]]) -> list[int]:
    """The sets in which these faults change the joints where something is closed."""
    return sorted({one for f in faults if f.kind in _LOCAL for one in closed_in.get(_crossing(f), ())})


def _crossing(fault: MatrixFault) -> tuple[int, int]:
    return fault.ends[0], fault.ends[1]
