"""Proofs of what meets the machine: outputs, switches, matrix, options, and leftover connector pins."""

from __future__ import annotations

from collections.abc import Sequence

from coppermend.board.cautions import cautions_called
from coppermend.board.flow import Cone
from coppermend.board.kinds import natural_key
from coppermend.board.model import PinRef
from coppermend.board.subject import Subject, part_subject
from coppermend.proving.closures import closure_proofs, connector_pins, with_pins
from coppermend.proving.coverage import Circuit
from coppermend.proving.records import Proof

_LOGIC_HOW = "a logic probe or scope while the program runs"
_OUTPUTS = {
    "lamp": (
        "lights alone",
        "Switch it on and off alone from the test program: only this lamp lights, fully.",
        0.9,
    ),
    "solenoid": (
        "pulls and lets go",
        "Meter across its driver first: off at rest. Then one short pulse from the test program: it pulls once and "
        "lets go; the driver stays cool.",
        0.9,
    ),
    "sound": (
        "acts as asked",
        "Switch it from the test program, or play each sound: the line follows, sounds are clean and at the right "
        "level, silence at rest.",
        0.8,
    ),
}
_OUTPUT_CAUTIONS = {
    "solenoid": ("solenoid", "moving parts", "mains"),
    "lamp": ("mains",),
    "sound": (),
}


def machine_proofs(circuit: Circuit) -> list[Proof]:
    """Proofs of outputs, then inputs."""
    return [
        *(proof for role in _OUTPUTS for proof in _outputs(circuit, role)),
        *_displays(circuit),
        *(_led(circuit, refdes) for refdes in circuit.parts("led")),
        *closure_proofs(circuit),
        *_options(circuit),
        *(_switch(circuit, refdes) for refdes in circuit.parts("switch") if not _on_option(circuit, refdes)),
        *_inputs(circuit),
    ]


def _called(circuit: Circuit, net: str) -> str:
    """What the machine calls a net at its connector, else what the net does."""
    for pin in connector_pins(circuit, net):
        connector = circuit.board.index.connectors.get(pin.refdes)
        if connector and (name := connector.signals.get(pin.pin)):
            return f"{name} ({pin})"
    return circuit.does(net)


def _outputs(circuit: Circuit, role: str) -> list[Proof]:
    verb, how, strength = _OUTPUTS[role]
    proofs = []
    for net in circuit.nets(role):
        pins = connector_pins(circuit, net)
        if pins and not _is_input(circuit, net):
            cone = with_pins(circuit.flow.upstream([net]), pins)
            proofs.append(
                Proof(
                    f"{role}:{net}",
                    f"{_called(circuit, net)} {verb}",
                    "machine",
                    how,
                    circuit.exercises(cone),
                    strength,
                    cautions_called(*_OUTPUT_CAUTIONS[role]),
                )
            )
    return proofs


def _is_input(circuit: Circuit, net: str) -> bool:
    """Whether the board only reads a net: nothing active drives it, something active follows it."""
    return not circuit.flow.drivers(net) and bool(circuit.flow.readers(net))


def _displays(circuit: Circuit) -> list[Proof]:
    """One proof per connector or on-board display that carries display nets."""
    nets = set(circuit.nets("display"))
    proofs = []
    for refdes in circuit.parts("connector", "display"):
        pins = [p for p in circuit.pins(refdes) if circuit.flow.net(p) in nets]
        if pins:
            cone = with_pins(circuit.flow.upstream(circuit.flow.net(p) for p in pins), pins)
            proofs.append(
                Proof(
                    f"display:{refdes}",
                    f"every digit and segment through {refdes}",
                    "machine",
                    "Run the display test: each digit shows every figure and its point, no ghosts, even brightness.",
                    circuit.exercises(cone),
                    0.85,
                    cautions_called("display supply", "mains"),
                )
            )
    return proofs


def _led(circuit: Circuit, refdes: str) -> Proof:
    pins = circuit.pins(refdes)
    cone = with_pins(circuit.flow.upstream(circuit.flow.net(p) for p in pins), pins)
    return Proof(
        f"led:{refdes}",
        f"{refdes} lights",
        "bench",
        f"See {refdes} light and go out as the program or the supply asks.",
        circuit.exercises(cone, [refdes]),
        0.8,
    )


def _on_option(circuit: Circuit, refdes: str) -> bool:
    nets = {circuit.flow.net(p) for p in circuit.pins(refdes)}
    return any(circuit.roles[n].role == "option" for n in nets if n in circuit.roles)


def _options(circuit: Circuit) -> list[Proof]:
    banks = [r for r in circuit.parts("switch") if _on_option(circuit, r)]
    proofs, done = [], set[str]()
    for refdes in banks:
        nets = [circuit.flow.net(p) for p in circuit.pins(refdes)]
        done |= set(nets)
        proofs.append(_option(circuit, refdes, nets, circuit.pins(refdes)))
    loose = [n for n in circuit.nets("option") if n not in done]
    return proofs + [_option(circuit, net, [net], connector_pins(circuit, net)) for net in loose]


def _option(circuit: Circuit, name: str, nets: Sequence[str], pins: Sequence[PinRef]) -> Proof:
    signals = [n for n in nets if circuit.flow.signal(n)]
    cone = with_pins(circuit.flow.downstream(signals), pins)
    parts = [name] if name in circuit.board.index.parts else []
    return Proof(
        f"option:{name}",
        f"every option at {name} is read",
        "bench",
        "Set each option on and off: the program shows each change, and only that one.",
        circuit.exercises(cone, parts),
        0.9,
    )


def _switch(circuit: Circuit, refdes: str) -> Proof:
    pins = circuit.pins(refdes)
    cone = with_pins(circuit.flow.downstream(circuit.flow.net(p) for p in pins), pins)
    title = circuit.board.index.parts[refdes].value or refdes
    return Proof(
        f"switch:{refdes}",
        f"{title} acts when pressed",
        "bench",
        f"Press {refdes} ten times: the board reacts each time, once, and not when it is let go.",
        circuit.exercises(cone, [refdes]),
        0.85,
    )


def _inputs(circuit: Circuit) -> list[Proof]:
    """Dedicated switches of the machine, one proof per connector pin's net."""
    nets = [n for n in circuit.nets("switch", *_OUTPUTS) if connector_pins(circuit, n)]
    nets = [n for n in nets if circuit.roles[n].role == "switch" or _is_input(circuit, n)]
    return [
        Proof(
            f"input:{net}",
            f"{_called(circuit, net)} is read",
            "bench",
            f"In the switch test close {net} as the machine does: exactly this input is reported, none when open.",
            circuit.exercises(with_pins(circuit.flow.downstream([net]), connector_pins(circuit, net))),
            0.9,
        )
        for net in nets
    ]


def leftover_proofs(circuit: Circuit, covered: frozenset[Subject]) -> list[Proof]:
    """Proofs for what the others do not reach: connector pins, chips with idle gates, passives.

    Args:
        circuit: The circuit.
        covered: Everything that the other proofs exercise.
    """
    connectors = [p for r in circuit.parts("connector") if (p := _connector(circuit, r, covered))]
    covered |= frozenset[Subject]().union(*(p.exercises for p in connectors))
    chips = [p for r in sorted(circuit.flow.kinds, key=natural_key) if (p := _chip(circuit, r, covered))]
    covered |= frozenset[Subject]().union(*(p.exercises for p in chips))
    return [
        *connectors,
        *(_contacts(circuit, r) for r in circuit.parts("connector") if circuit.supply_contacts(r)),
        *chips,
        *(p for r in sorted(circuit.flow.kinds, key=natural_key) if (p := _value(circuit, r, covered))),
    ]


def _connector(circuit: Circuit, refdes: str, covered: frozenset[Subject]) -> Proof | None:
    flow = circuit.flow
    pins = [p for p in circuit.signal_pins(refdes) if Subject("point", str(p)) not in covered]
    if not pins:
        return None
    cone = Cone()
    for pin in pins:
        net = flow.net(pin)
        cone |= flow.upstream([net]) if flow.drivers(net) else flow.downstream([net])
    listed = ", ".join(sorted((p.pin for p in pins), key=natural_key))
    return Proof(
        f"connector:{refdes}",
        f"signals at {refdes}",
        "bench",
        f"Pin by pin at {refdes} ({listed}) with {_LOGIC_HOW}: outputs move as expected, inputs are seen when driven.",
        circuit.exercises(with_pins(cone, pins)),
        0.6,
    )


def _contacts(circuit: Circuit, refdes: str) -> Proof:
    """Supply and ground contacts of a connector, which no signal test exercises."""
    pins = circuit.supply_contacts(refdes)
    return Proof(
        f"contact:{refdes}",
        f"supply and ground contacts of {refdes}",
        "bench",
        f"Power off, a mating plug in {refdes}: measure from the plug's side of contact "
        f"{', '.join(p.pin for p in pins)} to its net elsewhere on the board: under 1 Ω.",
        frozenset(Subject("point", str(p)) for p in pins),
        0.9,
        cautions_called("stored charge"),
    )


_CHIPS = frozenset(
    {"logic", "driver", "comparator", "timer", "supervisor", "oscillator", "transistor", "relay"}
)


def _chip(circuit: Circuit, refdes: str, covered: frozenset[Subject]) -> Proof | None:
    flow = circuit.flow
    if flow.kinds[refdes] not in _CHIPS | {"cpu", "ram", "rom", "peripheral"}:
        return None
    pins = circuit.signal_pins(refdes)
    known = circuit.library.of(circuit.board.index.parts[refdes])
    if known is None or all(Subject("point", str(p)) in covered for p in pins):
        return None
    cone = Cone(frozenset(), frozenset({refdes}), pins)
    return Proof(
        f"chip:{refdes}",
        f"{refdes} ({known.name}) in circuit",
        "bench",
        f"With {_LOGIC_HOW}, compare each output of {refdes} with its inputs against the function table of the "
        f"{known.description}.",
        circuit.exercises(cone),
        0.6,
    )


_MEASURED = {
    "resistor": "Measure it in circuit, both ways round; at or a little below its value",
    "network": "Measure each resistor of it from its common pin",
    "trimmer": "Turn it through while measuring: smooth, no gaps",
    "capacitor": "Measure capacitance with one lead free, or in circuit where nothing shunts it",
    "electrolytic": "Measure series resistance in circuit and check polarity",
    "supercapacitor": "Measure its voltage after an hour of charge and check polarity",
    "inductor": "Measure its resistance",
    "diode": "Diode test both ways: one drop, one open",
    "fuse": "Measure its resistance and read its rating",
    "crystal": "See it oscillate with a high-impedance probe",
    "transistor": "Diode test of both junctions",
    "battery": "Measure its voltage under a small load",
    "regulator": "Measure its output under load",
    "lamp": "Measure its filament, then see it light",
    "socket": "Measure from each contact to its net with a lead in place",
    "mechanical": "Measure across it, or from it to its net: well under 1 Ω",
}


def _value(circuit: Circuit, refdes: str, covered: frozenset[Subject]) -> Proof | None:
    how = _MEASURED.get(circuit.flow.kinds[refdes] or "")
    if how is None or part_subject(refdes) in covered or not circuit.pins(refdes):
        return None
    value = circuit.board.index.parts[refdes].value
    return Proof(
        f"value:{refdes}",
        f"{refdes} measures as it should",
        "bench",
        f"{how}{f' ({value})' if value else ''}. Power off, charge gone.",
        frozenset({part_subject(refdes)}),
        0.6,
        cautions_called("stored charge"),
    )
