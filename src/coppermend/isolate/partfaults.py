"""How parts and their sockets fail: in every usual way at each of their pins. Arrays over the pins of the board."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from coppermend.board.model import PinRef
from coppermend.board.parttypes import PartKind
from coppermend.isolate.conditions import in_socket
from coppermend.isolate.faults import Block, Way, block, starts_of
from coppermend.isolate.graph import SignalGraph
from coppermend.isolate.pins import Numbers, Pins
from coppermend.isolate.priors import rate_of, rate_of_class
from coppermend.isolate.states import Floats, Mode

Factor = Callable[[str], float]
Begins = tuple[tuple[int, Mode], ...]
# How a part's failures divide into ways of failing (common practice, no source).
_IC_SHARES = {"dead": 0.34, "output": 0.33, "input": 0.25, "content": 0.08}
_STORE_SHARES = {"dead": 0.30, "output": 0.25, "input": 0.15, "content": 0.30}
# How an output fails: what its net shows where it drives alone, and where others drive too.
_WAYS = np.array([Way.HIGH, Way.LOW, Way.OPEN], dtype=np.uint8)
_ALONE = np.array([Mode.HIGH, Mode.LOW, Mode.FLOATING], dtype=np.uint8)
_AMONG = np.array([Mode.FIGHTS, Mode.FIGHTS, Mode.SHARED], dtype=np.uint8)
_SHORTING = frozenset({"capacitor", "electrolytic", "diode", "led"})
# Looking a member of an enumeration up takes longer than using it, and every lead of every passive part asks.
_LOW, _WEAK, _DEAD, _FLOATING, _CUT, _SHORTED = (
    Mode.LOW, Mode.WEAK, Mode.DEAD, Mode.FLOATING, Way.CUT, Way.SHORTED,
)  # fmt: skip
_STAGES = 8  # ways of failing of one part, in this order in the list of faults


def part_faults(graph: SignalGraph, pins: Pins, factor: Factor) -> list[Block]:
    """Faults of parts and sockets; ``factor`` multiplies the weight of a part. To be mixed by their order."""
    repeated = graph.board.index.repeated
    counted = np.array([refdes not in repeated for refdes in pins.parts], dtype=bool) & (pins.listed >= 0)
    active = np.zeros(len(pins.parts), dtype=bool)
    active[pins.part[pins.live]] = True
    rate = _rates(graph, pins, factor, counted)
    made = _Active(graph, pins, rate, active & counted)
    return [
        made.dead(), made.outputs(), made.inputs(), made.content(), *made.contacts(factor),
        _passive(graph, pins, rate, counted & ~active),
    ]  # fmt: skip


def _rates(graph: SignalGraph, pins: Pins, factor: Factor, counted: np.ndarray) -> Floats:
    """Failure rate of each part times what is known of it, shape (parts,); parts of one type and kind share theirs."""
    known: dict[tuple[str, PartKind | None], float] = {}
    found = np.zeros(len(pins.parts))
    for k in np.flatnonzero(counted).tolist():
        refdes = pins.parts[k]
        part = graph.board.index.parts[refdes]
        alike = part.type, graph.kinds[refdes]
        if alike not in known:
            known[alike] = rate_of(part, graph.library).weight
        found[k] = known[alike] * factor(refdes)
    return found


class _Active:
    """Parts that drive signals: their outputs and inputs, part by part in the order of the parts list."""

    def __init__(self, graph: SignalGraph, pins: Pins, rate: Floats, active: np.ndarray) -> None:
        self.graph, self.pins, self.rate = graph, pins, rate
        order = pins.listed
        self.parts: Numbers = np.flatnonzero(active)
        self.parts = self.parts[np.argsort(order[self.parts])]
        self.outs, self.ins = (
            found[np.argsort(order[pins.part[found]], kind="stable")]
            for found in (np.flatnonzero(which & active[pins.part]) for which in (pins.live, pins.reads))
        )
        self.stores = np.array([graph.kinds[refdes] in ("rom", "ram") for refdes in pins.parts], dtype=bool)
        self.sole = pins.alone[self.outs]

    def _order(self, parts: Numbers, stage: int) -> Numbers:
        return self.pins.listed[parts] * _STAGES + stage

    def _weight(self, parts: Numbers, share: str) -> Floats:
        return self.rate[parts] * np.where(self.stores[parts], _STORE_SHARES[share], _IC_SHARES[share])

    def dead(self) -> Block:
        """Parts that do nothing on any of their nets."""
        part, net = self.pins.part[self.outs], self.pins.net[self.outs]
        # Pins are in the order of nets: a net that a part drives twice comes twice in a row.
        new = np.append(True, (part[1:] != part[:-1]) | (net[1:] != net[:-1]))[: len(part)]
        row = np.cumsum(np.append(True, part[1:] != part[:-1])[: len(part)]) - 1
        mode = np.where(self.sole, np.uint8(Mode.DEAD), np.uint8(Mode.SHARED))
        starts = starts_of(row[new], net[new], mode[new])
        return block(
            "part", self.parts, starts, self._order(self.parts, 0), way=Way.DEAD, part=self.parts,
            weight=self._weight(self.parts, "dead"),
        )  # fmt: skip

    def outputs(self) -> Block:
        """Each output stuck high, stuck low or open."""
        shown = np.where(self.sole[:, None], _ALONE, _AMONG).ravel()
        way, at = np.tile(_WAYS, len(self.outs)), np.repeat(self.outs, len(_WAYS))
        part, net = self.pins.part[at], self.pins.net[at]
        count = np.bincount(self.pins.part[self.outs], minlength=len(self.pins.parts))
        return block(
            "part", part, starts_of(np.arange(len(at)), net, shown), self._order(part, 1), way=way, at=at,
            part=part, weight=self._weight(part, "output") / count[part] / len(_WAYS), sits=True,
            pin_mode=shown, grounds=way == Way.LOW,
        )  # fmt: skip

    def inputs(self) -> Block:
        """Each input shorted to ground, which loads its net."""
        part, net = self.pins.part[self.ins], self.pins.net[self.ins]
        count = np.bincount(part, minlength=len(self.pins.parts))
        return block(
            "part", part, starts_of(np.arange(len(part)), net, Mode.LOADED), self._order(part, 2),
            way=Way.SHORTED_INPUT, at=self.ins, part=part, weight=self._weight(part, "input") / count[part],
            sits=True, pin_mode=Mode.LOADED, grounds=True,
        )  # fmt: skip

    def content(self) -> Block:
        """What a memory holds is wrong, or a CPU or peripheral works wrongly: all their data lines say so."""
        graph, pins, kinds = self.graph, self.pins, self.graph.kinds
        names = [pins.parts[k] for k in self.parts.tolist()]
        keeping = [kinds[refdes] in ("rom", "ram", "cpu", "peripheral") for refdes in names]
        parts = self.parts[np.array(keeping, dtype=bool)]
        row = np.full(len(pins.parts), -1, dtype=np.int64)
        row[parts] = np.arange(len(parts))
        outs = self.outs[row[pins.part[self.outs]] >= 0]
        outs = outs[np.array([_is_data(graph, pins.refs[k]) for k in outs.tolist()], dtype=bool)]
        roms = np.array([kinds[pins.parts[k]] == "rom" for k in parts.tolist()], dtype=bool)
        return block(
            "part", parts, starts_of(row[pins.part[outs]], pins.net[outs], Mode.WRONG), self._order(parts, 3),
            way=np.where(roms, Way.WRONG_CONTENT, Way.WORKS_WRONGLY), part=parts,
            weight=self._weight(parts, "content"),
        )  # fmt: skip

    def contacts(self, factor: Factor) -> list[Block]:
        """Open contacts of sockets, at outputs and then at inputs; the pad beneath shows what the net does."""
        pins, parts = self.pins, self.graph.board.index.parts
        contact = rate_of_class("ic_socket").weight / 10  # shared by a socket's many contacts
        weight = np.zeros(len(pins.parts))
        for k in self.parts.tolist():
            if in_socket(parts[pins.parts[k]]):
                weight[k] = contact * factor(pins.parts[k])
        blocks = []
        for stage, found in ((4, self.outs), (5, self.ins[~pins.live[self.ins]])):
            at = found[weight[pins.part[found]] > 0]
            part, begins = pins.part[at], np.flatnonzero(pins.drives[at])
            shown = cut_off(pins, at)
            blocks.append(block(
                "socket", part, starts_of(begins, pins.net[at[begins]], shown[begins]), self._order(part, stage),
                way=Way.CONTACT, at=at, part=part, weight=weight[part], sits=True, pin_mode=shown,
                carries=pins.carries[at],
            ))  # fmt: skip
        return blocks


def cut_off(pins: Pins, at: Numbers) -> np.ndarray:
    """What the net of each pin shows when the pin is cut off from it: nothing may drive it, or others; shape (pins,)."""
    shown = np.where(pins.alone[at], np.uint8(Mode.FLOATING), np.uint8(Mode.SHARED))
    return np.where(pins.drives[at], shown, np.uint8(Mode.NONE))


def _is_data(graph: SignalGraph, pin: PinRef) -> bool:
    spec = graph.spec(pin)
    return spec is not None and spec.role == "data"


def _passive(graph: SignalGraph, pins: Pins, rate: Floats, passive: np.ndarray) -> Block:
    """Parts with two leads, networks, switches, connectors: open, and shorted where that is usual."""
    part, way, at, weight, grounds = list[int](), list[int](), list[int](), list[float](), list[bool]()
    starts = list[tuple[int, int, int]]()
    places = np.flatnonzero(passive)
    for k in places[np.argsort(pins.listed[places])].tolist():
        refdes = pins.parts[k]
        kind = graph.kinds[refdes]
        if kind in ("mechanical", "socket", "battery"):
            continue
        opened, shorted = _ways(graph, refdes, kind or "")
        often = 3 if kind in ("capacitor", "electrolytic") else 1  # these mostly fail shorted
        total = len(opened) + len(shorted) * often
        for what, found, times in ((_CUT, opened, 1), (_SHORTED, shorted, often)):
            for begins, pin in found.items():
                starts += [(len(part), net, mode) for net, mode in begins]
                part.append(k)
                way.append(what)
                at.append(pins.number[pin])
                weight.append(float(rate[k]) * times / total)
                grounds.append(what is _SHORTED and begins[0][1] is _LOW)
    owner = np.array(part, dtype=np.int64)
    begun = np.array(starts, dtype=np.int64).reshape(-1, 3)
    return block(
        "part", owner, begun, pins.listed[owner] * _STAGES, way=way, at=at, part=owner, weight=weight,
        grounds=grounds,
    )  # fmt: skip


def _ways(graph: SignalGraph, refdes: str, kind: str) -> tuple[dict[Begins, PinRef], dict[Begins, PinRef]]:
    """Where a passive part's opens and shorts begin, each once, with the pin that names it."""
    opened, shorted = dict[Begins, PinRef](), dict[Begins, PinRef]()
    for pin in graph.board.index.pins_of_part[refdes]:
        net = graph.net(pin)
        if not graph.signal(net):
            continue
        far = graph.ends_beyond(pin)
        if begins := without(graph, pin, net, kind, beyond=bool(far)):
            opened.setdefault(begins, pin)
        if kind in _SHORTING:
            if any(graph.net(p) in graph.grounds for p in far):
                shorted.setdefault(((graph.net_number[pin], _LOW),), pin)
            elif kind in ("diode", "led") and far:
                shorted.setdefault(((graph.net_number[pin], _WEAK),), pin)
    return opened, shorted


def without(graph: SignalGraph, pin: PinRef, net: str, kind: str, *, beyond: bool) -> Begins:
    """What the loss of a passive part does to the net of ``pin``: nothing where another pin drives it.

    ``beyond`` says that the part has another end.
    """
    drivers = graph.drivers.get(net, ())
    if kind == "crystal":
        mode = _DEAD
    elif kind == "connector":
        if drivers:
            return ()
        mode = _FLOATING
    elif kind in ("capacitor", "electrolytic"):
        if drivers:
            return ()
        mode = _WEAK
    elif not beyond or (drivers and not all(_open_collector(graph, p) for p in drivers)):
        return ()
    else:
        mode = _DEAD if drivers else _FLOATING
    return ((graph.net_number[pin], mode),)


def _open_collector(graph: SignalGraph, pin: PinRef) -> bool:
    spec = graph.spec(pin)
    return spec is not None and spec.direction in ("open-collector", "passive")
