"""What a look at one net says of its state: levels, voltages, frequency, reset time. Soft near limits; knows no fault."""

from __future__ import annotations

import math

import numpy as np

from coppermend.isolate.conditions import ConditionName
from coppermend.isolate.effects import Effects
from coppermend.isolate.observations import Observation, net_of
from coppermend.isolate.states import Expected, Floats, logic_likelihood

RESET_LEAST_S, RESET_MOST_S = 0.02, 4.0
# TTL input levels: low below 0.8 V, high above 2.0 V (SN74 series data sheets).
LOW_VOLTS, HIGH_VOLTS = 0.8, 2.0
_LEVEL_SOFT_V = 0.05
_CLOCK_TOLERANCE = 0.02


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
        present = sigmoid((abs(seen.number) - HIGH_VOLTS) / _LEVEL_SOFT_V)
        return np.array([0.001 + 0.979 * present] + [0.02 + 0.96 * (1.0 - present)] * 5)
    return _logic_volts(seen.number, expected)


def sigmoid(x: float) -> float:
    """The logistic function, which never overflows."""
    return 1.0 / (1.0 + math.exp(-max(min(x, 60.0), -60.0)))


def _rail_volts(volts: float, nominal: float, tolerance: float) -> Floats:
    """Soft at the limits: a reading on the limit speaks for neither side."""
    width = max(abs(nominal) * max(tolerance, 0.01), 0.05)
    inside = sigmoid((width - abs(volts - nominal)) / (width / 8))
    return np.array([0.001 + 0.979 * inside] + [0.02 + 0.96 * (1.0 - inside)] * 5)


def _logic_volts(volts: float, expected: Expected) -> Floats:
    """A steady voltage as the level that it is, soft near the limits of the inputs; a moving net reads between."""
    low = sigmoid((LOW_VOLTS - volts) / _LEVEL_SOFT_V)
    high = sigmoid((volts - HIGH_VOLTS) / _LEVEL_SOFT_V)
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
    short = sigmoid((RESET_LEAST_S - seconds) / (RESET_LEAST_S / 8))
    late = sigmoid((min(seconds, 1e9) - RESET_MOST_S) / (RESET_MOST_S / 8))
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


def _hertz(effects: Effects, net: str, hertz: float, expected: Expected) -> Floats:
    nominal = next((clock.hz for clock in effects.graph.board.clocks if clock.net == net), 0.0)
    if hertz <= 0:
        return 0.5 * (logic_likelihood("high", expected) + logic_likelihood("low", expected))
    if not nominal:
        return logic_likelihood("pulsing", expected)
    off = abs(hertz / nominal - 1.0)
    inside = sigmoid((_CLOCK_TOLERANCE - off) / (_CLOCK_TOLERANCE / 8))
    return inside * logic_likelihood("good") + (1.0 - inside) * logic_likelihood("wrong")
