"""What can be wrong with a board: single faults built from its circuit, each with a weight and what it disturbs.

A fault belongs to a unit, the thing that is repaired: a part, a socket, the copper of a net, a pair of shorted
neighbours, a rail. No readings, no belief.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import cached_property
from itertools import pairwise
from typing import Literal, NamedTuple

from coppermend.board.kinds import natural_key
from coppermend.board.model import PinRef
from coppermend.isolate.conditions import in_socket
from coppermend.isolate.graph import SignalGraph
from coppermend.isolate.priors import Knowledge, rate_of, rate_of_class
from coppermend.isolate.states import Mode

UnitKind = Literal["part", "socket", "net", "short", "rail"]
# How a part's failures divide into ways of failing (common practice, no source).
_IC_SHARES = {"dead": 0.34, "output": 0.33, "input": 0.25, "content": 0.08}
_STORE_SHARES = {"dead": 0.30, "output": 0.25, "input": 0.15, "content": 0.30}
_DRY_SHARE = 0.1  # a filter capacitor has to dry out far before a board stops
TOUCH = "touch at "  # what a short is: neighbouring pins of this part touch
_DOUBTFUL_SHORT = 0.25  # of a joint's weight: neighbours without damage seldom touch


class Unit(NamedTuple):
    """What is repaired: ``name`` is a refdes, a net, a rail, or two nets joined by " + "."""

    kind: UnitKind
    name: str


class Fault(NamedTuple):
    """One way in which one thing fails.

    ``starts`` are (net, mode) where it begins; ``carries`` the output pins behind an open input; both are
    followed downstream. ``pin`` is the pin it sits at, which shows ``pin_mode`` whatever
    the rest of the net does. ``grounds`` says that it ties its nets to ground or to each other, which an
    ohmmeter sees; ``opens`` that continuity through ``pin`` is gone.
    """

    unit: Unit
    what: str
    weight: float
    starts: tuple[tuple[int, Mode], ...] = ()
    carries: tuple[PinRef, ...] = ()
    pin: PinRef | None = None
    pin_mode: Mode = Mode.NONE
    grounds: bool = False
    opens: bool = False


def faults_of(graph: SignalGraph, known: Knowledge) -> tuple[Fault, ...]:
    """Every single fault of the board that disturbs anything, in the order of its parts and nets.

    Weights are relative; a unit's weight is its failure rate times what is known of it.
    """
    builder = _Builder(graph, known)
    found = [f for f in builder.build() if (f.starts or f.carries) and f.weight > 0]
    return tuple(found)


class _Builder:
    def __init__(self, graph: SignalGraph, known: Knowledge) -> None:
        self.graph, self.known, self.board = graph, known, graph.board
        self.joint = rate_of_class("solder_joint").weight
        self.contact = rate_of_class("ic_socket").weight / 10  # shared by a socket's many contacts
        self.net_of, self.sole_driver = graph.board.index.net_of_pin, graph.sole_driver
        self._factors: dict[str, float] = {}
        self._keys: dict[str, tuple[tuple[int, int, str], ...]] = {}
        self._carried: dict[PinRef, tuple[PinRef, ...]] = {}

    def build(self) -> Iterator[Fault]:
        graph = self.graph
        for refdes, part in self.board.index.parts.items():
            if refdes in self.board.index.repeated:
                continue
            weight = rate_of(part, graph.library).weight * self._factor(refdes)
            if graph.outputs_of(refdes):
                yield from self._active(refdes, weight)
            elif refdes in graph.kinds and graph.kinds[refdes] not in ("mechanical", "socket", "battery"):
                yield from self._passive(refdes, weight)
        for net in graph.nets:
            if graph.signal(net):
                yield from self._copper(net)
        yield from self._shorts()
        yield from self._rails()

    def _factor(self, name: str) -> float:
        """What is known of a part or net, remembered."""
        if name not in self._factors:
            self._factors[name] = self.known.factor(name)
        return self._factors[name]

    def _number(self, pin: PinRef) -> int:
        return self.graph.number[self.net_of[pin]]

    def _sole(self, pin: PinRef) -> bool:
        """Whether nothing else drives the pin's net."""
        return self.sole_driver.get(self.net_of[pin]) == pin.refdes

    def _carries(self, pin: PinRef) -> tuple[PinRef, ...]:
        """Outputs behind an input, remembered: its copper and its socket contact ask alike."""
        if pin not in self._carried:
            self._carried[pin] = self.graph.live_behind(pin)
        return self._carried[pin]

    def _active(self, refdes: str, weight: float) -> Iterator[Fault]:
        graph, unit = self.graph, Unit("part", refdes)
        kind = graph.kinds[refdes]
        shares = _STORE_SHARES if kind in ("rom", "ram") else _IC_SHARES
        outputs, inputs = graph.outputs_of(refdes), graph.inputs_of(refdes)
        modes = [(self._number(p), Mode.DEAD if self._sole(p) else Mode.SHARED) for p in outputs]
        yield Fault(unit, "dead", weight * shares["dead"], tuple(dict(modes).items()))
        each = weight * shares["output"] / max(len(outputs), 1) / 3
        for pin in outputs:
            sole, net = self._sole(pin), self._number(pin)
            for mode, words in ((Mode.HIGH, "stuck high"), (Mode.LOW, "stuck low"), (Mode.FLOATING, "open")):
                shown = mode if sole else Mode.SHARED if mode is Mode.FLOATING else Mode.FIGHTS
                what = f"output {pin} {words}"
                yield Fault(
                    unit, what, each, ((net, shown),), pin=pin, pin_mode=shown, grounds=mode is Mode.LOW
                )
        for pin in inputs:
            what, share = f"input {pin} shorted", weight * shares["input"] / len(inputs)
            yield Fault(
                unit,
                what,
                share,
                ((self._number(pin), Mode.LOADED),),
                pin=pin,
                pin_mode=Mode.LOADED,
                grounds=True,
            )
        if kind in ("rom", "ram", "cpu", "peripheral") and shares["content"]:
            data = [p for p in outputs if (spec := graph.spec(p)) and spec.role == "data"]
            starts = tuple((self._number(p), Mode.WRONG) for p in data)
            words = "content wrong" if kind == "rom" else "works wrongly"
            yield Fault(unit, words, weight * shares["content"], starts)
        if self._socketed(refdes):
            yield from self._contacts(refdes, outputs, inputs)

    def _socketed(self, refdes: str) -> bool:
        return in_socket(self.board.index.parts[refdes])

    def _contacts(self, refdes: str, outputs: list[PinRef], inputs: list[PinRef]) -> Iterator[Fault]:
        weight = self.contact * self._factor(refdes)
        for pin in dict.fromkeys((*outputs, *inputs)):
            yield from self._open_pin(
                Unit("socket", refdes), pin, weight, f"contact {pin} open", copper=False
            )

    def _open_pin(
        self, unit: Unit, pin: PinRef, weight: float, what: str, *, copper: bool
    ) -> Iterator[Fault]:
        """A pin cut off from its net: what it drives floats, what it reads is not there."""
        graph, starts = self.graph, tuple[tuple[int, Mode], ...]()
        if pin in graph.drivers[graph.net(pin)]:
            starts = ((self._number(pin), Mode.FLOATING if self._sole(pin) else Mode.SHARED),)
        carries = self._carries(pin)
        drives_alone = bool(starts) and self._sole(pin)
        shown = Mode.NONE if drives_alone else Mode.FLOATING
        if not copper:  # the pad beneath an open contact shows what the net does
            shown = starts[0][1] if starts else Mode.NONE
        yield Fault(unit, what, weight, starts, carries, pin, shown, opens=copper)

    def _passive(self, refdes: str, weight: float) -> Iterator[Fault]:
        """Parts with two leads, networks, switches, connectors: open, and shorted where that is usual."""
        graph, unit, kind = self.graph, Unit("part", refdes), self.graph.kinds[refdes]
        pins = [p for p in self.board.index.pins_of_part[refdes] if graph.net(p)]
        opened: dict[tuple[tuple[int, Mode], ...], PinRef] = {}
        shorted: dict[tuple[tuple[int, Mode], ...], PinRef] = {}
        for pin in pins:
            if not graph.signal(graph.net(pin)):
                continue
            far = [graph.net(p) for p in graph.ends_beyond(pin)]
            if starts := self._without(pin, far, kind or ""):
                opened.setdefault(starts, pin)
            if kind in ("capacitor", "electrolytic", "diode", "led") and any(f in graph.grounds for f in far):
                shorted.setdefault(((self._number(pin), Mode.LOW),), pin)
            elif kind in ("diode", "led") and far:
                shorted.setdefault(((self._number(pin), Mode.WEAK),), pin)
        mostly_shorts = kind in ("capacitor", "electrolytic")
        total = len(opened) + len(shorted) * (3 if mostly_shorts else 1)
        for starts, pin in opened.items():
            yield Fault(unit, f"open at {pin}", weight / total, starts)
        for starts, pin in shorted.items():
            share = weight * (3 if mostly_shorts else 1) / total
            yield Fault(unit, f"shorted at {pin}", share, starts, grounds=starts[0][1] is Mode.LOW)

    def _without(self, pin: PinRef, far: list[str], kind: str) -> tuple[tuple[int, Mode], ...]:
        """What the loss of a passive part does to the net of ``pin``: nothing where another pin drives it."""
        graph, net = self.graph, self._number(pin)
        drivers = graph.drivers.get(graph.net(pin), [])
        if kind == "crystal":
            return ((net, Mode.DEAD),)
        if kind == "connector":
            return () if drivers else ((net, Mode.FLOATING),)
        if kind in ("capacitor", "electrolytic"):
            return ((net, Mode.WEAK),) if not drivers else ()
        collectors = bool(drivers) and all(self._open_collector(p) for p in drivers)
        if not far or (drivers and not collectors):
            return ()
        return ((net, Mode.FLOATING if not drivers else Mode.DEAD),)

    def _open_collector(self, pin: PinRef) -> bool:
        spec = self.graph.spec(pin)
        return spec is not None and spec.direction in ("open-collector", "passive")

    def _copper(self, net: str) -> Iterator[Fault]:
        """Every pin of a net cut off from the rest, by an open track or joint."""
        graph, unit = self.graph, Unit("net", net)
        weight = self.joint * self._factor(net)
        for pin in graph.board.nets[net]:
            if pin in graph.drivers[net] or graph.outputs_behind(pin):
                yield from self._open_pin(unit, pin, weight, f"open at {pin}", copper=True)
            elif starts := self._cut_passive(pin):
                yield Fault(
                    unit, f"open at {pin}", weight, starts, pin=pin, pin_mode=Mode.FLOATING, opens=True
                )

    def _cut_passive(self, pin: PinRef) -> tuple[tuple[int, Mode], ...]:
        """What hangs on a passive part alone when its lead is cut off: its far net, or this one."""
        graph = self.graph
        kind = graph.kinds.get(pin.refdes) or ""
        if kind in ("capacitor", "electrolytic"):
            return ()
        far = [p for p in graph.ends_beyond(pin) if graph.signal(graph.net(p))]
        behind = [(self._number(p), Mode.FLOATING) for p in far if not graph.drivers.get(graph.net(p))]
        here = self._without(pin, [graph.net(p) for p in graph.ends_beyond(pin)], kind)
        return tuple(behind) or here

    def _shorts(self) -> Iterator[Fault]:
        """Neighbouring pins of one part that touch: solder, whiskers or residue between them."""
        graph, done = self.graph, set[tuple[str, str]]()
        for refdes, pins in self.board.index.pins_of_part.items():
            if len(pins) < 3:
                continue
            ordered = sorted((int(pin.pin), graph.net(pin)) for pin in pins if pin.pin.isdigit())
            for (place, one), (following, other) in pairwise(ordered):
                nets = (one, other) if one < other else (other, one)
                if one == other or following - place != 1 or nets in done:
                    continue
                done.add(nets)
                yield from self._short(nets, refdes)

    def _short(self, nets: tuple[str, str], refdes: str) -> Iterator[Fault]:
        graph = self.graph
        signals = [net for net in nets if graph.signal(net)]
        supplies = [net for net in nets if net in graph.supply]
        if not signals or len(signals) + len(supplies) < 2:
            return
        worst = max(self._factor(net) for net in (*signals, refdes))
        mode = Mode.FIGHTS
        if supplies:
            mode = Mode.LOW if supplies[0] in graph.grounds else Mode.HIGH
        starts = tuple((graph.number[net], mode) for net in signals)
        a, b = nets
        unit = Unit("short", f"{a} + {b}" if self._key(a) <= self._key(b) else f"{b} + {a}")
        weight = self.joint * _DOUBTFUL_SHORT * worst
        yield Fault(unit, f"{TOUCH}{refdes}", weight, starts, grounds=True)

    def _key(self, net: str) -> tuple[tuple[int, int, str], ...]:
        """``natural_key``, remembered: a net touches several others."""
        if net not in self._keys:
            self._keys[net] = natural_key(net)
        return self._keys[net]

    def _rails(self) -> Iterator[Fault]:
        graph = self.graph
        for rail in sorted(graph.supply - graph.grounds, key=natural_key):
            fed = graph.fed_by(rail)
            if not fed and rail not in self.board.index.rails:
                continue
            unit, factor = Unit("rail", rail), self._factor(rail)
            weight = rate_of_class("connector").weight * factor
            yield Fault(unit, "missing or low", weight, ((graph.number[rail], Mode.LOW),))
            if filters := self._filters(rail):
                dry = len(filters) * rate_of_class("electrolytic").weight * _DRY_SHARE * factor
                shown = ", ".join(filters[:3]) + (" ..." if len(filters) > 3 else "")
                yield Fault(unit, f"noisy: {shown} dry", dry, ((graph.number[rail], Mode.NOISY),))

    def _filters(self, rail: str) -> list[str]:
        """Refdes of the electrolytics on a rail."""
        named = dict.fromkeys(pin.refdes for pin in self.board.nets.get(rail, ()))
        return [refdes for refdes in named if self.graph.kinds[refdes] == "electrolytic"]


class Units:
    """The units of a list of faults, numbered, with the faults of each."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        self.units: tuple[Unit, ...] = tuple(dict.fromkeys(fault.unit for fault in self.faults))
        self.number = {unit: i for i, unit in enumerate(self.units)}

    @cached_property
    def sites(self) -> list[Unit]:
        """Where one repairs: a part and its socket are one site, since taking the part out tries both."""
        made = [Unit("part", u.name) if u.kind == "socket" else u for u in self.units]
        return list(dict.fromkeys(made))

    @cached_property
    def site_of_unit(self) -> list[int]:
        """The number of each unit's site."""
        number = {site: k for k, site in enumerate(self.sites)}
        return [number[Unit("part", u.name) if u.kind == "socket" else u] for u in self.units]

    @cached_property
    def of_fault(self) -> list[int]:
        """The number of each fault's unit."""
        return [self.number[fault.unit] for fault in self.faults]
