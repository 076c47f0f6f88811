"""Remedy for a discrete reset section: one reset supervisor, chosen and checked for this board."""

from __future__ import annotations

from dataclasses import dataclass, replace

from coppermend.board.cautions import cautions_called
from coppermend.board.flow import Flow
from coppermend.board.kinds import natural_key
from coppermend.board.model import Part, PinRef, Rail
from coppermend.board.subject import net_subject, part_subject
from coppermend.rework.apply import NewNames, point_on
from coppermend.rework.figured import percent
from coppermend.rework.figures.ramp import GRADE_NAMES, RESET_CPUS
from coppermend.rework.figures.reset import (
    CpuReset,
    SupervisorGrade,
    choose_grade,
    cpu_reset,
    reset_needed_s,
)
from coppermend.rework.records import Check, KitLine, Remedy

_DISCRETE = frozenset({"transistor", "resistor", "capacitor", "electrolytic", "diode", "trimmer"})
_INVERTERS = ("7404", "7405", "7406", "7414", "4049", "4069", "40106")
_FOLLOWERS = ("7407", "4050")


@dataclass(frozen=True)
class _Target:
    """Where a supervisor would drive: the net, whether it must pull low, and what leads on to the CPU.

    ``held_by`` are resistors that stay: they hold a memory's enable low while the rail is dead.
    """

    cpu: Part
    pin: PinRef
    net: str
    active_low: bool
    discretes: tuple[str, ...]
    other_pins: tuple[PinRef, ...]
    held_by: tuple[str, ...] = ()


def reset_supervisor(flow: Flow, main: Rail | None, names: NewNames) -> Remedy | None:
    """Discrete reset parts off, one 3-pin supervisor on.

    Args:
        flow: Signal flow of the board.
        main: The rail that the CPU runs from.
        names: Gives the new part its refdes.

    Returns:
        None when there is no CPU with a reset pin, no rail, a supervisor already, or no discrete section
        that drives reset alone (or through plain inverters and buffers).
    """
    target = _find(flow)
    if target is None or main is None:
        return None
    grade = choose_grade(main.volts * (1 - main.tolerance))
    refdes = names.next("U")
    kind = _output_kind(target)
    wires = _wires(flow, target, main, kind, refdes)
    return Remedy(
        id="reset-supervisor",
        title="reset supervisor in place of the discrete reset",
        why=f"{_count(target.discretes)} make the reset of {target.cpu.refdes} and drift with age and corrosion; one "
        "supervisor with a fixed threshold and time-out does it without adjustment.",
        parts_off=target.discretes,
        parts_on=(
            KitLine(
                kind,
                grade.name if grade else "",
                "TO-92",
                1,
                (refdes,),
                f"output to net {target.net}, supply to {main.net}, ground to ground",
            ),
        ),
        steps=(
            f"Take off {', '.join(target.discretes)} and clean their pads.",
            *(
                f"Leave {r} on: it holds the memory's enable low while the rail is dead, which a supervisor does not."
                for r in target.held_by
            ),
            f"Wire {refdes}: output to net {target.net}, supply to {main.net}, ground beside it; check its pin order "
            "against its own data sheet.",
        ),
        checks=_checks(target, main, grade, _clock_hz(flow)),
        changes=frozenset(
            {part_subject(r) for r in target.discretes}
            | {net_subject(n) for n in _changed_nets(flow, target)}
        ),
        cautions=cautions_called("static", "iron", "fumes", "lead"),
        jumpers=tuple((pin, to) for pin, _, to in wires if to),
        connections=tuple((pin, net) for pin, net, _ in wires),
    )


def _wires(flow: Flow, target: _Target, main: Rail, kind: str, refdes: str) -> list[tuple[str, str, str]]:
    """For each pin of the supervisor: the pin, the net it belongs on, and the nearest point of it that stays."""
    board, known = flow.board, flow.library.find(kind)
    if known is None:
        return []
    cpu = flow.library.of(target.cpu)
    grounds = (
        PinRef(target.cpu.refdes, s.number) for s in (cpu.pins if cpu else ()) if s.direction == "ground"
    )
    ground = next((net for pin in grounds if (net := flow.net(pin))), "")
    nets = {"power": main.net, "ground": ground}
    places = [board.index.parts[r] for r in target.discretes]
    near = (sum(p.x_mm for p in places) / len(places), sum(p.y_mm for p in places) / len(places))
    found = []
    for spec in known.pins:
        net = target.net if spec.role == "reset" else nets.get(spec.direction, "")
        if net:
            found.append((f"{refdes}.{spec.number}", net, point_on(board, net, target.discretes, near)))
    return found


def _find(flow: Flow) -> _Target | None:
    if "supervisor" in flow.kinds.values():
        return None
    for refdes, part in flow.board.index.parts.items():
        known = flow.library.of(part)
        if known is None or known.kind != "cpu":
            continue
        for spec in known.pins:
            pin = PinRef(refdes, spec.number)
            if spec.role == "reset" and spec.direction == "in" and flow.signal(flow.net(pin)):
                return _trace(
                    flow, part, pin, spec.name.startswith(("/", "~", "n")) or spec.name.endswith("#")
                )
    return None


def _trace(flow: Flow, cpu: Part, pin: PinRef, active_low: bool) -> _Target | None:
    """Walk from the CPU back through plain inverters and buffers to the net that discrete parts drive."""
    net, seen = flow.net(pin), set[str]()
    while net not in seen:
        seen.add(net)
        gates = [p for p in flow.drivers(net) if flow.kinds[p.refdes] not in _DISCRETE]
        if not gates:
            discretes = _discretes(flow, net)
            held_by = tuple(r for r in discretes if _holds_memory_off(flow, net, r))
            discretes = tuple(r for r in discretes if r not in held_by)
            others = tuple(p for p in flow.board.nets[net] if p.refdes not in discretes)
            found = _Target(cpu, pin, net, active_low, discretes, others, held_by)
            return found if len(discretes) > 1 else None
        known = flow.library.of(flow.board.index.parts[gates[0].refdes])
        name = known.name if known else ""
        path = next((p for p in (known.paths if known else ()) if gates[0].pin in p.outputs), None)
        if len(gates) > 1 or path is None or len(path.inputs) > 1 or name not in _INVERTERS + _FOLLOWERS:
            return None
        active_low ^= name in _INVERTERS
        net = flow.net(PinRef(gates[0].refdes, path.inputs[0]))
        if not flow.signal(net):
            return None
    return None


def _holds_memory_off(flow: Flow, net: str, refdes: str) -> bool:
    """Whether a resistor from the net to ground keeps a memory's enable from floating without supply.

    No supervisor does that: its output is sure from 1 V up only (MAX809 data sheet).
    """
    if flow.kinds[refdes] != "resistor":
        return False
    ends = {flow.net(pin) for pin in flow.board.index.pins_of_part[refdes]}
    to_ground = net in ends and any(_grounded(flow, other) for other in ends - {net})
    selects = (flow.spec(pin) for pin in flow.board.nets[net] if flow.kinds.get(pin.refdes) == "ram")
    return to_ground and any(spec is not None and spec.role == "select" for spec in selects)


def _grounded(flow: Flow, net: str) -> bool:
    specs = [flow.spec(pin) for pin in flow.board.nets.get(net, ())]
    return any(spec is not None and spec.direction == "ground" for spec in specs)


def _discretes(flow: Flow, target: str) -> tuple[str, ...]:
    """Discrete parts that serve ``target`` and nothing else, found by spreading and then letting go."""
    parts, nets = set[str](), {target}
    queue = [target]
    while queue:
        for pin in flow.board.nets[queue.pop()]:
            if flow.kinds.get(pin.refdes) in _DISCRETE and pin.refdes not in parts:
                parts.add(pin.refdes)
                new = {flow.net(p) for p in flow.board.index.pins_of_part[pin.refdes]}
                queue += [n for n in new - nets if flow.signal(n)]
                nets |= new
    changed = True
    while changed:
        shared = {
            n for n in nets if flow.signal(n) and n != target and not _only(flow, n, parts)
        }  # nets on which something else hangs
        keep = {r for r in parts if any(flow.net(p) in shared for p in flow.board.index.pins_of_part[r])}
        parts, changed = parts - keep, bool(keep)
    return tuple(sorted(parts, key=natural_key))


def _only(flow: Flow, net: str, parts: set[str]) -> bool:
    return all(pin.refdes in parts for pin in flow.board.nets[net])


def _changed_nets(flow: Flow, target: _Target) -> set[str]:
    return {target.net, flow.net(target.pin)}


def _output_kind(target: _Target) -> str:
    """Push-pull when it drives alone; open-drain with its own pull-up when something else may pull the net."""
    if not target.active_low:
        return "supervisor-high"
    return "supervisor-open-drain-timed" if _shared(target) else "supervisor-low"


def _shared(target: _Target) -> bool:
    return any(p.refdes.upper().startswith(("S", "J", "P")) for p in target.other_pins)


def _clock_hz(flow: Flow) -> float | None:
    return min((clock.hz for clock in flow.board.clocks if clock.hz > 0), default=None)


def _checks(
    target: _Target, main: Rail, grade: SupervisorGrade | None, clock_hz: float | None
) -> tuple[Check, ...]:
    cpu = cpu_reset(target.cpu.type)
    lowest = main.volts * (1 - main.tolerance)
    if grade is None:
        return (
            Check(
                "threshold for this rail",
                "no grade known",
                f"highest threshold at most {lowest:.2f} V",
                False,
                "DS1831 and MCP1xx data sheets: grades for 5 V rails",
                "a supervisor for this rail must be chosen by hand",
            ),
        )
    inputs = _figure_inputs(target, main, grade, clock_hz)
    return (
        Check(
            "a healthy rail never trips it",
            f"trips below {grade.max_v:.3f} V at the latest",
            f"rail is at least {lowest:.3f} V",
            grade.max_v <= lowest,
            grade.source,
            figure="reset",
            inputs=inputs,
        ),
        replace(_brown_out_check(grade, cpu), figure="reset", inputs=inputs),
        replace(_time_check(grade, cpu, clock_hz), figure="reset", inputs=inputs),
        Check(
            "polarity",
            f"output active {'low' if target.active_low else 'high'} on {target.net}",
            f"{target.pin} of {target.cpu.type}, through what lies between",
            True,
            "pin name in the part-type library, inverters found on the netlist",
        ),
    )


def _figure_inputs(
    target: _Target, main: Rail, grade: SupervisorGrade, clock_hz: float | None
) -> tuple[tuple[str, str], ...]:
    """The same case as the figure ``reset`` takes it."""
    cpu = cpu_reset(target.cpu.type)
    found = [("rail", percent(main.volts, main.tolerance)), ("grade", GRADE_NAMES[grade])]
    found += [("cpu", name) for name in RESET_CPUS if cpu_reset(name) == cpu][:1]
    if clock_hz:
        found.append(("clock", f"{clock_hz} Hz"))
    output = "high" if not target.active_low else "open-drain" if _shared(target) else "low"
    found += [("output", output), ("shared", "yes" if _shared(target) else "no")]
    return tuple(found)


def _brown_out_check(grade: SupervisorGrade, cpu: CpuReset) -> Check:
    covered = grade.min_v >= cpu.supply_min_v
    return Check(
        "brown-out: reset whenever the CPU's supply is too low",
        f"sure only below {grade.min_v:.3f} V",
        f"CPU needs {cpu.supply_min_v:.2f} V",
        covered,
        f"{grade.source}; {cpu.source}",
        ""
        if covered
        else "No standard grade holds reset all the way up to 4.75 V on a 5 % rail: the time-out covers power-up, "
        f"a dip to between {grade.min_v:.2f} and {cpu.supply_min_v:.2f} V is not caught.",
        must=False,
    )


def _time_check(grade: SupervisorGrade, cpu: CpuReset, clock_hz: float | None) -> Check:
    needed = reset_needed_s(cpu, clock_hz)
    return Check(
        "reset lasts long enough at power-up",
        f"at least {grade.timeout_min_s * 1e3:.0f} ms",
        f"{needed * 1e3:.3f} ms",
        grade.timeout_min_s >= needed,
        f"time-out: MAX809 data sheet; need: {cpu.source}",
        "supply and oscillator rise come before the time-out starts",
    )


def _count(discretes: tuple[str, ...]) -> str:
    return f"{len(discretes)} discrete parts ({', '.join(discretes)})"
