"""The board in one condition: where each fault begins, what lies downstream, what can be probed. Modes come later."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from functools import cached_property
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
from coppermend.isolate.downstream import Bits, Downstream
from coppermend.isolate.faults import Faults
from coppermend.isolate.graph import SignalGraph
from coppermend.isolate.pins import Numbers
from coppermend.isolate.states import Mode
from coppermend.isolate.units import first_seen

Begins = tuple[int, ...]
Blocked = Mapping[PinRef, frozenset[str]]
_NOTHING, _NO_NETS = frozenset[str](), frozenset[int]()
# What an output does no more once it is switched off: it cannot be wrong, silent or missing.
_LET_GO = frozenset(map(int, (Mode.SHARED, Mode.WRONG, Mode.DEAD, Mode.FLOATING)))


class Starts(NamedTuple):
    """Beginnings of faults as arrays along all of them, in the order of their nets; ``first`` bounds each net's."""

    fault: Numbers
    net: Numbers
    mode: Numbers
    first: Numbers

    @classmethod
    def of(cls, rows: Numbers, nets: int) -> Starts:
        """From rows of (fault, net, mode), in the order of the faults."""
        fault, net, mode = rows[np.argsort(rows[:, 1], kind="stable")].T.copy()
        return cls(fault, net, mode, np.searchsorted(net, np.arange(nets + 1)))

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


class StandingBuilder:
    """Works out a ``Standing`` for any condition of one board, from what the condition changes of the running one."""

    def __init__(self, graph: SignalGraph, faults: Faults) -> None:
        self.graph, self.faults, self.pins = graph, faults, faults.pins

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
        return Standing(how, starts, down, down.rows(list(number_of)), row_of_fault, self._probeable(how))

    @cached_property
    def every_start(self) -> Starts:
        """Where every fault begins while the board runs."""
        return Starts.of(self.faults.starts, len(self.graph.nets))

    @cached_property
    def _numbered(self) -> tuple[dict[Begins, int], Numbers]:
        """Every distinct set of nets that faults begin with while the board runs, numbered as they first come; and that
        of each fault.

        A fault begins on its own nets and on those that follow it through its own part.
        """
        faults, nets = self.faults, len(self.graph.nets)
        own, net = faults.first, faults.starts[:, 1].tolist()
        # A set is known by its net while it has one, else by a number above those of the nets.
        sets, several = np.empty(len(faults), dtype=np.int64), dict[Begins, int]()
        single = np.flatnonzero((np.diff(own) == 1) & ~faults.carries)
        sets[single] = faults.starts[own[single], 1]
        for k in np.flatnonzero((np.diff(own) > 1) & ~faults.carries).tolist():
            sets[k] = several.setdefault(tuple(sorted(net[own[k] : own[k + 1]])), nets + len(several))
        # Inputs that the same outputs follow begin alike, but for a net that the pin itself drives.
        carrying = np.flatnonzero(faults.carries)
        pin = faults.pin[carrying]
        driven = np.where(self.pins.drives[pin], self.pins.net[pin], nets)
        alike, place = np.unique(self.pins.group[pin] * (nets + 1) + driven, return_inverse=True)
        found = []
        for code in alike.tolist():
            group, also = divmod(code, nets + 1)
            begins = tuple(sorted({*self._nets_behind[group], also} - {nets}))
            found.append(begins[0] if len(begins) == 1 else several.setdefault(begins, nets + len(several)))
        sets[carrying] = np.array(found, dtype=np.int64)[place]
        row_of_fault, codes = first_seen(sets)
        known = list(several)
        begun = [(code,) if code < nets else known[code - nets] for code in codes.tolist()]
        return {begins: row for row, begins in enumerate(begun)}, row_of_fault

    @cached_property
    def _nets_behind(self) -> list[frozenset[int]]:
        """Nets that each group of outputs drives."""
        net = self.pins.net.tolist()
        return [frozenset([net[out] for out in group]) for group in self.pins.groups]

    def _gone(self, how: Condition) -> NDArray[np.bool_]:
        """Which beginnings a condition takes off the board, shape (beginnings,)."""
        starts, graph, kinds, parts = self.every_start, self.graph, self.graph.kinds, self.pins.parts
        gone = np.zeros(len(starts.fault), dtype=bool)
        off = {refdes for refdes, kind in kinds.items() if how.forced and kind == "cpu"} | {how.out}
        if how.deselected:
            off |= {refdes for refdes, kind in kinds.items() if kind in MEMORY_KINDS}
        inside = self.faults.inside[starts.fault]
        touched = np.isin(inside, [k for name in off if (k := self.pins.part_number.get(name)) is not None])
        hidden, released = dict[tuple[int, int], bool](), dict[tuple[int, int], bool]()
        for place in np.flatnonzero(touched).tolist():
            here = part, net = int(inside[place]), int(starts.net[place])
            if here not in hidden:
                hidden[here] = is_hidden(graph, how, parts[part], graph.nets[net])
                released[here] = how.deselected and self._released(how, parts[part], graph.nets[net])
            gone[place] = hidden[here] or (released[here] and starts.mode[place] in _LET_GO)
        return gone

    def _released(self, how: Condition, refdes: str, net: str) -> bool:
        pins = (pin for pin in self.graph.board.nets[net] if pin.refdes == refdes)
        return any(is_released(self.graph, how, pin) for pin in pins)

    def _begins_in(self, blocked: Blocked, gone: NDArray[np.bool_]) -> dict[int, Begins]:
        """The beginnings of those faults in which a condition changes anything."""
        starts, faults, pins = self.every_start, self.faults, self.pins
        hidden: dict[int, set[int]] = defaultdict(set)
        for number, net in zip(starts.fault[gone].tolist(), starts.net[gone].tolist(), strict=True):
            hidden[number].add(net)
        roles = {pins.number[pin]: what for pin, what in blocked.items()}
        cut = np.zeros(len(pins.refs), dtype=bool)
        cut[list(roles)] = True
        changed = np.array(
            sorted({*hidden, *np.flatnonzero(faults.carries & cut[faults.pin]).tolist()}), dtype=int
        )
        place, first, own = faults.pin[changed].tolist(), faults.first, faults.starts[:, 1].tolist()
        group, carries = pins.group[place].tolist(), faults.carries[changed].tolist()
        begins, last = first[changed].tolist(), first[changed + 1].tolist()
        passed: dict[tuple[int, frozenset[str]], frozenset[int]] = {}
        found = {}
        for k, number in enumerate(changed.tolist()):
            kept = set(own[begins[k] : last[k]]) - hidden.get(number, _NO_NETS)
            if carries[k]:
                way = group[k], roles.get(place[k], _NOTHING)
                if way not in passed:
                    passed[way] = self._passed(*way)
                kept |= passed[way]
            found[number] = tuple(sorted(kept))
        return found

    def _passed(self, group: int, blocked: frozenset[str]) -> frozenset[int]:
        """Nets that a group of outputs drives, where some of their roles are blocked."""
        if not blocked:
            return self._nets_behind[group]
        refs, net = self.pins.refs, self.pins.net
        outs = self._passing(blocked, [(out, refs[out]) for out in self.pins.groups[group]])
        return frozenset([int(net[out]) for out, _ in outs])

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
