"""Remedy for a leaking battery: a primary coin cell in a remote holder, behind a diode and a resistor."""

from __future__ import annotations

from dataclasses import replace

from coppermend.board.cautions import PRACTICE, cautions_called
from coppermend.board.flow import Flow
from coppermend.board.kinds import natural_key
from coppermend.board.parttypes import PartLibrary
from coppermend.board.roles import NetRole, net_roles
from coppermend.board.subject import net_subject, part_subject
from coppermend.quantity import format_quantity
from coppermend.rework.apply import NewNames, apply_remedy, point_on
from coppermend.rework.figured import asked, checks_of, percent
from coppermend.rework.figures.cells import COIN_CELL
from coppermend.rework.figures.figure import Answer, words
from coppermend.rework.figures.hold import YEAR_S
from coppermend.rework.figures.retention import retention_class
from coppermend.rework.keepalive import KeepAlive, keep_alive
from coppermend.rework.records import Check, KitLine, Remedy, Required
from coppermend.rework.retained import diode_class

# Values that keep the current into the cell within 25 mA when the diode fails; the first that leaves the memory enough.
_LIMITS_OHM = (1e3, 470.0, 150.0)
_WANTED_YEARS = 1.0  # common practice, no source: a cell that lasts from one service to the next
_TAKEN = frozenset({"resistor", "diode", "capacitor", "electrolytic", "fuse", "inductor"})


def coin_cell(circuit: KeepAlive, flow: Flow, library: PartLibrary, names: NewNames) -> Remedy | None:
    """Battery and everything that charged it off; a coin cell wired to the memory's supply through a resistor and a
    1N4148.

    Every part between the old battery and the rest comes off, since a Schottky diode that stayed would leak charge
    current into a primary cell.

    Returns:
        None when the battery keeps no memory, or memories on several nets, or no ground is known.
    """
    board = flow.board
    supply = _memory_net(circuit, flow)
    ground = next((net for _, net in circuit.battery_pins if net != circuit.plus_net), "")
    if not supply or not ground or circuit.main is None:
        return None
    battery = circuit.battery.refdes
    off = (battery, *_around(circuit, flow, supply))
    cell, resistor, diode = (names.next(letter) for letter in ("BT", "R", "D"))
    near = (circuit.battery.x_mm, circuit.battery.y_mm)
    wires = (
        (f"{cell}.1", f"{resistor}.1"),
        (f"{resistor}.2", f"{diode}.2"),
        (f"{diode}.1", point_on(board, supply, off, near)),
        (f"{cell}.2", point_on(board, ground, off, near)),
    )
    if not all(to for _, to in wires):
        return None
    tried = [(ohms, *_figure(circuit, ohms)) for ohms in _LIMITS_OHM]
    limit, answer, inputs = next(
        (t for t in tried if t[1].out("memory_v").low >= t[1].value("end")), tried[-1]
    )
    made = Remedy(
        id=f"coin-cell-{battery}",
        title=f"coin cell in a remote holder in place of battery {battery}",
        why=f"A primary lithium cell keeps {', '.join(m.refdes for m in circuit.memories)} for "
        f"{words(answer.out('life_s').low, 's')} or more and does not creep over the board.",
        parts_off=off,
        parts_on=(
            KitLine(
                "battery-coin", "CR2032, 3 V", "", 1, (cell,), "in a holder away from the board, with leads"
            ),
            KitLine("resistor", format_quantity(limit, "Ω"), "", 1, (resistor,), "in the plus lead"),
            KitLine("diode", "1N4148", "", 1, (diode,), f"stripe towards net {supply}"),
        ),
        steps=(
            f"Take off {', '.join(off)}: nothing that could charge may lead to a primary cell.",
            f"Wire the holder: plus through {resistor} and {diode} to net {supply}, minus to ground.",
            "With the board on, measure the voltage across the resistor: it must read 0 V, no current into the cell.",
        ),
        checks=_checks(answer, inputs),
        changes=frozenset({part_subject(r) for r in off} | {net_subject(net) for net in circuit.kept_nets}),
        cautions=cautions_called("battery", "residue", "primary cell", "polarity", "iron", "fumes", "lead"),
        excludes=tuple(
            f"{other}-{battery}" for other in ("supercapacitor", "remote-pack", "nonvolatile-ram")
        ),
        jumpers=wires,
        requires=(
            Required(
                f"uncharged:{cell}",
                f"no current into {cell}",
                f"With the board on, measure the voltage across {resistor}: 0 V means that no current flows into the "
                "primary cell. With it off, the same reading over the resistance is what the memory draws.",
                cell,
            ),
        ),
        connections=(*wires[:2], (f"{diode}.1", supply), (f"{cell}.2", ground)),
    )
    return replace(made, checks=(_uncharged(made, flow, library, cell), *made.checks))


def _memory_net(circuit: KeepAlive, flow: Flow) -> str:
    nets = set()
    for memory in circuit.memories:
        for pin in flow.board.index.pins_of_part[memory.refdes]:
            spec = flow.spec(pin)
            if spec and spec.direction == "power":
                nets.add(flow.net(pin))
    return nets.pop() if len(nets) == 1 else ""


def _around(circuit: KeepAlive, flow: Flow, supply: str) -> tuple[str, ...]:
    """Parts on the battery's plus net, or on nets between it and the memory's supply, that carry its current."""
    inner = {circuit.plus_net} if circuit.plus_net != supply else set()
    parts = {
        pin.refdes for net in inner for pin in flow.board.nets[net] if flow.kinds.get(pin.refdes) in _TAKEN
    }
    return tuple(sorted(parts - {circuit.battery.refdes}, key=natural_key))


def _figure(circuit: KeepAlive, limit_ohm: float) -> tuple[Answer, tuple[tuple[str, str], ...]]:
    classes = [retention_class(f"{m.type} {m.value}") for m in circuit.memories]
    # The diode from the dead rail leaks out of the kept supply.
    leak = sum(diode_class(d).typical_leak_a for d in circuit.diodes)
    typical, worst = sum(c.typical_a for c in classes) + leak, sum(c.worst_a for c in classes) + leak
    rail = circuit.main
    assert rail is not None
    return asked(
        "coin-cell",
        load=f"{typical} ({typical}..{worst})",
        end=f"{max((c.hold_v or 2.0 for c in classes), default=2.0)}",
        rail=percent(rail.volts, rail.tolerance),
        limit=percent(limit_ohm, 0.05),
        diode="0.5 (0.45..0.6)",  # small-signal silicon at microamperes, 1N4148 curves (from memory)
    )


def _checks(answer: Answer, inputs: tuple[tuple[str, str], ...]) -> tuple[Check, ...]:
    years = answer.out("life_s").low / YEAR_S
    life = Check(
        "life of the cell, worst case",
        f"{years:.2f} years",
        f"at least {_WANTED_YEARS:g} year",
        years >= _WANTED_YEARS,
        f"{COIN_CELL.source}; wanted life: {PRACTICE}",
        ""
        if years >= _WANTED_YEARS
        else "Measure the memory's current: usual chips draw a small share of the limit.",
        must=False,
        figure="coin-cell",
        inputs=inputs,
    )
    kept = checks_of(answer, inputs)
    return (*(check for check in kept if check.name != "no charge path to the cell"), life)


def _uncharged(made: Remedy, flow: Flow, library: PartLibrary, cell: str) -> Check:
    """The edited graph asked: does any way lead charge current into the cell?"""
    after = apply_remedy(flow.board, library, made)
    roles: dict[str, NetRole] = dict(net_roles(after, library))
    supply = {net for net, role in roles.items() if role.role in ("rail", "ground")}
    circuit = keep_alive(after, library, roles, Flow(after, library, supply), after.index.parts[cell])
    path = circuit.charge_parts if circuit else ()
    ohms = circuit.charge_ohm if circuit else None
    return Check(
        "no charge path to the cell",
        "none" if ohms is None else f"{', '.join(path)}, {format_quantity(ohms, 'Ω')}",
        "none",
        ohms is None and circuit is not None,
        "the edited netlist, direction of each diode; cell makers' pages on UL practice",
        "A primary lithium cell must never see charge current.",
    )
