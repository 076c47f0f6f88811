"""Boards with planted faults, and what the bench's tools then show. Shares no table with the belief."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from coppermend.board.model import Board, PinRef
from coppermend.board.parttypes import PartLibrary
from coppermend.isolate.defects import defects_of
from coppermend.isolate.machine import Defect, Machine
from coppermend.isolate.running import Run, Setup, run

_SPOKEN = ("lamp", "solenoid", "display", "sound", "strobe", "clock", "reset")
_ENDS = ("connector", "led", "lamp", "display", "relay")
Complaint = tuple[tuple[str, str], ...]


class Lot:
    """Boards of one kind side by side, each with its own defects; they run when they are first looked at."""

    def __init__(self, machine: Machine, boards: Sequence[tuple[Defect, ...]]) -> None:
        self.machine, self.boards = machine, tuple(boards)
        self._runs: dict[Setup, Run] = {}

    def run(self, how: Setup) -> Run:
        """What the boards show in a condition; board ``k`` is in column ``k + 1``."""
        if how not in self._runs:
            self._runs[how] = run(self.machine, self.boards, how)
        return self._runs[how]


@dataclass(frozen=True)
class Case:
    """One board with defects that show: where it stands in its lot, and the complaint in (point, value) rows."""

    lot: Lot
    column: int
    complaint: Complaint

    @property
    def defects(self) -> tuple[Defect, ...]:
        """What is wrong with it."""
        return self.lot.boards[self.column - 1]

    @property
    def defect(self) -> Defect:
        """What is wrong with it, or the first of it."""
        return self.defects[0]


class Workshop:
    """A board with every fault planted once, and tools to measure any of them.

    Args:
        board: The board.
        library: Part types.
        seed: Of what chips of unknown inside compute.
        most: Of more faults than this a fixed choice is planted.
    """

    def __init__(self, board: Board, library: PartLibrary, seed: int = 0, most: int = 4000) -> None:
        self.board, self.library = board, library
        self.machine = Machine(board, library, seed)
        every = defects_of(self.machine)
        if len(every) > most:
            kept = np.random.default_rng(seed).choice(len(every), most, replace=False)
            every = tuple(every[k] for k in sorted(kept))
        self.defects = every
        self.singles = Lot(self.machine, [(defect,) for defect in every])
        self.has_cpu = any(kind == "cpu" for kind in self.machine.kinds.values())

    @cached_property
    def cases(self) -> tuple[Case, ...]:
        """The defects that a customer would notice, one a board."""
        return self._noticed(self.singles)

    def _noticed(self, lot: Lot) -> tuple[Case, ...]:
        heard = ((column, self.complaint(lot, column)) for column in range(1, len(lot.boards) + 1))
        return tuple(Case(lot, column, complaint) for column, complaint in heard if complaint)

    @cached_property
    def _case_of(self) -> dict[int, Case]:
        return {id(case.defect): case for case in self.cases}

    def alone(self, defect: Defect) -> Case | None:
        """The board on which nothing but a planted defect is left; None where that does not show."""
        return self._case_of.get(id(defect))

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

    def complaint(self, lot: Lot, column: int) -> Complaint:
        """What the customer says, in words: no boot, or which kind of output is wrong; () when nothing shows."""
        shown = lot.run(_RUNNING)
        bad = {net for net, place in shown.number.items() if shown.differs[place, column]}
        if bad & set(self._cpu_nets):
            return (("", "no boot"),)
        wrong = [pin for pin in self._ends if self.machine.net(pin) in bad]
        if not wrong:
            return ()
        boots = (("", "boots"),) if self._cpu_nets else ()
        role = self.machine.roles.get(self.machine.net(wrong[0]), "")
        return (*boots, ("", f"{role if role in _SPOKEN else 'output'} wrong"))

    def setup(self, condition: str) -> Setup:
        """How the board stands in a condition as readings name it."""
        forced = self.has_cpu and condition != "running"
        if condition.startswith("without "):
            out = condition.removeprefix("without ")
            return Setup(forced=forced and self.machine.kinds.get(out) != "cpu", out=out)
        return Setup(forced=forced, deselected=forced and condition == "deselected")

    def logic(self, case: Case, point: str, condition: str) -> str:  # noqa: PLR0911  (one answer a line)
        """What a careful technician says of a pin: good, stuck high, stuck low, floating, between, or wrong."""
        refdes, _, number = point.rpartition(".")
        pin, how = PinRef(refdes, number), self.setup(condition)
        defects = [d for d in case.defects if not (how.out and d.at_part(how.out))]
        net = self.machine.net(pin) or point
        cut = any(d.unit[0] == "net" and pin in d.open_pins for d in defects)
        if cut and pin not in self.machine.inputs:
            return "floating"
        shown = case.lot.run(how)
        if cut:  # at the driver, before the open
            return self._before_the_open(shown, case, pin, net)
        if self._floats(defects, net, how):
            return "floating"
        place = shown.number[net]
        if not shown.differs[place, case.column]:
            return "good"
        if any(self._fights(defect, net) for defect in defects):
            return "between"
        if shown.moves[place, case.column]:
            return "wrong"
        return "stuck high" if shown.high[place, case.column] else "stuck low"

    def _before_the_open(self, shown: Run, case: Case, pin: PinRef, net: str) -> str:
        """At an output whose copper is open: good while nothing that it depends on is wrong."""
        if len(self.machine.drivers[net]) > 1:
            return "wrong"
        nets = (self.machine.net(source) for source in self.machine.inputs[pin])
        return "wrong" if any(shown.differs[shown.number[n], case.column] for n in nets) else "good"

    def _fights(self, defect: Defect, net: str) -> bool:
        several = len(self.machine.drivers.get(net, ())) > 1
        return net in defect.bridged or (net in defect.forced and several)

    def _floats(self, defects: Sequence[Defect], net: str, how: Setup) -> bool:
        """Whether nothing drives a net that something drives on a sound board in the same condition."""
        drivers = [p for p in self.machine.drivers.get(net, []) if p.refdes != how.out]
        if how.deselected:
            drivers = [p for p in drivers if p.refdes not in self.machine.stores]
        if not self.machine.drivers.get(net):
            link = self.machine.links.get(net)
            return bool(link and any(link[0] in defect.broken for defect in defects))
        off = [p for p in drivers if any(p in d.open_pins or d.stuck.get(p, 0) is None for d in defects)]
        return bool(drivers) and len(off) == len(drivers)

    def ohms(self, case: Case, point: str) -> str:
        """Continuity between two points, or resistance to ground of one."""
        a, _, b = point.partition(":")
        if not b:
            return "1" if any(self._grounds(defect, self._net(a)) for defect in case.defects) else "2k"
        nets = {self._net(a), self._net(b)}
        if len(nets) > 1:
            return "0.2" if any(nets == set(defect.bridged) for defect in case.defects) else "OL"
        cut = {str(pin) for d in case.defects if d.unit[0] == "net" for pin in d.open_pins}
        return "OL" if {a, b} & cut else "0.2"

    def _grounds(self, defect: Defect, net: str) -> bool:
        low = (self.machine.net(pin) for pin, level in defect.stuck.items() if level == 0)
        return net in defect.forced or net in low

    def _net(self, point: str) -> str:
        refdes, _, number = point.rpartition(".")
        return self.machine.net(PinRef(refdes, number)) or point

    def swap(self, case: Case, refdes: str) -> str:
        """Whether other parts, put in, cure what is complained of (a new part in the same socket cures its contacts).

        Of two faults the one that shows may be cured while the other is left: a board that boots again is cured of
        not booting, whatever its lamps do.
        """
        left = [d for d in case.defects if not any(d.at_part(name) for name in refdes.split("+"))]
        if len(left) == len(case.defects):
            return "same"
        after = [alone.complaint for defect in left if (alone := self.alone(defect))]
        return "same" if any(case.complaint[-1] in complaint for complaint in after) else "cured"

    def watch(self, case: Case) -> str:
        """Which outputs are wrong, of those that can be seen or heard; "none" when all are right."""
        shown = case.lot.run(_RUNNING)
        wrong = (pin for pin in self._ends if shown.differs[shown.number[self.machine.net(pin)], case.column])
        named = dict.fromkeys(name for pin in wrong if (name := self._seen_as(pin)))
        return "+".join(named) or "none"

    def _seen_as(self, pin: PinRef) -> str:
        """What a technician calls an output: the part that lights or clicks, or the net at a connector; "" if unseen."""
        if self.machine.kinds[pin.refdes] != "connector":
            return pin.refdes
        net = self.machine.net(pin)
        return net if self.machine.roles.get(net) in _SPOKEN[:4] else ""

    def joints(self, case: Case, point: str) -> str:
        """Bad joints of a part, a section or the board as a magnifier shows them; one crack in five is too fine."""
        parts = {p.refdes for p in self.board.parts if point in (p.refdes, p.section, "board")}
        bad = list[PinRef]()
        for defect in case.defects:
            if zlib.crc32(f"{defect.unit} {defect.what}".encode()) % 5 == 0:
                continue
            if defect.unit[0] == "net":
                bad += [pin for pin in defect.open_pins if pin.refdes in parts]
            at = defect.what.removeprefix("touch at ")
            if defect.unit[0] == "short" and at in parts:
                pins = self.board.index.pins_of_part[at]
                bad += [next(p for p in pins if self.machine.net(p) == net) for net in defect.bridged]
        return "+".join(map(str, bad)) or "sound"

    def volts(self, case: Case, point: str) -> str:
        """A rail's voltage."""
        net = self._net(point)
        rail = self.board.index.rails.get(net)
        dead = any(defect.dead_rail == net for defect in case.defects)
        return "0" if dead else f"{rail.volts if rail else 5.0:g}"

    def ripple(self, case: Case, point: str) -> str:
        """A rail's ripple, peak to peak [V]."""
        noisy = any(defect.noisy_rail == self._net(point) for defect in case.defects)
        return "0.6" if noisy else "0.01"

    @cached_property
    def rails(self) -> list[str]:
        """The rails that are measured before power goes to anything else."""
        nets = [net for net in self.machine.nets if self.machine.roles[net] == "rail"]
        return [net for net in nets if any(self._feeds(pin) for pin in self.board.nets[net])]

    def _feeds(self, pin: PinRef) -> bool:
        spec = self.machine.flow.spec(pin)
        return spec is not None and spec.direction == "power"

    def answer(self, case: Case, kind: str, point: str, condition: str) -> str:
        """What the tool of a measurement shows."""
        if kind == "logic":
            return self.logic(case, point, condition)
        if kind == "hertz":
            seen = self.logic(case, point, condition)
            clock = next(c for c in self.board.clocks if c.net == self._net(point))
            return f"{clock.hz if seen == 'good' else clock.hz * 0.7 if seen == 'wrong' else 0.0:g}"
        if kind == "watch":
            return self.watch(case)
        tools = {
            "joints": self.joints,
            "ohms": self.ohms,
            "swap": self.swap,
            "volts": self.volts,
            "ripple": self.ripple,
        }
        return tools[kind](case, point)

    def sample(self, count: int, rng: np.random.Generator) -> list[Case]:
        """Cases drawn as often as their parts are said to fail."""
        return [self.cases[k] for k in rng.choice(len(self.cases), count, p=self._chances)]

    @cached_property
    def _chances(self) -> NDArray[np.float64]:
        weights = np.array([case.defect.weight for case in self.cases])
        return np.asarray(weights / weights.sum())

    def pairs(self, count: int, rng: np.random.Generator) -> tuple[Case, ...]:
        """Boards with two defects of different units planted together, drawn as ``sample`` draws; those that show."""
        boards: list[tuple[Defect, ...]] = []
        while len(boards) < count:
            one, other = (case.defect for case in self.sample(2, rng))
            if one.unit[1] != other.unit[1]:
                boards.append((one, other))
        return self._noticed(Lot(self.machine, boards))


_RUNNING = Setup()
