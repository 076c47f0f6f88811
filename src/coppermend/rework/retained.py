"""Remedies for the battery that keeps a memory: supercapacitor or non-volatile RAM. Other sections: elsewhere."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

from coppermend.board.cautions import PRACTICE, cautions_called
from coppermend.board.flow import Flow
from coppermend.board.model import Board, Part, PinRef, Rail
from coppermend.board.parttypes import PartLibrary
from coppermend.board.subject import net_subject, part_subject
from coppermend.quantity import format_quantity
from coppermend.rework.figured import percent
from coppermend.rework.figures.retention import (
    POWER_SCHOTTKY,
    RECTIFIER,
    SCHOTTKY,
    SILICON,
    BlockingDiode,
    RetentionClass,
    charge_time_s,
    hold_up_s,
    retention_class,
)
from coppermend.rework.keepalive import KeepAlive
from coppermend.rework.loads import rail_load_a
from coppermend.rework.records import Check, KitLine, Remedy
from coppermend.rework.regulated import inrush_checks

# Common practice, no source: 5.5 V double-layer capacitors on offer [F], how long a memory should last [h]
# (a weekend), the spread of their capacitance, series resistance [Ω], and what a small resistor and diode take.
_SIZES_F = (0.1, 0.22, 0.33, 0.47, 0.68, 1.0, 1.5)
WANTED_HOURS = 48.0
_TOLERANCE = 0.20
_ESR_OHM = 75.0
_RATED_V, _RESISTOR_W, _DIODE_A = 5.5, 0.25, 0.1

_FORMULA = "t = C·(V0 − V1)/I"


def supercapacitor(
    circuit: KeepAlive, board: Board, library: PartLibrary, wanted_hours: float = WANTED_HOURS
) -> Remedy | None:
    """Battery off, supercapacitor on, on the same two pads.

    The smallest size is chosen that holds ``wanted_hours`` at the worst figures, or the largest there is.

    Args:
        circuit: The keep-alive circuit of the battery.
        board: The board, for the load that the rail carries besides.
        library: Part types.
        wanted_hours: How long the memory should hold without supply [h].

    Returns:
        None when the battery keeps no memory or no rail is known to charge the capacitor.
    """
    if not circuit.memories or circuit.main is None:
        return None
    plan = _Plan(circuit, circuit.main, wanted_hours)
    size, battery = plan.farads, circuit.battery.refdes
    return Remedy(
        id=f"supercapacitor-{battery}",
        title=f"supercapacitor in place of battery {battery}",
        why=f"{battery} leaks when it ages; a double-layer capacitor holds no electrolyte that attacks copper, "
        f"but keeps {_named(circuit.memories)} for {plan.worst_h:.0f} to {plan.typical_h:.0f} hours, not for months.",
        parts_off=(battery,),
        parts_on=(
            KitLine(
                "supercapacitor",
                format_quantity(size, "F"),
                "",
                1,
                (battery,),
                f"{_RATED_V} V, plus to net {circuit.plus_net}",
            ),
        ),
        steps=(
            f"Fit the capacitor at {battery}, plus to net {circuit.plus_net}.",
            f"Leave the board on for {_minutes(plan.charge_s)} before the hold-up is judged; the full figure "
            "needs some hours of charge.",
        ),
        checks=(*_checks(circuit, circuit.main, plan, wanted_hours), *_inrush(circuit, board, library, size)),
        changes=frozenset({part_subject(battery)} | {net_subject(net) for net in circuit.kept_nets}),
        cautions=cautions_called("battery", "residue", "polarity", "stored charge"),
        excludes=tuple(f"{other}-{battery}" for other in ("nonvolatile-ram", "coin-cell", "remote-pack")),
        connections=circuit.battery_pins,
    )


def _inrush(circuit: KeepAlive, board: Board, library: PartLibrary, farads: float) -> tuple[Check, ...]:
    """What the regulator of the charging rail sees at switch-on; it need not stand on this board, so it is a trap."""
    assert circuit.main is not None
    load = rail_load_a(board, library, circuit.main.net)
    found = inrush_checks(board, circuit, circuit.main, load, farads=farads)
    return tuple(replace(check, must=False) for check in found)


class _Plan:
    """The figures of one supercapacitor on one circuit."""

    def __init__(self, circuit: KeepAlive, main: Rail, wanted_hours: float) -> None:
        self.classes = {m.refdes: retention_class(f"{m.type} {m.value}") for m in circuit.memories}
        kept = [c for c in self.classes.values() if c.hold_v is not None]
        # A diode between capacitor and memory lets the memory see less than the capacitor has.
        lost_v = max((diode_class(d).drop_v for d in circuit.feed_diodes), default=0.0)
        self.memory_v = max((c.hold_v or 0.0 for c in kept), default=2.0)
        self.end_v = self.memory_v + lost_v
        # Every diode between kept nets and rail leaks back; the one with the largest drop sets the start.
        self.diodes = [diode_class(d) for d in circuit.diodes]
        drop = max((d.drop_v for d in self.diodes), default=0.0)
        leak = sum(d.leak_a for d in self.diodes)
        self.start_v = main.volts * (1 - main.tolerance) - drop
        self.highest_v = main.volts * (1 + main.tolerance)
        self.worst_a = sum(c.worst_a for c in self.classes.values()) + leak
        self.typical_a = sum(c.typical_a for c in self.classes.values()) + sum(
            d.typical_leak_a for d in self.diodes
        )
        self.leak_a = leak
        self.series_ohm = (circuit.charge_ohm or 0.0) + _ESR_OHM
        self.peak_a = main.volts * (1 + main.tolerance) / self.series_ohm
        self.farads = next((f for f in _SIZES_F if self._hours(f) >= wanted_hours), _SIZES_F[-1])
        self.worst_h = self._hours(self.farads)
        self.typical_h = hold_up_s(self.farads, main.volts - drop, self.end_v, self.typical_a) / 3600
        self.charge_s = charge_time_s(self.series_ohm, self.farads)
        # The same figures as the page computes them: the capacitor's own leakage and age are for the page to vary.
        self.inputs = (
            ("capacitance", f"{self.farads} {_TOLERANCE * 100:g}%"), ("rail", percent(main.volts, main.tolerance)),
            ("diode", f"{drop}"), ("end", f"{self.end_v}"), ("load", _span(self.classes)),
            ("diode-leak", f"{sum(d.typical_leak_a for d in self.diodes)} ({min(leak, sum(d.typical_leak_a for d in self.diodes))}..{leak})"),
            ("leak", "none"), ("esr", f"{_ESR_OHM}"), ("series", f"{circuit.charge_ohm or 0.001}"),
            ("temperature", "25"), ("ageing", "0"), ("wanted", f"{wanted_hours} h"),
        )  # fmt: skip

    def _hours(self, farads: float) -> float:
        return hold_up_s(farads * (1 - _TOLERANCE), self.start_v, self.end_v, self.worst_a) / 3600


def _span(classes: Mapping[str, RetentionClass]) -> str:
    typical = sum(c.typical_a for c in classes.values())
    return f"{typical} ({typical}..{sum(c.worst_a for c in classes.values())})"


_DIODES = (
    (r"1N58[12]\d|SB\d", POWER_SCHOTTKY),
    (r"SCHOTTKY|BAT\d", SCHOTTKY),
    (r"RECTIFIER|1N(?:400|540)\d", RECTIFIER),
)


def diode_class(part: Part) -> BlockingDiode:
    """The figures of a diode by its type and value; small-signal silicon when they say nothing else."""
    name = f"{part.type} {part.value}".upper()
    return next((found for pattern, found in _DIODES if re.search(pattern, name)), SILICON)


def _checks(circuit: KeepAlive, main: Rail, plan: _Plan, wanted_hours: float) -> tuple[Check, ...]:
    return (
        _retention_check(plan),
        _hold_check(circuit, plan, wanted_hours),
        _path_check(circuit, main),
        _blocking_check(circuit, main),
        Check(
            "voltage across the capacitor",
            f"{plan.highest_v:.2f} V",
            f"at most {_RATED_V} V",
            plan.highest_v <= _RATED_V,
            "highest rail without any drop; rating of the usual double-layer capacitor: " + PRACTICE,
            figure="retention",
            inputs=plan.inputs,
        ),
        _peak_check(circuit, plan),
        _resistor_check(circuit, plan),
    )


def _retention_check(plan: _Plan) -> Check:
    bad = [refdes for refdes, c in plan.classes.items() if c.hold_v is None]
    sources = "; ".join(dict.fromkeys(c.source for c in plan.classes.values()))
    return Check(
        "memory holds at low voltage",
        f"{', '.join(bad)} cannot" if bad else f"down to {plan.memory_v:.1f} V",
        "every memory has a retention mode",
        not bad,
        sources,
        "NMOS memory has no retention mode and empties a capacitor in seconds" if bad else "",
    )


def _hold_check(circuit: KeepAlive, plan: _Plan, wanted_hours: float) -> Check:
    note = "A fraction of a farad holds hours to days, not weeks; the capacitor's own leakage comes on top."
    if plan.leak_a >= SCHOTTKY.leak_a:
        names = ", ".join(dict.fromkeys(d.name for d in plan.diodes))
        note += (
            f" Reverse leakage of the blocking diode ({names}) is counted as load, "
            f"{format_quantity(plan.leak_a, 'A')}; it rises steeply with heat."
        )
    if circuit.others:
        note += f" {', '.join(circuit.others)} also hang on the kept supply: measure their current."
    return Check(
        "hold-up, worst case",
        f"{plan.worst_h:.2f} h",
        f"at least {wanted_hours:g} h",
        plan.worst_h >= wanted_hours,
        f"{_FORMULA}, C {format_quantity(plan.farads * (1 - _TOLERANCE), 'F')}, {plan.start_v:.2f} to "
        f"{plan.end_v:.2f} V, {format_quantity(plan.worst_a, 'A')}; {_diode_sources(plan)}wanted time: {PRACTICE}",
        note,
        must=False,
        figure="retention",
        inputs=plan.inputs,
    )


def _diode_sources(plan: _Plan) -> str:
    return "".join(f"{source}; " for source in dict.fromkeys(d.source for d in plan.diodes))


def _path_check(circuit: KeepAlive, main: Rail) -> Check:
    found = circuit.charge_ohm is not None
    return Check(
        "charge path",
        f"{', '.join(circuit.charge_parts)}, {format_quantity(circuit.charge_ohm or 0.0, 'Ω')}"
        if found
        else "none",
        f"a path from {main.net} to {circuit.plus_net}",
        found,
        "board's netlist",
        "" if found else "nothing would charge the capacitor; add a diode and a series resistor",
    )


def _blocking_check(circuit: KeepAlive, main: Rail) -> Check:
    return Check(
        "no discharge into the dead rail",
        f"{', '.join(circuit.leaks)} conduct back" if circuit.leaks else "blocked",
        f"only diodes with their cathode away from {main.net}",
        not circuit.leaks,
        "board's netlist, direction of each diode",
        "the unpowered rail would empty the capacitor at once" if circuit.leaks else "",
    )


def _peak_check(circuit: KeepAlive, plan: _Plan) -> Check:
    return Check(
        "peak charge current",
        format_quantity(plan.peak_a, "A"),
        f"at most {format_quantity(_DIODE_A, 'A')}",
        plan.peak_a <= _DIODE_A,
        f"highest rail over charge resistor and {_ESR_OHM:g} Ω of the capacitor; small-signal diode: {PRACTICE}",
        f"99 % of the charge takes {_minutes(plan.charge_s)}",
        figure="retention",
        inputs=plan.inputs,
    )


def _resistor_check(circuit: KeepAlive, plan: _Plan) -> Check:
    watts = plan.peak_a**2 * (circuit.charge_ohm or 0.0)
    return Check(
        "heat in the charge resistor at power-up",
        f"{watts:.3f} W",
        f"at most {_RESISTOR_W} W",
        watts <= _RESISTOR_W,
        f"P = I²R at the first moment; quarter-watt resistor: {PRACTICE}",
        figure="retention",
        inputs=plan.inputs,
    )


# Memories that have a non-volatile part for the same socket: digits -> (type, size, ferroelectric).
_NONVOLATILE = {
    "6264": ("non-volatile RAM", "8Kx8, 28 pin, ferroelectric", True),
    "6116": ("non-volatile RAM", "2Kx8, 24 pin, with built-in store", False),
}


def nonvolatile_ram(circuit: KeepAlive, flow: Flow, library: PartLibrary) -> Remedy | None:
    """Battery off and never back: each kept memory replaced by a non-volatile one for the same socket.

    Returns:
        None when the battery keeps no memory, or one that no non-volatile part replaces pin for pin.
    """
    found = [_replacement(memory) for memory in circuit.memories]
    swaps = [(m, f) for m, f in zip(circuit.memories, found, strict=True) if f]
    if not swaps or len(swaps) < len(circuit.memories):
        return None
    battery = circuit.battery.refdes
    return Remedy(
        id=f"nonvolatile-ram-{battery}",
        title=f"non-volatile RAM in place of {_named(circuit.memories)} and battery {battery}",
        why=f"Without {battery} nothing on the board can leak again, and the contents need no supply.",
        parts_off=(battery, *(m.refdes for m in circuit.memories)),
        parts_on=tuple(
            KitLine(f[0], f[1], m.package, 1, (m.refdes,), "for the same socket") for m, f in swaps
        ),
        steps=(
            f"Leave {battery} off; its diodes and resistors may stay, nothing is charged any more.",
            "Fit the new memory in a socket and set up the machine afresh: its contents start undefined.",
        ),
        checks=tuple(check for m, f in swaps for check in _swap_checks(m, f, flow, library)),
        changes=frozenset(
            {part_subject(battery), *(part_subject(m.refdes) for m in circuit.memories)}
            | {net_subject(net) for net in circuit.kept_nets}
        ),
        cautions=cautions_called("battery", "residue", "static"),
        excludes=tuple(f"{other}-{battery}" for other in ("supercapacitor", "coin-cell", "remote-pack")),
        connections=tuple(
            (str(pin), flow.net(pin)) for m, _ in swaps for pin in flow.board.index.pins_of_part[m.refdes]
        ),
    )


def _replacement(memory: Part) -> tuple[str, str, bool] | None:
    name = f"{memory.type} {memory.value}"
    return next(
        (found for digits, found in _NONVOLATILE.items() if re.search(rf"(?<!\d){digits}(?!\d)", name)), None
    )


def _swap_checks(memory: Part, found: tuple[str, str, bool], flow: Flow, library: PartLibrary) -> list[Check]:
    checks = [_writes_check(flow, memory.refdes)]
    if found[2]:
        checks.insert(0, _latch_check(memory, flow, library))
    return checks


def _latch_check(memory: Part, flow: Flow, library: PartLibrary) -> Check:
    """A ferroelectric RAM latches its address on the falling enable: a static decode never clocks it."""
    known = library.of(memory)
    enables = [PinRef(memory.refdes, p.number) for p in (known.pins if known else ()) if p.role == "select"]
    nets = [flow.net(pin) for pin in enables if flow.signal(flow.net(pin))]
    clocked = [
        net for net in nets if any(_is_clock(flow, pin) for pin in flow.upstream([net], {memory.refdes}).pins)
    ]
    return Check(
        f"enable of {memory.refdes} falls at every access",
        f"{', '.join(clocked)} is gated by the clock" if clocked else "static decode",
        "an enable that the clock takes part in",
        bool(clocked),
        "FM1608 data sheets: address is latched on the falling enable; path found on the netlist",
        ""
        if clocked
        else "Ferroelectric RAM latches its address on the falling enable and fails where the enable is only a static "
        "decode: gate it with the CPU's clock first.",
        figure="nonvolatile-ram",
        inputs=(("enable", "clocked" if clocked else "static"),),
    )


def _is_clock(flow: Flow, pin: PinRef) -> bool:
    spec = flow.spec(pin)
    return spec is not None and spec.role == "clock" and flow.kinds[pin.refdes] in ("cpu", "oscillator")


def _writes_check(flow: Flow, refdes: str) -> Check:
    guards = sorted(r for r, kind in flow.kinds.items() if kind == "supervisor")
    return Check(
        f"writes to {refdes} blocked while the supply falls",
        f"{', '.join(guards)} holds reset" if guards else "nothing blocks them",
        "a reset supervisor on the board",
        bool(guards),
        "FM1608 data sheet: the part itself does not block writes at power-down",
        "" if guards else "fit a reset supervisor as well",
        must=False,
    )


def _named(memories: tuple[Part, ...]) -> str:
    return ", ".join(m.refdes for m in memories)


def _minutes(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.0f} minutes"
