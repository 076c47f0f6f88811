"""Reset supervision: published thresholds and time-outs, CPU needs, RC and monostable times. Knows no board."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SupervisorGrade:
    """A grade of 3-pin reset supervisor for a 5 V rail: thresholds [V] and shortest time-out [s]."""

    name: str
    min_v: float
    typical_v: float
    max_v: float
    timeout_min_s: float
    source: str


# Narrowest guard first is not needed: ``choose_grade`` sorts. Time-out 140 ms minimum: MAX809 data sheet,
# the usual one of the 3-pin class; a part with less must be checked again.
GRADES: tuple[SupervisorGrade, ...] = (
    SupervisorGrade("4.63 V, ±2.5 %", 4.514, 4.630, 4.746, 0.140, "MCP102/103/121/131-475 data sheet"),
    SupervisorGrade("5 % grade", 4.50, 4.63, 4.75, 0.140, "DS1831 data sheet, page 12"),
    SupervisorGrade("4.38 V, ±2.5 %", 4.271, 4.380, 4.490, 0.140, "MCP102/103/121/131-450 data sheet"),
    SupervisorGrade("10 % grade", 4.25, 4.38, 4.49, 0.140, "DS1831 data sheet, page 12"),
    SupervisorGrade("15 % grade", 4.00, 4.15, 4.24, 0.140, "DS1831 data sheet, page 12"),
)


def choose_grade(rail_min_v: float) -> SupervisorGrade | None:
    """The grade that guards highest without tripping on a rail that is within tolerance.

    Args:
        rail_min_v: Lowest voltage of a healthy rail [V].

    Returns:
        The grade with the highest lowest threshold whose highest threshold is not above the rail, or None.

    >>> choose_grade(4.75).name, choose_grade(4.5).name
    ('4.63 V, ±2.5 %', '4.38 V, ±2.5 %')
    """
    fitting = [grade for grade in GRADES if grade.max_v <= rail_min_v]
    return max(fitting, key=lambda grade: grade.min_v, default=None)


@dataclass(frozen=True, slots=True)
class CpuReset:
    """What a CPU class asks of its reset: lowest supply [V], clock cycles held, extra start-up time [s]."""

    name: str
    supply_min_v: float
    cycles: int
    start_up_s: float
    slowest_clock_hz: float
    source: str


_CPUS: tuple[tuple[str, CpuReset], ...] = (
    (
        "6802|6808",
        CpuReset(
            "6802 class", 4.75, 8, 0.020, 894_886.0, "MC6802 data sheet (from memory): 20 ms for the crystal"
        ),
    ),
    ("6800|6809", CpuReset("6800 class", 4.75, 8, 0.0, 894_886.0, "MC6800 data sheet (from memory)")),
    (
        "65C?(?:02|10|SC02)|65(?:0[2-7]|1[2-5])",
        CpuReset("6502 class", 4.75, 2, 0.0, 1e6, "65xx data sheets: low for 2 cycles after 4.75 V"),
    ),
    ("Z-?80|84C00", CpuReset("Z80 class", 4.75, 3, 0.0, 2e6, "Z80 user manual: 3 full clock cycles")),
    ("808[05]", CpuReset("8080 class", 4.75, 3, 0.010, 1e6, "8080A and 8085A data sheets (from memory)")),
)
ANY_CPU = CpuReset("CPU of unknown class", 4.75, 8, 0.020, 894_886.0, "the strictest class known here")


def cpu_reset(type_name: str) -> CpuReset:
    """What the CPU called ``type_name`` asks of its reset; the strictest class when it is unknown.

    >>> cpu_reset("65C02").cycles, cpu_reset("MC6800P").cycles, cpu_reset("Z80A").cycles
    (2, 8, 3)
    """
    key = type_name.upper()
    for pattern, found in _CPUS:
        if re.search(rf"(?<!\d)(?:{pattern})(?!\d)", key):
            return found
    return ANY_CPU


def reset_needed_s(cpu: CpuReset, clock_hz: float | None = None) -> float:
    """Time that reset must stay asserted after the supply is good.

    Args:
        cpu: What the CPU asks.
        clock_hz: Clock of the board [Hz]; None takes the slowest usual one of the class.

    Returns:
        Cycles at that clock plus start-up [s].

    Raises:
        ValueError: If the clock is not positive.

    >>> round(reset_needed_s(cpu_reset("6800")) * 1e6, 3)
    8.94
    """
    hz = cpu.slowest_clock_hz if clock_hz is None else clock_hz
    if hz <= 0:
        raise ValueError(f"a clock has a frequency, not {hz} Hz")
    return cpu.cycles / hz + cpu.start_up_s


def rc_delay_s(resistance_ohm: float, capacitance_f: float, supply_v: float, threshold_v: float) -> float:
    """Time in which a capacitor charged through a resistor reaches a threshold.

    Args:
        resistance_ohm: Charging resistor [Ω].
        capacitance_f: Timing capacitor [F].
        supply_v: Supply [V].
        threshold_v: Threshold of the input [V], at least zero and below the supply.

    Returns:
        Time [s].

    Raises:
        ValueError: If the threshold is never reached or negative.

    Source: t = −RC·ln(1 − Vt/V).

    >>> round(rc_delay_s(10e3, 10e-6, 5.0, 2.5) * 1e3, 2)
    69.31
    """
    if not 0 <= threshold_v < supply_v:
        raise ValueError(f"{threshold_v} V is never reached from a supply of {supply_v} V")
    return -resistance_ohm * capacitance_f * math.log1p(-threshold_v / supply_v)
