"""What every fault does at every point: faults, conditions and downstream nets brought together as arrays."""

from __future__ import annotations

from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from coppermend.board.kinds import IC_KINDS
from coppermend.board.model import PinRef
from coppermend.isolate.conditions import (
    CUT_KINDS,
    Condition,
    ConditionName,
    conditions_of,
    edges_in,
    is_cut,
    is_hidden,
)
from coppermend.isolate.faults import Fault, Units, faults_of
from coppermend.isolate.graph import Bits, Downstream, SignalGraph
from coppermend.isolate.priors import Knowledge
from coppermend.isolate.states import Floats, Mode

Modes = NDArray[np.uint8]
Numbers = NDArray[np.int64]


KEPT_CELLS = 4_000_000  # rows times nets that are worth keeping unpacked: 16 MB a condition


class Starts(NamedTuple):
    """Beginnings of faults as arrays along all of them, in the order of their nets; ``first`` bounds each net's."""

    fault: Numbers
    net: Numbers
    mode: Numbers
    first: Numbers

    @classmethod
    def of(cls, rows: list[tuple[int, int, Mode]], nets: int) -> Starts:
        """From (fault, net, mode)."""
        table = np.array(rows, dtype=np.int64).reshape(-1, 3)
        table = table[np.argsort(table[:, 1], kind="stable")]
        return cls(table[:, 0], table[:, 1], table[:, 2], np.searchsorted(table[:, 1], np.arange(nets + 1)))

    def at(self, net: int) -> slice:
        """Where the beginnings on a net stand."""
        return slice(int(self.first[net]), int(self.first[net + 1]))


class Effects:
    """The faults of one board and the mode that each puts on a net, pin by pin. Built once, never changed.

    ``rows[condition]`` has a row of packed bits for every distinct set of nets that faults begin with;
    ``row_of_fault[condition]`` says which. ``starts[condition]`` holds where they begin, and with which mode.
    """

    def __init__(self, graph: SignalGraph, known: Knowledge) -> None:
        self.graph = graph
        self.faults: tuple[Fault, ...] = faults_of(graph, known)
        self.units = Units(self.faults)
        self.unit_of_fault: Numbers = np.array(self.units.of_fault, dtype=np.int64)
        self.site_of_unit: Numbers = np.array(self.units.site_of_unit, dtype=np.int64)
        self.site_of_fault: Numbers = (
            self.site_of_unit[self.unit_of_fault] if self.faults else self.unit_of_fault
        )
        self.conditions: tuple[Condition, ...] = conditions_of(graph)
        weights = np.array([fault.weight for fault in self.faults], dtype=np.float64)
        self.prior: Floats = weights / weights.sum() if weights.size else weights
        self._index_starts()
        self._index_rows()

    def _index_starts(self) -> None:
        self.starts: dict[ConditionName, Starts] = {}
        for condition in self.conditions:
            rows = [
                (number, net, mode)
                for number, fault in enumerate(self.faults)
                for net, mode in self._shown_starts(fault, condition.name)
            ]
            self.starts[condition.name] = Starts.of(rows, len(self.graph.nets))
        self.faults_at_pin: dict[PinRef, list[int]] = {}
        for number, fault in enumerate(self.faults):
            if fault.pin is not None:
                self.faults_at_pin.setdefault(fault.pin, []).append(number)

    def _shown_starts(self, fault: Fault, name: ConditionName) -> tuple[tuple[int, Mode], ...]:
        if name == "running" or self.graph.kinds.get(fault.unit.name) != "cpu":
            return fault.starts
        graph, refdes = self.graph, fault.unit.name
        return tuple(s for s in fault.starts if not is_hidden(graph, name, refdes, graph.nets[s[0]]))

    def _index_rows(self) -> None:
        self.downstream: dict[ConditionName, Downstream] = {}
        self.rows: dict[ConditionName, Bits] = {}
        self.row_of_fault: dict[ConditionName, Numbers] = {}
        for condition in self.conditions:
            edges = ((edge.source, edge.sink) for edge in edges_in(self.graph, condition.name))
            down = Downstream(len(self.graph.nets), edges)
            distinct: dict[tuple[int, ...], int] = {}
            numbers = [
                distinct.setdefault(self._begins(fault, condition.name), len(distinct))
                for fault in self.faults
            ]
            self.downstream[condition.name] = down
            self.rows[condition.name] = down.packed([down.mask(begins) for begins in distinct])
            self.row_of_fault[condition.name] = np.array(numbers, dtype=np.int64)

    def _begins(self, fault: Fault, name: ConditionName) -> tuple[int, ...]:
        """The nets that a fault begins on, or that follow it through its own part."""
        graph = self.graph
        starts = [net for net, _ in self._shown_starts(fault, name)]
        if fault.pin is None or not fault.carries:
            return tuple(sorted(starts))
        whole = name == "running" or graph.kinds[fault.pin.refdes] not in CUT_KINDS
        passed = (
            graph.number[graph.net(leaves)]
            for leaves in fault.carries
            if whole or not is_cut(graph, name, fault.pin, leaves)
        )
        return tuple(sorted({*starts, *passed}))

    def unpacked(self, condition: ConditionName) -> NDArray[np.float32]:
        """The rows of a condition as 0 and 1, shape (rows, nets); for boards up to ``KEPT_CELLS`` only."""
        if condition not in self._unpacked:
            count = self.downstream[condition].count
            bits = np.unpackbits(self.rows[condition], axis=1, count=count, bitorder="little")
            self._unpacked[condition] = bits.astype(np.float32)
        return self._unpacked[condition]

    @cached_property
    def _unpacked(self) -> dict[ConditionName, NDArray[np.float32]]:
        return {}

    def name_of(self, condition: str) -> ConditionName:
        """The condition itself, or ``running`` where the board cannot be brought to it."""
        return next((c.name for c in self.conditions if c.name == condition), "running")

    def reaches(self, net: int, condition: ConditionName) -> NDArray[np.bool_]:
        """For every fault whether ``net`` lies downstream of where it begins, shape (faults,)."""
        column = (self.rows[condition][:, net >> 3] >> (net & 7)) & 1
        return column.astype(bool)[self.row_of_fault[condition]]

    def modes_at(self, net: int, condition: ConditionName, pin: PinRef | None = None) -> Modes:
        """The mode that each fault puts on a net, or on one pin of it; shape (faults,)."""
        modes = np.where(self.reaches(net, condition), self.follow_mode[net], np.uint8(Mode.NONE))
        starts, here = self.starts[condition], self.starts[condition].at(net)
        modes[starts.fault[here]] = starts.mode[here]
        for number in self.faults_at_pin.get(pin, ()) if pin else ():
            modes[number] = self.faults[number].pin_mode
        return modes

    @cached_property
    def grounding(self) -> NDArray[np.bool_]:
        """Which faults an ohmmeter to ground (or between the two nets) sees, shape (faults,)."""
        return np.array([fault.grounds for fault in self.faults], dtype=bool)

    @cached_property
    def section_of_site(self) -> tuple[Numbers, tuple[str, ...]]:
        """The number of each site's section (0: of none), and the sections by number."""
        parts = self.graph.board.index.parts
        names = [parts[s.name].section if s.kind == "part" else "" for s in self.units.sites]
        numbers = {name: k for k, name in enumerate(dict.fromkeys(["", *names]))}
        return np.array([numbers[name] for name in names], dtype=np.int64), tuple(numbers)

    @cached_property
    def probeable(self) -> NDArray[np.bool_]:
        """Which nets carry a signal that a logic probe can read, shape (nets,)."""
        return np.array([self.graph.signal(net) for net in self.graph.nets], dtype=bool)

    @cached_property
    def follow_mode(self) -> Modes:
        """What a net downstream of a fault shows: most move wrongly, shared ones now and
        then, those of resets and of discrete parts rest.
        """
        graph = self.graph
        rests = [
            graph.roles[net].role in ("reset", "interrupt")
            or not any(graph.kinds[pin.refdes] in IC_KINDS for pin in graph.drivers.get(net, ()))
            for net in graph.nets
        ]
        shared = [len({pin.refdes for pin in graph.drivers.get(net, ())}) > 2 for net in graph.nets]
        moving = np.where(shared, np.uint8(Mode.SHARED), np.uint8(Mode.FOLLOWS))
        return np.where(rests, np.uint8(Mode.STAYS), moving)

    def handy_pin(self, net: str) -> PinRef:
        """The pin of a net that a probe finds first: of an integrated circuit that reads it, else any."""
        if net not in self._handy:
            graph = self.graph
            pins = graph.board.nets[net]
            ics = [p for p in pins if graph.kinds.get(p.refdes) in IC_KINDS]
            readers = [p for p in ics if p not in graph.drivers[net]]
            self._handy[net] = (readers or ics or list(pins))[0]
        return self._handy[net]

    @cached_property
    def _handy(self) -> dict[str, PinRef]:
        return {}

    def beginning_at(self, net: int) -> Numbers:
        """Numbers of the faults that begin on a net."""
        starts = self.starts["running"]
        return starts.fault[starts.at(net)]
