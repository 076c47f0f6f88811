"""The measurements that could be made next, with what each costs. Nothing is chosen here."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

import numpy as np

from coppermend.board.kinds import IC_KINDS
from coppermend.board.model import PinRef
from coppermend.isolate.conditions import Condition, ConditionName, condition
from coppermend.isolate.effects import KEPT_CELLS, Effects
from coppermend.isolate.evidence import likelihood
from coppermend.isolate.gain import SAID, Suspicion, screening_bits, totals
from coppermend.isolate.observations import Observation, ObservationKind, swapped
from coppermend.isolate.states import MODES, Floats, Mode

# Seconds at the bench (common practice, no source), writing down included.
LOGIC_S, VOLTS_S, HERTZ_S, OHMS_S = 60.0, 45.0, 70.0, 60.0
SWAP_SOCKETED_S, SWAP_MORE_S, SWAP_SOLDERED_S, SWAP_SMALL_S = 90.0, 30.0, 600.0, 240.0
POWER_CYCLE_S = 30.0
HAZARD_S = 60.0
_HALF = 0.5
_SHARED_BY = 4  # measurements that usually follow once a condition is set up
_NETS_TRIED, _PINS_TRIED, _PARTS_TRIED, _COPPER_TRIED = 14, 3, 6, 6
_MOST_CELLS = 40_000_000


@dataclass(frozen=True)
class Candidate:
    """One measurement that could come next: P(unit, outcome) and its cost [s].

    ``outcomes`` are P(outcome | kept fault), shape (kept faults, outcomes), in the order of ``joint``'s columns.
    """

    point: str
    kind: ObservationKind
    condition: ConditionName
    cost_s: float
    joint: Floats
    outcomes: Floats
    net: str = ""


def logic_candidates(
    effects: Effects, suspicion: Suspicion, done: Collection[tuple[str, str, str]], now: ConditionName,
) -> Iterator[Candidate]:  # fmt: skip
    """The most telling points for a logic probe: every net is screened, the best are looked at pin by pin.

    Args:
        effects: The board's faults and effects.
        suspicion: What is still suspected.
        done: (point, kind, condition) that are known already.
        now: The condition that the board stands in.
    """
    screened: list[tuple[float, int, Condition]] = []
    for how in effects.conditions:
        bits = screening_bits(mode_mass(effects, suspicion, how.name))
        cost = LOGIC_S + _change_s(how.name, now)
        best = np.argsort(-bits, kind="stable")[:_NETS_TRIED]
        screened += [(float(bits[net]) / cost, int(net), how) for net in best if bits[net] > 0]
    screened.sort(key=lambda row: -row[0])
    probability = _of_every_fault(effects, suspicion)
    for _, net, how in screened[:_NETS_TRIED]:
        for pin in _pins_to_try(effects, probability, net):
            if (str(pin), "logic", how.name) not in done:
                yield logic_candidate(effects, suspicion, pin, how.name, now)


def logic_candidate(
    effects: Effects, suspicion: Suspicion, pin: PinRef, how: ConditionName, now: ConditionName
) -> Candidate:
    """A logic probe at a pin, in a condition."""
    net = effects.graph.net(pin)
    modes = effects.modes_at(effects.graph.number[net], how, pin)[suspicion.faults]
    cost = LOGIC_S + _change_s(how, now) + (HAZARD_S if hazardous(effects, net) else 0.0)
    return Candidate(str(pin), "logic", how, cost, suspicion.joint_modes(modes), SAID[modes], net)


def _change_s(how: ConditionName, now: ConditionName) -> float:
    """The way to another condition, shared with the measurements that will follow in it."""
    return 0.0 if how == now else max(condition(how).setup_s, condition(now).setup_s) / _SHARED_BY


def hazardous(effects: Effects, net: str) -> bool:
    """Whether a net may carry display or solenoid voltage: a slip there hurts or burns."""
    return effects.graph.roles[net].role == "solenoid"


def mode_mass(effects: Effects, suspicion: Suspicion, how: ConditionName) -> Floats:
    """P(mode) at every net, shape (modes, nets)."""
    rows, down = effects.rows[how], effects.downstream[how]
    weight = totals(effects.row_of_fault[how][suspicion.faults], suspicion.probability, len(rows))
    follows = _follows(effects, how, weight)
    mass = np.zeros((len(MODES), down.count))
    nets = np.arange(down.count)
    mass[effects.follow_mode, nets] = follows
    starts = effects.starts[how]
    p = _of_every_fault(effects, suspicion)[starts.fault]
    np.add.at(mass, (starts.mode, starts.net), p)
    np.subtract.at(mass, (effects.follow_mode[starts.net], starts.net), p)
    np.maximum(mass, 0.0, out=mass)
    mass[Mode.NONE] = np.maximum(1.0 - mass.sum(axis=0), 0.0)
    mass[:, ~effects.probeable] = 0.0
    return mass


def _follows(effects: Effects, how: ConditionName, weight: Floats) -> Floats:
    """P(downstream of the fault) for every net, from the weight of each row of beginnings."""
    rows, count = effects.rows[how], effects.downstream[how].count
    if len(rows) * count <= KEPT_CELLS:
        return np.asarray(weight.astype(np.float32) @ effects.unpacked(how), dtype=np.float64)
    used, follows = np.flatnonzero(weight), np.zeros(count)
    step = max(1, _MOST_CELLS // max(count, 1))
    for first in range(0, len(used), step):  # large boards: a strip at a time
        part = used[first : first + step]
        bits = np.unpackbits(rows[part], axis=1, count=count, bitorder="little")
        follows += weight[part].astype(np.float32) @ bits.astype(np.float32)
    return follows


def _of_every_fault(effects: Effects, suspicion: Suspicion) -> Floats:
    """Probability of every fault of the board, 0 for those that no longer count."""
    probability = np.zeros(len(effects.faults))
    probability[suspicion.faults] = suspicion.probability
    return probability


def _pins_to_try(effects: Effects, probability: Floats, net: int) -> list[PinRef]:
    """A handy pin of the net, and pins whose own faults weigh most."""
    name = effects.graph.nets[net]
    pins = effects.graph.board.nets[name]
    own = {
        pin: sum(probability[f] for f in effects.faults_at_pin.get(pin, ()) if effects.faults[f].opens)
        for pin in pins
    }
    handy = effects.handy_pin(name)
    others = sorted((p for p in pins if own[p] > 0.01 and p != handy), key=lambda p: -own[p])
    return [handy, *others[: _PINS_TRIED - 1]]


def swap_candidates(
    effects: Effects, suspicion: Suspicion, done: Collection[tuple[str, str, str]], now: ConditionName
) -> Iterator[Candidate]:
    """Putting in a known good part for the most suspected ones."""
    mass = suspicion.by_unit()
    parts: dict[str, float] = {}
    for k in np.argsort(-mass)[: 3 * _PARTS_TRIED]:
        unit = effects.units.sites[int(suspicion.unit_numbers[k])]
        if unit.kind in ("part", "socket"):
            parts[unit.name] = parts.get(unit.name, 0.0) + float(mass[k])
    singly = list(parts)[:_PARTS_TRIED]
    for name in [*singly, *([group] if (group := _half(effects, parts)) else [])]:
        if (name, "swap", "running") not in done:
            seen = Observation(name, "swap", "cured")
            yield _yes_no(effects, suspicion, seen, swap_cost_s(effects, name) + _change_s("running", now))


def _half(effects: Effects, parts: dict[str, float]) -> str:
    """The socketed parts, likeliest first, that together carry half of the suspicion; "" where that is no group."""
    group, mass = [], 0.0
    for refdes, weight in parts.items():
        if mass + weight / 2 > _HALF:
            break
        if socketed(effects, refdes):
            group.append(refdes)
            mass += weight
    return "+".join(group) if len(group) > 1 else ""


def socketed(effects: Effects, refdes: str) -> bool:
    """Whether a part comes out without a soldering iron."""
    part = effects.graph.board.index.parts[refdes]
    return part.socketed or "socket" in part.package.lower()


def swap_cost_s(effects: Effects, refdes: str) -> float:
    """Time to put in other parts [s]: little from a socket, much for a soldered integrated circuit."""
    names = swapped(refdes)
    if all(socketed(effects, name) for name in names):
        return SWAP_SOCKETED_S + SWAP_MORE_S * (len(names) - 1)
    return SWAP_SOLDERED_S if effects.graph.kinds[refdes] in IC_KINDS else SWAP_SMALL_S


def _yes_no(effects: Effects, suspicion: Suspicion, seen: Observation, cost_s: float) -> Candidate:
    shown = likelihood(effects, seen)[suspicion.faults]
    outcomes = np.column_stack([shown, 1.0 - shown])
    return Candidate(seen.point, seen.kind, "running", cost_s, suspicion.joint_two(shown), outcomes)


def ohms_candidates(
    effects: Effects, suspicion: Suspicion, done: Collection[tuple[str, str, str]]
) -> Iterator[Candidate]:
    """Continuity across the most suspected opens, and resistance where something is thought to be shorted."""
    cost = OHMS_S + POWER_CYCLE_S
    order = suspicion.faults[np.argsort(-suspicion.probability, kind="stable")]
    tried = 0
    for number in order[:200].tolist():
        fault = effects.faults[number]
        if not (fault.opens or fault.grounds):
            continue
        seen = _ohms_for(effects, number)
        if seen is None or (seen.point, "ohms", "running") in done:
            continue
        tried += 1
        yield _yes_no(effects, suspicion, seen, cost)
        if tried >= _COPPER_TRIED:
            return


def _ohms_for(effects: Effects, number: int) -> Observation | None:
    """The reading that would show a fault: OL across an open, near zero across a short."""
    fault, graph = effects.faults[number], effects.graph
    if fault.unit.kind == "short":
        a, b = fault.unit.name.split(" + ")
        return Observation(f"{effects.handy_pin(a)}:{effects.handy_pin(b)}", "ohms", "0", number=0.0)
    if fault.opens and fault.pin is not None:
        others = [p for p in graph.board.nets[graph.net(fault.pin)] if p != fault.pin]
        driving = [p for p in others if p in graph.drivers[graph.net(fault.pin)]]
        other = (driving or others)[0]
        return Observation(f"{other}:{fault.pin}", "ohms", "OL", number=float("inf"))
    return Observation(str(effects.handy_pin(graph.nets[fault.starts[0][0]])), "ohms", "0", number=0.0)


def clock_candidates(
    effects: Effects, suspicion: Suspicion, done: Collection[tuple[str, str, str]], now: ConditionName
) -> Iterator[Candidate]:
    """A counter on the declared clocks."""
    for clock in effects.graph.board.clocks:
        if not effects.graph.signal(clock.net):
            continue
        pin = effects.handy_pin(clock.net)
        if (str(pin), "hertz", now) not in done and (str(pin), "logic", now) not in done:
            base = logic_candidate(effects, suspicion, pin, now, now)
            yield Candidate(base.point, "hertz", now, HERTZ_S, base.joint, base.outcomes, base.net)


def rail_candidates(
    effects: Effects, suspicion: Suspicion, done: Collection[tuple[str, str, str]], now: ConditionName
) -> Iterator[Candidate]:
    """A voltmeter on each rail."""
    for net, rail in effects.graph.board.index.rails.items():
        if not rail.volts or net not in effects.graph.number:
            continue
        pin = effects.handy_pin(net)
        if any(point in (net, str(pin)) and kind == "volts" for point, kind, _ in done):
            continue
        modes = effects.modes_at(effects.graph.number[net], now, None)[suspicion.faults]
        yield Candidate(str(pin), "volts", now, VOLTS_S, suspicion.joint_modes(modes), SAID[modes], net)
