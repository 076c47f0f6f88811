"""What the CPU reads at every address, from sockets, their nets and what is in the devices. Plans nothing.

The same simulation serves the board as it is and the board with an adapter, so the two can be held against each
other byte by byte.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from coppermend.board.model import Board, PinRef
from coppermend.board.parttypes import PartLibrary
from coppermend.errors import InputError
from coppermend.rom.buslogic import ADDRESSES, BusLogic
from coppermend.rom.devices import Device, get_device
from coppermend.rom.levels import Bools, Level

Reads = npt.NDArray[np.int16]
NOT_DRIVEN, NOT_KNOWN, CONFLICT = -1, -2, -3


@dataclass(frozen=True)
class Socket:
    """A memory's place on the board: refdes, the device in it, and the level of each select that selects it."""

    refdes: str
    device: Device
    selects: Mapping[str, bool]


@dataclass(frozen=True)
class SocketReads:
    """One socket over all CPU addresses: where it surely drives, where it may, and the address inside the device."""

    drives: Bools
    may_drive: Bools
    address: npt.NDArray[np.int32]
    address_known: bool


def socket_of(
    board: Board, library: PartLibrary, refdes: str, levels: Mapping[str, bool] | None = None
) -> Socket:
    """The socket of a memory.

    Args:
        board: The board.
        library: Part types.
        refdes: The memory.
        levels: Levels of mask-programmed selects that select, by point ("U2.20"); a select on a rail needs none.

    Raises:
        UnknownName: If there is no such part or its device is not in the device table.
        InputError: If the level of a mask-programmed select is not known.
    """
    part = board.index.part(refdes)
    device = get_device(part.type or part.value)
    bus = BusLogic(board, library)
    selects = {}
    for pin, level in device.selects.items():
        point = f"{refdes}.{pin}"
        known = (levels or {}).get(point, {"low": False, "high": True}.get(level))
        if known is None:
            here = bus.of_pin(PinRef(refdes, pin))
            if here.is_low.all() or here.is_high.all():
                known = bool(here.is_high.all())
            else:
                known = _from_memory_map(board, refdes, here)
        if known is None:
            raise InputError(
                f"the level of {point} ({device.pin_names[pin]}) that selects is part of the mask",
                expected=f"it said, such as {point}=low", where=board.name,
            )  # fmt: skip
        selects[pin] = known
    return Socket(refdes, device, selects)


def _from_memory_map(board: Board, refdes: str, level: Level) -> bool | None:
    """The level that a select has throughout the part's region of the memory map, if it has one there."""
    for region in board.memory_map:
        if refdes in region.parts:
            span = slice(region.start, region.end + 1)
            if level.is_low[span].all():
                return False
            if level.is_high[span].all():
                return True
    return None


def socket_reads(bus: BusLogic, socket: Socket) -> SocketReads:
    """What a socket does at each CPU address in the bus's kind of cycle."""
    chosen = Level.constant(True, ADDRESSES)
    for pin, active in socket.selects.items():
        level = bus.of_pin(PinRef(socket.refdes, pin))
        chosen &= level if active else ~level
    address = np.zeros(ADDRESSES, np.int32)
    known = np.ones(ADDRESSES, bool)
    for bit, pin in enumerate(socket.device.address):
        level = bus.of_pin(PinRef(socket.refdes, pin))
        known &= ~(level.low & level.high)
        address |= level.is_high.astype(np.int32) << bit
    return SocketReads(chosen.is_high, chosen.high, address, bool(known[chosen.high].all()))


def read_all(
    board: Board, library: PartLibrary, sockets: Sequence[Socket], images: Mapping[str, bytes]
) -> Reads:
    """What the CPU reads at each of its 65,536 addresses from these sockets.

    Args:
        board: The board.
        library: Part types.
        sockets: The memories.
        images: Contents by refdes, as large as the device.

    Returns:
        int16 array: the byte; NOT_DRIVEN, NOT_KNOWN (a select, an address or a data line is not known) or CONFLICT
        (two sockets drive, or ties defeat reading).

    Raises:
        InputError: If an image does not fill its device.
    """
    bus = BusLogic(board, library)
    reads = np.full(ADDRESSES, NOT_DRIVEN, np.int16)
    for socket in sockets:
        image = images[socket.refdes]
        if len(image) != socket.device.bytes:
            raise InputError(
                f"image of {len(image):,} bytes for {socket.refdes}",
                expected=f"{socket.device.bytes:,} bytes, all of a {socket.device.name}",
            )
        found = socket_reads(bus, socket)
        order = data_order(board, bus, socket)
        contents = np.frombuffer(image, np.uint8)
        if order is None or not found.address_known or not _powered(bus, socket):
            byte = np.full(ADDRESSES, NOT_KNOWN, np.int16)
        else:
            byte = _reordered(contents, order)[found.address].astype(np.int16)
        taken = reads != NOT_DRIVEN
        unsure = found.may_drive & ~found.drives
        reads = np.where(found.drives, np.where(taken, np.int16(CONFLICT), byte), reads).astype(np.int16)
        reads[unsure] = NOT_KNOWN
    return reads


def data_order(board: Board, bus: BusLogic, socket: Socket) -> tuple[int, ...] | None:
    """For the device's D0 to D7 the CPU's data line that each is wired to; None unless all eight are."""
    lines = {
        board.index.net_of_pin.get(PinRef(bus.cpu.refdes, pin.number), ""): int(pin.name[1:])
        for pin in bus.cpu_type.pins
        if pin.role == "data" and pin.name[1:].isdecimal()
    }
    order = [
        lines.get(board.index.net_of_pin.get(PinRef(socket.refdes, pin), "-"), -1)
        for pin in socket.device.data
    ]
    return tuple(order) if sorted(order) == list(range(8)) else None


def _reordered(contents: npt.NDArray[np.uint8], order: Sequence[int]) -> npt.NDArray[np.uint8]:
    made = np.zeros_like(contents)
    for line, seen in enumerate(order):
        made |= ((contents >> line) & 1) << np.uint8(seen)
    return made


def _powered(bus: BusLogic, socket: Socket) -> bool:
    """Whether supply, ground and the pins that must be tied for reading are at their levels."""
    wanted = {socket.device.supply: True, socket.device.ground: False}
    wanted |= {
        pin: level == "high" for pin, level in socket.device.read_ties.items() if level in ("low", "high")
    }
    for pin, high in wanted.items():
        level = bus.of_pin(PinRef(socket.refdes, pin))
        if not (level.is_high if high else level.is_low).all():
            return False
    return True
