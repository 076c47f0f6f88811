"""What an observation means: its likelihood under every fault, as one array. Soft near limits, never zero."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence

import numpy as np
from numpy.typing import NDArray

from coppermend.board.model import PinRef
from coppermend.errors import UnknownName
from coppermend.isolate.complaints import symptom_nets
from coppermend.isolate.conditions import ConditionName
from coppermend.isolate.effects import Effects
from coppermend.isolate.faults import Unit
from coppermend.isolate.levels import ripple_limit_v, sigmoid, state_likelihood
from coppermend.isolate.observations import VISUAL_VALUES, Observation, net_of, pin_at, swapped
from coppermend.isolate.states import MODES, Floats, Mode, State
from coppermend.isolate.symptoms import read_symptom

LEAST = 1e-4  # no reading rules anything out for good: hands slip
# Detection and false-alarm probabilities (common practice, no source).
_CURED, _CURED_BY_CHANCE = 0.97, 0.01
_SYMPTOM_SHOWS, _SYMPTOM_ANYWAY, _SYMPTOM_ABSENT = 0.95, 0.008, 0.985
_TEST_DETECTS, _TEST_ALARMS = 0.85, 0.03
_OHM_DETECTS, _OHM_ALARMS = 0.97, 0.01
_RIPPLE_DETECTS, _RIPPLE_OF_A_LOW_RAIL, _RIPPLE_ALARMS = 0.95, 0.3, 0.02
CONTINUITY_OHM, SHORT_OHM = 5.0, 10.0
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
    return sorted({number for pin in pins if pin for number in effects.faults.at(pin)})


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
    if seen.kind == "watch":
        return _cannot_be_watched(effects, seen)
    if seen.kind == "repair" and not units_at(effects, seen.point):
        return f"{seen.point} is nothing that could be at fault"
    if seen.kind == "ripple" and net_of(graph.board, seen.point) not in graph.supply - graph.grounds:
        return f"{seen.point} is on no rail: ripple is measured on a rail"
    if seen.kind == "seconds" and graph.roles[net_of(graph.board, seen.point)].role != "reset":
        return f"{seen.point} is on no reset net: seconds are how long reset is held after power comes"
    return ""


def _cannot_be_watched(effects: Effects, seen: Observation) -> str:
    outputs = effects.outputs
    if not outputs.ends:
        return f"{effects.graph.board.name} has no outputs that can be watched together"
    strange = sorted(outputs.named(seen.value) - {end.name for end in outputs.ends})
    return f"{', '.join(strange)} cannot be seen or heard" if strange else ""


def _at_point(effects: Effects, seen: Observation) -> Floats:
    by_mode: Floats = MODES @ state_likelihood(effects, seen)
    return by_mode[_modes_seen(effects, seen)]


def _modes_seen(effects: Effects, seen: Observation) -> NDArray[np.uint8]:
    board = effects.graph.board
    net = effects.graph.number[net_of(board, seen.point)]
    return effects.modes_at(net, seen.condition, pin_at(board, seen.point))


def _ripple(effects: Effects, seen: Observation) -> Floats:
    """Soft at the limit; dry filter capacitors show it, a missing rail may."""
    net = net_of(effects.graph.board, seen.point)
    rail = effects.graph.board.index.rails.get(net)
    limit = ripple_limit_v(rail.volts if rail else 5.0)
    high = sigmoid((seen.number - limit) / (limit / 8))
    p = np.full(len(effects.faults), _RIPPLE_ALARMS)
    for number in effects.beginning_at(effects.graph.number[net]).tolist():
        noisy = any(mode is Mode.NOISY for _, mode in effects.faults[number].starts)
        p[number] = _RIPPLE_DETECTS if noisy else _RIPPLE_OF_A_LOW_RAIL
    return high * p + (1.0 - high) * (1.0 - p)


def _ohms(effects: Effects, seen: Observation) -> Floats:
    board = effects.graph.board
    a, _, b = seen.point.partition(":")
    if b:
        ends = net_of(board, a.strip()), net_of(board, b.strip())
        if ends[0] == ends[1]:
            return _continuity(effects, (pin_at(board, a.strip()), pin_at(board, b.strip())), seen.number)
        touching = [Unit("short", " + ".join(pair)) for pair in (ends, ends[::-1])]
        numbers = [number for unit in touching if (number := effects.units.number.get(unit)) is not None]
        hit = np.isin(effects.unit_of_fault, numbers)
        p = np.where(hit, _OHM_DETECTS, LEAST)  # two sound nets do not conduct like copper
        return p if seen.number < SHORT_OHM else 1.0 - p
    net = effects.graph.number[net_of(board, seen.point)]
    hit = np.zeros(len(effects.faults), dtype=bool)
    hit[effects.beginning_at(net)] = True
    hit &= effects.faults.grounds
    return _found(hit, seen.number < SHORT_OHM)


def _continuity(effects: Effects, pins: tuple[PinRef | None, PinRef | None], ohms: float) -> Floats:
    hit = np.zeros(len(effects.faults), dtype=bool)
    for pin in pins:
        for number in effects.faults.at(pin):
            hit[number] |= effects.faults.opens[number]
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


def _watch(effects: Effects, seen: Observation) -> Floats:
    return effects.outputs.likelihood(seen.value)


def _joints(effects: Effects, seen: Observation) -> Floats:
    return effects.joints.likelihood(seen.point, seen.value)


def _selftest(effects: Effects, seen: Observation) -> Floats:
    p = np.where(_named(effects, seen.point), _TEST_DETECTS, _TEST_ALARMS)
    return p if seen.value == "fail" else 1.0 - p


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
    "ripple": _ripple, "swap": _swap, "visual": _visual, "watch": _watch, "joints": _joints,
    "selftest": _selftest, "symptom": _symptom,
}  # fmt: skip
