"""What an adapter from old sockets to one device is: wires, gates, places in the device; and the board with it.

Holds the records and applies them to the graph; planning is elsewhere, so that any wiring, also a wrong one, can
be applied and verified.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from coppermend.board.model import Board, Part, PinRef
from coppermend.board.parttypes import PartLibrary
from coppermend.errors import InputError
from coppermend.rom.buslogic import ADDRESSES, BusLogic
from coppermend.rom.devices import Device
from coppermend.rom.readmap import NOT_DRIVEN, Reads, Socket, read_all, socket_reads

How = Literal["straight", "moved", "lead", "tie", "gate", "open"]
_SHOWN = 12


@dataclass(frozen=True, slots=True)
class Wire:
    """One pin of the new device: its net, where that comes from, and how.

    ``how``: "straight" (the socket's own contact below it), "moved" (from another contact of the socket), "lead"
    (a wire to a point of the board), "tie" (to a supply contact of the socket), "gate" (from a gate on the
    adapter), "open". ``length_mm`` is the straight distance of a lead, 0 when not known.
    """

    pin: str
    name: str
    net: str
    source: str
    how: How
    length_mm: float = 0.0

    def to_json(self) -> dict[str, Any]:
        """Keys as the fields."""
        return {
            "pin": self.pin, "name": self.name, "net": self.net, "from": self.source, "how": self.how,
            "length_mm": round(self.length_mm, 1),
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class AdapterGate:
    """A gate that has to sit on the adapter: its type, input nets and output net."""

    refdes: str
    type: str
    inputs: tuple[str, ...]
    output: str

    def to_json(self) -> dict[str, Any]:
        """Keys as the fields."""
        return {"refdes": self.refdes, "type": self.type, "inputs": list(self.inputs), "output": self.output}


@dataclass(frozen=True, slots=True)
class Slot:
    """Where the contents of an old socket lie: first offset in the device, its bytes, and its CPU addresses."""

    refdes: str
    offset: int
    bytes: int
    cpu_first: int
    cpu_last: int

    def to_json(self) -> dict[str, Any]:
        """Keys as the fields."""
        return {
            "refdes": self.refdes, "offset": self.offset, "bytes": self.bytes, "cpu_first": self.cpu_first,
            "cpu_last": self.cpu_last,
        }  # fmt: skip


@dataclass(frozen=True)
class Adapter:
    """One device in place of old sockets; ``host`` is the socket whose contacts it takes, and the new part's refdes.

    ``used_bytes`` is how much of the device the tied address lines leave; the image is repeated to fill the rest.
    """

    board: str
    host: str
    device: Device
    sockets: tuple[Socket, ...]
    slots: tuple[Slot, ...]
    slot_bytes: int
    used_bytes: int
    wires: tuple[Wire, ...]
    gates: tuple[AdapterGate, ...] = ()
    notes: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Keys ``host``, ``device``, ``sockets``, ``slots``, ``used_bytes``, ``wires``, ``gates``, ``notes``."""
        return {
            "host": self.host, "device": self.device.name, "sockets": [s.refdes for s in self.sockets],
            "slots": [slot.to_json() for slot in self.slots], "used_bytes": self.used_bytes,
            "wires": [wire.to_json() for wire in self.wires],
            "gates": [gate.to_json() for gate in self.gates], "notes": list(self.notes),
        }  # fmt: skip


def adapter_image(adapter: Adapter, images: Mapping[str, bytes], fill: int = 0xFF) -> bytes:
    """The contents of the new device: each old image in its slot, all repeated to fill the device.

    Raises:
        InputError: If an image is missing or does not fill its old device.
    """
    used = bytearray([fill]) * adapter.used_bytes
    for socket, slot in zip(adapter.sockets, adapter.slots, strict=True):
        image = images.get(socket.refdes, b"")
        if len(image) != socket.device.bytes:
            raise InputError(
                f"image of {len(image):,} bytes for {socket.refdes}",
                expected=f"{socket.device.bytes:,} bytes, all of a {socket.device.name}",
            )
        # A smaller device answers several times within its slot, as address lines above it make no difference.
        used[slot.offset : slot.offset + adapter.slot_bytes] = image * (adapter.slot_bytes // len(image))
    return bytes(used) * (adapter.device.bytes // adapter.used_bytes)


def apply_adapter(board: Board, library: PartLibrary, adapter: Adapter) -> Board:
    """The board with the old memories out, and the new device and gates in, wired as the adapter says."""
    gone = {socket.refdes for socket in adapter.sockets}
    nets = {net: [p for p in pins if p.refdes not in gone] for net, pins in board.nets.items()}
    for wire in adapter.wires:
        if wire.net:
            nets.setdefault(wire.net, []).append(PinRef(adapter.host, wire.pin))
    old = board.index.part(adapter.host)
    parts = [part for part in board.parts if part.refdes not in gone]
    parts.append(replace(old, type=adapter.device.part_type.name, package=adapter.device.package))
    for gate in adapter.gates:
        parts.append(Part(gate.refdes, gate.type, section=old.section))
        for pin, net in _gate_pins(library, gate, _supplies(adapter)):
            nets.setdefault(net, []).append(PinRef(gate.refdes, pin))
    return replace(
        board, parts=tuple(parts), nets={net: tuple(pins) for net, pins in nets.items()}, pads=(), tracks=()
    )


def _supplies(adapter: Adapter) -> tuple[str, str]:
    nets = {wire.pin: wire.net for wire in adapter.wires}
    return nets.get(adapter.device.supply, ""), nets.get(adapter.device.ground, "")


def _gate_pins(library: PartLibrary, gate: AdapterGate, supplies: tuple[str, str]) -> list[tuple[str, str]]:
    kind = library.get(gate.type)
    path = next(p for p in kind.paths if len(p.inputs) == len(gate.inputs))
    pins = [(path.outputs[0], gate.output), *zip(path.inputs, gate.inputs, strict=True)]
    for spec in kind.pins:
        if spec.direction in ("power", "ground"):
            pins.append((spec.number, supplies[spec.direction == "ground"]))
    return pins


@dataclass(frozen=True)
class Verification:
    """The adapted board against the board as it was, over all 65,536 addresses.

    ``wrong`` counts addresses at which the CPU reads something else than before (a byte, silence, or what is not
    known); ``first_wrong`` lists (address, before, after), negative numbers as in ``read_all``. ``driven_on_write``
    counts addresses at which the new device may drive the bus while the CPU writes, and the old ones did not.
    """

    intended: int
    right: int
    wrong: int
    first_wrong: tuple[tuple[int, int, int], ...]
    driven_on_write: int

    @property
    def passed(self) -> bool:
        """Whether nothing is wrong."""
        return self.wrong == 0 and self.driven_on_write == 0 and self.intended > 0

    def to_json(self) -> dict[str, Any]:
        """Keys ``addresses``, ``intended``, ``right``, ``wrong``, ``first_wrong``, ``driven_on_write``, ``passed``."""
        return {
            "addresses": ADDRESSES, "intended": self.intended, "right": self.right, "wrong": self.wrong,
            "first_wrong": [{"address": a, "before": b, "after": c} for a, b, c in self.first_wrong],
            "driven_on_write": self.driven_on_write, "passed": self.passed,
        }  # fmt: skip


def verify_adapter(
    board: Board, library: PartLibrary, adapter: Adapter, images: Mapping[str, bytes]
) -> Verification:
    """Simulate every CPU address on the board as it is and on the adapted one, and compare byte by byte.

    Args:
        board: The board as it is.
        library: Part types.
        adapter: The wiring to be verified.
        images: Contents of the old devices by refdes, whole devices.
    """
    before = read_all(board, library, adapter.sockets, images)
    adapted = apply_adapter(board, library, adapter)
    socket = Socket(adapter.host, adapter.device, {p: v == "high" for p, v in adapter.device.selects.items()})
    after = read_all(adapted, library, (socket,), {adapter.host: adapter_image(adapter, images)})
    old_bus = BusLogic(board, library, "write")
    drove = np.any([socket_reads(old_bus, old).may_drive for old in adapter.sockets], axis=0)
    drives = socket_reads(BusLogic(adapted, library, "write"), socket).may_drive
    return _verdict(before, after, int(np.count_nonzero(drives & ~drove)))


def _verdict(before: Reads, after: Reads, driven_on_write: int) -> Verification:
    intended = before >= 0
    wrong = np.flatnonzero((before != after) | (before < NOT_DRIVEN))
    return Verification(
        intended=int(np.count_nonzero(intended)),
        right=int(np.count_nonzero(intended & (before == after))),
        wrong=int(wrong.size),
        first_wrong=tuple((int(a), int(before[a]), int(after[a])) for a in wrong[:_SHOWN]),
        driven_on_write=driven_on_write,
    )


def replace_wires(adapter: Adapter, wires: Sequence[Wire]) -> Adapter:
    """The same adapter with other wires, for instance as really soldered."""
    return replace(adapter, wires=tuple(wires))


def parse_wiring(text: str, device: Device, where: str = "") -> dict[str, str]:
    """A wiring as soldered from CSV rows pin,net (other columns do not count): net by pin of the device, "" for none.

    Raises:
        InputError: If the header lacks pin or net, or a pin is not one of the device, naming the line.
    """
    rows = csv.DictReader(io.StringIO(text.lstrip("\ufeff")))
    nets = {}
    try:
        if not rows.fieldnames or not {"pin", "net"} <= set(rows.fieldnames):
            raise InputError("the header lacks pin or net", expected="a header pin,net", where=where, line=1)
        for line, row in enumerate(rows, 2):
            if row["pin"] not in device.pin_names:
                raise InputError(
                    f"pin {row['pin']!r}", expected=f"1 to {device.pins}", where=where, line=line
                )
            nets[row["pin"]] = (row["net"] or "").strip()
    except csv.Error as error:
        raise InputError(f"is no CSV ({error})", expected="rows pin,net", where=where) from None
    return nets


def wires_with_nets(adapter: Adapter, nets: Mapping[str, str]) -> tuple[Wire, ...]:
    """The adapter's wires with other nets at some pins ("" for none)."""
    return tuple(
        replace(wire, net=nets[wire.pin], source="", how="lead" if nets[wire.pin] else "open", length_mm=0.0)
        if nets.get(wire.pin, wire.net) != wire.net
        else wire
        for wire in adapter.wires
    )
