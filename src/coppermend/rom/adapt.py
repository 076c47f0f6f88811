"""Plans an adapter: which net goes to which pin of one new device so that it answers as the old ones did.

Nets are chosen by what they do over all 65,536 addresses in read and write cycles, not by their names.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import hypot

import numpy as np
import numpy.typing as npt

from coppermend.board.kinds import kind_of
from coppermend.board.model import Board, PinRef
from coppermend.board.parttypes import PartLibrary
from coppermend.errors import InputError
from coppermend.rom.adapter import Adapter, AdapterGate, Slot, Wire
from coppermend.rom.buslogic import ADDRESSES
from coppermend.rom.devices import Device
from coppermend.rom.levels import Bools, Level
from coppermend.rom.oldsockets import OldSockets
from coppermend.rom.readmap import Socket, socket_reads

_AND, _NOR = {2: "74LS08", 3: "74LS11", 4: "74LS21"}, {2: "74LS02", 3: "74LS27"}
Packed = npt.NDArray[np.uint8]


@dataclass(frozen=True)
class _Choice:
    """A level that a select may be wired to: a net as it is, or through gates; ``cost`` in leads and parts."""

    net: str
    low: Packed
    cost: float
    gate: AdapterGate | None = None


class _Planner(OldSockets):
    # Selects -----------------------------------------------------------------------------------

    def selects(self) -> dict[str, _Choice]:
        """What each select of the device is wired to, by pin; the cheapest that selects exactly as before.

        Raises:
            InputError: If the device's selects are not all active low, or nothing selects as before.
        """
        pins = list(self.device.selects)
        if any(level != "low" for level in self.device.selects.values()) or not 1 <= len(pins) <= 2:
            raise InputError(
                f"a {self.device.name} as the new device",
                expected="an EPROM or EEPROM with active-low selects",
            )
        choices = [*self._choices(), _Choice("", np.full(ADDRESSES // 4, 0xFF, np.uint8), 0.5)]
        singles = [(c.cost, [c]) for c in choices if self._fits(c.low)]
        pairs = [
            (a.cost + b.cost + self._off(pins[0], a) + self._off(pins[1], b), [a, b])
            for a in choices for b in choices
            if len(pins) == 2 and not (a.gate and b.gate) and self._fits(a.low & b.low)
        ]  # fmt: skip
        ranked = sorted(pairs if len(pins) == 2 else singles, key=lambda choice: choice[0])
        if not ranked:
            raise InputError(
                "no net, and no single gate, selects the new device as the old ones were",
                where=self.board.name,
            )
        return dict(zip(pins, ranked[0][1], strict=True))

    def _fits(self, low: Packed) -> bool:
        """Whether a device selected where ``low`` drives just as before in reads, and never more than before in writes."""
        half = ADDRESSES // 8
        return np.array_equal(low[:half], self._wanted) and not (low[half:] & ~self._allowed).any()

    @cached_property
    def _wanted(self) -> Packed:
        return np.packbits(self._selected())

    @cached_property
    def _allowed(self) -> Packed:
        return np.packbits(np.any([socket_reads(self.writing, s).may_drive for s in self.sockets], axis=0))

    def _off(self, pin: str, choice: _Choice) -> float:
        """A little cost for a wire where the socket's own contact below would do."""
        return 0.0 if self.net_at.get(self._below(pin)) == choice.net else 0.25

    def _below(self, pin: str) -> PinRef:
        """The host's contact that a pin of the new device stands over."""
        old = next(s for s in self.sockets if s.refdes == self.host).device
        return PinRef(self.host, str(int(pin) - (self.device.pins - old.pins) // 2))

    def _selected(self) -> Bools:
        return np.asarray(np.any([self.reads[s.refdes].drives for s in self.sockets], axis=0), dtype=bool)

    def _packed(self, read: Level, write: Level) -> Packed:
        return np.packbits(np.concatenate((read.is_low, write.is_low)))

    def _choices(self) -> Iterator[_Choice]:
        here = {self.net_at[p] for p in self.board.index.pins_of_part[self.host]}
        wanted = self._selected()
        for net in self.nets_in_order():
            read, write = self.bus.of(net), self.writing.of(net)
            lead = 0.0 if net in here else 1.0
            if read.is_low[wanted].all():
                yield _Choice(net, self._packed(read, write), lead)
            if read.is_high[wanted].all():
                gate = AdapterGate("UA1", "74LS04", (net,), "ADAPTER_SELECT")
                yield _Choice(gate.output, self._packed(~read, ~write), 3 + lead, gate)
        yield from self._joined()

    def _joined(self) -> Iterator[_Choice]:
        """One gate over a select of each socket: AND of active-low ones, NOR of active-high ones."""
        for active, types in ((False, _AND), (True, _NOR)):
            nets = [self._own_select(s, active) for s in self.sockets]
            if len(nets) not in types or None in nets:
                continue
            inputs = tuple(net for net in nets if net)
            levels = [(self.bus.of(net), self.writing.of(net)) for net in inputs]
            read, write = levels[0]
            for more_read, more_write in levels[1:]:
                read = read | more_read if active else read & more_read
                write = write | more_write if active else write & more_write
            if active:
                read, write = ~read, ~write
            gate = AdapterGate("UA1", types[len(inputs)], inputs, "ADAPTER_SELECT")
            yield _Choice(gate.output, self._packed(read, write), 4, gate)

    def _own_select(self, socket: Socket, active: bool) -> str | None:
        """The net of a select with that active level that the other sockets do not share."""
        others = {
            self.net_at.get(PinRef(s.refdes, pin), "")
            for s in self.sockets
            if s != socket
            for pin in s.selects
        }
        for pin, level in socket.selects.items():
            net = self.net_at.get(PinRef(socket.refdes, pin), "")
            if level == active and net in self.signals and net not in others:
                return net
        return None

    # Wires -------------------------------------------------------------------------------------

    def wires(self, nets: Mapping[str, str], gate: AdapterGate | None) -> tuple[Wire, ...]:
        return tuple(self._wire(pin, nets.get(pin, ""), gate) for pin in self.device.pin_names)

    def _wire(self, pin: str, net: str, gate: AdapterGate | None) -> Wire:
        name = self.device.pin_names[pin]
        if not net:
            return Wire(pin, name, "", "", "open")
        if gate and net == gate.output:
            return Wire(pin, name, net, gate.refdes, "gate")
        below = self._below(pin)
        contacts = [p for p in self.board.index.pins_of_part[self.host] if self.net_at[p] == net]
        if below in contacts:
            return Wire(pin, name, net, str(below), "straight")
        if contacts:
            used = pin in self.device.address or pin in self.device.selects or pin == self.device.supply
            return Wire(pin, name, net, str(contacts[0]), "moved" if used else "tie")
        point, length = self._nearest(net)
        return Wire(pin, name, net, point, "lead", length)

    def _nearest(self, net: str) -> tuple[str, float]:
        """The pin of a net that is nearest to the host's middle, and how far that is [mm]; first pin when unplaced."""
        gone = {s.refdes for s in self.sockets}
        pins = [p for p in self.board.nets[net] if p.refdes not in gone]
        # Solder does not go on an edge finger or into a connector when a chip's pin will do.
        kinds = {p.refdes: _kind(self.board, self.library, p.refdes) for p in pins}
        pins = [p for p in pins if kinds[p.refdes] != "connector"] or pins
        pads = self.board.index.pads
        own = [pads[p] for p in self.board.index.pins_of_part[self.host] if p in pads]
        placed = [p for p in pins if p in pads]
        if not own or not placed:
            return (str(pins[0]), 0.0) if pins else ("", 0.0)
        x = sum(pad.x_mm for pad in own) / len(own)
        y = sum(pad.y_mm for pad in own) / len(own)
        length, pin = min((hypot(pads[p].x_mm - x, pads[p].y_mm - y), p) for p in placed)
        return str(pin), length


def _kind(board: Board, library: PartLibrary, refdes: str) -> str:
    part = board.index.parts.get(refdes)
    return (kind_of(part, library) or "") if part else ""


def plan_adapter(
    board: Board, library: PartLibrary, sockets: Sequence[Socket], device: Device, host: str = ""
) -> Adapter:
    """Plan the adapter that puts one device in place of old memories.

    Args:
        board: The board, with the nets of the sockets.
        library: Part types.
        sockets: The old memories.
        device: The new device.
        host: The socket that takes it; the last one when empty.

    Returns:
        Wires for every pin, gates where no net selects as before, and where each old image goes.

    Raises:
        InputError: If the device is too small or unfit, or the board's nets cannot select and address it.
    """
    if not sockets or len({s.refdes for s in sockets}) != len(sockets):
        raise InputError("sockets to adapt", expected="one or more different memories, such as U2,U3")
    chosen = host or sockets[-1].refdes
    if chosen not in {s.refdes for s in sockets}:
        raise InputError(f"host socket {chosen}", expected=f"one of {', '.join(s.refdes for s in sockets)}")
    planner = _Planner(board, library, sockets, device, chosen)
    upper, numbers = planner.codes()
    slot = planner.slot_bytes()
    slot_lines = slot.bit_length() - 1
    selects = planner.selects()
    gate = next((choice.gate for choice in selects.values() if choice.gate), None)
    own = next(s for s in sockets if s.refdes == chosen)
    at = board.index.net_of_pin
    high, low = (at.get(PinRef(chosen, pin), "") for pin in (own.device.supply, own.device.ground))
    nets = {device.supply: high, device.ground: low}
    nets |= {pin: high if level == "high" else low for pin, level in device.read_ties.items()}
    nets |= {pin: choice.net or low for pin, choice in selects.items()}
    nets |= {device.address[bit]: planner.line(bit) for bit in range(slot_lines)}
    nets |= dict(zip(device.address[slot_lines:], upper, strict=False))
    unused = device.address[slot_lines + len(upper) :]
    nets |= dict.fromkeys(unused, low)
    nets |= {pin: at[PinRef(chosen, old)] for pin, old in zip(device.data, own.device.data, strict=True)}
    return Adapter(
        board=board.name, host=chosen, device=device, sockets=tuple(sockets),
        slots=tuple(_slot(planner, s, n * slot) for s, n in zip(sockets, numbers, strict=True)),
        slot_bytes=slot, used_bytes=slot << len(upper), wires=planner.wires(nets, gate),
        gates=(gate,) if gate else (), notes=_notes(device, unused, gate, len(sockets)),
    )  # fmt: skip


def _slot(planner: _Planner, socket: Socket, offset: int) -> Slot:
    at = np.flatnonzero(planner.reads[socket.refdes].drives)
    return Slot(socket.refdes, offset, socket.device.bytes, int(at[0]), int(at[-1]))


def _notes(device: Device, unused: Sequence[str], gate: AdapterGate | None, count: int) -> tuple[str, ...]:
    notes = []
    if unused:
        notes.append(
            f"{', '.join(device.pin_names[pin] for pin in unused)} tied low; the image is repeated to fill the device,"
            " so a lifted tie does no harm"
        )
    if gate:
        notes.append(f"one {gate.type} on the adapter makes the select; its unused inputs go to ground")
    if count > 1:
        notes.append("leave the other sockets empty")
    if device.notes:
        notes.append(f"{device.name}: {device.notes}")
    return tuple(notes)
