"""The board in one condition: where each fault begins, what lies downstream, what can be probed. Modes come later."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from itertools import chain
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from coppermend.board.model import PinRef
from coppermend.isolate.conditions import (
    ALL_ROLES,
    CUT_KINDS,
    MEMORY_KINDS,
    RUNNING,
    Condition,
    blocked_roles,
    is_hidden,
    is_released,
)
from coppermend.isolate.faults import Fault
from coppermend.isolate.graph import Bits, Downstream, SignalGraph
from coppermend.isolate.states import Mode

Numbers = NDArray[np.int64]
Begins = tuple[int, ...]
Blocked = Mapping[PinRef, frozenset[str]]
_NOTHING = frozenset[str]()
# What an output does no more once it is switched off: it cannot be wrong, silent or missing.
_LET_GO = frozenset(map(int, (Mode.SHARED, Mode.WRONG, Mode.DEAD, Mode.FLOATING)))


class Starts(NamedTuple):
    """Beginnings of faults as arrays along all of them, in the order of their nets; ``first`` bounds each net's."""

    fault: Numbers
    net: Numbers
    mode: Numbers
    first: Numbers

    @classmethod
    def of(cls, rows: Iterable[tuple[int, int, Mode]], nets: int) -> Starts:
        """From (fault, net, mode)."""
        table = np.fromiter(chain.from_iterable(rows), dtype=np.int64).reshape(-1, 3)
        table = table[np.argsort(table[:, 1], kind="stable")]
        return cls(table[:, 0], table[:, 1], table[:, 2], np.searchsorted(table[:, 1], np.arange(nets + 1)))

    def at(self, net: int) -> slice:
        """Where the beginnings on a net stand."""
        return slice(int(self.first[net]), int(self.first[net + 1]))

    def without(self, gone: NDArray[np.bool_], nets: int) -> Starts:
        """The beginnings that are not ``gone``, shape (beginnings,)."""
        kept = ~gone
        net = self.net[kept]
        return Starts(self.fault[kept], net, self.mode[kept], np.searchsorted(net, np.arange(nets + 1)))


class Standing(NamedTuple):
    """The board in one condition: where faults begin, what lies downstream, and what can be probed.

    ``rows`` has a row of packed bits for every distinct set of nets that faults begin with; ``row_of_fault``
    says which.
    """

    condition: Condition
    starts: Starts
    downstream: Downstream
    rows: Bits
    row_of_fault: Numbers
    probeable: NDArray[np.bool_]

    def unpacked(self) -> NDArray[np.float32]:
        """The rows as 0 and 1, shape (rows, nets); for boards up to ``KEPT_CELLS`` only."""
        bits = np.unpackbits(self.rows, axis=1, count=self.downstream.count, bitorder="little")
        return bits.astype(np.float32)


class StandingBuilder:
    """Works out a ``Standing`` for any condition of one board, from what the condition changes of the running one."""

    def __init__(self, graph: SignalGraph, faults: Sequence[Fault]) -> None:
        self.graph, self.faults = graph, faults

    def stand(self, how: Condition) -> Standing:
        """The board in this condition."""
        graph = self.graph
        number_of, row_of_fault = self._numbered
        if how.name == RUNNING.name:
            starts, followers = self.every_start, self._running
        else:
            gone = self._gone(how)
            starts = self.every_start if not gone.any() else self.every_start.without(gone, len(graph.nets))
            blocked = self._blocked(how)
            followers = self._followers(blocked)
            number_of, row_of_fault = number_of.copy(), row_of_fault.copy()
            for k, begins in self._begins_in(blocked, gone).items():
                row_of_fault[k] = number_of.setdefault(begins, len(number_of))
        down = Downstream(followers)
        rows = down.packed([down.mask(begins) for begins in number_of])
        return Standing(how, starts, down, rows, row_of_fault, self._probeable(how))

    @cached_property
    def every_start(self) -> Starts:
        """Where every fault begins while the board runs."""
        rows = [(number, net, mode) for number, fault in enumerate(self.faults) for net, mode in fault.starts]
        return Starts.of(rows, len(self.graph.nets))

    @cached_property
    def _numbered(self) -> tuple[dict[Begins, int], Numbers]:
        """Every distinct set of nets that faults begin with while the board runs, numbered; and that of each fault.

        A fault begins on its own nets and on those that follow it through its own part.
        """
        number_of: dict[Begins, int] = {}
        # A pin's copper and its socket contact begin alike, and most other faults on one net.
        alone, behind = dict[int, int](), dict[tuple[PinRef | None, Begins], int]()
        numbers = []
        for fault in self.faults:
            starts = fault.starts
            if fault.carries:
                nets = tuple([net for net, _ in starts])
                row = behind.get((fault.pin, nets))
                if row is None:
                    begins = tuple(sorted({*self._carried(fault), *nets}))
                    row = behind[fault.pin, nets] = number_of.setdefault(begins, len(number_of))
            elif len(starts) == 1:
                net = starts[0][0]
                row = alone.get(net)
                if row is None:
                    row = alone[net] = number_of.setdefault((net,), len(number_of))
            else:
                begins = tuple(sorted([net for net, _ in starts]))
                row = number_of.setdefault(begins, len(number_of))
            numbers.append(row)
        return number_of, np.array(numbers, dtype=np.int64)

    def _carried(self, fault: Fault) -> set[int]:
        """Numbers of the nets that a part drives from an open input."""
        net_number = self.graph.net_number
        return {net_number[out] for out in fault.carries}

    @cached_property
    def _faults_at(self) -> Mapping[str, list[int]]:
        """Refdes -> numbers of the faults at its pins, and of those of the part as a whole."""
        found: dict[str, list[int]] = defaultdict(list)
        for number, fault in enumerate(self.faults):
            found[fault.pin.refdes if fault.pin else fault.unit.name].append(number)
        return found

    def _gone(self, how: Condition) -> NDArray[np.bool_]:
        """Which beginnings a condition takes off the board, shape (beginnings,)."""
        starts, graph, kinds = self.every_start, self.graph, self.graph.kinds
        gone = np.zeros(len(starts.fault), dtype=bool)
        off = {refdes for refdes, kind in kinds.items() if how.forced and kind == "cpu"} | {how.out}
        if how.deselected:
            off |= {refdes for refdes, kind in kinds.items() if kind in MEMORY_KINDS}
        touched = np.zeros(len(self.faults), dtype=bool)
        for refdes in off:
            touched[self._faults_at.get(refdes, [])] = True
        hidden, released = dict[tuple[str, int], bool](), dict[tuple[str, int], bool]()
        for place in np.flatnonzero(touched[starts.fault]).tolist():
            fault, net = self.faults[starts.fault[place]], int(starts.net[place])
            at = fault.pin.refdes if fault.pin else fault.unit.name
            if (at, net) not in hidden:
                hidden[at, net] = is_hidden(graph, how, at, graph.nets[net])
                released[at, net] = how.deselected and self._released(how, at, graph.nets[net])
            gone[place] = hidden[at, net] or (released[at, net] and starts.mode[place] in _LET_GO)
        return gone

    def _released(self, how: Condition, refdes: str, net: str) -> bool:
        pins = (pin for pin in self.graph.board.nets[net] if pin.refdes == refdes)
        return any(is_released(self.graph, how, pin) for pin in pins)

    def _begins_in(self, blocked: Blocked, gone: NDArray[np.bool_]) -> dict[int, Begins]:
        """The beginnings of those faults in which a condition changes anything."""
        starts, net_number = self.every_start, self.graph.net_number
        hidden: dict[int, set[int]] = defaultdict(set)
        for number, net in zip(starts.fault[gone].tolist(), starts.net[gone].tolist(), strict=True):
            hidden[number].add(net)
        passed = dict[PinRef, set[int]]()
        changed = set(hidden)
        for refdes in {pin.refdes for pin in blocked}:
            for number in self._faults_at.get(refdes, ()):
                fault = self.faults[number]
                pin = fault.pin
                if pin is None or not fault.carries or pin not in blocked:
                    continue
                changed.add(number)
                if pin not in passed:
                    outs = self._passing(blocked[pin], [(0, out) for out in fault.carries])
                    passed[pin] = {net_number[out] for _, out in outs}
        found = {}
        for number in sorted(changed):
            fault = self.faults[number]
            kept = {net for net, _ in fault.starts} - hidden.get(number, set())
            if fault.pin is not None and fault.carries:
                kept |= passed[fault.pin] if fault.pin in passed else self._carried(fault)
            found[number] = tuple(sorted(kept))
        return found

    def _blocked(self, how: Condition) -> Blocked:
        """The inputs at which a condition cuts something, with the roles of the outputs that they act on no more."""
        kinds, pins_of_part = self.graph.kinds, self.graph.board.index.pins_of_part
        cut = [refdes for refdes, kind in kinds.items() if how.forced and kind in CUT_KINDS]
        pins = [pin for refdes in dict.fromkeys((*cut, how.out)) for pin in pins_of_part[refdes]]
        return {pin: blocked for pin in pins if (blocked := blocked_roles(self.graph, how, pin))}

    def _passing(
        self, blocked: frozenset[str], fan: Sequence[tuple[int, PinRef]]
    ) -> Sequence[tuple[int, PinRef]]:
        """Of the ways from an input those that still carry a signal where some roles are blocked."""
        if not blocked:
            return fan
        if blocked is ALL_ROLES:
            return ()
        spec = self.graph.spec
        return [one for one in fan if (leaves := spec(one[1])) is None or leaves.role not in blocked]

    @cached_property
    def _running(self) -> list[set[int]]:
        """For every net the nets that it acts on directly while the board runs."""
        graph = self.graph
        followers: list[set[int]] = [set() for _ in graph.nets]
        number = graph.net_number
        for enters, fan in graph.fans.items():
            followers[number[enters]].update([sink for sink, _ in fan])
        return followers

    def _followers(self, blocked: Blocked) -> list[set[int]]:
        """For every net the nets that it acts on directly in a condition that cuts off inputs."""
        graph, number = self.graph, self.graph.net_number
        followers = self._running.copy()
        for net in {number[pin] for pin in blocked if pin in graph.fans}:
            found = set[int]()
            for enters in graph.board.nets[graph.nets[net]]:
                if number[enters] == net and (fan := graph.fans.get(enters)):
                    passing = self._passing(blocked.get(enters, _NOTHING), fan)
                    found.update([sink for sink, _ in passing])
            followers[net] = found
        return followers

    def _probeable(self, how: Condition) -> NDArray[np.bool_]:
        """Which nets carry a signal that a logic probe can read in a condition, shape (nets,)."""
        if not how.out:
            return self.probeable
        drives = {self.graph.number[self.graph.net(pin)] for pin in self.graph.outputs_of(how.out)}
        alone = [n for n in drives if self.graph.sole_driver[self.graph.nets[n]] == how.out]
        found = self.probeable.copy()
        found[alone] = False
        return found

    @cached_property
    def probeable(self) -> NDArray[np.bool_]:
        """Which nets carry a signal that a logic probe can read, shape (nets,)."""
        return np.array([self.graph.signal(net) for net in self.graph.nets], dtype=bool)
