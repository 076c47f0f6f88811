"""Figures of keep-alive supplies: supercapacitor, primary coin cell, rechargeable pack. Closed forms for a board:
``retention``.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from coppermend.board.cautions import PRACTICE
from coppermend.errors import InputError
from coppermend.quantity import format_quantity
from coppermend.rework.figures.figure import Answer, Choice, Figure, Input, Output, words
from coppermend.rework.figures.interval import Num, log1p_ratio
from coppermend.rework.figures.plot import Plot, line_of
from coppermend.rework.figures.retention import SCHOTTKY
from coppermend.rework.figures.spread import Spread
from coppermend.rework.records import Check

YEAR_S = 31_557_600.0
_DOUBLING_K = 10.0  # standby and leakage currents double every 10 K: common practice, no source
_AT_C = 25.0
_LN_100 = 4.605170185988091  # ln 100: time constants to 99 %
RATED_V = 5.5  # usual double-layer capacitor


def hold_up(capacitance_f: Num, start_v: Num, end_v: Num, load_a: Num, leak_ohm: Num = np.inf) -> Num:
    """Hold-up time as ``retention.hold_up_s``, for floats, arrays and intervals alike.

    Args:
        capacitance_f: Capacitance [F].
        start_v: Voltage at power-off [V].
        end_v: Lowest voltage at which the memory holds [V].
        load_a: Constant current [A].
        leak_ohm: Leakage resistance across the capacitor [Ω].

    Returns:
        Time [s]; 0 where the start is not above the end; infinite where nothing is drawn.

    Source: t = RC·ln((V0 + IR)/(V1 + IR)), written so that it holds for R without end.

    >>> round(float(hold_up(0.1, 4.7, 2.0, 2e-6, 1e6)), 1)
    51581.3
    """
    fall_v = np.maximum(start_v - end_v, 0.0)
    drawn_a = load_a + end_v / leak_ohm
    with np.errstate(divide="ignore", invalid="ignore"):
        return capacitance_f * (fall_v / drawn_a) * log1p_ratio(fall_v / leak_ohm / drawn_a)


def hold_up_curve(
    capacitance_f: float, start_v: float, load_a: float, leak_ohm: float, time_s: np.ndarray
) -> np.ndarray:
    """Voltage of a capacitor under a constant load and a leak.

    Args:
        capacitance_f: Capacitance [F].
        start_v: Voltage at time 0 [V].
        load_a: Constant current [A].
        leak_ohm: Leakage resistance [Ω]; infinite for none.
        time_s: Times [s], any shape.

    Returns:
        Voltages [V], same shape, not below zero.

    Source: V = (V0 + IR)·exp(−t/RC) − IR, solution of C·dV/dt = −I − V/R.

    >>> hold_up_curve(0.1, 4.7, 2e-6, 1e6, np.array([0.0, 51581.27])).round(4).tolist()
    [4.7, 2.0]
    """
    if np.isinf(leak_ohm):
        return np.maximum(start_v - load_a * time_s / capacitance_f, 0.0)
    # expm1 keeps the digits when the leak is small against the load.
    fallen = (start_v + load_a * leak_ohm) * np.expm1(-time_s / (leak_ohm * capacitance_f))
    return np.asarray(np.maximum(start_v + fallen, 0.0))


def warmed(current_a: Num, temperature_c: Num) -> Num:
    """A leakage or standby current at a temperature, from its value at 25 °C.

    Args:
        current_a: Current at 25 °C [A].
        temperature_c: Temperature [°C].

    Returns:
        Current [A]; doubled every 10 K (common practice, no source).

    >>> float(warmed(1e-6, 35.0))
    2e-06
    """
    return current_a * np.exp((temperature_c - _AT_C) * (np.log(2.0) / _DOUBLING_K))


def _retention(v: Mapping[str, Num], _: Mapping[str, str]) -> dict[str, Num]:
    capacitance = v["capacitance_f"] * (1.0 - v["loss"])
    leaking = warmed(v["load_a"] + v["diode_leak_a"], v["temperature_c"])
    start = v["rail_v"] - v["diode_v"] - leaking * v["esr_ohm"]
    hold = hold_up(capacitance, start, v["end_v"], leaking, v["leak_ohm"])
    series = v["series_ohm"] + v["esr_ohm"]
    peak = np.maximum(v["rail_v"] - v["diode_v"], 0.0) / series
    return {
        "start_v": start,
        "drawn_a": leaking,
        "hold_up_s": hold,
        "needed_f": v["wanted_s"] * leaking / np.maximum(start - v["end_v"], 1e-12),
        "charge_peak_a": peak,
        "resistor_peak_w": peak * peak * v["series_ohm"],
        "charge_99_s": series * v["capacitance_f"] * _LN_100,
        "price_per_year": v["price"] / v["life_years"],
    }


# Retention currents and voltages as in ``retention``: typical and worst at 25 °C.
_MEMORIES = {
    "other": ("give load and end yourself", {}),
    "5101L": ("256x4 CMOS, low-power grade", {"load": "1uA (1uA..10uA)", "end": "2 V"}),
    "5101": ("256x4 CMOS, standard grade", {"load": "1uA (1uA..200uA)", "end": "2 V"}),
    "6116L": ("2Kx8 CMOS, low-power grade", {"load": "1uA (1uA..20uA)", "end": "2 V"}),
    "6116": ("2Kx8 CMOS, standard grade", {"load": "20uA (20uA..300uA)", "end": "2 V"}),
    "6264L": ("8Kx8 CMOS, low-power grade", {"load": "2uA (2uA..75uA)", "end": "2 V"}),
}  # fmt: skip
_MEMORY = Choice("memory", "memory that is kept", {k: v[0] for k, v in _MEMORIES.items()}, "other")


def _retention_checks(a: Answer) -> tuple[Check, ...]:
    hold, wanted = a.out("hold_up_s"), a.value("wanted")
    return (
        Check(
            "hold-up, worst case", words(hold.low, "s"), f"at least {words(wanted, 's')}", hold.low >= wanted,
            "t = RC·ln((V0 + IR)/(V1 + IR))",
            "A fraction of a farad holds hours to days, not weeks, once leakage counts.",
        ),
        Check(
            "voltage across the capacitor", f"{a.spreads['rail'].high:.2f} V", f"at most {RATED_V} V",
            a.spreads["rail"].high <= RATED_V, f"usual double-layer capacitor: {PRACTICE}",
        ),
        Check(
            "reverse leakage of the blocking diode", format_quantity(a.spreads["diode-leak"].high, "A"),
            f"below the memory's own {format_quantity(a.spreads['load'].high, 'A')}",
            a.spreads["diode-leak"].high <= a.spreads["load"].high, SCHOTTKY.source,
            "A Schottky diode's reverse leakage is a load on the keep-alive supply, and rises steeply with heat.",
            must=False,
        ),
    )  # fmt: skip


def _retention_plot(a: Answer) -> Plot:
    end = a.value("end")
    cases = (("worst", "low", "high"), ("nominal", "nominal", "nominal"), ("best", "high", "low"))
    lines = []
    until = a.out("hold_up_s").nominal
    until = min(until, 10 * YEAR_S) * 1.3 or 3600.0
    hours = np.linspace(0.0, until, 300)
    for name, capacity, current in cases:
        spread = a.spreads
        farads = getattr(spread["capacitance"], capacity) * (1 - getattr(spread["ageing"], current))
        leak = getattr(spread["leak"], capacity)
        start, load = getattr(a.out("start_v"), capacity), getattr(a.out("drawn_a"), current)
        volts = hold_up_curve(farads, start, load, leak, hours)
        lines.append(line_of(name, hours / 3600, volts, "" if name == "nominal" else "dashed"))
    return Plot("Hold-up", "hours without supply", "V", tuple(lines), (("memory holds above this", end),))


def _below_rail(spreads: Mapping[str, Spread], _: Mapping[str, str]) -> None:
    if spreads["end"].nominal >= spreads["rail"].nominal:
        raise InputError(
            f"end is {spreads['end'].nominal:g} V, not below the rail of {spreads['rail'].nominal:g} V",
            expected="a lower voltage",
        )


RAIL_INPUT = Input("rail", "rail_v", "supply rail", "V", "5 V 5%", above=0)
END_INPUT = Input("end", "end_v", "lowest voltage that the memory holds at", "V", "2 V", above=0)
LOAD_INPUT = Input(
    "load", "load_a", "standby current of the memory at 25 °C", "A", "2uA (1uA..10uA)", least=0
)
TEMPERATURE_INPUT = Input(
    "temperature", "temperature_c", "temperature", "°C", "25 °C (15..40)", least=-40, most=85
)
DIODE_INPUT = Input("diode", "diode_v", "drop of the blocking diode", "V", "0.32 V (0.24..0.4)", least=0)
_DIODE_LEAK = Input(
    "diode-leak", "diode_leak_a", "reverse leakage of the diode at 25 °C", "A", "1uA (0.2uA..2uA)", least=0
)

RETENTION = Figure(
    "retention",
    "hold-up of a supercapacitor",
    "How long a supercapacitor keeps a memory, and how it charges.",
    (
        Input("capacitance", "capacitance_f", "capacitance", "F", "0.47 F -20+80%", above=0),
        RAIL_INPUT, DIODE_INPUT, END_INPUT, LOAD_INPUT, _DIODE_LEAK,
        Input("leak", "leak_ohm", "leakage resistance of the capacitor, or none", "Ω", "5 MΩ", above=0, absent_ok=True),
        Input("esr", "esr_ohm", "series resistance of the capacitor", "Ω", "75 Ω (30..150)", least=0),
        Input("series", "series_ohm", "charge resistor", "Ω", "180 Ω 5%", above=0),
        TEMPERATURE_INPUT,
        Input("ageing", "loss", "share of the capacitance lost with age", "", "0.1 (0..0.3)", least=0, most=0.95),
        Input("wanted", "wanted_s", "wanted hold-up time", "s", "48 h", least=0),
        Input("price", "price", "price of a new capacitor, fitted", "", "5", least=0),
        Input("life", "life_years", "years until it is renewed", "", "10", above=0),
    ),
    (
        Output("hold_up_s", "hold-up time", "s"), Output("start_v", "voltage at power-off", "V"),
        Output("drawn_a", "current drawn", "A"), Output("needed_f", "capacitance for the wanted time", "F"),
        Output("charge_peak_a", "peak charge current", "A"),
        Output("resistor_peak_w", "peak heat in the charge resistor", "W"),
        Output("charge_99_s", "time to 99 % of the charge", "s"), Output("price_per_year", "price per year held", ""),
    ),
    _retention,
    "C·dV/dt = −I − V/R; worked example of a capacitor maker's technical guide; currents double every 10 K: "
    f"{PRACTICE}. Dielectric absorption is left out: judge hold-up after hours of charge.",
    (_MEMORY,),
    _retention_checks,
    _below_rail,
    _retention_plot,
    lambda choices: _MEMORIES[choices["memory"]][1],
)  # fmt: skip
