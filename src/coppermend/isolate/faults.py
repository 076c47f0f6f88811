"""What can be wrong with a board: single faults built from its circuit, each with a weight and what it disturbs.

A fault belongs to a unit, the thing that is repaired: a part, a socket, the copper of a net, a pair of shorted
neighbours, a rail. No readings, no belief.
"""

from __future__ import annotations

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
_TOUCHING = "touch at {}"  # what a short is: neighbouring pins of a part touch
_DOUBTFUL_SHORT = 0.25  # of a joint's weight: neighbours without damage seldom touch
# How an output fails: what its net shows where it drives alone, and where others drive too.
_OUTPUT_FAILS = (
    (Mode.HIGH, Mode.FIGHTS, "output {} stuck high"),
    (Mode.LOW, Mode.FIGHTS, "output {} stuck low"),
    (Mode.FLOATING, Mode.SHARED, "output {} open"),
)
_SHORTING = frozenset({"capacitor", "electrolytic", "diode", "led"})


class Unit(NamedTuple):
    """What is repaired: ``name`` is a refdes, a net, a rail, or two nets joined by " + "."""

    kind: UnitKind
    name: str


class Fault(NamedTuple):
    """One way in which one thing fails.

    ``starts`` are (net, mode) where it begins; ``carries`` the output pins behind an open input; both are
    followed downstream. ``pin`` is the pin it sits at, which shows ``pin_mode`` whatever
    the rest of the net does. ``grounds`` says that it ties its nets to ground or to each other, which an
    ohmmeter sees; ``opens`` that continuity through ``pin`` is gone. ``words`` with ``at`` in place of their {}
    say what fails: few of a board's thousands of faults are ever named.
    """

    unit: Unit
    words: str
    at: PinRef | str
    weight: float
    starts: tuple[tuple[int, Mode], ...] = ()
    carries: tuple[PinRef, ...] = ()
    pin: PinRef | None = None
    pin_mode: Mode = Mode.NONE
    grounds: bool = False
    opens: bool = False

    @property
    def what(self) -> str:
        """What fails, in words: "output U3.9 stuck low"."""
        return self.words.replace("{}", str(self.at))


def joint_of(fault: Fault) -> str:
    """Refdes of the part at whose joints a fault sits: copper open at a pin, or two pins that touch; "" for others."""
    if fault.unit.kind == "short":
        return str(fault.at)
    return fault.pin.refdes if fault.pin is not None and fault.opens and fault.unit.kind == "net" else ""


def faults_of(graph: SignalGraph, known: Knowledge) -> tuple[Fault, ...]:
    """Every single fault of the board that disturbs anything, in the order of its parts and nets.

    Weights are relative; a unit's weight is its failure rate times what is known of it.
    """
    found = _Builder(graph, known).build()
    return tuple([f for f in found if (f.starts or f.carries) and f.weight > 0])


class _Builder:
    """Adds fault after fault; what is asked of a pin or net more than once is looked up once."""

    def __init__(self, graph: SignalGraph, known: Knowledge) -> None:
        self.graph, self.known, self.board = graph, known, graph.board
        self.joint = rate_of_class("solder_joint").weight
        self.contact = rate_of_class("ic_socket").weight / 10  # shared by a socket's many contacts
        self.net_of, self.number_of = graph.board.index.net_of_pin, graph.net_number
        # Where a driving pin begins to show when it is cut off: nothing else may drive its net.
        self.cut_off: dict[PinRef, tuple[tuple[int, Mode]]] = {}
        for net, pins in graph.drivers.items():
            start = ((graph.number[net], Mode.FLOATING if graph.sole_driver[net] else Mode.SHARED),)
            self.cut_off.update(dict.fromkeys(pins, start))
        self.found: list[Fault] = []
        self._nothing_known = known == Knowledge()
        self._factors: dict[str, float] = {}
        self._keys: dict[str, tuple[tuple[int, int, str], ...]] = {}
        self._carried: dict[PinRef, tuple[PinRef, ...]] = {}

    def build(self) -> list[Fault]:
        graph, repeated = self.graph, self.board.index.repeated
        for refdes, part in self.board.index.parts.items():
            if refdes in repeated:
                continue
            weight = rate_of(part, graph.library).weight * self._factor(refdes)
            if outputs := graph.outputs_of(refdes):
                self._active(refdes, weight, outputs)
            elif refdes in graph.kinds and graph.kinds[refdes] not in ("mechanical", "socket", "battery"):
                self._passive(refdes, weight)
        for net in graph.nets:
            if graph.signal(net):
                self._copper(net)
        self._shorts()
        self._rails()
        return self.found

    def _factor(self, name: str) -> float:
        """What is known of a part or net, remembered; nothing at all is known of most boards."""
        if self._nothing_known:
            return 1.0
        if name not in self._factors:
            self._factors[name] = self.known.factor(name)
        return self._factors[name]

    def _carries(self, pin: PinRef) -> tuple[PinRef, ...]:
        """Outputs behind an input, remembered: its copper and its socket contact ask alike."""
        if pin not in self._carried:
            self._carried[pin] = self.graph.live_behind(pin)
        return self._carried[pin]

    def _active(self, refdes: str, weight: float, outputs: list[PinRef]) -> None:
        graph, unit, add, number_of = self.graph, Unit("part", refdes), self.found.append, self.number_of
        kind = graph.kinds[refdes]
        shares = _STORE_SHARES if kind in ("rom", "ram") else _IC_SHARES
        inputs = graph.inputs_of(refdes)
        alone = [self.cut_off[pin][0][1] is Mode.FLOATING for pin in outputs]
        numbers = [number_of[pin] for pin in outputs]
        modes = {n: Mode.DEAD if sole else Mode.SHARED for n, sole in zip(numbers, alone, strict=True)}
        add(Fault(unit, "dead", "", weight * shares["dead"], tuple(modes.items())))
        each = weight * shares["output"] / max(len(outputs), 1) / 3
        for pin, net, sole in zip(outputs, numbers, alone, strict=True):
            for mode, shared, words in _OUTPUT_FAILS:
                shown = mode if sole else shared
                add(Fault(unit, words, pin, each, ((net, shown),), (), pin, shown, mode is Mode.LOW))
        for pin in inputs:
            share, starts = weight * shares["input"] / len(inputs), ((number_of[pin], Mode.LOADED),)
            add(Fault(unit, "input {} shorted", pin, share, starts, (), pin, Mode.LOADED, True))
        if kind in ("rom", "ram", "cpu", "peripheral") and shares["content"]:
            data = [p for p in outputs if (spec := graph.spec(p)) and spec.role == "data"]
            begins = tuple([(number_of[p], Mode.WRONG) for p in data])
            words = "content wrong" if kind == "rom" else "works wrongly"
            add(Fault(unit, words, "", weight * shares["content"], begins))
        if in_socket(self.board.index.parts[refdes]):
            socket, weight = Unit("socket", refdes), self.contact * self._factor(refdes)
            for pin in dict.fromkeys((*outputs, *inputs)):
                self._open_contact(socket, pin, weight)

    def _open_contact(self, unit: Unit, pin: PinRef, weight: float) -> None:
        """A socket's open contact; the pad beneath it shows what the net does."""
        starts = self.cut_off.get(pin, ())
        shown = starts[0][1] if starts else Mode.NONE
        self.found.append(Fault(unit, "contact {} open", pin, weight, starts, self._carries(pin), pin, shown))

    def _open_copper(self, unit: Unit, pin: PinRef, weight: float) -> None:
        """A pin's open track or joint; the pin itself floats unless it drives."""
        starts = self.cut_off.get(pin, ())
        shown = Mode.NONE if starts and starts[0][1] is Mode.FLOATING else Mode.FLOATING
        self.found.append(
            Fault(unit, "open at {}", pin, weight, starts, self._carries(pin), pin, shown, False, True)
        )

    def _passive(self, refdes: str, weight: float) -> None:
        """Parts with two leads, networks, switches, connectors: open, and shorted where that is usual."""
        graph, unit, kind = self.graph, Unit("part", refdes), self.graph.kinds[refdes]
        opened: dict[tuple[tuple[int, Mode], ...], PinRef] = {}
        shorted: dict[tuple[tuple[int, Mode], ...], PinRef] = {}
        for pin in self.board.index.pins_of_part[refdes]:
            net = self.net_of[pin]
            if not graph.signal(net):
                continue
            far = graph.ends_beyond(pin)
            if starts := self._without(pin, net, kind or "", beyond=bool(far)):
                opened.setdefault(starts, pin)
            if kind in _SHORTING:
                if any(graph.net(p) in graph.grounds for p in far):
                    shorted.setdefault(((self.number_of[pin], Mode.LOW),), pin)
                elif kind in ("diode", "led") and far:
                    shorted.setdefault(((self.number_of[pin], Mode.WEAK),), pin)
        mostly_shorts = kind in ("capacitor", "electrolytic")
        total = len(opened) + len(shorted) * (3 if mostly_shorts else 1)
        for starts, pin in opened.items():
            self.found.append(Fault(unit, "open at {}", pin, weight / total, starts))
        for starts, pin in shorted.items():
            share = weight * (3 if mostly_shorts else 1) / total
            grounds = starts[0][1] is Mode.LOW
            self.found.append(Fault(unit, "shorted at {}", pin, share, starts, (), None, Mode.NONE, grounds))

    def _without(self, pin: PinRef, net: str, kind: str, *, beyond: bool) -> tuple[tuple[int, Mode], ...]:
        """What the loss of a passive part does to the net of ``pin``: nothing where another pin drives it.

        ``beyond`` says that the part has another end.
        """
        drivers = self.graph.drivers.get(net, ())
        if kind == "crystal":
            mode = Mode.DEAD
        elif kind == "connector":
            if drivers:
                return ()
            mode = Mode.FLOATING
        elif kind in ("capacitor", "electrolytic"):
            if drivers:
                return ()
            mode = Mode.WEAK
        elif not beyond or (drivers and not all(self._open_collector(p) for p in drivers)):
            return ()
        else:
            mode = Mode.DEAD if drivers else Mode.FLOATING
        return ((self.number_of[pin], mode),)

    def _open_collector(self, pin: PinRef) -> bool:
        spec = self.graph.spec(pin)
        return spec is not None and spec.direction in ("open-collector", "passive")

    def _copper(self, net: str) -> None:
        """Every pin of a net cut off from the rest, by an open track or joint."""
        graph, unit, drivers = self.graph, Unit("net", net), self.graph.drivers.get(net, ())
        weight = self.joint * self._factor(net)
        for pin in graph.board.nets[net]:
            if pin in drivers or graph.acts(pin):
                self._open_copper(unit, pin, weight)
            elif starts := self._cut_passive(pin):
                self.found.append(
                    Fault(unit, "open at {}", pin, weight, starts, (), pin, Mode.FLOATING, False, True)
                )

    def _cut_passive(self, pin: PinRef) -> tuple[tuple[int, Mode], ...]:
        """What hangs on a passive part alone when its lead is cut off: its far net, or this one."""
        graph = self.graph
        kind = graph.kinds.get(pin.refdes) or ""
        if kind in ("capacitor", "electrolytic"):
            return ()
        far = graph.ends_beyond(pin)
        behind = [
            (self.number_of[p], Mode.FLOATING)
            for p in far if graph.signal(net := graph.net(p)) and not graph.drivers.get(net)
        ]  # fmt: skip
        return tuple(behind) or self._without(pin, graph.net(pin), kind, beyond=bool(far))

    def _shorts(self) -> None:
        """Neighbouring pins of one part that touch: solder, whiskers or residue between them."""
        net_of, done = self.net_of, set[tuple[str, str]]()
        for refdes, pins in self.board.index.pins_of_part.items():
            if len(pins) < 3:
                continue
            ordered = sorted([(int(pin.pin), net_of[pin]) for pin in pins if pin.pin.isdigit()])
            for (place, one), (following, other) in pairwise(ordered):
                if one == other or following - place != 1:
                    continue
                nets = (one, other) if one < other else (other, one)
                if nets not in done:
                    done.add(nets)
                    self._short(nets, refdes)

    def _short(self, nets: tuple[str, str], refdes: str) -> None:
        graph = self.graph
        signals = [net for net in nets if graph.signal(net)]
        supplies = [net for net in nets if net in graph.supply] if len(signals) == 1 else []
        if len(signals) + len(supplies) < 2:
            return
        worst = max([self._factor(net) for net in (*signals, refdes)])
        mode = Mode.FIGHTS
        if supplies:
            mode = Mode.LOW if supplies[0] in graph.grounds else Mode.HIGH
        starts = tuple([(graph.number[net], mode) for net in signals])
        a, b = nets
        unit = Unit("short", f"{a} + {b}" if self._key(a) <= self._key(b) else f"{b} + {a}")
        weight = self.joint * _DOUBTFUL_SHORT * worst
        self.found.append(Fault(unit, _TOUCHING, refdes, weight, starts, (), None, Mode.NONE, True))

    def _key(self, net: str) -> tuple[tuple[int, int, str], ...]:
        """``natural_key``, remembered: a net touches several others."""
        if net not in self._keys:
            self._keys[net] = natural_key(net)
        return self._keys[net]

    def _rails(self) -> None:
        graph = self.graph
        for rail in sorted(graph.supply - graph.grounds, key=natural_key):
            fed = graph.fed_by(rail)
            if not fed and rail not in self.board.index.rails:
                continue
            unit, factor = Unit("rail", rail), self._factor(rail)
            weight = rate_of_class("connector").weight * factor
            self.found.append(Fault(unit, "missing or low", "", weight, ((graph.number[rail], Mode.LOW),)))
            if filters := self._filters(rail):
                dry = len(filters) * rate_of_class("electrolytic").weight * _DRY_SHARE * factor
                shown = ", ".join(filters[:3]) + (" ..." if len(filters) > 3 else "")
                starts = ((graph.number[rail], Mode.NOISY),)
                self.found.append(Fault(unit, "noisy: {} dry", shown, dry, starts))

    def _filters(self, rail: str) -> list[str]:
        """Refdes of the electrolytics on a rail."""
        named = dict.fromkeys(pin.refdes for pin in self.board.nets.get(rail, ()))
        return [refdes for refdes in named if self.graph.kinds[refdes] == "electrolytic"]
