"""Remedy for several small ROMs: one larger device on an adapter in a socket. The wiring is planned elsewhere."""

from __future__ import annotations

from dataclasses import dataclass

from coppermend.board.cautions import cautions_called
from coppermend.board.kinds import natural_key
from coppermend.board.model import Board, PinRef
from coppermend.board.parttypes import PartLibrary
from coppermend.board.subject import net_subject, part_subject
from coppermend.rework.apply import next_refdes, point_on
from coppermend.rework.records import Check, KitLine, Remedy, Required


@dataclass(frozen=True, slots=True)
class AdapterWire:
    """One pin of the new device: its net ("" when it stays open), and the old socket's contact or board point."""

    pin: str
    name: str
    net: str
    source: str


@dataclass(frozen=True, slots=True)
class AdapterChip:
    """A gate on the adapter: refdes on the plan, type, nets of its pins by number ("" stays open)."""

    plan_refdes: str
    type: str
    pins: tuple[tuple[str, str], ...]
    output_net: str
    output_pin: str


@dataclass(frozen=True, slots=True)
class AdapterWiring:
    """What puts one device in place of the old ``sockets``: plain values, so that any planner can fill them in.

    ``host`` is the socket that the adapter plugs into; ``slots`` say where each old program lies in the device.
    """

    host: str
    sockets: tuple[str, ...]
    device: str
    package: str
    wires: tuple[AdapterWire, ...]
    chips: tuple[AdapterChip, ...] = ()
    slots: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def larger_rom(
    board: Board, library: PartLibrary, wiring: AdapterWiring, checks: tuple[Check, ...], taken: tuple[str, ...] = ()
) -> Remedy:  # fmt: skip
    """Old ROMs out, one device on an adapter in; wires pin by pin, and the proof that it was burnt right.

    Args:
        board: The board as it is.
        library: Part types, for the pins of gates.
        wiring: What goes where.
        checks: What the planner found: contents at every address, access time.
        taken: Refdes that other remedies bring.

    Raises:
        UnknownName: If the host is not on the board.
    """
    host = board.index.part(wiring.host)
    plug = next_refdes(board, "P", taken)
    chip = next_refdes(board, "U", taken)
    gates: dict[str, str] = {}
    for gate in wiring.chips:
        gates[gate.plan_refdes] = next_refdes(board, "U", (*taken, chip, *gates.values()))
    made = _Wires(board, wiring, plug, chip, gates)
    wires, connections = made.all()
    empty = tuple(s for s in wiring.sockets if s != wiring.host)
    names = ", ".join(sorted(wiring.sockets, key=natural_key))
    return Remedy(
        id="larger-eprom",
        title=f"one {wiring.device} on an adapter at {wiring.host} for {names}",
        why=f"One device of a kind that is still made holds what {names} hold: fewer sockets to fail, and spares on the shelf.",
        parts_off=tuple(sorted(wiring.sockets, key=natural_key)),
        parts_on=(
            KitLine("adapter-plug", f"{host.package} plug for the socket of {wiring.host}", host.package, 1, (plug,)),
            KitLine(wiring.device, wiring.device, wiring.package, 1, (chip,), f"on the adapter, in its own socket; plug {plug}"),
            *(
                KitLine(gate.type, gate.type, "", 1, (gates[gate.plan_refdes],), "on the adapter")
                for gate in wiring.chips
            ),
        ),
        steps=(
            f"Read {names} twice each and keep the dumps; put the images together as planned: {'; '.join(wiring.slots)}.",
            f"Burn the {wiring.device}, read it back, and compare the sums with those of the image.",
            f"Wire the adapter: {made.words()}.",
            *((f"Leave the socket{'s' if len(empty) > 1 else ''} of {', '.join(empty)} empty.",) if empty else ()),
            *(f"{note[:1].upper()}{note[1:]}." for note in wiring.notes if not note.startswith("leave the other")),
        ),
        checks=checks,
        changes=frozenset(
            {part_subject(name) for name in wiring.sockets}
            | {net_subject(w.net) for w in wiring.wires if w.source and not w.source.startswith(f"{wiring.host}.") and w.net in board.nets}
        ),
        cautions=cautions_called("static", "iron", "fumes", "lead"),
        jumpers=wires,
        connections=connections,
        plugs=((plug, wiring.host),),
        stands_in=tuple((name, chip) for name in wiring.sockets),
        requires=(
            Required(
                f"contents:{chip}",
                f"contents of {chip} read back",
                f"Read the burnt {wiring.device} in the programmer and compare its sums with those of the image "
                "(coppermend rom burn); then check that the program starts.",
                chip,
            ),
        ),
    )  # fmt: skip


class _Wires:
    """The adapter's wires as jumpers of the remedy, and what they are meant to make."""

    def __init__(
        self, board: Board, wiring: AdapterWiring, plug: str, chip: str, gates: dict[str, str]
    ) -> None:
        self.board, self.wiring, self.plug, self.chip, self.gates = board, wiring, plug, chip, gates
        self.outputs = {g.output_net: f"{gates[g.plan_refdes]}.{g.output_pin}" for g in wiring.chips}

    def all(self) -> tuple[tuple[tuple[str, str], ...], tuple[tuple[str, str], ...]]:
        """(jumpers, connections)."""
        jumpers, meant = [], []
        for wire in self.wiring.wires:
            if not wire.net:
                continue
            end = self.outputs.get(wire.net) or self._point(wire.source)
            jumpers.append((f"{self.chip}.{wire.pin}", end))
            meant.append((f"{self.chip}.{wire.pin}", end if wire.net in self.outputs else wire.net))
        for gate in self.wiring.chips:
            name = self.gates[gate.plan_refdes]
            for pin, net in gate.pins:
                if net:
                    jumpers.append((f"{name}.{pin}", self._on(net)))
                    meant.append((f"{name}.{pin}", net))
        return tuple(jumpers), tuple(meant)

    def _point(self, source: str) -> str:
        """A contact of the host is one of the plug; any other point stays what it is."""
        refdes, _, pin = source.rpartition(".")
        return f"{self.plug}.{pin}" if refdes == self.wiring.host else source

    def _on(self, net: str) -> str:
        """A contact of the plug on a net, or the nearest point of the board."""
        host = self.wiring.host
        for pin in self.board.index.pins_of_part[host]:
            if self.board.index.net_of_pin[pin] == net:
                return f"{self.plug}.{pin.pin}"
        near = (self.board.index.parts[host].x_mm, self.board.index.parts[host].y_mm)
        return point_on(self.board, net, self.wiring.sockets, near)

    def words(self) -> str:
        """What is not straight down: "pin 2 (A12) to U1.22, a lead"."""
        moved = [w for w in self.wiring.wires if w.net and not self._straight(w)]
        said = [
            f"pin {w.pin} ({w.name}) to {self.outputs.get(w.net) or self._point(w.source)}" for w in moved
        ]
        straight = sum(1 for w in self.wiring.wires if w.net) - len(moved)
        return f"{straight} pins straight down to the plug; {', '.join(said)}"

    def _straight(self, wire: AdapterWire) -> bool:
        refdes, _, pin = wire.source.rpartition(".")
        if refdes != self.wiring.host or wire.net in self.outputs or not pin.isdigit():
            return False
        leads = len(self.wiring.wires)
        contacts = {p.pin for p in self.board.index.pins_of_part[self.wiring.host]}
        old = max((int(c) for c in contacts if c.isdigit()), default=0)
        here = PinRef(self.wiring.host, str(int(wire.pin) - (leads - old) // 2))
        return here.pin == pin
