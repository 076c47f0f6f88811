"""The board in one condition: where each fault begins, what lies downstream, what can be probed. Modes come later."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from coppermend.board.model import PinRef
from coppermend.isolate.conditions import (
    ALL_ROLES,
    CUT_KINDS,
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
        table = np.array(list(rows), dtype=np.int64).reshape(-1, 3)
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
    """Works out a ``Standing`` for any condition of one board."""

    def __init__(self, graph: SignalGraph, faults: Sequence[Fault]) -> None:
        self.graph, self.faults = graph, faults

    def stand(self, how: Condition) -> Standing:
        """The board in this condition."""
        graph = self.graph
        gone = self._gone(how)
        starts = self.every_start if not gone.any() else self.every_start.without(gone, len(graph.nets))
        down = Downstream(self._followers(how))
        number_of, row_of_fault = self._numbered
        if how.name != RUNNING.name:
            number_of, row_of_fault = number_of.copy(), row_of_fault.copy()
            for k, begins in self._begins_in(how, gone).items():
                row_of_fault[k] = number_of.setdefault(begins, len(number_of))
        rows = down.packed([down.mask(begins) for begins in number_of])
        return Standing(how, starts, down, rows, row_of_fault, self._probeable(how))

    @cached_property
    def every_start(self) -> Starts:
        """Where every fault begins while the board runs."""
        rows = [(number, net, mode) for number, fault in enumerate(self.faults) for net, mode in fault.starts]
        return Starts.of(rows, len(self.graph.nets))

    @cached_property
    def _numbered(self) -> tuple[dict[Begins, int], Numbers]:
        """Every distinct set of nets that faults begin with while the board runs, numbered; and that of each fault."""
        number_of: dict[Begins, int] = {}
        numbers = [number_of.setdefault(begins, len(number_of)) for begins in self._begins]
        return number_of, np.array(numbers, dtype=np.int64)

    @cached_property
    def _carried(self) -> dict[PinRef, Begins]:
        """Input pin -> the nets that its part drives from it."""
        return {}

    @cached_property
    def _begins(self) -> list[Begins]:
        """For every fault the nets that it begins on, or that follow it through its own part."""
        number, net_of, found = self.graph.number, self.graph.board.index.net_of_pin, list[Begins]()
        for fault in self.faults:
            starts = _nets_of(fault.starts)
            if fault.pin is not None and fault.carries:
                if fault.pin not in self._carried:
                    self._carried[fault.pin] = tuple(sorted({number[net_of[out]] for out in fault.carries}))
                carried = self._carried[fault.pin]
                starts = tuple(sorted({*starts, *carried})) if starts else carried
            found.append(starts)
        return found

    def _touched(self, how: Condition) -> list[int]:
        """Numbers of the faults of or at a part in which a condition cuts something."""
        kinds, out = self.graph.kinds, how.out
        cut = {refdes for refdes, kind in kinds.items() if how.forced and kind in CUT_KINDS} | {out}
        return [
            k
            for k, fault in enumerate(self.faults)
            if fault.unit.name in cut or (fault.pin is not None and fault.pin.refdes in cut)
        ]

    def _gone(self, how: Condition) -> NDArray[np.bool_]:
        """Which beginnings a condition takes off the board, shape (beginnings,)."""
        starts, graph = self.every_start, self.graph
        gone = np.zeros(len(starts.fault), dtype=bool)
        if how.name == RUNNING.name:
            return gone
        touched = np.zeros(len(self.faults), dtype=bool)
        touched[self._touched(how)] = True
        hidden: dict[tuple[str, int], bool] = {}
        for place in np.flatnonzero(touched[starts.fault]).tolist():
            fault, net = self.faults[starts.fault[place]], int(starts.net[place])
            at = fault.pin.refdes if fault.pin else fault.unit.name
            if (at, net) not in hidden:
                hidden[at, net] = is_hidden(graph, how, at, graph.nets[net])
            gone[place] = hidden[at, net] or (
                how.deselected and starts.mode[place] in _LET_GO and self._released(how, at, graph.nets[net])
            )
        return gone

    def _released(self, how: Condition, refdes: str, net: str) -> bool:
        pins = (pin for pin in self.graph.board.nets[net] if pin.refdes == refdes)
        return any(is_released(self.graph, how, pin) for pin in pins)

    def _begins_in(self, how: Condition, gone: NDArray[np.bool_]) -> dict[int, Begins]:
        """The beginnings of those faults in which a condition changes anything."""
        if how.name == RUNNING.name:
            return {}
        graph, starts = self.graph, self.every_start
        hidden = set(zip(starts.fault[gone].tolist(), starts.net[gone].tolist(), strict=True))
        found, passed = {}, dict[PinRef, set[int]]()
        for k in self._touched(how):
            fault = self.faults[k]
            kept = {net for net, _ in fault.starts if (k, net) not in hidden}
            if fault.pin is not None and fault.carries:
                if fault.pin not in passed:
                    outs = self._passing(how, fault.pin, ((0, out) for out in fault.carries))
                    passed[fault.pin] = {graph.number[graph.net(out)] for _, out in outs}
                kept |= passed[fault.pin]
            found[k] = tuple(sorted(kept))
        return found

    def _passing(
        self, how: Condition, enters: PinRef, fan: Iterable[tuple[int, PinRef]]
    ) -> Iterable[tuple[int, PinRef]]:
        """Of the ways from an input those that carry a signal in a condition."""
        blocked = blocked_roles(self.graph, how, enters)
        if not blocked:
            return fan
        if blocked is ALL_ROLES:
            return ()
        spec = self.graph.spec
        return [one for one in fan if (leaves := spec(one[1])) is None or leaves.role not in blocked]

    def _followers(self, how: Condition) -> list[set[int]]:
        """For every net the nets that it acts on directly."""
        graph = self.graph
        followers: list[set[int]] = [set() for _ in graph.nets]
        plain = how.name == RUNNING.name
        for enters, fan in graph.fans.items():
            passing = fan if plain else self._passing(how, enters, fan)
            followers[graph.number[graph.net(enters)]].update([sink for sink, _ in passing])
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


def _nets_of(starts: Sequence[tuple[int, Mode]]) -> Begins:
    if len(starts) == 1:  # most faults begin on one net
        return (starts[0][0],)
    return tuple(sorted([net for net, _ in starts]))
