"""Which net acts on which: the signal graph of a board. What lies downstream is in ``downstream``. No faults."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from functools import cached_property, lru_cache
from typing import NamedTuple

from coppermend.board.flow import SERIES_KINDS, Flow
from coppermend.board.kinds import PASSIVE_KINDS
from coppermend.board.model import Board, PinRef
from coppermend.board.parttypes import PartKind, PartLibrary, PartType, PinSpec
from coppermend.board.roles import net_roles
from coppermend.board.same import Same

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
        self.inside: dict[PinRef, tuple[PinRef, ...]] = {}
        self.acting = set[PinRef]()  # input pins that act on any output, be it on a net or not
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
        inside, number, signals = self.inside, self.net_number, self._signal_numbers
        return [p for p in self.board.index.pins_of_part[refdes] if p in inside and number[p] in signals]

    def _scan_parts(self) -> None:
        skipped = PASSIVE_KINDS | {"switch", "crystal", "connector"}
        pins_of_part, net_of = self.board.index.pins_of_part, self._net_of
        for refdes, part in self.board.index.parts.items():
            known = self.library.of(part)
            if known is None or self.kinds[refdes] in skipped:
                continue
            layout, pins = _layout(Same(known)), {pin.pin: pin for pin in pins_of_part[refdes]}
            for number in layout.drives:
                if pin := pins.get(number):
                    self.drivers[net_of[pin]].append(pin)
            groups = [tuple([pins[n] for n in numbers if n in pins]) for numbers in layout.groups]
            for number, group in layout.inputs:
                if enters := pins.get(number):
                    self.inside[enters] = groups[group]
                    if layout.groups[group]:
                        self.acting.add(enters)

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
        for enters, outs in self.inside.items():
            if self.net_number[enters] not in self._supply_numbers:
                if id(outs) not in ways:
                    ways[id(outs)] = self._ways(outs)
                self._fan(enters, ways[id(outs)])

    def _passive_fans(self) -> None:
        """Series parts carry a level from a net that is driven to one that is not; both ways between two such."""
        driven, net_of = frozenset(self.drivers), self._net_of
        for refdes, kind in self.kinds.items():
            if kind in SERIES_KINDS or kind in _SMALL_KINDS:
                pins = self.board.index.pins_of_part[refdes]
                if len(pins) == 2 and net_of[pins[0]] != net_of[pins[1]]:  # each is the other's end
                    self._beyond.update({pins[0]: pins[1:], pins[1]: pins[:1]})
                for pin in pins:
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


@lru_cache(maxsize=1024)
def _layout(of: Same[PartType]) -> _Layout:
    known = of.thing
    drives = {pin for path in known.paths for pin in path.outputs}
    drives |= {pin.number for pin in known.pins if pin.direction in _DRIVES}
    behind: dict[str, dict[str, None]] = {}
    for path in known.paths:
        for number in path.inputs:
            behind.setdefault(number, {}).update(dict.fromkeys(out for out in path.outputs if out != number))
    group: dict[tuple[str, ...], int] = {}
    inputs = [(number, group.setdefault(tuple(outs), len(group))) for number, outs in behind.items()]
    return _Layout(sorted(drives), inputs, list(group))
