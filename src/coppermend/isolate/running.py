"""A board that runs, sound or with planted faults: levels on every net, step by step. Shares no table with the belief.

Every net carries 64 levels at once, one a lane; every lane is another board with the same wiring, in which chips
whose inside is not known compute another function of their inputs. All planted faults run side by side in the
columns of one array; column 0 is sound. A net is bad when any lane at any step differs from the sound board.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coppermend.board.model import PinRef
from coppermend.isolate.machine import STEPS, Defect, Machine, Words

ONES = np.uint64(0xFFFFFFFFFFFFFFFF)
WARM_UP = 8
# Gates whose function is sure from the type's base number: (of all inputs together, inverted).
_GATES = {
    "7400": ("and", True), "7403": ("and", True), "7410": ("and", True), "7420": ("and", True),
    "7430": ("and", True), "7408": ("and", False), "7411": ("and", False), "7421": ("and", False),
    "7402": ("or", True), "7427": ("or", True), "7432": ("or", False), "7486": ("xor", False),
    "7404": ("or", True), "7405": ("or", True), "7406": ("or", True), "7414": ("or", True),
    "7407": ("or", False), "4001": ("or", True), "4011": ("and", True), "4069": ("or", True),
    "4049": ("or", True), "4050": ("or", False), "4081": ("and", False), "40106": ("or", True),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Setup:
    """How the board stands: CPU on a no-operation pattern, no memory selected, a part out of its socket."""

    forced: bool = False
    deselected: bool = False
    out: str = ""


@dataclass(frozen=True)
class Run:
    """What was seen on every net of every column: differs from column 0, moves, and its last level."""

    number: Mapping[str, int]
    differs: NDArray[np.bool_]
    moves: NDArray[np.bool_]
    high: NDArray[np.bool_]


def run(machine: Machine, columns: Sequence[Sequence[Defect]], how: Setup | None = None) -> Run:
    """Let boards run side by side; column ``k + 1`` is the board with all of ``columns[k]``, column 0 is sound."""
    return _Bench(machine, columns, how or Setup()).run()


class _Bench:
    """One run: levels now, and what each column's defects change."""

    def __init__(self, machine: Machine, columns: Sequence[Sequence[Defect]], how: Setup) -> None:
        self.m, self.how, self.forced, self.columns = machine, how, how.forced, len(columns) + 1
        self.level = np.zeros((len(machine.nets), self.columns), dtype=np.uint64)
        self.stuck: dict[PinRef, list[tuple[int, int | None]]] = defaultdict(list)
        self.open: dict[PinRef, list[int]] = defaultdict(list)
        self.held: dict[str, list[tuple[int, int]]] = defaultdict(list)
        self.broken: dict[str, list[int]] = defaultdict(list)
        self.scrambled: dict[PinRef, list[int]] = defaultdict(list)
        self.bridges: list[tuple[int, tuple[str, ...]]] = []
        self.unfed: dict[str, list[int]] = defaultdict(list)
        self.noisy: dict[str, list[int]] = defaultdict(list)
        for column, defects in enumerate(columns, 1):
            for defect in defects:
                if not (how.out and defect.at_part(how.out)):
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
        for rail, fed in ((defect.dead_rail, self.unfed), (defect.noisy_rail, self.noisy)):
            for pin in self.m.board.nets[rail] if rail else ():
                spec = self.m.flow.spec(pin)
                if spec is not None and spec.direction == "power":
                    fed[pin.refdes].append(column)

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
        pins = [pin for pin in self.m.drivers[net] if pin.refdes != self.how.out]
        if not pins:
            return np.full(self.columns, ONES, dtype=np.uint64)  # an empty socket: inputs read high
        if len(pins) == 1 and not (self.how.deselected and self._off(pins[0])):
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
            for column, value in self.stuck.get(pin, ()):
                if value == 0:
                    fights[column] = 0
            if self._off(pin):
                continue
            last = pin is others[-1] and not self.forced
            chosen = free if last else free & self._selected(pin)
            mine[floats] = ONES
            level = (level & ~chosen) | (mine & chosen)
            free &= ~chosen
        for pin in pulled:
            mine, floats = self._output(pin, step)
            mine[floats] = ONES
            level &= mine
        return level & fights

    def _off(self, pin: PinRef) -> bool:
        """Whether an output drives nothing: a chip select that is held off keeps it off the data lines, or it is a
        port that nothing has written to since reset, which leaves ports as inputs (6520 and 6522 class data sheets).
        """
        if pin.refdes not in self.m.stores:
            return False
        role = self._role(pin)
        return (self.how.deselected and role == "data") or (self.forced and role == "port")

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
        if columns := self.noisy.get(pin.refdes):  # now and then, on some boards, a wrong level
            level[columns] ^= (
                self.m.outside[self.m.net(pin)][step] & self.m.outside[self.m.net(pin)][step - 1]
            )
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
