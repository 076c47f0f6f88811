"""Remedy for a leaking battery: a rechargeable pack in a holder away from the board, on the old charge circuit."""

from __future__ import annotations

from coppermend.board.cautions import PRACTICE, cautions_called
from coppermend.board.flow import Flow
from coppermend.board.subject import net_subject, part_subject
from coppermend.rework.apply import NewNames, point_on
from coppermend.rework.figured import asked, checks_of, percent
from coppermend.rework.figures.figure import words
from coppermend.rework.figures.retention import retention_class
from coppermend.rework.keepalive import KeepAlive
from coppermend.rework.records import Check, KitLine, Remedy
from coppermend.rework.retained import diode_class

_PACK = "battery-nicd-3.6v"  # the library's type of a three-cell pack; the chemistry is in the value


def remote_pack(circuit: KeepAlive, flow: Flow, names: NewNames) -> Remedy | None:
    """Battery off; a nickel-metal hydride pack of the same voltage wired in its place, out of harm's way.

    Returns:
        None when the battery keeps no memory, is not charged, or has no ground pole.
    """
    board, battery = flow.board, circuit.battery
    ground = next((net for _, net in circuit.battery_pins if net != circuit.plus_net), "")
    if not circuit.memories or circuit.main is None or circuit.charge_ohm is None or not ground:
        return None
    near = (battery.x_mm, battery.y_mm)
    ends = [point_on(board, net, (battery.refdes,), near) for net in (circuit.plus_net, ground)]
    if not all(ends):
        return None
    pack = names.next("BT")
    wires = ((f"{pack}.1", ends[0]), (f"{pack}.2", ends[1]))
    return Remedy(
        id=f"remote-pack-{battery.refdes}",
        title=f"rechargeable pack in a remote holder in place of battery {battery.refdes}",
        why=f"The charge circuit stays as it was; a pack that leaks one day leaks into its holder, not onto the board. "
        f"It keeps {', '.join(m.refdes for m in circuit.memories)}.",
        parts_off=(battery.refdes,),
        parts_on=(
            KitLine(
                _PACK, "3.6 V NiMH, 800 mAh", "", 1, (pack,),
                "three nickel-metal hydride cells in a holder with leads, below and away from every board",
            ),
        ),
        steps=(
            f"Wire the holder: plus to net {circuit.plus_net} at {ends[0]}, minus to net {ground} at {ends[1]}; "
            "twist the leads and tie them down.",
            "Mount the holder where leaking cells drip onto nothing.",
            "With the board on, measure the charge current through the charge resistor.",
        ),
        checks=_checks(circuit),
        changes=frozenset({part_subject(battery.refdes)} | {net_subject(net) for net in circuit.kept_nets}),
        cautions=cautions_called("battery", "residue", "polarity", "iron", "fumes", "lead"),
        excludes=tuple(f"{o}-{battery.refdes}" for o in ("supercapacitor", "coin-cell", "nonvolatile-ram")),
        jumpers=wires,
        connections=((f"{pack}.1", circuit.plus_net), (f"{pack}.2", ground)),
    )  # fmt: skip


def _checks(circuit: KeepAlive) -> tuple[Check, ...]:
    classes = [retention_class(f"{m.type} {m.value}") for m in circuit.memories]
    diodes = [diode_class(d) for d in circuit.diodes]
    leak = sum(d.typical_leak_a for d in diodes)
    typical = sum(c.typical_a for c in classes) + leak
    worst = sum(c.worst_a for c in classes) + sum(d.leak_a for d in diodes)
    main = circuit.main
    assert main is not None
    answer, inputs = asked(
        "battery-pack",
        rail=percent(main.volts, main.tolerance),
        # Three cells on a trickle end near 1.33 V each (from memory).
        pack="3.6 V (3.3..4.0)",
        diode=f"{max((d.drop_v for d in diodes), default=0.0)}",
        series=percent(circuit.charge_ohm or 0.1, 0.05),
        load=f"{typical} ({typical}..{worst})",
    )
    kept = answer.out("hold_up_s")
    hold = Check(
        "hold-up, worst case", words(kept.low, "s"), f"at least {words(30 * 86_400.0, 's')}",
        kept.low >= 30 * 86_400.0, f"{answer.figure.source}; a month is wanted: {PRACTICE}",
        "Diode leakage and the memory's own current are both counted at their worst.",
        must=False, figure="battery-pack", inputs=inputs,
    )  # fmt: skip
    return (*checks_of(answer, inputs), hold)
