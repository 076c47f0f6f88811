"""The measurements that could be made next, with what each costs. Nothing is chosen here."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from coppermend.board.kinds import IC_KINDS
from coppermend.board.model import PinRef
from coppermend.isolate.conditions import ConditionName, in_socket
from coppermend.isolate.effects import Effects
from coppermend.isolate.evidence import Place, apart_at, likelihood
from coppermend.isolate.gain import SAID, Suspicion, said_again, screening_bits, totals
from coppermend.isolate.looks import JOINT_SEEN
from coppermend.isolate.observations import Observation, ObservationKind, swapped
from coppermend.isolate.screening import conditions_worth_trying, mode_mass, of_every_fault
from coppermend.isolate.states import Floats, Mode

# Seconds at the bench (common practice, no source), writing down included.
LOGIC_S, VOLTS_S, RIPPLE_S, HERTZ_S, OHMS_S = 60.0, 45.0, 60.0, 70.0, 60.0
SWAP_SOCKETED_S, SWAP_MORE_S, SWAP_SOLDERED_S, SWAP_SMALL_S = 90.0, 30.0, 600.0, 240.0
POWER_CYCLE_S = 30.0
WATCH_S, LOOK_S, JOINT_S = 60.0, 30.0, 3.0
HAZARD_S = 60.0
_HALF = 0.5
_SHARED_BY = 4  # measurements that usually follow once a condition is set up
_SPECIAL_NETS_TRIED = 3
_NETS_TRIED, _PINS_TRIED, _PARTS_TRIED, _COPPER_TRIED = 14, 3, 6, 6
_WORTH_LOOKING, _TOLD_APART = 0.1, 60
_PATTERN_SEEN = 0.85
_EQUAL_DIGITS = 9  # of information [bit]; what differs by less is equal
LEAST_CHANGE_S = 60.0


@dataclass(frozen=True)
class Candidate:
    """One measurement that could come next, and its cost [s].

    What it shows under each kept fault: by ``modes``, rows of ``said`` (what a technician says of a net), or where
    that is None with probability ``shown`` of a yes.
    """

    point: str
    kind: ObservationKind
    condition: ConditionName
    cost_s: float
    modes: NDArray[np.uint8] | None = None
    shown: Floats | None = None
    net: str = ""
    said: Floats = field(default_factory=lambda: SAID)

    @property
    def outcomes(self) -> Floats:
        """P(outcome | kept fault), shape (kept faults, outcomes)."""
        if self.modes is not None:
            return self.said[self.modes]
        shown = np.zeros(0) if self.shown is None else self.shown
        return np.column_stack([shown, 1.0 - shown])

    def joint(self, suspicion: Suspicion) -> Floats:
        """P(unit, outcome), shape (units, outcomes)."""
        if self.modes is not None:
            return suspicion.joint_modes(self.modes, self.said)
        return suspicion.joint_two(np.zeros(0) if self.shown is None else self.shown)


@dataclass(frozen=True)
class Known:
    """What was observed so far: (point, kind, condition) of each, and of looks at nets P(seen | state) and the pins."""

    done: Collection[tuple[str, str, str]] = ()
    states: Mapping[Place, Floats] = field(default_factory=dict)
    pins: Mapping[Place, Collection[PinRef | None]] = field(default_factory=dict)


def logic_candidates(
    effects: Effects, suspicion: Suspicion, known: Known, now: ConditionName,
) -> Iterator[Candidate]:  # fmt: skip
    """The most telling points for a logic probe: every net is screened, the best are looked at pin by pin.

    Args:
        effects: The board's faults and effects.
        suspicion: What is still suspected.
        known: What was observed so far.
        now: The condition that the board stands in.
    """
    usual: list[tuple[float, int, ConditionName]] = []
    special: list[tuple[float, int, ConditionName]] = []
    for how in conditions_worth_trying(effects, suspicion):
        # Nets that tell equally much come in the board's order, whatever the last digits of a sum say.
        bits = np.round(screening_bits(mode_mass(effects, suspicion, how.name)), _EQUAL_DIGITS)
        cost = LOGIC_S + _change_s(effects, how.name, now)
        of_its_own = bool(how.out) or how.deselected
        best = np.argsort(-bits, kind="stable")[: _SPECIAL_NETS_TRIED if of_its_own else _NETS_TRIED]
        rows = [(float(bits[net]) / cost, int(net), how.name) for net in best if bits[net] > 0]
        (special if of_its_own else usual).extend(rows)
    usual.sort(key=lambda row: -row[0])
    at_pin = _open_at(effects, of_every_fault(effects, suspicion))
    for _, net, name in (*usual[:_NETS_TRIED], *special):
        for pin in _pins_to_try(effects, at_pin, net):
            if (str(pin), "logic", name) not in known.done:
                yield logic_candidate(effects, suspicion, known, pin, name, now)


def logic_candidate(  # noqa: PLR0917  (state of the search, then where)
    effects: Effects, suspicion: Suspicion, known: Known, pin: PinRef, how: ConditionName, now: ConditionName
) -> Candidate:
    """A logic probe at a pin, in a condition; a second look at a net tells only what may differ at this pin."""
    net = effects.graph.net(pin)
    modes = effects.modes_at(effects.graph.number[net], how, pin)
    cost = LOGIC_S + _change_s(effects, how, now) + (HAZARD_S if hazardous(effects, net) else 0.0)
    if (net, how) not in known.states:
        return Candidate(str(pin), "logic", how, cost, modes[suspicion.faults], net=net)
    rows = modes.copy()
    rows[apart_at(effects, [pin, *known.pins[net, how]])] += len(Mode)
    said = said_again(known.states[net, how])
    return Candidate(str(pin), "logic", how, cost, rows[suspicion.faults], net=net, said=said)


def _change_s(effects: Effects, how: ConditionName, now: ConditionName) -> float:
    """The way to another condition, shared with the measurements that will follow in it."""
    if how == now:
        return 0.0
    ways = (effects.condition(how).setup_s, effects.condition(now).setup_s)
    return max(abs(ways[0] - ways[1]), LEAST_CHANGE_S) / _SHARED_BY


def hazardous(effects: Effects, net: str) -> bool:
    """Whether a net may carry display or solenoid voltage: a slip there hurts or burns."""
    return effects.graph.roles[net].role == "solenoid"


def _open_at(effects: Effects, probability: Floats) -> Floats:
    """How likely the copper is open at each pin, shape (pins,); ``probability`` of every fault."""
    faults = effects.faults
    opens = np.flatnonzero(faults.opens)
    return totals(faults.pin[opens], probability[opens], len(faults.pins.refs))


def _pins_to_try(effects: Effects, open_at: Floats, net: int) -> list[PinRef]:
    """A handy pin of the net, and pins at which it is most likely open."""
    name, number = effects.graph.nets[net], effects.faults.pins.number
    handy = effects.handy_pin(name)
    own = {pin: open_at[number[pin]] for pin in effects.graph.board.nets[name]}
    others = sorted((p for p, chance in own.items() if chance > 0.01 and p != handy), key=lambda p: -own[p])
    return [handy, *others[: _PINS_TRIED - 1]]


def swap_candidates(
    effects: Effects, suspicion: Suspicion, known: Known, now: ConditionName
) -> Iterator[Candidate]:
    """Putting in a known good part for the most suspected ones."""
    mass = suspicion.by_unit()
    parts: dict[str, float] = {}
    for k in np.argsort(-mass)[: 3 * _PARTS_TRIED]:
        unit = effects.units.site(int(suspicion.unit_numbers[k]))
        if unit.kind in ("part", "socket"):
            parts[unit.name] = parts.get(unit.name, 0.0) + float(mass[k])
    singly = list(parts)[:_PARTS_TRIED]
    for name in [*singly, *([group] if (group := _half(effects, parts)) else [])]:
        if (name, "swap", "running") not in known.done:
            seen = Observation(name, "swap", "cured")
            yield _yes_no(
                effects, suspicion, seen, swap_cost_s(effects, name) + _change_s(effects, "running", now)
            )


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
    return in_socket(effects.graph.board.index.parts[refdes])


def swap_cost_s(effects: Effects, refdes: str) -> float:
    """Time to put in other parts [s]: little from a socket, much for a soldered integrated circuit."""
    names = swapped(refdes)
    if all(socketed(effects, name) for name in names):
        return SWAP_SOCKETED_S + SWAP_MORE_S * (len(names) - 1)
    return SWAP_SOLDERED_S if effects.graph.kinds[refdes] in IC_KINDS else SWAP_SMALL_S


def look_candidates(effects: Effects, suspicion: Suspicion, known: Known) -> Iterator[Candidate]:
    """Outputs watched together, and the joints of a part, a section or the board gone over with a magnifier."""
    done = {(point, kind) for point, kind, _ in known.done}
    if effects.outputs.ends and ("board", "watch") not in done:
        modes, said = _which(suspicion, effects.outputs.pattern[suspicion.faults], _PATTERN_SEEN, even=True)
        yield Candidate("board", "watch", "running", WATCH_S, modes, said=said)
    probability = of_every_fault(effects, suspicion)
    for point in effects.joints.suspected(probability, _WORTH_LOOKING):
        if (point, "joints") in done:
            continue
        numbers = effects.joints.at(point)
        site = np.zeros(len(effects.faults), dtype=np.int64)
        site[numbers] = effects.site_of_fault[numbers] + 1
        modes, said = _which(suspicion, site[suspicion.faults], JOINT_SEEN, even=False)
        yield Candidate(point, "joints", "running", LOOK_S + JOINT_S * len(numbers), modes, said=said)


def _which(
    suspicion: Suspicion, label: NDArray[np.int64], detected: float, *, even: bool
) -> tuple[NDArray[np.uint8], Floats]:
    """A measurement that shows which label holds: rows for the kept faults, and P(label shown | label).

    What is not detected shows as any other label, as often as that is expected, if ``even``; else as label 0.
    Only the heaviest labels are told apart, the rest together count as one.
    """
    weight = np.bincount(label, suspicion.probability)
    heaviest = np.argsort(-weight, kind="stable")[:_TOLD_APART]
    place = np.full(len(weight), len(heaviest), dtype=np.uint8)
    place[heaviest] = np.arange(len(heaviest), dtype=np.uint8)
    modes = place[label]
    share = np.bincount(modes, suspicion.probability, minlength=len(heaviest) + 1)
    missed = share / share.sum()
    if not even:
        missed = np.zeros(len(share))
        missed[place[0]] = 1.0
    return modes, detected * np.eye(len(share)) + (1.0 - detected) * missed


def _yes_no(effects: Effects, suspicion: Suspicion, seen: Observation, cost_s: float) -> Candidate:
    shown = likelihood(effects, seen)[suspicion.faults]
    return Candidate(seen.point, seen.kind, "running", cost_s, shown=shown)


def ohms_candidates(effects: Effects, suspicion: Suspicion, known: Known) -> Iterator[Candidate]:
    """Continuity across the most suspected opens, and resistance where something is thought to be shorted."""
    cost = OHMS_S + POWER_CYCLE_S
    order = suspicion.faults[np.argsort(-suspicion.probability, kind="stable")]
    tried = 0
    for number in order[:200].tolist():
        fault = effects.faults[number]
        if not (fault.opens or fault.grounds):
            continue
        seen = _ohms_for(effects, number)
        if seen is None or (seen.point, "ohms", "running") in known.done:
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
    effects: Effects, suspicion: Suspicion, known: Known, now: ConditionName
) -> Iterator[Candidate]:
    """A counter on the declared clocks."""
    for clock in effects.graph.board.clocks:
        if not effects.graph.signal(clock.net):
            continue
        pin = effects.handy_pin(clock.net)
        if not {(str(pin), kind, now) for kind in ("hertz", "logic")} & set(known.done):
            base = logic_candidate(effects, suspicion, known, pin, now, now)
            yield replace(base, kind="hertz", cost_s=HERTZ_S)


def rail_candidates(
    effects: Effects, suspicion: Suspicion, known: Known, now: ConditionName
) -> Iterator[Candidate]:
    """A voltmeter on each rail, for its voltage and, where a dry filter may be the fault, its ripple."""
    for net, rail in effects.graph.board.index.rails.items():
        if not rail.volts or net not in effects.graph.number:
            continue
        pin = effects.handy_pin(net)
        done = {kind for point, kind, _ in known.done if point in (net, str(pin))}
        modes = effects.modes_at(effects.graph.number[net], now, None)[suspicion.faults]
        if "volts" not in done:
            yield Candidate(str(pin), "volts", now, VOLTS_S, modes, net=net)
        if "ripple" not in done and (modes == Mode.NOISY).any():
            noisy = Observation(str(pin), "ripple", f"{abs(rail.volts):g}", number=abs(rail.volts))
            yield replace(_yes_no(effects, suspicion, noisy, RIPPLE_S), net=net)
