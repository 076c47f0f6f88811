"""What every fault does at every point: faults and downstream nets brought together as arrays, one condition each."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from coppermend.board.kinds import IC_KINDS
from coppermend.board.model import PinRef
from coppermend.errors import UnknownName
from coppermend.isolate.conditions import (
    MEMORY_KINDS,
    RUNNING,
    Condition,
    ConditionName,
    conditions_of,
    emptied,
    is_hidden,
)
from coppermend.isolate.faultlist import faults_of
from coppermend.isolate.faults import Faults
from coppermend.isolate.graph import SignalGraph
from coppermend.isolate.looks import Joints, Outputs
from coppermend.isolate.pins import Numbers
from coppermend.isolate.priors import Knowledge
from coppermend.isolate.standing import Standing, StandingBuilder
from coppermend.isolate.states import Floats, Mode
from coppermend.isolate.units import Units

Modes = NDArray[np.uint8]

KEPT_MODES = 32_000_000  # faults times nets whose modes are remembered: 32 MB


class Effects:
    """The faults of one board and the mode that each puts on a net, pin by pin. Built once, never changed.

    A condition's ``Standing`` is worked out when it is first asked for.
    """

    def __init__(self, graph: SignalGraph, known: Knowledge) -> None:
        self.graph = graph
        self.faults: Faults = faults_of(graph, known)
        self.units = Units(self.faults)
        self.unit_of_fault: Numbers = self.units.of_fault
        self.site_of_unit: Numbers = self.units.site_of_unit
        self.site_of_fault: Numbers = self.site_of_unit[self.unit_of_fault]
        self.conditions: tuple[Condition, ...] = conditions_of(graph)
        weights = self.faults.weight
        self.prior: Floats = weights / weights.sum() if weights.size else weights
        self._builder = StandingBuilder(graph, self.faults)
        self._standing: dict[ConditionName, Standing] = {}
        self._modes: dict[tuple[int, ConditionName], Modes] = {}

    @cached_property
    def emptied(self) -> dict[str, Condition]:
        """Refdes -> the condition in which its socket is empty."""
        return emptied(self.graph)

    @cached_property
    def enters(self) -> tuple[tuple[str, ...], sparse.csr_array]:
        """Parts whose sockets can be emptied, and which faults act through each: begin on a net that it reads, or cut
        one of its inputs off; 1.0 or nothing, shape (parts, faults).
        """
        names, starts, pins = tuple(self.emptied), self._builder.every_start, self.faults.pins
        row = np.full(len(pins.parts), -1, dtype=np.int64)
        row[[pins.part_number[refdes] for refdes in names]] = np.arange(len(names))
        inputs = np.flatnonzero(pins.reads & (row[pins.part] >= 0))
        part, net, count = row[pins.part[inputs]], pins.net[inputs], len(self.faults)
        begins = [starts.fault[starts.at(k)] for k in net.tolist()]
        through = np.repeat(part, [len(some) for some in begins]) * count + np.concatenate([_NONE, *begins])
        sits = np.flatnonzero((self.faults.pin >= 0) & np.isin(self.faults.pin, inputs))
        at_input = row[pins.part[self.faults.pin[sits]]] * count + sits
        each, place = np.divmod(np.unique(np.append(through, at_input)), max(count, 1))
        bounds = np.searchsorted(each, np.arange(len(names) + 1))
        return names, sparse.csr_array((np.ones(len(place)), place, bounds), shape=(len(names), count))

    def condition(self, name: ConditionName) -> Condition:
        """The condition of this board called ``name``.

        Raises:
            UnknownName: If the board cannot be brought to it.
        """
        every = (*self.conditions, *self.emptied.values())
        found = next((one for one in every if one.name == name), None)
        if found is None:
            raise UnknownName("condition that the board can be brought to", name, self.graph.board.name)
        return found

    def at(self, name: ConditionName) -> Standing:
        """The board in a condition.

        Raises:
            UnknownName: If the board cannot be brought to it.
        """
        if name not in self._standing:
            self._standing[name] = self._builder.stand(self.condition(name))
        return self._standing[name]

    def reaches(self, net: int, condition: ConditionName) -> NDArray[np.bool_]:
        """For every fault whether ``net`` lies downstream of where it begins, shape (faults,)."""
        standing = self.at(condition)
        column = (standing.rows[:, net >> 3] >> (net & 7)) & 1
        return column.astype(bool)[standing.row_of_fault]

    def modes_at(self, net: int, condition: ConditionName, pin: PinRef | None = None) -> Modes:
        """The mode that each fault puts on a net, or on one pin of it; shape (faults,), not to be written to."""
        modes = self._modes_on(net, condition)
        at_pin = self._shown_at(pin, condition) if pin else []
        if not at_pin:
            return modes
        modes = modes.copy()
        modes[at_pin] = self.faults.pin_mode[at_pin]
        return modes

    def _shown_at(self, pin: PinRef, condition: ConditionName) -> list[int]:
        """Faults that sit at a pin and show there: of an absent part only its copper."""
        at_pin = self.faults.at(pin)
        if condition == RUNNING.name or not at_pin:
            return at_pin
        how = self.at(condition).condition
        if not is_hidden(self.graph, how, pin.refdes, self.graph.net(pin)):
            return at_pin
        return [number for number in at_pin if self.faults.opens[number]]

    def faults_of_parts(self, refdes: Iterable[str]) -> Numbers:
        """Numbers of the faults of parts and of their sockets."""
        found = [self._of_part.get(name, _NONE) for name in refdes]
        return np.concatenate(found) if found else _NONE

    @cached_property
    def _of_part(self) -> dict[str, Numbers]:
        """Refdes -> numbers of the faults of that part and its socket."""
        order = np.argsort(self.site_of_fault, kind="stable")
        bounds = np.searchsorted(self.site_of_fault[order], np.arange(self.units.site_count + 1)).tolist()
        return {name: order[bounds[k] : bounds[k + 1]] for k, name in self.units.part_sites.items()}

    def _modes_on(self, net: int, condition: ConditionName) -> Modes:
        key = (net, condition)
        if key in self._modes:
            return self._modes[key]
        standing = self.at(condition)
        column = (standing.rows[:, net >> 3] >> (net & 7)) & 1
        modes: Modes = (column * self.follow_mode[net])[standing.row_of_fault]
        here = standing.starts.at(net)
        modes[standing.starts.fault[here]] = standing.starts.mode[here]
        if (len(self._modes) + 1) * max(len(self.faults), 1) > KEPT_MODES:
            self._modes.clear()
        self._modes[key] = modes
        return modes

    @cached_property
    def section_of_site(self) -> tuple[Numbers, tuple[str, ...]]:
        """The number of each site's section (0: of none), and the sections by number."""
        parts, numbers = self.graph.board.index.parts, {"": 0}
        found = np.zeros(self.units.site_count, dtype=np.int64)
        for k, refdes in self.units.part_sites.items():
            found[k] = numbers.setdefault(parts[refdes].section, len(numbers))
        return found, tuple(numbers)

    @cached_property
    def outputs(self) -> Outputs:
        """What can be watched to see what the board does."""
        return Outputs(self)

    @cached_property
    def joints(self) -> Joints:
        """Joints that can be looked over."""
        return Joints(self)

    @cached_property
    def is_store(self) -> NDArray[np.bool_]:
        """Which sites are memories and peripherals, shape (sites,)."""
        kinds = self.graph.kinds
        found = np.zeros(self.units.site_count, dtype=bool)
        found[[k for k, refdes in self.units.part_sites.items() if kinds[refdes] in MEMORY_KINDS]] = True
        return found

    @property
    def probeable(self) -> NDArray[np.bool_]:
        """Which nets carry a signal that a logic probe can read, shape (nets,)."""
        return self._builder.probeable

    @cached_property
    def follow_mode(self) -> Modes:
        """What a net downstream of a fault shows: most move wrongly, shared ones now and
        then, those of resets and of discrete parts rest.
        """
        graph = self.graph
        found = np.full(len(graph.nets), Mode.STAYS, dtype=np.uint8)
        for net, pins in graph.drivers.items():
            drivers = {pin.refdes for pin in pins}
            if graph.roles[net].role in ("reset", "interrupt"):
                continue
            if any(graph.kinds[refdes] in IC_KINDS for refdes in drivers):
                found[graph.number[net]] = Mode.SHARED if len(drivers) > 2 else Mode.FOLLOWS
        return found

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
        starts = self._builder.every_start
        return starts.fault[starts.at(net)]


_NONE: Numbers = np.zeros(0, dtype=np.int64)
