"""A board's address decoding, simulated for every CPU address at once. Reads no contents of memories.

Levels follow from the CPU's own pins in a read or write cycle, rails, pull-ups, and gates and decoders; whatever
else drives a net leaves it unknown.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import numpy as np

from coppermend.board.flow import SERIES_KINDS
from coppermend.board.kinds import kind_of
from coppermend.board.model import Board, Part, PinRef
from coppermend.board.parttypes import PartLibrary, PartType, SignalPath
from coppermend.board.roles import supply_nets
from coppermend.errors import InputError
from coppermend.rom.levels import GATES, Level, decoder_outputs, gate_output

Cycle = Literal["read", "write"]
ADDRESSES = 1 << 16
_STATES = np.arange(ADDRESSES)

# Levels of CPU pins while memory is read; a write differs as said below. Sources: the makers' data sheets.
_READ: Mapping[str, Mapping[str, bool]] = {
    "6502": {"R/W": True, "PHI2": True, "PHI1": False},
    "65C02": {"R/W": True, "PHI2": True, "PHI1": False},
    "6800": {"R/W": True, "VMA": True, "BA": False, "PHI2": True, "PHI1": False},
    "6802": {"R/W": True, "VMA": True, "BA": False, "E": True},
    "6808": {"R/W": True, "VMA": True, "BA": False, "E": True},
    "6809": {"R/W": True, "E": True, "BA": False, "BS": False},
    "6809E": {"R/W": True, "E": True, "BA": False, "BS": False},
    "Z80": {"/MREQ": False, "/RD": False, "/WR": True, "/IORQ": True, "/RFSH": True, "/BUSACK": True},
}
_WRITE: Mapping[str, bool] = {"R/W": False, "/RD": True, "/WR": False}


class BusLogic:
    """Levels of nets over all 65,536 CPU addresses in one kind of cycle.

    Raises:
        InputError: If the board has no CPU, several, or one whose cycles are not known.
    """

    def __init__(self, board: Board, library: PartLibrary, cycle: Cycle = "read") -> None:
        self.board, self.library, self.cycle = board, library, cycle
        self.cpu, self.cpu_type = find_cpu(board, library)
        self._levels: dict[str, Level] = {}
        self._open: set[str] = set()
        self._supply = self._supply_levels()
        self._cpu_pins = self._cpu_levels()

    def _supply_levels(self) -> dict[str, bool]:
        rails = self.board.index.rails
        made = {}
        for net in supply_nets(self.board, self.library):
            known = rails.get(net)
            made[net] = known.volts > 0 if known else not _is_ground_name(net)
        return made

    def _cpu_levels(self) -> dict[str, Level]:
        fixed = dict(_READ[self.cpu_type.name])
        if self.cycle == "write":
            fixed |= {name: level for name, level in _WRITE.items() if name in fixed}
        made: dict[str, Level] = {}
        for pin in self.cpu_type.pins:
            net = self.board.index.net_of_pin.get(PinRef(self.cpu.refdes, pin.number), "")
            if not net or net in self._supply:
                continue
            if pin.role == "address" and pin.name[1:].isdecimal():
                made[net] = Level.known((_STATES >> int(pin.name[1:])) & 1 == 1)
            elif pin.name in fixed:
                made[net] = Level.constant(fixed[pin.name], ADDRESSES)
        return made

    def of(self, net: str) -> Level:
        """The level of a net in each state; unknown when what drives it is."""
        if net not in self._levels:
            if net in self._open:  # a loop: whatever it holds is not a matter of addresses
                return Level.constant(None, ADDRESSES)
            self._open.add(net)
            self._levels[net] = self._driven(net)
            self._open.discard(net)
        return self._levels[net]

    def of_pin(self, pin: PinRef) -> Level:
        """The level at a pin; unknown when it is on no net."""
        return self.of(self.board.index.net_of_pin.get(pin, ""))

    def _driven(self, net: str) -> Level:
        if net in self._supply:
            return Level.constant(self._supply[net], ADDRESSES)
        if net in self._cpu_pins:
            return self._cpu_pins[net]
        drivers = [d for pin in self.board.nets.get(net, ()) if (d := self._driver(pin)) is not None]
        if len(drivers) == 1:
            return self._output(*drivers[0])
        if drivers and all(self._is_open_collector(pin) for pin, *_ in drivers):
            made = self._output(*drivers[0])
            for driver in drivers[1:]:
                made &= self._output(*driver)
            return made
        return Level.constant(None, ADDRESSES) if drivers else self._passive(net)

    def _driver(self, pin: PinRef) -> tuple[PinRef, PartType, SignalPath | None] | None:
        part = self.board.index.parts.get(pin.refdes)
        known = self.library.of(part) if part else None
        if part is None or known is None or kind_of(part, self.library) in SERIES_KINDS:
            return None
        spec = known.pin_by_number.get(pin.pin)
        if spec is None or spec.direction not in ("out", "bidi", "open-collector"):
            return None
        return pin, known, next((path for path in known.paths if pin.pin in path.outputs), None)

    def _is_open_collector(self, pin: PinRef) -> bool:
        known = self.library.of(self.board.index.parts[pin.refdes])
        spec = known.pin_by_number.get(pin.pin) if known else None
        return spec is not None and spec.direction == "open-collector"

    def _output(self, pin: PinRef, known: PartType, path: SignalPath | None) -> Level:
        gate = GATES.get(known.name)
        if gate is None or path is None:
            return Level.constant(None, ADDRESSES)
        inputs = [self.of_pin(PinRef(pin.refdes, number)) for number in path.inputs]
        if gate == "decoder":
            named = [
                (known.pin_by_number[n].name, level) for n, level in zip(path.inputs, inputs, strict=True)
            ]
            return decoder_outputs(named, len(path.outputs))[path.outputs.index(pin.pin)]
        return gate_output(gate, inputs)

    def _passive(self, net: str) -> Level:
        """A net that nothing drives: the level of a pull-up or pull-down, or of the net behind a series resistor."""
        for pin in self.board.nets.get(net, ()):
            part = self.board.index.parts.get(pin.refdes)
            if part is None or kind_of(part, self.library) not in ("resistor", "network"):
                continue
            others = {self.board.index.net_of_pin[p] for p in self.board.index.pins_of_part[pin.refdes]} - {
                net
            }
            supplies = others & set(self._supply)
            if supplies:
                return Level.constant(self._supply[min(supplies)], ADDRESSES)
            if len(others) == 1:
                return self.of(min(others))
        return Level.constant(None, ADDRESSES)


def find_cpu(board: Board, library: PartLibrary) -> tuple[Part, PartType]:
    """The board's CPU and its type.

    Raises:
        InputError: If there is none or more than one, or it is one whose cycles are not known.
    """
    found = [(part, known) for part in board.parts if (known := library.of(part)) and known.kind == "cpu"]
    if len(found) != 1:
        names = ", ".join(part.refdes for part, _ in found) or "none"
        raise InputError(f"CPUs on the board: {names}", expected="one CPU of a known type", where=board.name)
    if found[0][1].name not in _READ:
        raise InputError(
            f"CPU {found[0][1].name}: how it reads memory is not known here",
            expected=f"one of {', '.join(_READ)}", where=board.name,
        )  # fmt: skip
    return found[0]


def address_signals(board: Board, library: PartLibrary) -> dict[int, str]:
    """For each address line of the CPU that is on a net: the net and the CPU's pin, in words.

    Raises:
        InputError: As ``find_cpu``.
    """
    cpu, kind = find_cpu(board, library)
    made = {}
    for pin in kind.pins:
        net = board.index.net_of_pin.get(PinRef(cpu.refdes, pin.number), "")
        if pin.role == "address" and pin.name[1:].isdecimal() and net:
            made[int(pin.name[1:])] = f"net {net} ({cpu.refdes}.{pin.number})"
    return made


def _is_ground_name(net: str) -> bool:
    return net.upper().lstrip("/") in ("GND", "VSS", "0V", "GROUND", "PGND", "AGND", "DGND")
