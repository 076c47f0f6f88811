"""Old memory sockets as the bus sees them: what drives their pins, and which nets address and tell them apart.

Nets are judged by their levels over all 65,536 addresses; what selects a new device, and its wires, are in ``adapt``.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from coppermend.board.model import Board, PinRef
from coppermend.board.parttypes import PartLibrary
from coppermend.errors import InputError
from coppermend.rom.buslogic import ADDRESSES, BusLogic
from coppermend.rom.devices import Device
from coppermend.rom.readmap import Socket, SocketReads, data_order, socket_reads


class OldSockets:
    """Memories to be replaced by ``device`` in the socket ``host``.

    Raises:
        InputError: If a memory's selects or addresses are not known, it is never selected, or its data pins do not
            reach the CPU.
    """

    def __init__(
        self, board: Board, library: PartLibrary, sockets: Sequence[Socket], device: Device, host: str
    ) -> None:
        self.board, self.library, self.device = board, library, device
        self.sockets, self.host = tuple(sockets), host
        self.bus = BusLogic(board, library)
        self.writing = BusLogic(board, library, "write")
        self.reads = {s.refdes: self._reads_of(s) for s in sockets}
        self.net_at = board.index.net_of_pin
        self.signals = [net for net in board.nets if self._is_signal(net)]

    def _reads_of(self, socket: Socket) -> SocketReads:
        found = socket_reads(self.bus, socket)
        if (found.may_drive != found.drives).any() or not found.address_known:
            raise InputError(
                f"what selects or addresses {socket.refdes} is not known for every address",
                expected="its select and address pins on nets that the CPU drives through gates and decoders",
                where=self.board.name,
            )
        if not found.drives.any():
            raise InputError(
                f"{socket.refdes} is never selected", expected="a memory in use", where=self.board.name
            )
        if data_order(self.board, self.bus, socket) is None:
            raise InputError(
                f"the data pins of {socket.refdes} do not all reach the CPU's data lines",
                expected="eight data nets shared with the CPU", where=self.board.name,
            )  # fmt: skip
        return found

    def _is_signal(self, net: str) -> bool:
        """Whether a net follows the bus: known in all states, and not one level in all of them."""
        read, write = self.bus.of(net), self.writing.of(net)
        if not (read.is_known and write.is_known):
            return False
        levels = np.concatenate((read.high, write.high))
        return bool(levels.any() and not levels.all())

    def nets_in_order(self) -> list[str]:
        """Signals, those at the host first, then at the other sockets, the CPU, and elsewhere."""
        places = [self.host, *(s.refdes for s in self.sockets), self.bus.cpu.refdes]
        near = [self.net_at[p] for refdes in places for p in self.board.index.pins_of_part[refdes]]
        wanted = set(self.signals)
        return [net for net in dict.fromkeys((*near, *self.signals)) if net in wanted]

    def slot_bytes(self) -> int:
        """Bytes of the largest old memory: how far apart the images lie in the new device."""
        return max(s.device.bytes for s in self.sockets)

    def codes(self) -> tuple[tuple[str, ...], tuple[int, ...]]:
        """Nets for the address lines above a slot, lowest first, and each socket's slot number.

        Raises:
            InputError: If the device is too small, or no nets tell the sockets apart.
        """
        count = len(self.sockets)
        lines = (count - 1).bit_length()
        if self.slot_bytes() << lines > self.device.bytes:
            raise InputError(
                f"a {self.device.name} holds {self.device.bytes:,} bytes",
                expected=f"at least {self.slot_bytes() << lines:,} for {count} sockets",
            )
        steady = [(net, bits) for net in self._cpu_first() if (bits := self._steady(net)) is not None]
        for chosen in combinations(steady, lines):
            numbers = tuple(sum(bits[n] << k for k, (_, bits) in enumerate(chosen)) for n in range(count))
            if len(set(numbers)) == count:
                return tuple(net for net, _ in chosen), numbers
        raise InputError(
            f"no nets tell {' and '.join(s.refdes for s in self.sockets)} apart", where=self.board.name
        )

    def _cpu_first(self) -> list[str]:
        address = [
            self.net_at.get(PinRef(self.bus.cpu.refdes, pin.number), "")
            for pin in self.bus.cpu_type.pins if pin.role == "address"
        ]  # fmt: skip
        return list(dict.fromkeys(net for net in (*address, *self.nets_in_order()) if net in self.signals))

    def _steady(self, net: str) -> tuple[int, ...] | None:
        """The level of a net while each socket is selected, or None when it changes meanwhile."""
        high = self.bus.of(net).high
        levels = [high[self.reads[s.refdes].drives] for s in self.sockets]
        return tuple(int(v[0]) for v in levels) if all(v.all() or not v.any() for v in levels) else None

    def line(self, bit: int) -> str:
        """The net for a device address line within a slot.

        Raises:
            InputError: If no net carries what the old devices have there.
        """
        high, low = np.zeros(ADDRESSES, bool), np.zeros(ADDRESSES, bool)
        for socket in self.sockets:
            if bit < len(socket.device.address):
                found = self.reads[socket.refdes]
                ones = (found.address >> bit) & 1 == 1
                high |= found.drives & ones
                low |= found.drives & ~ones
        for net in self.nets_in_order():
            level = self.bus.of(net)
            if level.is_high[high].all() and level.is_low[low].all():
                return net
        raise InputError(f"no net carries address line A{bit} for all sockets", where=self.board.name)
