"""What an observation means: its likelihood under every fault, as one array. Soft near limits, never zero."""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Sequence

import numpy as np
from numpy.typing import NDArray

from coppermend.board.model import PinRef
from coppermend.errors import UnknownName
from coppermend.isolate.conditions import ConditionName
from coppermend.isolate.effects import Effects
from coppermend.isolate.faults import Unit
from coppermend.isolate.observations import VISUAL_VALUES, Observation, net_of, pin_at, swapped
from coppermend.isolate.states import MODES, Expected, Floats, Mode, State, logic_likelihood
from coppermend.isolate.symptoms import read_symptom

LEAST = 1e-4  # no reading rules anything out for good: hands slip
# Detection and false-alarm probabilities (common practice, no source).
_CURED, _CURED_BY_CHANCE = 0.97, 0.01
_SYMPTOM_SHOWS, _SYMPTOM_ANYWAY, _SYMPTOM_ABSENT = 0.95, 0.008, 0.985
_TEST_DETECTS, _TEST_ALARMS = 0.85, 0.03
_OHM_DETECTS, _OHM_ALARMS = 0.97, 0.01
_RIPPLE_DETECTS, _RIPPLE_OF_A_LOW_RAIL, _RIPPLE_ALARMS = 0.95, 0.3, 0.02
RESET_LEAST_S, RESET_MOST_S = 0.02, 4.0
CONTINUITY_OHM, SHORT_OHM = 5.0, 10.0
# TTL input levels: low below 0.8 V, high above 2.0 V (SN74 series data sheets).
LOW_VOLTS, HIGH_VOLTS = 0.8, 2.0
_LEVEL_SOFT_V = 0.05
_CLOCK_TOLERANCE = 0.02
_SHOWING = np.array([1.0 - MODES[mode, State.GOOD] for mode in Mode])


def likelihood(effects: Effects, seen: Observation) -> Floats:
    """P(the observation | each fault), shape (faults,), every value in [LEAST, 1]."""
    return np.asarray(np.clip(_BY_KIND[seen.kind](effects, seen), LEAST, 1.0))


Place = tuple[str, ConditionName]  # a net, and how the board stood


def place_of(effects: Effects, seen: Observation) -> Place | None:
    """Where an observation looks at the state of a net; None where it looks at something else."""
    if _BY_KIND[seen.kind] is not _at_point:
        return None
    return net_of(effects.graph.board, seen.point), seen.condition


def log_likelihood(effects: Effects, seen: Observation, earlier: Sequence[Observation] = ()) -> Floats:
    """Log P(the observation | each fault, the earlier ones at the same place), shape (faults,).

    A net's state does not change between two looks in one condition: only faults that sit at one of the pins looked
    at may show differently there.
    """
    if _BY_KIND[seen.kind] is not _at_point:
        return np.asarray(np.log(likelihood(effects, seen)))
    shown, modes = state_likelihood(effects, seen), _modes_seen(effects, seen)
    alone = np.log(np.clip(MODES @ shown, LEAST, 1.0))
    if not earlier:
        return np.asarray(alone[modes])
    before = np.prod([state_likelihood(effects, one) for one in earlier], axis=0)
    again = np.log(np.clip((MODES @ (before * shown)) / (MODES @ before), LEAST, 1.0))
    found = again[modes]
    apart = apart_at(effects, [pin_at(effects.graph.board, one.point) for one in (seen, *earlier)])
    found[apart] = alone[modes[apart]]
    return np.asarray(found)


def apart_at(effects: Effects, pins: Collection[PinRef | None]) -> list[int]:
    """Numbers of the faults that several pins of one net show differently."""
    if len(set(pins)) < 2:
        return []
    return sorted({number for pin in pins if pin for number in effects.faults_at_pin.get(pin, ())})


def units_at(effects: Effects, point: str) -> tuple[Unit, ...]:
    """The units that a repair at a point makes good: a part with its socket, a net's copper and rail, or a short.

    ``point`` is a refdes, a net (or a pin of it), or two nets joined by ":" or " + ".
    """
    ends = [end.strip() for end in re.split(r":|\+(?=\s)", point)]
    board, numbers = effects.graph.board, effects.units.number
    if len(ends) == 2:
        a, b = (net_of(board, end) for end in ends)
        wanted = [Unit("short", f"{a} + {b}"), Unit("short", f"{b} + {a}")]
    elif point in board.index.parts:
        wanted = [Unit("part", point), Unit("socket", point)]
    else:
        net = net_of(board, point)
        wanted = [Unit("net", net), Unit("rail", net)]
    return tuple(unit for unit in wanted if unit in numbers)


def refusal(effects: Effects, seen: Observation) -> str:
    """Why an observation cannot be used on this board; "" when it can."""
    graph = effects.graph
    if seen.kind in ("logic", "volts", "hertz", "ripple", "seconds"):
        try:
            effects.condition(seen.condition)
        except UnknownName:
            return f"the board cannot be brought to the condition {seen.condition!r}"
    if seen.kind == "repair" and not units_at(effects, seen.point):
        return f"{seen.point} is nothing that could be at fault"
    if seen.kind == "ripple" and net_of(graph.board, seen.point) not in graph.supply - graph.grounds:
        return f"{seen.point} is on no rail: ripple is measured on a rail"
    if seen.kind == "seconds" and graph.roles[net_of(graph.board, seen.point)].role != "reset":
        return f"{seen.point} is on no reset net: seconds are how long reset is held after power comes"
    return ""


def expected_level(effects: Effects, net: str, condition: ConditionName = "running") -> Expected:
    """What a sound net does in a condition, from its role; "" when nothing is known."""
    role = effects.graph.roles[net].role
    how = effects.condition(condition)
    if how.deselected and role == "data":
        return "floats"
    if how.out and not how.forced and role not in ("clock", "reset", "interrupt"):
        return ""  # no program runs: what moves is anyone's guess
    if role in ("address", "data", "clock", "control", "select", "strobe"):
        return "moves"
    return "high" if role in ("reset", "interrupt") else ""


def state_likelihood(effects: Effects, seen: Observation) -> Floats:
    """P(a logic, volts, hertz or seconds observation | state of the net), shape (6,)."""
    net = net_of(effects.graph.board, seen.point)
    expected = expected_level(effects, net, seen.condition)
    if seen.kind == "seconds":
        return _reset_time(seen.number)
    if seen.kind == "logic":
        return logic_likelihood(seen.value, expected)
    if seen.kind == "hertz":
        return _hertz(effects, net, seen.number, expected)
    rail = effects.graph.board.index.rails.get(net)
    if rail is not None:
        return _rail_volts(seen.number, rail.volts, rail.tolerance)
    if net in effects.graph.supply:
        present = _sigmoid((abs(seen.number) - HIGH_VOLTS) / _LEVEL_SOFT_V)
        return np.array([0.001 + 0.979 * present] + [0.02 + 0.96 * (1.0 - present)] * 5)
    return _logic_volts(seen.number, expected)


def _at_point(effects: Effects, seen: Observation) -> Floats:
    by_mode: Floats = MODES @ state_likelihood(effects, seen)
    return by_mode[_modes_seen(effects, seen)]


def _modes_seen(effects: Effects, seen: Observation) -> NDArray[np.uint8]:
    board = effects.graph.board
    net = effects.graph.number[net_of(board, seen.point)]
    return effects.modes_at(net, seen.condition, pin_at(board, seen.point))


def _sigmoid(x: float) -> float:
    return 1.0 / (1.0 + math.exp(-max(min(x, 60.0), -60.0)))


def _rail_volts(volts: float, nominal: float, tolerance: float) -> Floats:
    """Soft at the limits: a reading on the limit speaks for neither side."""
    width = max(abs(nominal) * max(tolerance, 0.01), 0.05)
    inside = _sigmoid((width - abs(volts - nominal)) / (width / 8))
    return np.array([0.001 + 0.979 * inside] + [0.02 + 0.96 * (1.0 - inside)] * 5)


def _logic_volts(volts: float, expected: Expected) -> Floats:
    """A steady voltage as the level that it is, soft near the limits of the inputs; a moving net reads between."""
    low = _sigmoid((LOW_VOLTS - volts) / _LEVEL_SOFT_V)
    high = _sigmoid((volts - HIGH_VOLTS) / _LEVEL_SOFT_V)
    between = max(0.0, 1.0 - low - high)
    read = {"low": low, "high": high, "between": between}
    # A meter shows the mean of a moving net: mostly between the levels.
    mixed = 0.6 * logic_likelihood("pulsing", expected) + 0.4 * logic_likelihood("between", expected)
    return (
        read["low"] * logic_likelihood("low", expected)
        + read["high"] * logic_likelihood("high", expected)
        + read["between"] * mixed
    )


def _reset_time(seconds: float) -> Floats:
    """How long reset was held after power came: too short as if it were never pulled, never let go as if it hung.

    Source of the limits: the 20 ms that a CPU with its crystal needs (6802 class, from memory), and twice the 2 s
    of the slowest supervisors on sale (DS1831 data sheet); active low is usual.
    """
    short = _sigmoid((RESET_LEAST_S - seconds) / (RESET_LEAST_S / 8))
    late = _sigmoid((min(seconds, 1e9) - RESET_MOST_S) / (RESET_MOST_S / 8))
    said = {
        word: logic_likelihood(word) for word in ("good", "stuck high", "stuck low", "floating", "between")
    }
    quick = 0.6 * said["stuck high"] + 0.2 * said["floating"] + 0.2 * said["stuck low"]
    hangs = 0.6 * said["stuck low"] + 0.2 * said["between"] + 0.2 * said["stuck high"]
    return np.asarray(short * quick + late * hangs + max(0.0, 1.0 - short - late) * said["good"])


def ripple_limit_v(volts: float) -> float:
    """Most ripple on a rail, peak to peak [V]: 1 %, but not below 50 mV.

    Source: 50 mV on 5 V and 120 mV on 12 V (ATX design guide, from memory).

    >>> ripple_limit_v(5.0), ripple_limit_v(12.0)
    (0.05, 0.12)
    """
    return max(abs(volts) / 100, 0.05)


def _ripple(effects: Effects, seen: Observation) -> Floats:
    """Soft at the limit; dry filter capacitors show it, a missing rail may."""
    net = net_of(effects.graph.board, seen.point)
    rail = effects.graph.board.index.rails.get(net)
    limit = ripple_limit_v(rail.volts if rail else 5.0)
    high = _sigmoid((seen.number - limit) / (limit / 8))
    p = np.full(len(effects.faults), _RIPPLE_ALARMS)
    for number in effects.beginning_at(effects.graph.number[net]).tolist():
        noisy = any(mode is Mode.NOISY for _, mode in effects.faults[number].starts)
        p[number] = _RIPPLE_DETECTS if noisy else _RIPPLE_OF_A_LOW_RAIL
    return high * p + (1.0 - high) * (1.0 - p)


def _hertz(effects: Effects, net: str, hertz: float, expected: Expected) -> Floats:
    nominal = next((clock.hz for clock in effects.graph.board.clocks if clock.net == net), 0.0)
    if hertz <= 0:
        return 0.5 * (logic_likelihood("high", expected) + logic_likelihood("low", expected))
    if not nominal:
        return logic_likelihood("pulsing", expected)
    off = abs(hertz / nominal - 1.0)
    inside = _sigmoid((_CLOCK_TOLERANCE - off) / (_CLOCK_TOLERANCE / 8))
    return inside * logic_likelihood("good") + (1.0 - inside) * logic_likelihood("wrong")


def _ohms(effects: Effects, seen: Observation) -> Floats:
    board = effects.graph.board
    a, _, b = seen.point.partition(":")
    if b:
        ends = net_of(board, a.strip()), net_of(board, b.strip())
        if ends[0] == ends[1]:
            return _continuity(effects, (pin_at(board, a.strip()), pin_at(board, b.strip())), seen.number)
        touching = f"{' + '.join(ends)}", f"{' + '.join(reversed(ends))}"
        hit = np.array(
            [fault.unit.kind == "short" and fault.unit.name in touching for fault in effects.faults]
        )
        p = np.where(hit, _OHM_DETECTS, LEAST)  # two sound nets do not conduct like copper
        return p if seen.number < SHORT_OHM else 1.0 - p
    net = effects.graph.number[net_of(board, seen.point)]
    hit = np.zeros(len(effects.faults), dtype=bool)
    hit[effects.beginning_at(net)] = True
    hit &= effects.grounding
    return _found(hit, seen.number < SHORT_OHM)


def _continuity(effects: Effects, pins: tuple[PinRef | None, PinRef | None], ohms: float) -> Floats:
    hit = np.zeros(len(effects.faults), dtype=bool)
    for pin in pins:
        for number in effects.faults_at_pin.get(pin, ()) if pin else ():
            hit[number] |= effects.faults[number].opens
    return _found(hit, ohms >= CONTINUITY_OHM)


def _found(hit: NDArray[np.bool_], shown: bool) -> Floats:
    p = np.where(hit, _OHM_DETECTS, _OHM_ALARMS)
    return p if shown else 1.0 - p


def _swap(effects: Effects, seen: Observation) -> Floats:
    p = np.full(len(effects.faults), _CURED_BY_CHANCE)
    p[effects.faults_of_parts(swapped(seen.point))] = _CURED
    return p if seen.value == "cured" else 1.0 - p


def _visual(effects: Effects, seen: Observation) -> Floats:
    factor = VISUAL_VALUES[seen.value]
    subject = _named(effects, seen.point)
    scale = max(factor, 1.0)
    return np.where(subject, factor / scale, 1.0 / scale) * 0.9


def _named(effects: Effects, point: str) -> NDArray[np.bool_]:
    """Faults of the part, net, section or pin that was looked at."""
    board = effects.graph.board
    pin = pin_at(board, point)
    names = {point, pin.refdes if pin else point}
    names |= {board.index.net_of_pin[pin]} if pin else set()
    names |= {part.refdes for part in board.index.parts_of_section[point]}
    wanted = np.array([unit.name in names for unit in effects.units.units], dtype=bool)
    return wanted[effects.unit_of_fault]


def _selftest(effects: Effects, seen: Observation) -> Floats:
    p = np.where(_named(effects, seen.point), _TEST_DETECTS, _TEST_ALARMS)
    return p if seen.value == "fail" else 1.0 - p


def symptom_nets(effects: Effects, seen: Observation) -> tuple[int, ...]:
    """Numbers of the nets that a symptom is about; every net where it names nothing."""
    graph, board = effects.graph, effects.graph.board
    if seen.point and seen.point != "board":
        return tuple(sorted({graph.number[net] for net in _nets_named(effects, seen.point)}))
    symptom = read_symptom(seen.value)
    wanted = set[str]()
    if "boot" in symptom.roles:
        wanted |= {
            board.index.net_of_pin[pin]
            for refdes, kind in graph.kinds.items() if kind == "cpu"
            for pin in graph.outputs_of(refdes)
        }  # fmt: skip
    wanted |= {net for net in graph.nets if graph.signal(net) and graph.roles[net].role in symptom.roles}
    if not wanted:
        wanted = {net for net in graph.nets if graph.signal(net)}
    return tuple(sorted(graph.number[net] for net in wanted))


def _nets_named(effects: Effects, point: str) -> set[str]:
    board = effects.graph.board
    if point in board.index.parts or board.index.parts_of_section[point]:
        parts = (
            [point] if point in board.index.parts else [p.refdes for p in board.index.parts_of_section[point]]
        )
        found = {board.index.net_of_pin[pin] for refdes in parts for pin in board.index.pins_of_part[refdes]}
        return {net for net in found if effects.graph.signal(net)}
    return {net_of(board, point)}


def _symptom(effects: Effects, seen: Observation) -> Floats:
    nets = symptom_nets(effects, seen)
    hidden = np.ones(len(effects.faults))  # a function fails when any of its nets does
    for net in nets:
        hidden *= 1.0 - _SHOWING[effects.modes_at(net, "running")]
    shows = 1.0 - hidden
    bad = _SYMPTOM_ANYWAY + (_SYMPTOM_SHOWS - _SYMPTOM_ANYWAY) * shows
    if read_symptom(seen.value).bad:
        return bad
    return 1.0 - _SYMPTOM_ABSENT * shows


_BY_KIND = {
    "logic": _at_point, "volts": _at_point, "hertz": _at_point, "seconds": _at_point, "ohms": _ohms,
    "ripple": _ripple, "swap": _swap, "visual": _visual, "selftest": _selftest, "symptom": _symptom,
}  # fmt: skip


def still_holds(  # noqa: PLR0911  (one kind a line)
    effects: Effects, seen: Observation, repaired: Collection[str]
) -> bool:
    """Whether an observation counts after a unit was repaired: what was sound is, what was bad may have been its doing.

    A look at another part holds. A swap that cured nothing does not: the repaired fault may have kept the board down.
    """
    if seen.kind == "visual":
        return seen.point not in repaired
    if seen.kind == "symptom":
        return not read_symptom(seen.value).bad
    if seen.kind == "swap":
        return False
    if seen.kind == "selftest":
        return seen.value == "pass"
    if seen.kind == "ripple":
        net = net_of(effects.graph.board, seen.point)
        rail = effects.graph.board.index.rails.get(net)
        return seen.number <= ripple_limit_v(rail.volts if rail else 5.0)
    if seen.kind == "ohms":
        return _sound_ohms(effects, seen)
    return int(state_likelihood(effects, seen).argmax()) == State.GOOD


def _sound_ohms(effects: Effects, seen: Observation) -> bool:
    a, _, b = seen.point.partition(":")
    board = effects.graph.board
    if b and net_of(board, a.strip()) == net_of(board, b.strip()):
        return seen.number < CONTINUITY_OHM
    return seen.number >= SHORT_OHM
