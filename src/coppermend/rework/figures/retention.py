"""How long a charged capacitor keeps a memory, and how it charges: closed forms. Knows no board.

Ageing, temperature and dielectric absorption are left out: measure hold-up after a long charge.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass


def hold_up_s(
    capacitance_f: float, start_v: float, end_v: float, load_a: float, leak_ohm: float = math.inf
) -> float:
    """Time in which a capacitor falls from ``start_v`` to ``end_v`` under a constant load and a leak.

    Args:
        capacitance_f: Capacitance [F], greater than zero.
        start_v: Voltage at power-off [V].
        end_v: Lowest voltage at which the memory holds [V], greater than zero.
        load_a: Constant current drawn [A], zero or more.
        leak_ohm: Leakage resistance across the capacitor [Ω]; infinite when there is none.

    Returns:
        Hold-up time [s]; 0 when the start is not above the end; infinite when nothing is drawn.

    Raises:
        ValueError: If capacitance, end voltage or leak is not positive, or the load is negative.

    Source: t = RC·ln((V0 + IR)/(V1 + IR)), solution of C·dV/dt = −I − V/R; C·(V0 − V1)/I without a leak.
    Worked example of a capacitor maker's technical guide: 0.2 F, 2.5 to 1.8 V, 10.2 µA, 13 725 s.

    >>> round(hold_up_s(0.2, 2.5, 1.8, 10.2e-6))
    13725
    """
    if capacitance_f <= 0 or end_v <= 0 or leak_ohm <= 0 or load_a < 0:
        raise ValueError(
            f"hold-up needs positive values: {capacitance_f} F to {end_v} V, {load_a} A, {leak_ohm} ohm"
        )
    if start_v <= end_v:
        return 0.0
    if math.isinf(leak_ohm):
        return math.inf if load_a == 0 else capacitance_f * (start_v - end_v) / load_a
    # log1p keeps the digits when the leak is small against the load.
    drop = (start_v - end_v) / (end_v + load_a * leak_ohm)
    return leak_ohm * capacitance_f * math.log1p(drop)


def capacitance_for_f(hold_s: float, start_v: float, end_v: float, load_a: float) -> float:
    """Capacitance that holds for ``hold_s`` under a constant load.

    Args:
        hold_s: Time to hold [s].
        start_v: Voltage at power-off [V], above ``end_v``.
        end_v: Lowest voltage at which the memory holds [V].
        load_a: Constant current drawn [A].

    Returns:
        Capacitance [F].

    Raises:
        ValueError: If the start is not above the end.

    Source: C = I·t/(V0 − V1).

    >>> round(capacitance_for_f(30 * 86400, 4.7, 2.0, 3e-6), 2)
    2.88
    """
    if start_v <= end_v:
        raise ValueError(f"nothing to discharge between {start_v} V and {end_v} V")
    return load_a * hold_s / (start_v - end_v)


def charge_time_s(series_ohm: float, capacitance_f: float, share: float = 0.99) -> float:
    """Time in which a capacitor charges to ``share`` of the supply.

    Args:
        series_ohm: Series resistance, charge resistor and the capacitor's own [Ω].
        capacitance_f: Capacitance [F].
        share: Fraction of the supply reached, 0 up to but not 1.

    Returns:
        Time [s].

    Raises:
        ValueError: If ``share`` is outside 0..1 (1 excluded).

    Source: V = V0·(1 − exp(−t/RC)).

    >>> round(charge_time_s(175, 0.1), 2)
    80.59
    """
    if not 0 <= share < 1:
        raise ValueError(f"a capacitor reaches a share of 0 up to 1, not {share}")
    return -series_ohm * capacitance_f * math.log1p(-share)


@dataclass(frozen=True, slots=True)
class RetentionClass:
    """What a memory needs in order to hold its contents: lowest voltage, current there, and the source.

    ``hold_v`` None means that the class has no retention mode.
    """

    name: str
    hold_v: float | None
    typical_a: float
    worst_a: float
    source: str


_UNKNOWN = RetentionClass(
    "memory of unknown class",
    2.0,
    10e-6,
    300e-6,
    "no figures for this type: worst of the classes known, common practice, no source; measure it",
)
# (digits of the type, low-power suffix needed, class); first match wins.
_CLASSES: tuple[tuple[str, str, RetentionClass], ...] = (
    (
        "5101",
        "S?L",
        RetentionClass(
            "256x4 CMOS, low-power grade",
            2.0,
            1e-6,
            10e-6,
            "2 V: NTE65101 and MWS5101 data sheets; current: 5101L data sheets of the 1970s (from memory)",
        ),
    ),
    (
        "5101",
        "",
        RetentionClass(
            "256x4 CMOS, standard grade",
            2.0,
            1e-6,
            200e-6,
            "2 V: NTE65101 and MWS5101 data sheets; current: 5101 data sheets of the 1970s (from memory)",
        ),
    ),
    (
        "6116",
        "S?L",
        RetentionClass(
            "2Kx8 CMOS, low-power grade", 2.0, 1e-6, 20e-6, "HM-65162 data sheet, fast bin, at 2 V"
        ),
    ),
    (
        "6116",
        "",
        RetentionClass("2Kx8 CMOS, standard grade", 2.0, 20e-6, 300e-6, "HM-65162 data sheet, worst grade"),
    ),
    (
        "6264",
        "S?L",
        RetentionClass("8Kx8 CMOS, low-power grade", 2.0, 2e-6, 75e-6, "HM6264B and HM-65642 data sheets"),
    ),
    (
        "6264",
        "",
        RetentionClass("8Kx8 CMOS, standard grade", 2.0, 2e-6, 250e-6, "HM6264B and HM-65642 data sheets"),
    ),
    (
        "62256",
        "",
        RetentionClass("32Kx8 CMOS", 2.0, 2e-6, 100e-6, "data sheets of the 62256 class (from memory)"),
    ),
    (
        "2114|2102",
        "",
        RetentionClass("NMOS static RAM", None, 45e-3, 70e-3, "NTE2114 data sheet: no retention mode"),
    ),
)


def retention_class(type_name: str) -> RetentionClass:
    """What the memory called ``type_name`` needs to hold its contents; the suffix tells the grade.

    >>> retention_class("5101L-3").worst_a, retention_class("HM6116-3").worst_a
    (1e-05, 0.0003)
    """
    key = type_name.upper()
    for digits, suffix, found in _CLASSES:
        # A revision letter may stand between the digits and the low-power suffix (6264ALP).
        if re.search(rf"(?<!\d)(?:{digits})(?!\d){'[AB]?' if suffix else ''}{suffix}", key):
            return found
    return _UNKNOWN


@dataclass(frozen=True, slots=True)
class BlockingDiode:
    """A diode between supply and kept rail: its drop at charge, its worst and usual leakage back at 25 °C."""

    name: str
    drop_v: float
    leak_a: float
    typical_leak_a: float
    source: str


SCHOTTKY = BlockingDiode(
    "Schottky, BAT85 class", 0.32, 2e-6, 2e-6, "BAT85 data sheet: 0.32 V at 1 mA, 2 µA at 25 °C"
)
POWER_SCHOTTKY = BlockingDiode(
    "Schottky rectifier, 1N5817 class",
    0.3,
    1e-3,
    20e-6,
    "1N5817 data sheet: 1 mA at rated voltage (from memory)",
)
RECTIFIER = BlockingDiode(
    "silicon rectifier, 1N4001 class",
    0.7,
    5e-6,
    0.1e-6,
    "1N4001 data sheet: 5 µA at rated voltage (from memory)",
)
SILICON = BlockingDiode(
    "small-signal silicon, 1N4148 class",
    0.6,
    25e-9,
    25e-9,
    "1N4148 data sheet: 25 nA at 20 V, 25 °C (from memory)",
)
