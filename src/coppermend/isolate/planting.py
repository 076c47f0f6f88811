"""Faults to plant on a simulated board, and what the bench's tools then show. Shares no table with the belief.

Only the published failure rates are common ground: faults are planted as often as parts are said to fail.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from coppermend.board.model import Board, PinRef
from coppermend.board.parttypes import PartLibrary
from coppermend.isolate.machine import Defect, Machine, Run
from coppermend.isolate.priors import rate_of, rate_of_class

How = Literal["running", "forced"]
_SPOKEN = ("lamp", "solenoid", "display", "sound", "strobe", "clock", "reset")
_ENDS = ("connector", "led", "lamp", "display", "relay")


def defects_of(machine: Machine) -> tuple[Defect, ...]:
    """Every fault that can be planted on a board."""
    return tuple(_defects(machine))


def _defects(machine: Machine) -> Iterator[Defect]:
    index = machine.board.index
    for refdes, part in index.parts.items():
        weight = rate_of(part, machine.library).weight
        outputs = [pin for pin in machine.inputs if pin.refdes == refdes]
        if refdes in index.repeated:
            continue
        if outputs:
            yield from _chip(machine, refdes, weight, outputs)
        else:
            yield from _small(machine, refdes, weight)
    yield from _copper(machine)
    for net in machine.supply:
        fed = [p for p in machine.board.nets[net] if (s := machine.flow.spec(p)) and s.direction == "power"]
        if machine.roles[net] == "rail" and fed:
            weight = rate_of_class("connector").weight
            yield Defect(("rail", net), "missing", weight, dead_rail=net)


def _chip(machine: Machine, refdes: str, weight: float, outputs: Sequence[PinRef]) -> Iterator[Defect]:
    unit = ("part", refdes)
    for level in (0, 1, None):
        yield Defect(unit, "dead", 0.1 * weight, stuck=dict.fromkeys(outputs, level))
    for pin in outputs:
        for stuck in (0, 1, None):
            yield Defect(unit, f"{pin} stuck at {stuck}", 0.4 * weight / len(outputs) / 3, stuck={pin: stuck})
    reads = list(dict.fromkeys(p for out in outputs for p in machine.inputs[out]))
    for pin in reads:
        yield Defect(unit, f"{pin} shorted", 0.2 * weight / len(reads), forced={machine.net(pin): 0})
    if machine.kinds[refdes] == "rom":
        yield Defect(unit, "wrong content", 0.3 * weight, scrambled=tuple(outputs))
    part = machine.board.index.parts[refdes]
    if part.socketed or "socket" in part.package.lower():
        for pin in dict.fromkeys((*outputs, *reads)):
            contact = rate_of_class("ic_socket").weight / 10
            yield Defect(("socket", refdes), f"contact {pin}", contact, open_pins=(pin,))


def _small(machine: Machine, refdes: str, weight: float) -> Iterator[Defect]:
    kind, pins = machine.kinds[refdes], machine.board.index.pins_of_part[refdes]
    nets = [machine.net(pin) for pin in pins]
    carries = any(link[0] == refdes for link in machine.links.values()) or kind == "crystal"
    if carries:
        yield Defect(("part", refdes), "open", weight * 0.5, broken=(refdes,))
    if kind in ("capacitor", "electrolytic") and len(set(nets)) == 2:
        ground = [net for net in nets if machine.roles.get(net) == "ground"]
        signal = [net for net in nets if net not in machine.supply]
        if ground and signal:
            yield Defect(("part", refdes), "shorted", weight * 0.5, forced={signal[0]: 0})


def _copper(machine: Machine) -> Iterator[Defect]:
    joint = rate_of_class("solder_joint").weight
    reads = {pin for pins in machine.inputs.values() for pin in pins}
    for net, pins in machine.board.nets.items():
        if net in machine.supply or len(pins) < 2:
            continue
        for pin in pins:
            if pin in machine.inputs or pin in reads:
                yield Defect(("net", net), f"open at {pin}", joint, open_pins=(pin,))
    for refdes in machine.board.index.pins_of_part:
        ordered = sorted(
            (p for p in machine.board.index.pins_of_part[refdes] if p.pin.isdigit()), key=lambda p: int(p.pin)
        )
        for a, b in pairwise(ordered) if len(ordered) > 2 else ():  # leads of a two-lead part are far apart
            nets = (machine.net(a), machine.net(b))
            if int(b.pin) - int(a.pin) != 1 or nets[0] == nets[1] or set(nets) & machine.supply:
                continue
            yield Defect(("short", " + ".join(nets)), f"touch at {refdes}", 0.25 * joint, bridged=nets)


@dataclass(frozen=True)
class Case:
    """One board with a fault that shows: the defect, its column, and the complaint in (point, value) rows."""

    defect: Defect
    column: int
    complaint: tuple[tuple[str, str], ...]


class Workshop:
    """A board with every fault planted once, and tools to measure any of them.

    ``pairs`` plants two defects in one column as well, after the single ones.
    """

    def __init__(self, board: Board, library: PartLibrary, seed: int = 0, most: int = 4000) -> None:
        self.board, self.library = board, library
        self.machine = Machine(board, library, seed)
        every = defects_of(self.machine)
        if len(every) > most:
            kept = np.random.default_rng(seed).choice(len(every), most, replace=False)
            every = tuple(every[k] for k in sorted(kept))
        self.defects = every
        self.runs: dict[How, Run] = {"running": self.machine.run(every)}
        if any(kind == "cpu" for kind in self.machine.kinds.values()):
            self.runs["forced"] = self.machine.run(every, forced=True)

    @cached_property
    def cases(self) -> tuple[Case, ...]:
        """The defects that a customer would notice."""
        found = []
        for column, defect in enumerate(self.defects, 1):
            if complaint := self.complaint(column):
                found.append(Case(defect, column, complaint))
        return tuple(found)

    @cached_property
    def _cpu_nets(self) -> list[str]:
        pins = [pin for pin in self.machine.inputs if self.machine.kinds[pin.refdes] == "cpu"]
        return [self.machine.net(pin) for pin in pins]

    @cached_property
    def _ends(self) -> list[PinRef]:
        """Pins at which the machine shows what the board does: connectors, lamps, displays."""
        found = []
        for refdes, kind in self.machine.kinds.items():
            if kind in _ENDS:
                found += [p for p in self.board.index.pins_of_part[refdes] if self._end(p)]
        return found

    def _end(self, pin: PinRef) -> bool:
        net = self.machine.net(pin)
        return bool(net) and net not in self.machine.supply and not self._is_input(net)

    def _is_input(self, net: str) -> bool:
        return not self.machine.drivers.get(net) and net not in self.machine.links

    def complaint(self, column: int) -> tuple[tuple[str, str], ...]:
        """What the customer says, in words: no boot, or which kind of output is wrong; () when nothing shows."""
        run = self.runs["running"]
        bad = {net for net, place in run.number.items() if run.differs[place, column]}
        if bad & set(self._cpu_nets):
            return (("", "no boot"),)
        wrong = [pin for pin in self._ends if self.machine.net(pin) in bad]
        if not wrong:
            return ()
        boots = (("", "boots"),) if self._cpu_nets else ()
        role = self.machine.roles.get(self.machine.net(wrong[0]), "")
        return (*boots, ("", f"{role if role in _SPOKEN else 'output'} wrong"))

    def logic(self, case: Case, point: str, how: How) -> str:  # noqa: PLR0911  (one answer a line)
        """What a careful technician says of a pin: good, stuck high, stuck low, floating, between, or wrong."""
        refdes, _, number = point.rpartition(".")
        pin, defect = PinRef(refdes, number), case.defect
        run = self.runs[how if how in self.runs else "running"]
        net = self.machine.net(pin) or point
        if defect.unit[0] == "net" and pin in defect.open_pins and pin not in self.machine.inputs:
            return "floating"
        if self._floats(defect, net) and not (pin in defect.open_pins and defect.unit[0] == "net"):
            return "floating"
        place = run.number[net]
        if pin in defect.open_pins and pin in self.machine.inputs and defect.unit[0] == "net":
            return "good" if len(self.machine.drivers[net]) == 1 else "wrong"
        if not run.differs[place, case.column]:
            return "good"
        if net in defect.bridged or (net in defect.forced and len(self.machine.drivers.get(net, ())) > 1):
            return "between"
        if run.moves[place, case.column]:
            return "wrong"
        return "stuck high" if run.high[place, case.column] else "stuck low"

    def _floats(self, defect: Defect, net: str) -> bool:
        """Whether the only driver of a net drives nothing."""
        drivers = self.machine.drivers.get(net, [])
        if not drivers:
            link = self.machine.links.get(net)
            return bool(link and link[0] in defect.broken)
        off = [p for p in drivers if p in defect.open_pins or defect.stuck.get(p, 0) is None]
        return len(off) == len(drivers)

    def ohms(self, case: Case, point: str) -> str:
        """Continuity between two points, or resistance to ground of one."""
        a, _, b = point.partition(":")
        defect = case.defect
        if not b:
            net = self._net(a)
            tied = net in defect.forced or any(
                self.machine.net(p) == net and v == 0 for p, v in defect.stuck.items()
            )
            return "1" if tied else "2k"
        nets = self._net(a), self._net(b)
        if nets[0] != nets[1]:
            return "0.2" if set(nets) == set(defect.bridged) else "OL"
        cut = {str(pin) for pin in defect.open_pins} if defect.unit[0] == "net" else set()
        return "OL" if {a, b} & cut else "0.2"

    def _net(self, point: str) -> str:
        refdes, _, number = point.rpartition(".")
        return self.machine.net(PinRef(refdes, number)) or point

    def swap(self, case: Case, refdes: str) -> str:
        """Whether another part, put in, cures the board (a new part in the same socket cures its contacts too)."""
        kind, name = case.defect.unit
        return "cured" if kind in ("part", "socket") and name in refdes.split("+") else "same"

    def volts(self, case: Case, point: str) -> str:
        """A rail's voltage."""
        net = self._net(point)
        rail = self.board.index.rails.get(net)
        return "0" if case.defect.dead_rail == net else f"{rail.volts if rail else 5.0:g}"

    @cached_property
    def rails(self) -> list[str]:
        """The rails that are measured before power goes to anything else."""
        nets = [net for net in self.machine.nets if self.machine.roles[net] == "rail"]
        return [net for net in nets if any(self._feeds(pin) for pin in self.board.nets[net])]

    def _feeds(self, pin: PinRef) -> bool:
        spec = self.machine.flow.spec(pin)
        return spec is not None and spec.direction == "power"

    def answer(self, case: Case, kind: str, point: str, how: How) -> str:
        """What the tool of a measurement shows."""
        if kind == "logic":
            return self.logic(case, point, how)
        if kind == "hertz":
            seen = self.logic(case, point, how)
            clock = next(c for c in self.board.clocks if c.net == self._net(point))
            return f"{clock.hz if seen == 'good' else clock.hz * 0.7 if seen == 'wrong' else 0.0:g}"
        return {"ohms": self.ohms, "swap": self.swap, "volts": self.volts}[kind](case, point)

    def sample(self, count: int, rng: np.random.Generator) -> list[Case]:
        """Cases drawn as often as their parts are said to fail."""
        weights: NDArray[np.float64] = np.array([case.defect.weight for case in self.cases])
        return [self.cases[k] for k in rng.choice(len(self.cases), count, p=weights / weights.sum())]
