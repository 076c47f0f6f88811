"""Proofs of what runs: reset, clock, program start, memories, peripherals, interrupts. No machine outputs."""

from __future__ import annotations

from coppermend.board.cautions import cautions_called
from coppermend.board.flow import Cone
from coppermend.board.model import PinRef
from coppermend.board.roles import Role
from coppermend.proving.coverage import Circuit
from coppermend.proving.records import Proof

_BUS_ROLES = frozenset({"address", "data", "control", "select", "reset", "clock", "interrupt"})


def running_proofs(circuit: Circuit) -> list[Proof]:
    """Proofs in the order in which a board comes to life."""
    program = _program(circuit)
    return [
        *(_clock(circuit, net) for net in circuit.nets("clock")),
        *(_reset(circuit, net) for net in _final(circuit, "reset")),
        *([program] if program else []),
        *(_memory(circuit, refdes) for refdes in circuit.parts("ram")),
        *(_peripheral(circuit, refdes) for refdes in circuit.parts("peripheral")),
        *(_interrupt(circuit, net) for net in circuit.nets("interrupt") if _driven(circuit, net)),
    ]


def _whole_net(circuit: Circuit, net: str) -> Cone:
    """Every signal pin of a net, as when the probe is put on each in turn."""
    pins = circuit.net_pins(net)
    return Cone(frozenset({net}), frozenset(p.refdes for p in pins), pins)


def _clock(circuit: Circuit, net: str) -> Proof:
    cone = circuit.flow.upstream([net]) | _whole_net(circuit, net)
    hz = next((clock.hz for clock in circuit.board.clocks if clock.net == net), None)
    wanted = f"{hz / 1e6:g} MHz within 0.1 %" if hz else "the frequency on the schematic"
    return Proof(
        f"clock:{net}",
        f"clock on {net}",
        "bench",
        f"Scope or counter on {net} at each pin it goes to: {wanted}, full levels, clean edges.",
        circuit.exercises(cone, circuit.with_neighbours(cone, "crystal", "oscillator", "capacitor")),
        0.9,
    )


_STORES_AND_LOGIC = frozenset({"cpu", "rom", "ram", "peripheral", "logic"})


def _final(circuit: Circuit, role: Role) -> list[str]:
    """Nets of this role that a chip reads; when none does, all of them."""
    nets = circuit.nets(role)
    final = [
        n
        for n in nets
        if any(circuit.flow.kinds[p.refdes] in _STORES_AND_LOGIC for p in circuit.flow.readers(n))
    ]
    return final or nets


def _reset(circuit: Circuit, net: str) -> Proof:
    """Exercises the nodes within the reset section as well: none of them is without effect on the timing."""
    nodes = set(circuit.nets("reset")) - set(_final(circuit, "reset"))
    cone = circuit.flow.upstream([net]) | _whole_net(circuit, net)
    for node in sorted(nodes):
        cone |= circuit.flow.upstream([node]) | _whole_net(circuit, node)
    timing = circuit.with_neighbours(cone, "capacitor", "electrolytic", "diode", "supervisor", "trimmer")
    return Proof(
        f"reset:{net}",
        f"reset timing on {net}",
        "bench",
        f"Scope on {net} and on the supply, single shot: at power-on reset is held until the supply is good and at "
        "least 100 ms longer, then changes once, cleanly; it acts again when the supply is dipped.",
        circuit.exercises(cone, timing),
        0.8,
    )


def bus_cone(circuit: Circuit, refdes: str) -> Cone:
    """What must work for a CPU to reach a memory or peripheral: its bus pins and all that leads to them."""
    flow = circuit.flow
    pins = [p for p in circuit.pins(refdes) if _on_bus(circuit, p)]
    cone = Cone(frozenset(flow.net(p) for p in pins), frozenset({refdes}), frozenset(pins))
    for pin in pins:
        cone |= flow.upstream([flow.net(pin)], {refdes})
    return cone


def _on_bus(circuit: Circuit, pin: PinRef) -> bool:
    spec = circuit.flow.spec(pin)
    if spec is None or not circuit.flow.signal(circuit.flow.net(pin)):
        return False
    if circuit.flow.kinds[pin.refdes] == "peripheral":
        return spec.role in _BUS_ROLES and not (spec.role == "interrupt" and spec.direction != "in")
    return spec.direction in ("in", "out", "bidi", "open-collector")


def _program(circuit: Circuit) -> Proof | None:
    processors = circuit.parts("cpu")
    if not processors:
        return None
    cone = Cone()
    for refdes in circuit.parts("rom"):
        cone |= bus_cone(circuit, refdes)
    for refdes in processors:
        cone |= _processor(circuit, refdes)
    return Proof(
        "program",
        "program starts and keeps running",
        "bench",
        "Power on and watch the data bus and a select line on the scope: after reset the program fetches without "
        "stopping for five minutes, and again after ten resets.",
        circuit.exercises(cone),
        0.85,
        cautions_called("static"),
    )


def _processor(circuit: Circuit, refdes: str) -> Cone:
    """The CPU's own pins in use while a program runs: its outputs, and its inputs with what sets them."""
    flow = circuit.flow
    cone = Cone(parts=frozenset({refdes}))
    for pin in circuit.signal_pins(refdes):
        spec, net = flow.spec(pin), flow.net(pin)
        if spec is None:
            continue
        cone |= Cone(frozenset({net}), frozenset(), frozenset({pin}))
        # A running program shows that a driven interrupt is not stuck, not that its sources work.
        if spec.direction == "in" and (spec.role in ("clock", "reset") or not flow.drivers(net, {refdes})):
            cone |= flow.upstream([net], {refdes})
    return cone


def _memory(circuit: Circuit, refdes: str) -> Proof:
    return Proof(
        f"ram:{refdes}",
        f"{refdes} stores and returns every bit",
        "bench",
        f"Run a March C- test over all of {refdes} from the test program, or write and compare patterns and their "
        "inverses at every address.",
        circuit.exercises(bus_cone(circuit, refdes)),
        0.95,
    )


def _peripheral(circuit: Circuit, refdes: str) -> Proof:
    return Proof(
        f"peripheral:{refdes}",
        f"{refdes} answers on the bus",
        "bench",
        f"From the test program write each readable register of {refdes} with patterns and read it back; check that "
        "no neighbour answers at its address.",
        circuit.exercises(bus_cone(circuit, refdes)),
        0.9,
    )


def _driven(circuit: Circuit, net: str) -> bool:
    return bool(circuit.flow.drivers(net))


def _interrupt(circuit: Circuit, net: str) -> Proof:
    cone = circuit.flow.upstream([net]) | _whole_net(circuit, net)
    return Proof(
        f"interrupt:{net}",
        f"interrupt on {net}",
        "bench",
        f"Scope on {net} with the program running: each source pulls it, it returns to its idle level by itself, and "
        "the program goes on.",
        circuit.exercises(cone),
        0.8,
    )
