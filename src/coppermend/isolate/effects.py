"""What every fault does at every point: faults and downstream nets brought together as arrays, one condition each."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from coppermend.board.kinds import IC_KINDS
from coppermend.board.model import PinRef
from coppermend.errors import UnknownName
from coppermend.isolate.conditions import (
    ALL_ROLES,
    CUT_KINDS,
    MEMORY_KINDS,
    RUNNING,
    Condition,
    ConditionName,
    blocked_roles,
    conditions_of,
    emptied,
    is_hidden,
    is_released,
)
from coppermend.isolate.faults import Fault, Units, faults_of
from coppermend.isolate.graph import Bits, Downstream, SignalGraph
from coppermend.isolate.priors import Knowledge
from coppermend.isolate.states import Floats, Mode

Modes = NDArray[np.uint8]
Numbers = NDArray[np.int64]
Begins = tuple[int, ...]

KEPT_CELLS = 4_000_000  # rows times nets that are worth keeping unpacked: 16 MB a condition
KEPT_MODES = 32_000_000  # faults times nets whose modes are remembered: 32 MB


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


class Effects:
    """The faults of one board and the mode that each puts on a net, pin by pin. Built once, never changed.

    A condition's ``Standing`` is worked out when it is first asked for.
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
        self.faults_at_pin: dict[PinRef, list[int]] = {}
        for number, fault in enumerate(self.faults):
            if fault.pin is not None:
                self.faults_at_pin.setdefault(fault.pin, []).append(number)
        self._standing: dict[ConditionName, Standing] = {}
        self._modes: dict[tuple[int, ConditionName], Modes] = {}

    @cached_property
    def emptied(self) -> dict[str, Condition]:
        """Refdes -> the condition in which its socket is empty."""
        return emptied(self.graph)

    @cached_property
    def enters(self) -> tuple[tuple[str, ...], NDArray[np.float32]]:
        """Parts whose sockets can be emptied, and which faults act through each: begin on a net that it reads, or cut
        one of its inputs off; shape (parts, faults).
        """
        graph, names = self.graph, tuple(self.emptied)
        found = np.zeros((len(names), len(self.faults)), dtype=np.float32)
        starts = self._every_start
        for row, refdes in enumerate(names):
            for pin in graph.inputs_of(refdes):
                found[row, starts.fault[starts.at(graph.number[graph.net(pin)])]] = 1.0
                found[row, self.faults_at_pin.get(pin, [])] = 1.0
        return names, found

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
            self._standing[name] = self._stand(self.condition(name))
        return self._standing[name]

    def _stand(self, how: Condition) -> Standing:
        graph = self.graph
        gone = self._gone(how)
        starts = self._every_start if not gone.any() else self._every_start.without(gone, len(graph.nets))
        down = Downstream(self._followers(how))
        number_of, row_of_fault = self._numbered
        if how.name != RUNNING.name:
            number_of, row_of_fault = number_of.copy(), row_of_fault.copy()
            for k, begins in self._begins_in(how, gone).items():
                row_of_fault[k] = number_of.setdefault(begins, len(number_of))
        rows = down.packed([down.mask(begins) for begins in number_of])
        return Standing(how, starts, down, rows, row_of_fault, self._probeable(how))

    @cached_property
    def _numbered(self) -> tuple[dict[Begins, int], Numbers]:
        """Every distinct set of nets that faults begin with while the board runs, numbered; and that of each fault."""
        number_of: dict[Begins, int] = {}
        numbers = [number_of.setdefault(begins, len(number_of)) for begins in self._begins]
        return number_of, np.array(numbers, dtype=np.int64)

    @cached_property
    def _every_start(self) -> Starts:
        rows = [(number, net, mode) for number, fault in enumerate(self.faults) for net, mode in fault.starts]
        return Starts.of(rows, len(self.graph.nets))

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
        starts, graph = self._every_start, self.graph
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
        graph, starts = self.graph, self._every_start
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

    def unpacked(self, name: ConditionName) -> NDArray[np.float32]:
        """``Standing.unpacked``, remembered."""
        if name not in self._unpacked:
            self._unpacked[name] = self.at(name).unpacked()
        return self._unpacked[name]

    @cached_property
    def _unpacked(self) -> dict[ConditionName, NDArray[np.float32]]:
        return {}

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
        modes[at_pin] = [self.faults[number].pin_mode for number in at_pin]
        return modes

    def _shown_at(self, pin: PinRef, condition: ConditionName) -> list[int]:
        """Faults that sit at a pin and show there: of an absent part only its copper."""
        at_pin = self.faults_at_pin.get(pin, [])
        if condition == RUNNING.name or not at_pin:
            return at_pin
        how = self.at(condition).condition
        if not is_hidden(self.graph, how, pin.refdes, self.graph.net(pin)):
            return at_pin
        return [number for number in at_pin if self.faults[number].opens]

    def faults_of_parts(self, refdes: Iterable[str]) -> Numbers:
        """Numbers of the faults of parts and of their sockets."""
        found = [self._of_part.get(name, _NONE) for name in refdes]
        return np.concatenate(found) if found else _NONE

    @cached_property
    def _of_part(self) -> dict[str, Numbers]:
        """Refdes -> numbers of the faults of that part and its socket."""
        order = np.argsort(self.site_of_fault, kind="stable")
        bounds = np.searchsorted(self.site_of_fault[order], np.arange(len(self.units.sites) + 1)).tolist()
        return {
            site.name: order[bounds[k] : bounds[k + 1]]
            for k, site in enumerate(self.units.sites)
            if site.kind == "part"
        }

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
    def is_store(self) -> NDArray[np.bool_]:
        """Which sites are memories and peripherals, shape (sites,)."""
        kinds = self.graph.kinds
        return np.array([s.kind == "part" and kinds[s.name] in MEMORY_KINDS for s in self.units.sites])

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
        starts = self._every_start
        return starts.fault[starts.at(net)]


def _nets_of(starts: Sequence[tuple[int, Mode]]) -> Begins:
    if len(starts) == 1:  # most faults begin on one net
        return (starts[0][0],)
    return tuple(sorted([net for net, _ in starts]))


_NONE: Numbers = np.zeros(0, dtype=np.int64)
# What an output does no more once it is switched off: it cannot be wrong, silent or missing.
_LET_GO = frozenset(map(int, (Mode.SHARED, Mode.WRONG, Mode.DEAD, Mode.FLOATING)))
