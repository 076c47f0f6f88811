"""Proofs of the supply: discharge, resistance to ground, voltage, ripple, memory retention. No signals."""

from __future__ import annotations

from coppermend.board.cautions import HAZARDOUS_VOLTS_DC, Caution, cautions_called
from coppermend.board.flow import SERIES_KINDS
from coppermend.board.model import Rail
from coppermend.board.parttypes import PartKind
from coppermend.board.subject import Subject, net_subject, part_subject
from coppermend.proving.coverage import Circuit
from coppermend.proving.powerup import SHORT_OHM
from coppermend.proving.records import Proof

DISCHARGE = "discharge"
# Common practice, no source: what a linear 5 V supply of the time shows on a scope.
_RIPPLE_SHARE = 0.01
_BENCH_MOST_V = 15.0
_SMOOTHING: tuple[PartKind, ...] = ("capacitor", "electrolytic", "inductor")


def resistance_id(rail: str) -> str:
    """Id of the proof that records a rail's resistance to ground."""
    return f"resistance:{rail}"


def supply_proofs(circuit: Circuit) -> list[Proof]:
    """Proofs of every rail, in the order in which they are safe to do."""
    rails = circuit.nets("rail")
    discharge = Proof(
        DISCHARGE,
        "stored charge is gone",
        "bench",
        "With power off, measure across the supply capacitors and every display supply; discharge through a "
        "resistor until all read under 1 V.",
        frozenset(),
        0.0,
        cautions_called("stored charge", "display supply"),
    )
    kept = [
        proof
        for refdes in circuit.parts("battery", "supercapacitor")
        if (proof := _retention(circuit, refdes))
    ]
    return [
        discharge,
        *(_resistance(net) for net in rails),
        *(_voltage(circuit, net) for net in rails),
        *(_ripple(circuit, net) for net in rails if circuit.at(net, *_SMOOTHING)),
        *kept,
    ]


def _resistance(net: str) -> Proof:
    return Proof(
        resistance_id(net),
        f"{net} is not shorted to ground",
        "bench",
        f"Before power, with the board out: measure from {net} to ground, note the ohms. Under {SHORT_OHM:g} Ω is "
        "taken for a short.",
        frozenset({net_subject(net)}),
        0.3,
        cautions_called("stored charge"),
    )


def _rail_cautions(rail: Rail | None) -> tuple[Caution, ...]:
    high = rail is not None and abs(rail.volts) > HAZARDOUS_VOLTS_DC
    return cautions_called(*(("display supply", "mains") if high else ()), "stored charge")


def _limits(circuit: Circuit, net: str) -> tuple[str, str]:
    """(voltage window, ripple limit) in words."""
    rail = circuit.board.index.rails.get(net)
    if rail is None:
        return "the voltage on the schematic", "1 % of it"
    low, high = sorted((rail.volts * (1 - rail.tolerance), rail.volts * (1 + rail.tolerance)))
    return f"{low:.2f} V to {high:.2f} V", f"{abs(rail.volts) * _RIPPLE_SHARE * 1e3:.0f} mV"


def _setup_is_bench(circuit: Circuit, net: str) -> bool:
    rail = circuit.board.index.rails.get(net)
    return rail is None or abs(rail.volts) <= _BENCH_MOST_V


def _voltage(circuit: Circuit, net: str) -> Proof:
    window, _ = _limits(circuit, net)
    sources, nets = _sources(circuit, net)
    return Proof(
        f"rail:{net}",
        f"{net} at every part",
        "bench" if _setup_is_bench(circuit, net) else "machine",
        f"Measure {net} against ground at the supply pin of every part on it, black lead on that part's own "
        f"ground pin: {window} everywhere.",
        frozenset(
            {net_subject(n) for n in (net, *nets, *circuit.nets("ground"))}
            | {part_subject(r) for r in sources}
        ),
        0.9,
        _rail_cautions(circuit.board.index.rails.get(net)),
    )


def _ripple(circuit: Circuit, net: str) -> Proof:
    _, limit = _limits(circuit, net)
    parts = circuit.at(net, *_SMOOTHING)
    return Proof(
        f"ripple:{net}",
        f"ripple and spikes on {net}",
        "bench" if _setup_is_bench(circuit, net) else "machine",
        f"Scope, AC coupled, short ground lead: look at {net} across each capacitor on it under load; at most "
        f"{limit} of ripple, no bursts at the clock.",
        # At the capacitors only: the rail proof is what visits every part on the net.
        frozenset(part_subject(r) for r in parts),
        0.6,
        _rail_cautions(circuit.board.index.rails.get(net)),
    )


def _sources(circuit: Circuit, net: str) -> tuple[set[str], set[str]]:
    """Parts and nets that feed a rail: regulators with what sets them, fuses, coils, plugs that only carry supply."""
    grounds = set(circuit.nets("ground"))
    parts, nets, queue = set[str](), {net}, [net]
    while queue:
        here = queue.pop()
        for refdes in circuit.at(here, "regulator", "fuse", "inductor"):
            if refdes in parts or not _feeds(circuit, refdes, here):
                continue
            parts.add(refdes)
            behind = {circuit.flow.net(p) for p in circuit.pins(refdes)} - grounds - nets
            nets |= behind
            queue += sorted(behind)
            if circuit.flow.kinds[refdes] == "regulator":
                parts |= {
                    r
                    for n in behind - set(circuit.nets("rail"))
                    for r in circuit.at(n, "resistor", "trimmer")
                }
    inlets = {r for n in nets for r in circuit.at(n, "connector") if not circuit.signal_pins(r)}
    return parts | inlets, nets - {net}


def _feeds(circuit: Circuit, refdes: str, net: str) -> bool:
    """A regulator feeds the rail on its output only; fuses and coils feed either way."""
    if circuit.flow.kinds[refdes] != "regulator":
        return True
    pins = [p for p in circuit.pins(refdes) if circuit.flow.net(p) == net]
    return any((spec := circuit.flow.spec(p)) is None or spec.direction == "out" for p in pins)


def _retention(circuit: Circuit, refdes: str) -> Proof | None:
    """The memory test over hours without supply; exercises all that hangs between the cell and the memories."""
    parts, nets = _kept(circuit, refdes)
    memories = [r for r in circuit.parts("ram") if any(circuit.flow.net(p) in nets for p in circuit.pins(r))]
    if not memories:
        return None
    subjects: set[Subject] = {part_subject(r) for r in parts} | {net_subject(n) for n in nets}
    return Proof(
        f"retention:{refdes}",
        f"memory keeps its contents from {refdes}",
        "bench",
        f"Charge for some hours, write a pattern to {', '.join(memories)}, power off, note the kept voltage after "
        "10 minutes, one hour and overnight; then power on and compare the pattern.",
        frozenset(subjects),
        0.9,
        cautions_called("primary cell", "polarity"),
    )


def _kept(circuit: Circuit, refdes: str) -> tuple[set[str], set[str]]:
    """Parts and nets between a cell and the memories: series parts walked up to, not into, the CPU's rail."""
    flow = circuit.flow
    grounds = set(circuit.nets("ground"))
    main = {
        flow.net(p)
        for r in circuit.parts("cpu", "regulator")
        for p in circuit.pins(r)
        if (spec := flow.spec(p)) and spec.direction in ("power", "out") and flow.net(p) in flow.supply_nets
    }
    start = {flow.net(p) for p in circuit.pins(refdes)} - grounds - main - {""}
    parts, nets, queue = {refdes}, set(start), sorted(start)
    while queue:
        for pin in circuit.board.nets[queue.pop()]:
            far = flow.across(pin) if flow.kinds.get(pin.refdes) in SERIES_KINDS else None
            if far is None:
                continue
            other = flow.net(far)
            if (
                other
                and other not in grounds
                and (other in main or other in flow.supply_nets or _only_passive(circuit, other))
            ):
                parts.add(pin.refdes)
                if other not in main | nets:
                    nets.add(other)
                    queue.append(other)
    return parts, nets


def _only_passive(circuit: Circuit, net: str) -> bool:
    specs = [circuit.flow.spec(p) for p in circuit.board.nets[net]]
    return all(spec is None or spec.direction in ("passive", "power") for spec in specs)
