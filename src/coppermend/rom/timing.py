"""Whether a memory answers in time: the CPU's time for a read, less decoder delays and the device's own times.

Worst case of each part in a row; loads beyond data-sheet conditions are not counted.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Any

from coppermend.board.model import Board, PinRef
from coppermend.board.parttypes import PartLibrary
from coppermend.errors import InputError
from coppermend.rom.buslogic import find_cpu
from coppermend.rom.devices import Device
from coppermend.rom.levels import GATES

_FAMILY = re.compile(r"(?:[A-Z]{0,3})?(?:74|54)(LS|ALS|HCT|HC|ACT|AC|AS|S|F)?\d+")


@dataclass(frozen=True, slots=True)
class AccessPath:
    """One way from the CPU to data: through which parts, their delays, and the device's time from that pin [ns]."""

    name: str
    through: tuple[str, ...]
    delay_ns: float
    device_ns: float

    @property
    def total_ns(self) -> float:
        """From a valid address to valid data [ns]."""
        return self.delay_ns + self.device_ns

    def to_json(self) -> dict[str, Any]:
        """Keys ``name``, ``through``, ``delay_ns``, ``device_ns``, ``total_ns``."""
        return {
            "name": self.name, "through": list(self.through), "delay_ns": self.delay_ns,
            "device_ns": self.device_ns, "total_ns": self.total_ns,
        }  # fmt: skip


@dataclass(frozen=True)
class AccessMargin:
    """Time for a read, and each path against it; ``margin_ns`` is that of the slowest path, negative when too slow."""

    clock_hz: float
    available_ns: float
    paths: tuple[AccessPath, ...]
    source: str

    @property
    def margin_ns(self) -> float:
        """What is left on the slowest path [ns]."""
        return self.available_ns - max(path.total_ns for path in self.paths)

    def to_json(self) -> dict[str, Any]:
        """Keys ``clock_hz``, ``available_ns``, ``margin_ns``, ``paths``, ``source``."""
        return {
            "clock_hz": self.clock_hz, "available_ns": round(self.available_ns, 1),
            "margin_ns": round(self.margin_ns, 1), "paths": [path.to_json() for path in self.paths],
            "source": self.source,
        }  # fmt: skip


@lru_cache(maxsize=1)
def _times() -> Mapping[str, Any]:
    return tomllib.loads(resources.files("coppermend.rom.data").joinpath("timing.toml").read_text("utf-8"))


def available_ns(cpu: str, clock_hz: float) -> tuple[float, str]:
    """Time from a valid address until data must be valid [ns], worst case, and its source.

    Args:
        cpu: CPU type, such as 6502.
        clock_hz: The clock of its cycles [Hz].

    Raises:
        InputError: If the times of this CPU are not in the table, or the clock is not positive.

    >>> available_ns("6502", 1e6)[0]
    575.0
    """
    known = _times()["cpu"].get(cpu)
    if known is None or clock_hz <= 0:
        raise InputError(
            f"access time of a {cpu} at {clock_hz:g} Hz",
            expected=f"one of {', '.join(_times()['cpu'])}, and a clock",
        )
    cycle = known.get("clocks", 1) * 1e9 / clock_hz
    return cycle - known["address_ns"] - known["setup_ns"] - known["edges_ns"], known["source"]


def access_margin(
    board: Board, library: PartLibrary, refdes: str, device: Device, clock_hz: float | None = None
) -> AccessMargin:
    """The margin of one memory on a board.

    Args:
        board: The board with the memory's nets (adapted, when it is).
        library: Part types.
        refdes: The memory.
        device: What is fitted there.
        clock_hz: The CPU's clock [Hz]; when None the declared clock on its clock pin.

    Raises:
        InputError: If the clock or the CPU's times are not known.
    """
    cpu, kind = find_cpu(board, library)
    hertz = clock_hz or _cpu_clock(board, library)
    time, source = available_ns(kind.name, hertz)
    walk = _Delays(board, library, cpu.refdes)
    paths = [
        AccessPath("address", *walk.slowest(refdes, device.address), device.access_ns),
        *(
            AccessPath(
                device.pin_names[pin], *walk.slowest(refdes, (pin,)),
                device.enable_ns if "OE" in device.pin_names[pin] and device.enable_ns else device.select_ns,
            )
            for pin in device.selects
        ),
    ]  # fmt: skip
    return AccessMargin(hertz, time, tuple(paths), source)


def _cpu_clock(board: Board, library: PartLibrary) -> float:
    cpu, kind = find_cpu(board, library)
    on_clock = {
        board.index.net_of_pin.get(PinRef(cpu.refdes, pin.number), "")
        for pin in kind.pins
        if pin.role == "clock"
    }
    found = [clock.hz for clock in board.clocks if clock.net in on_clock]
    if not found:
        raise InputError("the CPU's clock is not declared", expected="a clock in Hz", where=board.name)
    return min(found)


class _Delays:
    def __init__(self, board: Board, library: PartLibrary, cpu: str) -> None:
        self.board, self.library, self.cpu = board, library, cpu
        self._done: dict[str, tuple[float, tuple[str, ...]]] = {}
        self._open: set[str] = set()

    def slowest(self, refdes: str, pins: tuple[str, ...]) -> tuple[tuple[str, ...], float]:
        """(parts on the way, delay [ns]) of the slowest of these pins."""
        nets = [self.board.index.net_of_pin.get(PinRef(refdes, pin), "") for pin in pins]
        delay, parts = max((self._of(net) for net in nets), default=(0.0, ()))
        return parts, delay

    def _of(self, net: str) -> tuple[float, tuple[str, ...]]:
        if net in self._done or net in self._open:
            return self._done.get(net, (0.0, ()))
        self._open.add(net)
        self._done[net] = max((self._through(pin) for pin in self.board.nets.get(net, ())), default=(0.0, ()))
        self._open.discard(net)
        return self._done[net]

    def _through(self, pin: PinRef) -> tuple[float, tuple[str, ...]]:
        part = self.board.index.parts.get(pin.refdes)
        kind = self.library.of(part) if part else None
        if part is None or kind is None or kind.name not in GATES or pin.refdes == self.cpu:
            return 0.0, ()
        path = next((p for p in kind.paths if pin.pin in p.outputs), None)
        if path is None:
            return 0.0, ()
        before, parts = max(
            self._of(self.board.index.net_of_pin.get(PinRef(pin.refdes, number), ""))
            for number in path.inputs
        )
        return before + gate_delay_ns(part.type, kind.name), (*parts, pin.refdes)


def gate_delay_ns(type_name: str, generic: str) -> float:
    """Worst-case delay of a fitted gate or decoder [ns], by its family.

    >>> gate_delay_ns("74LS138", "74138"), gate_delay_ns("7404", "7404")
    (41.0, 22.0)
    """
    found = _FAMILY.match(type_name.upper())
    family = (found[1] or "TTL") if found else "CMOS" if generic.startswith("4") else "TTL"
    table = _times()["gate"]
    family = {"HCT": "HC", "AC": "F", "ACT": "F", "AS": "S"}.get(family, family)
    return float(table[family]["decoder" if GATES[generic] == "decoder" else "simple"])
