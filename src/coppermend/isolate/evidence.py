"""What an observation means: its likelihood under every fault, as one array. Soft near limits, never zero."""

from __future__ import annotations

import math
from collections.abc import Collection

import numpy as np
from numpy.typing import NDArray

from coppermend.board.model import PinRef
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
CONTINUITY_OHM, SHORT_OHM = 5.0, 10.0
# TTL input levels: low below 0.8 V, high above 2.0 V (SN74 series data sheets).
LOW_VOLTS, HIGH_VOLTS = 0.8, 2.0
_LEVEL_SOFT_V = 0.05
_CLOCK_TOLERANCE = 0.02
_SHOWING = np.array([1.0 - MODES[mode, State.GOOD] for mode in Mode])


def likelihood(effects: Effects, seen: Observation) -> Floats:
    """P(the observation | each fault), shape (faults,), every value in [LEAST, 1]."""
    return np.asarray(np.clip(_BY_KIND[seen.kind](effects, seen), LEAST, 1.0))


def expected_level(effects: Effects, net: str) -> Expected:
    """What a sound net does while the board runs, from its role; "" when nothing is known."""
    role = effects.graph.roles[net].role
    if role in ("address", "data", "clock", "control", "select", "strobe"):
        return "moves"
    return "high" if role in ("reset", "interrupt") else ""


def state_likelihood(effects: Effects, seen: Observation) -> Floats:
    """P(a logic, volts or hertz observation | state of the net), shape (6,)."""
    net = net_of(effects.graph.board, seen.point)
    expected = expected_level(effects, net)
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
    board = effects.graph.board
    net = effects.graph.number[net_of(board, seen.point)]
    modes = effects.modes_at(net, effects.name_of(seen.condition), pin_at(board, seen.point))
    by_mode: Floats = MODES @ state_likelihood(effects, seen)
    return by_mode[modes]


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


def _of_parts(effects: Effects, refdes: Collection[str]) -> NDArray[np.bool_]:
    numbers = effects.units.number
    units = (Unit(kind, name) for name in refdes for kind in ("part", "socket"))
    return np.isin(effects.unit_of_fault, [numbers[unit] for unit in units if unit in numbers])


def _swap(effects: Effects, seen: Observation) -> Floats:
    p = np.where(_of_parts(effects, swapped(seen.point)), _CURED, _CURED_BY_CHANCE)
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
    "logic": _at_point, "volts": _at_point, "hertz": _at_point, "ohms": _ohms, "swap": _swap,
    "visual": _visual, "selftest": _selftest, "symptom": _symptom,
}  # fmt: skip
