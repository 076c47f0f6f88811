"""Which net acts on which: the signal graph of a board, its loops, and what lies downstream. No faults.

Feedback (CPU - bus - memory - CPU) makes one strongly connected group, in which everything is downstream of
everything. A condition opens such loops by cutting edges; see ``conditions``.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from coppermend.board.flow import SERIES_KINDS, Flow
from coppermend.board.kinds import PASSIVE_KINDS
from coppermend.board.model import Board, PinRef
from coppermend.board.parttypes import PartKind, PartLibrary, PartType, PinSpec
from coppermend.board.roles import net_roles

Bits = NDArray[np.uint8]
_SMALL_KINDS = frozenset({"capacitor", "electrolytic", "crystal", "trimmer"})
_DRIVES = ("out", "bidi", "open-collector")


class Edge(NamedTuple):
    """The level of net ``source`` acts on net ``sink`` through a part, from pin ``enters`` to pin ``leaves``."""

    source: int
    sink: int
    enters: PinRef
    leaves: PinRef


Fan = tuple[tuple[int, PinRef], ...]


class SignalGraph:
    """Nets as nodes, numbered as in ``nets``; supply nets are nodes that nothing on the board leads into.

    ``drivers[net]`` are the pins that set its level; ``net_number`` has every pin that is on a net.
    """

    def __init__(self, board: Board, library: PartLibrary) -> None:
        self.board, self.library = board, library
        self.roles = net_roles(board, library)
        self.supply = frozenset(net for net, role in self.roles.items() if role.role in ("rail", "ground"))
        self.grounds = frozenset(net for net, role in self.roles.items() if role.role == "ground")
        self.flow = Flow(board, library, self.supply)
        self._specs: dict[PinRef, PinSpec | None] = {}
        # A netlist may name parts that the parts list lacks: they have no kind and no signal passes them.
        named = dict.fromkeys(board.index.pins_of_part)
        self.kinds: Mapping[str, PartKind | None] = {**named, **self.flow.kinds}
        self.nets: tuple[str, ...] = tuple(board.nets)
        self.number: Mapping[str, int] = {net: i for i, net in enumerate(self.nets)}
        self._net_of = board.index.net_of_pin
        self.net_number: Mapping[PinRef, int] = {p: self.number[net] for p, net in self._net_of.items()}
        self._signals = frozenset(
            n for n, pins in board.nets.items() if len(pins) > 1 and n not in self.supply
        )
        self._signal_numbers = frozenset(self.number[net] for net in self._signals)
        self._supply_numbers = frozenset(self.number[net] for net in self.supply)
        self.drivers: dict[str, list[PinRef]] = defaultdict(list)
        # Input pin -> output pins on nets, each once; inputs that act on the same outputs share one tuple.
        self._inside: dict[PinRef, tuple[PinRef, ...]] = {}
        self._acting = set[PinRef]()  # input pins that act on any output, be it on a net or not
        self._scan_parts()
        # Where each input leads: (net that follows, pin by which the level leaves the part).
        self.fans: dict[PinRef, Fan] = {}
        self._beyond: dict[PinRef, list[PinRef]] = {}
        self._active_fans()
        self._passive_fans()
        self._supply_fans()

    @cached_property
    def edges(self) -> tuple[Edge, ...]:
        """Every way in which one net acts on another."""
        return tuple(
            Edge(self.net_number[enters], sink, enters, leaves)
            for enters, fan in self.fans.items()
            for sink, leaves in fan
        )

    def signal(self, net: str) -> bool:
        """Whether ``net`` carries a signal: no rail, no ground, and at least two pins."""
        return net in self._signals

    def net(self, pin: PinRef) -> str:
        """The net of a pin, "" when it is on none."""
        return self._net_of.get(pin, "")

    def on_signal(self, pin: PinRef) -> bool:
        """Whether a pin is on a net that carries a signal."""
        return self.net_number.get(pin) in self._signal_numbers

    def spec(self, pin: PinRef) -> PinSpec | None:
        """What the library says of a pin, remembered."""
        if pin not in self._specs:
            self._specs[pin] = self.flow.spec(pin)
        return self._specs[pin]

    def acts(self, pin: PinRef) -> bool:
        """Whether any output pin of its part, on a net or not, follows a pin."""
        return pin in self._acting

    def live_behind(self, pin: PinRef) -> tuple[PinRef, ...]:
        """Output pins on signal nets that follow input ``pin`` inside its part, each once."""
        outs = self._inside.get(pin, ())
        if id(outs) not in self._live_of:
            live = self.live
            self._live_of[id(outs)] = tuple([out for out in outs if out in live])
        return self._live_of[id(outs)]

    @cached_property
    def _live_of(self) -> dict[int, tuple[PinRef, ...]]:
        """Identity of a tuple of outputs -> those of them on signal nets."""
        return {}

    @cached_property
    def live(self) -> frozenset[PinRef]:
        """Driving pins on signal nets."""
        return frozenset(pin for net, pins in self.drivers.items() if net in self._signals for pin in pins)

    @cached_property
    def sole_driver(self) -> Mapping[str, str]:
        """Net -> refdes of the only part that drives it; "" where there are several."""
        found = {}
        for net, pins in self.drivers.items():
            first = pins[0].refdes
            found[net] = first if len(pins) == 1 or all(pin.refdes == first for pin in pins) else ""
        return found

    def outputs_of(self, refdes: str) -> list[PinRef]:
        """Driving pins of a part that are on signal nets."""
        live = self.live
        return [p for p in self.board.index.pins_of_part[refdes] if p in live]

    def inputs_of(self, refdes: str) -> list[PinRef]:
        """Reading pins of a part that are on signal nets."""
        inside, number, signals = self._inside, self.net_number, self._signal_numbers
        return [p for p in self.board.index.pins_of_part[refdes] if p in inside and number[p] in signals]

    def _scan_parts(self) -> None:
        skipped = PASSIVE_KINDS | {"switch", "crystal", "connector"}
        layouts: dict[str, _Layout] = {}
        pins_of_part, net_of = self.board.index.pins_of_part, self._net_of
        for refdes, part in self.board.index.parts.items():
            known = self.library.of(part)
            if known is None or self.kinds[refdes] in skipped:
                continue
            if known.name not in layouts:
                layouts[known.name] = _layout(known)
            layout, pins = layouts[known.name], {pin.pin: pin for pin in pins_of_part[refdes]}
            for number in layout.drives:
                if pin := pins.get(number):
                    self.drivers[net_of[pin]].append(pin)
            groups = [tuple([pins[n] for n in numbers if n in pins]) for numbers in layout.groups]
            for number, group in layout.inputs:
                if enters := pins.get(number):
                    self._inside[enters] = groups[group]
                    if layout.groups[group]:
                        self._acting.add(enters)

    def _fan(self, enters: PinRef, ways: Fan) -> None:
        """Note that ``enters`` leads by these ways to nets; its own net does not follow itself."""
        source = self.net_number.get(enters)
        if source is None:
            return
        if source in [sink for sink, _ in ways]:
            ways = tuple([way for way in ways if way[0] != source])
        self.fans[enters] = self.fans[enters] + ways if enters in self.fans else ways

    def _ways(self, outs: Iterable[PinRef]) -> Fan:
        """What leaves a part by these pins: the net that follows with each, but for supplies."""
        number, supply = self.net_number, self._supply_numbers
        return tuple(
            [(net, out) for out in outs if (net := number.get(out)) is not None and net not in supply]
        )

    def _active_fans(self) -> None:
        ways: dict[int, Fan] = {}
        for enters, outs in self._inside.items():
            if self.net_number[enters] not in self._supply_numbers:
                if id(outs) not in ways:
                    ways[id(outs)] = self._ways(outs)
                self._fan(enters, ways[id(outs)])

    def _passive_fans(self) -> None:
        """Series parts carry a level from a net that is driven to one that is not; both ways between two such."""
        driven, net_of = frozenset(self.drivers), self._net_of
        for refdes, kind in self.kinds.items():
            if kind in SERIES_KINDS or kind in _SMALL_KINDS:
                for pin in self.board.index.pins_of_part[refdes]:
                    beyond = [other for other in self.ends_beyond(pin) if net_of.get(other) not in driven]
                    self._fan(pin, self._ways(beyond))

    def ends_beyond(self, pin: PinRef) -> list[PinRef]:
        """The other end of a two-lead part (or of one element of a network) at ``pin``; none for other parts."""
        if pin not in self._beyond:
            self._beyond[pin] = self._ends_beyond(pin)
        return self._beyond[pin]

    def _ends_beyond(self, pin: PinRef) -> list[PinRef]:
        kind = self.kinds[pin.refdes]
        if kind in SERIES_KINDS:
            across = self.flow.across(pin)
            return [across] if across else []
        if kind not in _SMALL_KINDS:
            return []
        others = [p for p in self.board.index.pins_of_part[pin.refdes] if p != pin]
        return others if len(others) <= 2 else []

    def _supply_fans(self) -> None:
        """A rail acts on every output of the parts that it feeds."""
        for rail in self.supply - self.grounds:
            for pin in self.board.nets[rail]:
                spec = self.spec(pin)
                if spec is not None and spec.direction == "power":
                    self._fan(pin, self._ways(self.outputs_of(pin.refdes)))

    def fed_by(self, rail: str) -> list[str]:
        """Refdes of the parts with a power pin on ``rail``."""
        pins = self.board.nets.get(rail, ())
        specs = [(pin, self.spec(pin)) for pin in pins]
        return list(dict.fromkeys(pin.refdes for pin, spec in specs if spec and spec.direction == "power"))


class _Layout(NamedTuple):
    """What a part type does inside, by pin numbers: what it drives, and for each input the group of outputs it acts on."""

    drives: list[str]
    inputs: list[tuple[str, int]]
    groups: list[tuple[str, ...]]


def _layout(known: PartType) -> _Layout:
    drives = {pin for path in known.paths for pin in path.outputs}
    drives |= {pin.number for pin in known.pins if pin.direction in _DRIVES}
    behind: dict[str, dict[str, None]] = {}
    for path in known.paths:
        for number in path.inputs:
            behind.setdefault(number, {}).update(dict.fromkeys(out for out in path.outputs if out != number))
    group: dict[tuple[str, ...], int] = {}
    inputs = [(number, group.setdefault(tuple(outs), len(group))) for number, outs in behind.items()]
    return _Layout(sorted(drives), inputs, list(group))


class Downstream:
    """For every net the nets that follow it, itself included, as packed bits; ``groups`` numbers the loops.

    ``order`` puts nets from sources to ends; nets of one loop have one place.
    """

    @classmethod
    def of(cls, count: int, edges: Iterable[tuple[int, int]]) -> Downstream:
        """From pairs (net, net that follows it)."""
        followers: list[set[int]] = [set() for _ in range(count)]
        for source, sink in edges:
            followers[source].add(sink)
        return cls(followers)

    def __init__(self, followers: Sequence[set[int]]) -> None:
        count = len(followers)
        self.count, self.width = count, max((count + 7) // 8, 1)
        self.groups, made = _strong_groups(followers)
        masks: list[int] = []  # groups come ends first, so that what follows a group is known before it
        for members in made:
            mask = 0
            for net in members:
                mask |= 1 << net
                for sink in followers[net]:
                    if self.groups[sink] != len(masks):
                        mask |= masks[self.groups[sink]]
            masks.append(mask)
        self._masks = masks
        self.order = len(made) - 1 - np.array(self.groups, dtype=np.int64)
        self.loops: tuple[tuple[int, ...], ...] = tuple(tuple(m) for m in made if len(m) > 1)

    def mask(self, nets: Iterable[int]) -> int:
        """The nets downstream of any of ``nets``, as the bits of one number."""
        mask = 0
        for net in nets:
            mask |= self._masks[self.groups[net]]
        return mask

    def packed(self, masks: Sequence[int]) -> Bits:
        """Masks as rows of bytes, shape (n, width), bit ``i & 7`` of byte ``i >> 3`` for net ``i``."""
        data = b"".join(mask.to_bytes(self.width, "little") for mask in masks)
        return np.frombuffer(data, dtype=np.uint8).reshape(len(masks), self.width)


def _strong_groups(followers: Sequence[Iterable[int]]) -> tuple[list[int], list[list[int]]]:
    """Strongly connected groups, ends first: the group of every node, and the groups (Tarjan, without recursion)."""
    count = len(followers)
    index, low = [-1] * count, [0] * count
    group, groups = [-1] * count, list[list[int]]()
    stack: list[int] = []
    clock = 0
    for root in range(count):
        if index[root] >= 0:
            continue
        index[root] = low[root] = clock
        clock += 1
        stack.append(root)
        work = [(root, iter(followers[root]))]
        while work:
            node, ahead = work[-1]
            for sink in ahead:
                if index[sink] < 0:
                    index[sink] = low[sink] = clock
                    clock += 1
                    stack.append(sink)
                    work.append((sink, iter(followers[sink])))
                    break
                if group[sink] < 0:
                    low[node] = min(low[node], index[sink])
            else:
                work.pop()
                if work:
                    low[work[-1][0]] = min(low[work[-1][0]], low[node])
                if low[node] == index[node]:
                    members = []
                    while True:
                        member = stack.pop()
                        group[member] = len(groups)
                        members.append(member)
                        if member == node:
                            break
                    groups.append(members)
    return group, groups
