"""A board that runs, sound or with planted faults: levels on every net, step by step. Shares no table with the belief.

Every net carries 64 levels at once, one a lane; every lane is another board with the same wiring, in which chips
whose inside is not known compute another function of their inputs. All planted faults run side by side in the
columns of one array; column 0 is sound. A net is bad when any lane at any step differs from the sound board.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from coppermend.board.flow import SERIES_KINDS, Flow
from coppermend.board.kinds import PASSIVE_KINDS
from coppermend.board.model import Board, PinRef
from coppermend.board.parttypes import PartKind, PartLibrary
from coppermend.board.roles import net_roles

Words = NDArray[np.uint64]
ONES = np.uint64(0xFFFFFFFFFFFFFFFF)
STEPS, WARM_UP = 56, 8
_CARRY = SERIES_KINDS | {"capacitor", "electrolytic", "crystal", "trimmer"}
# Gates whose function is sure from the type's base number: (of all inputs together, inverted).
_GATES = {
    "7400": ("and", True), "7403": ("and", True), "7410": ("and", True), "7420": ("and", True),
    "7430": ("and", True), "7408": ("and", False), "7411": ("and", False), "7421": ("and", False),
    "7402": ("or", True), "7427": ("or", True), "7432": ("or", False), "7486": ("xor", False),
    "7404": ("or", True), "7405": ("or", True), "7406": ("or", True), "7414": ("or", True),
    "7407": ("or", False), "4001": ("or", True), "4011": ("and", True), "4069": ("or", True),
    "4049": ("or", True), "4050": ("or", False), "4081": ("and", False), "40106": ("or", True),
}  # fmt: skip


@dataclass(frozen=True)
class Defect:
    """One planted fault, in terms of pins and nets.

    ``stuck`` maps output pins to the level that they hold (None: they drive nothing); ``open_pins`` are inputs
    and outputs without connection; ``forced`` maps nets to a level that they are held at; ``bridged`` are nets
    that touch; ``broken`` are series parts that carry nothing; ``scrambled`` are outputs with wrong content.
    """

    unit: tuple[str, str]
    what: str
    weight: float
    stuck: Mapping[PinRef, int | None] = field(default_factory=dict)
    open_pins: tuple[PinRef, ...] = ()
    forced: Mapping[str, int] = field(default_factory=dict)
    bridged: tuple[str, ...] = ()
    broken: tuple[str, ...] = ()
    scrambled: tuple[PinRef, ...] = ()
    dead_rail: str = ""


@dataclass(frozen=True)
class Run:
    """What was seen on every net of every column: differs from column 0, moves, and its last level."""

    number: Mapping[str, int]
    differs: NDArray[np.bool_]
    moves: NDArray[np.bool_]
    high: NDArray[np.bool_]


class Machine:
    """The wiring of one board, ready to run with planted faults."""

    def __init__(self, board: Board, library: PartLibrary, seed: int = 0) -> None:
        self.board, self.library = board, library
        roles = net_roles(board, library)
        self.roles = {net: role.role for net, role in roles.items()}
        self.supply = {net for net, role in self.roles.items() if role in ("rail", "ground")}
        self.flow = Flow(board, library, self.supply)
        named = {pin.refdes: None for pins in board.nets.values() for pin in pins}
        self.kinds: Mapping[str, PartKind | None] = {**named, **self.flow.kinds}
        self.nets = tuple(board.nets)
        self.number = {net: i for i, net in enumerate(self.nets)}
        self.rng = np.random.default_rng(seed)
        self.inputs: dict[PinRef, list[PinRef]] = {}  # output pin -> pins that it depends on
        self.drivers: dict[str, list[PinRef]] = defaultdict(list)
        self._wire()
        self.links = self._links()
        self.masks = {out: self._words(len(pins) + 1) for out, pins in self.inputs.items()}
        self.select_masks = {out: self._words(len(pins) + 1) for out, pins in self.inputs.items()}
        self.outside = {net: self._words(STEPS) for net in self.nets}
        self.counter = {out: self._words(STEPS) for out in self.inputs}

    def _words(self, count: int) -> Words:
        return self.rng.integers(0, 1 << 64, size=count, dtype=np.uint64)

    def net(self, pin: PinRef) -> str:
        """The net of a pin, or ""."""
        return self.board.index.net_of_pin.get(pin, "")

    def _wire(self) -> None:
        for refdes, part in self.board.index.parts.items():
            known = self.library.of(part)
            skip = PASSIVE_KINDS | {"switch", "crystal", "connector"}
            if known is None or self.kinds[refdes] in skip:
                continue
            drives = {pin.number for pin in known.pins if pin.direction in ("out", "bidi", "open-collector")}
            drives |= {number for path in known.paths for number in path.outputs}
            for number in sorted(drives):
                pin = PinRef(refdes, number)
                if not self.net(pin) or self.net(pin) in self.supply:
                    continue
                needed = dict.fromkeys(
                    PinRef(refdes, source)
                    for path in known.paths if number in path.outputs
                    for source in path.inputs if source != number
                )  # fmt: skip
                self.inputs[pin] = [p for p in needed if self.net(p) and self.net(p) not in self.supply]
                self.drivers[self.net(pin)].append(pin)

    def _links(self) -> dict[str, tuple[str, str]]:
        """Undriven net -> (part, net) that gives it its level: nearest driven net first, else a pull to a rail."""
        links: dict[str, tuple[str, str]] = {}
        layer = [net for net in self.nets if self.drivers.get(net)]
        seen = set(layer)
        while layer:
            following = []
            for net in layer:
                for refdes, other in self._beyond(net):
                    if other not in seen and other not in self.supply:
                        seen.add(other)
                        links[other] = (refdes, net)
                        following.append(other)
            layer = following
        for net in self.nets:
            if net not in seen and net not in self.supply:
                for refdes, other in self._beyond(net):
                    if other in self.supply and self.kinds[refdes] in ("resistor", "network"):
                        links.setdefault(net, (refdes, other))
        return links

    def _beyond(self, net: str) -> list[tuple[str, str]]:
        found = []
        for pin in self.board.nets[net]:
            if self.kinds.get(pin.refdes) not in _CARRY:
                continue
            across = self.flow.across(pin)
            others = [across] if across else []
            if not others and self.kinds[pin.refdes] not in SERIES_KINDS:
                others = [p for p in self.board.index.pins_of_part[pin.refdes] if p != pin][:2]
            found += [(pin.refdes, self.net(p)) for p in others if self.net(p) and self.net(p) != net]
        return found

    def run(self, defects: Sequence[Defect], *, forced: bool = False) -> Run:
        """Let all defects run side by side; column ``k + 1`` is the board with ``defects[k]``."""
        return _Bench(self, defects, forced).run()


class _Bench:
    """One run: levels now, and what each column's defect changes."""

    def __init__(self, machine: Machine, defects: Sequence[Defect], forced: bool) -> None:
        self.m, self.forced, self.columns = machine, forced, len(defects) + 1
        self.level = np.zeros((len(machine.nets), self.columns), dtype=np.uint64)
        self.stuck: dict[PinRef, list[tuple[int, int | None]]] = defaultdict(list)
        self.open: dict[PinRef, list[int]] = defaultdict(list)
        self.held: dict[str, list[tuple[int, int]]] = defaultdict(list)
        self.broken: dict[str, list[int]] = defaultdict(list)
        self.scrambled: dict[PinRef, list[int]] = defaultdict(list)
        self.bridges: list[tuple[int, tuple[str, ...]]] = []
        self.unfed: dict[str, list[int]] = defaultdict(list)
        for column, defect in enumerate(defects, 1):
            self._plant(column, defect)
        self.memory: dict[PinRef, Words] = {}
        self.clock_before: dict[tuple[PinRef, PinRef], Words] = {}
        self.crystals = self._crystals()

    def _plant(self, column: int, defect: Defect) -> None:
        for pin, level in defect.stuck.items():
            self.stuck[pin].append((column, level))
        for pin in defect.open_pins:
            self.open[pin].append(column)
        for net, value in defect.forced.items():
            self.held[net].append((column, value))
        for refdes in defect.broken:
            self.broken[refdes].append(column)
        for pin in defect.scrambled:
            self.scrambled[pin].append(column)
        if defect.bridged:
            self.bridges.append((column, defect.bridged))
        if defect.dead_rail:
            for pin in self.m.board.nets[defect.dead_rail]:
                spec = self.m.flow.spec(pin)
                if spec is not None and spec.direction == "power":
                    self.unfed[pin.refdes].append(column)

    def _crystals(self) -> dict[str, str]:
        """Undriven nets at a crystal, which it keeps swinging."""
        return {
            self.m.net(pin): refdes
            for refdes, kind in self.m.kinds.items() if kind == "crystal"
            for pin in self.m.board.index.pins_of_part[refdes]
            if not self.m.drivers.get(self.m.net(pin)) and self.m.net(pin) not in self.m.supply
        }  # fmt: skip

    def run(self) -> Run:
        differs = np.zeros(self.level.shape, dtype=np.uint64)
        moved = np.zeros_like(differs)
        for step in range(STEPS):
            before, self.level = self.level, self._step(step)
            if step >= WARM_UP:
                differs |= self.level ^ self.level[:, :1]
                moved |= self.level ^ before
        return Run(self.m.number, differs != 0, moved != 0, (self.level & np.uint64(1)) != 0)

    def _read(self, pin: PinRef) -> Words:
        level: Words = self.level[self.m.number[self.m.net(pin)]]
        if columns := self.open.get(pin):
            level = level.copy()
            level[columns] = ONES  # an open input of a TTL gate reads high
        return level

    def _step(self, step: int) -> Words:
        following = np.empty_like(self.level)
        for net, place in self.m.number.items():
            following[place] = self._net(net, step)
        for net, pairs in self.held.items():
            for column, value in pairs:
                following[self.m.number[net], column] = ONES if value else np.uint64(0)
        for column, nets in self.bridges:
            # Two TTL outputs against each other: the low one wins.
            places = [self.m.number[net] for net in nets]
            following[places, column] = np.bitwise_and.reduce(following[places, column])
        return following

    def _net(self, net: str, step: int) -> Words:
        if net in self.m.supply:
            return np.full(self.columns, 0 if self.m.roles[net] == "ground" else ONES, dtype=np.uint64)
        if refdes := self.crystals.get(net):
            level = np.full(self.columns, ONES if step & 1 else 0, dtype=np.uint64)
            level[self.broken.get(refdes, [])] = 0
            return level
        raw = self._driven(net, step) if self.m.drivers.get(net) else self._undriven(net, step)
        if self.m.roles[net] in ("reset", "interrupt"):
            return ONES ^ raw ^ raw[:1]  # at rest on a sound board; any disturbance upstream shows
        return raw

    def _undriven(self, net: str, step: int) -> Words:
        link = self.m.links.get(net)
        if link is None:
            return np.full(self.columns, self.m.outside[net][step], dtype=np.uint64)
        refdes, source = link
        level: Words = self.level[self.m.number[source]].copy()
        if source in self.m.supply:
            level[:] = 0 if self.m.roles[source] == "ground" else ONES
            level ^= self.m.outside[net][step] if self._has_outside(net) else np.uint64(0)
        if columns := self.broken.get(refdes):
            level[columns] = ONES ^ level[0]
        return level

    def _has_outside(self, net: str) -> bool:
        return any(self.m.kinds.get(pin.refdes) in ("connector", "switch") for pin in self.m.board.nets[net])

    def _driven(self, net: str, step: int) -> Words:
        pins = self.m.drivers[net]
        if len(pins) == 1:
            level, floats = self._output(pins[0], step)
            level[floats] = ONES
            return level
        return self._shared(pins, step)

    def _shared(self, pins: Sequence[PinRef], step: int) -> Words:
        """Open collectors pull together; of three-state drivers the first selected one speaks, the CPU else."""
        specs = {pin: self.m.flow.spec(pin) for pin in pins}
        pulled = [pin for pin in pins if (s := specs[pin]) and s.direction in ("open-collector", "passive")]
        others = [pin for pin in pins if pin not in pulled]
        others.sort(key=lambda pin: (self.m.kinds[pin.refdes] == "cpu", pin.refdes))
        level = np.full(self.columns, ONES, dtype=np.uint64)
        free = np.full(self.columns, ONES, dtype=np.uint64)
        fights = np.full(self.columns, ONES, dtype=np.uint64)
        for pin in others:
            if self.forced and self.m.kinds[pin.refdes] == "cpu":
                continue
            mine, floats = self._output(pin, step)
            last = pin is others[-1] and not self.forced
            chosen = free if last else free & self._selected(pin)
            mine[floats] = ONES
            level = (level & ~chosen) | (mine & chosen)
            free &= ~chosen
            for column, value in self.stuck.get(pin, ()):
                if value == 0:
                    fights[column] = 0
        for pin in pulled:
            mine, floats = self._output(pin, step)
            mine[floats] = ONES
            level &= mine
        return level & fights

    def _selected(self, pin: PinRef) -> Words:
        masks, selected = self.m.select_masks[pin], np.full(self.columns, 0, dtype=np.uint64)
        selected ^= masks[-1]
        for mask, source in zip(masks[:-1], self.m.inputs[pin], strict=True):
            spec = self.m.flow.spec(source)
            if spec is not None and spec.role in ("select", "control"):
                selected = selected ^ (self._read(source) & mask)
        return selected

    def _output(self, pin: PinRef, step: int) -> tuple[Words, list[int]]:
        """The level that a pin gives, and the columns in which it gives none."""
        level = self._function(pin, step)
        level[self.unfed.get(pin.refdes, [])] = 0
        if columns := self.scrambled.get(pin):
            level[columns] ^= self.m.outside[self.m.net(pin)][step]
        floats = list(self.open.get(pin, ()))
        for column, value in self.stuck.get(pin, ()):
            if value is None:
                floats.append(column)
            else:
                level[column] = ONES if value else np.uint64(0)
        return level, floats

    def _function(self, pin: PinRef, step: int) -> Words:
        kind = self.m.kinds[pin.refdes]
        if kind == "oscillator":
            return np.full(self.columns, ONES if step & 1 else 0, dtype=np.uint64)
        if kind == "cpu" and self.forced:
            return self._counting(pin, step)
        sources = self.m.inputs[pin]
        if self.forced and kind == "peripheral" and self._role(pin) == "port":
            sources = [s for s in sources if self._role(s) in ("port", "reset")]
        if kind == "transistor":
            controls = [s for s in sources if (spec := self.m.flow.spec(s)) and spec.direction == "in"]
            return np.invert(self._read(controls[0])) if controls else np.zeros(self.columns, dtype=np.uint64)
        known = self.m.library.of(self.m.board.index.parts[pin.refdes])
        gate = _GATES.get(known.name) if known else None
        if gate and sources:
            return self._gate(gate, [self._read(source) for source in sources])
        level = self._mixed(pin, sources)
        if clocks := self._clocks(pin):
            return self._held(pin, clocks, level)
        if kind in ("cpu", "timer", "peripheral") or not sources:
            level ^= self.m.counter[pin][step] if kind in ("cpu", "timer") else np.uint64(0)
        return level

    def _role(self, pin: PinRef) -> str:
        spec = self.m.flow.spec(pin)
        return spec.role if spec else ""

    def _gate(self, gate: tuple[str, bool], levels: list[Words]) -> Words:
        operation = {"and": np.bitwise_and, "or": np.bitwise_or, "xor": np.bitwise_xor}[gate[0]]
        level: Words = operation.reduce(np.stack(levels))
        return ~level if gate[1] else level

    def _mixed(self, pin: PinRef, sources: Sequence[PinRef]) -> Words:
        masks = self.m.masks[pin]
        level = np.full(self.columns, masks[-1], dtype=np.uint64)
        for source in sources:
            level ^= self._read(source) & masks[self.m.inputs[pin].index(source)]
        return level

    def _counting(self, pin: PinRef, step: int) -> Words:
        """A CPU on a no-operation pattern: its lines step on with the clock, and rest while reset is low."""
        running = np.full(self.columns, ONES, dtype=np.uint64)
        clocks = []
        for source in self.m.board.index.pins_of_part[pin.refdes]:
            spec = self.m.flow.spec(source)
            if spec is None or spec.direction != "in" or self.m.net(source) in self.m.supply:
                continue
            if spec.role == "clock":
                clocks.append(source)
            elif spec.role == "reset":
                running = self._read(source)
        return self._held(pin, clocks, np.full(self.columns, self.m.counter[pin][step])) & running

    def _held(self, pin: PinRef, clocks: Sequence[PinRef], following: Words) -> Words:
        """What a clocked output holds: its next level in lanes whose clock has moved, else the level before."""
        moved = np.full(self.columns, 0 if clocks else ONES, dtype=np.uint64)
        for source in clocks:
            now = self._read(source)
            moved |= now ^ self.clock_before.get((pin, source), ~now)
            self.clock_before[pin, source] = now
        before = self.memory.get(pin, np.zeros(self.columns, dtype=np.uint64))
        self.memory[pin] = (before & ~moved) | (following & moved)
        return np.array(self.memory[pin])

    def _clocks(self, pin: PinRef) -> list[PinRef]:
        """Clock inputs that an output of plain logic waits for."""
        if self.m.kinds[pin.refdes] != "logic":
            return []
        return [s for s in self.m.inputs[pin] if self._role(s) == "clock"]
