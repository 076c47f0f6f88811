"""Figures of time: RC delay, monostables and the 555. Reset supervision has a file of its own."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from coppermend.errors import InputError
from coppermend.rework.figures.curves import astable_wave, pulse_over_resistor
from coppermend.rework.figures.figure import Answer, Choice, Figure, Input, Output, words
from coppermend.rework.figures.interval import Num
from coppermend.rework.figures.plot import Plot, line_of
from coppermend.rework.figures.spread import Spread
from coppermend.rework.records import Check

_R = Input("resistance", "resistance_ohm", "timing resistor", "Ω", "100 kΩ 5%", above=0)
_C = Input("capacitance", "capacitance_f", "timing capacitor", "F", "1 uF 10%", above=0)
_SUPPLY = Input("supply", "supply_v", "supply", "V", "5 V 5%", above=0)


def _rc(v: Mapping[str, Num], _: Mapping[str, str]) -> dict[str, Num]:
    constant = v["resistance_ohm"] * v["capacitance_f"]
    return {
        "delay_s": -constant * np.log1p(-v["threshold_v"] / v["supply_v"]),
        "time_constant_s": constant,
        "rise_s": constant * np.log(9.0),
        "start_a": v["supply_v"] / v["resistance_ohm"],
    }


def threshold_below_supply(spreads: Mapping[str, Spread], _: Mapping[str, str]) -> None:
    """Refuse a threshold that the supply does not reach.

    Raises:
        InputError: Names both.
    """
    threshold, supply = spreads["threshold"], spreads["supply"]
    if threshold.high >= supply.low:
        raise InputError(
            f"threshold of up to {threshold.high:g} V is not below the supply of {supply.low:g} V",
            expected="a threshold that the supply reaches",
        )


def _rc_plot(a: Answer) -> Plot:
    constant = a.out("time_constant_s").nominal
    time = np.linspace(0.0, max(3.0 * constant, 1.3 * a.out("delay_s").nominal), 300)
    volts = a.value("supply") * -np.expm1(-time / constant)
    line = line_of("capacitor", time * 1e3, volts)
    return Plot("RC delay", "ms", "V", (line,), (("threshold", a.value("threshold")),))


RC = Figure(
    "rc",
    "RC delay to a threshold",
    "When a capacitor charged through a resistor reaches a threshold.",
    (_R, _C, _SUPPLY, Input("threshold", "threshold_v", "threshold of the input", "V", "2 V", least=0)),
    (
        Output("delay_s", "delay", "s"), Output("time_constant_s", "time constant", "s"),
        Output("rise_s", "rise from 10 to 90 %", "s"), Output("start_a", "current at the start", "A"),
    ),
    _rc,
    "t = −RC·ln(1 − Vt/V); 10 to 90 % in RC·ln 9",
    refuse=threshold_below_supply,
    plot=_rc_plot,
)  # fmt: skip

# Factor K of t = K·R·C at 5 V, and where from.
MONOSTABLES: Mapping[str, tuple[float, str, str]] = {
    "4538": (1.0, "metal-gate dual monostable", "CD4538/MC14538 data sheets (from memory)"),
    "74HC4538": (0.7, "high-speed CMOS dual monostable", "74HC4538 data sheet"),
    "74HC123": (0.55, "high-speed CMOS dual monostable", "74HC123 data sheet: 0.55 at 5 V, 0.48 at 2 V"),
    "74HC423": (1.0, "high-speed CMOS dual monostable", "74HC423A data sheet (poor scan)"),
    "74LS123": (0.45, "low-power Schottky, large capacitors", "74LS123 data sheet (from memory)"),
    "555": (float(np.log(3.0)), "timer as monostable", "RC·ln 3 from thresholds of 1/3 and 2/3"),
}


def _monostable(v: Mapping[str, Num], c: Mapping[str, str]) -> dict[str, Num]:
    constant = v["resistance_ohm"] * v["capacitance_f"]
    new, old = (
        MONOSTABLES[c["type"]][0],
        MONOSTABLES[c["instead-of"] if c["instead-of"] != "none" else c["type"]][0],
    )
    pulse = constant * new * (1.0 + v["spread"])
    return {
        "pulse_s": pulse,
        "old_pulse_s": constant * old * (1.0 + v["spread"]),
        "ratio": new / old,
        "same_ohm": v["resistance_ohm"] * (old / new),
    }


def _monostable_checks(a: Answer) -> tuple[Check, ...]:
    old = a.choices["instead-of"]
    if old == "none":
        return ()
    ratio = a.out("ratio").nominal
    change = f"{abs(1 - ratio) * 100:.0f} % {'shorter' if ratio < 1 else 'longer'}"
    ok = abs(ratio - 1) <= 0.05
    note = f"A {a.choices['type']} in place of a {old} times {change}; same pulse with {words(a.out('same_ohm').nominal, 'Ω')}."
    sources = "; ".join(MONOSTABLES[name][2] for name in (a.choices["type"], old))
    return (
        Check(
            "pulse of the replacement",
            f"{ratio:.2f} of the old",
            "0.95 to 1.05",
            ok,
            sources,
            "" if ok else note,
        ),
    )


_TYPES = {name: text for name, (_, text, _) in MONOSTABLES.items()}
MONOSTABLE = Figure(
    "monostable",
    "pulse of a monostable",
    "How long a monostable's pulse lasts, and what a replacement of another family changes.",
    (_R, _C, Input("spread", "spread", "spread of the part itself, as a fraction", "", "0 (-0.1..0.1)", above=-1)),
    (
        Output("pulse_s", "pulse", "s"), Output("old_pulse_s", "pulse of the part it replaces", "s"),
        Output("ratio", "new over old", ""), Output("same_ohm", "resistor for the old pulse", "Ω"),
    ),
    _monostable,
    "t = K·R·C with K from each data sheet",
    (
        Choice("type", "type", _TYPES, "4538"),
        Choice("instead-of", "type that it replaces", {"none": "nothing", **_TYPES}, "none"),
    ),
    _monostable_checks,
    plot=pulse_over_resistor,
)  # fmt: skip


def _astable(v: Mapping[str, Num], _: Mapping[str, str]) -> dict[str, Num]:
    ln2 = float(np.log(2.0))
    high = ln2 * (v["upper_ohm"] + v["lower_ohm"]) * v["capacitance_f"]
    low = ln2 * v["lower_ohm"] * v["capacitance_f"]
    return {
        "frequency_hz": 1.0 / (ln2 * v["capacitance_f"] * (v["upper_ohm"] + 2.0 * v["lower_ohm"])),
        "high_s": high,
        "low_s": low,
        "duty": 1.0 / (1.0 + v["lower_ohm"] / (v["upper_ohm"] + v["lower_ohm"])),
        "monostable_s": float(np.log(3.0)) * v["upper_ohm"] * v["capacitance_f"],
    }


TIMER_555 = Figure(
    "timer-555",
    "555 as oscillator or monostable",
    "Frequency and duty of a 555 with two resistors, or its pulse with the upper one alone.",
    (
        Input("upper", "upper_ohm", "resistor to the supply", "Ω", "10 kΩ 5%", above=0),
        Input("lower", "lower_ohm", "resistor to the capacitor", "Ω", "100 kΩ 5%", above=0),
        Input("capacitance", "capacitance_f", "capacitor", "F", "100 nF 10%", above=0),
    ),
    (
        Output("frequency_hz", "frequency", "Hz"), Output("high_s", "high", "s"), Output("low_s", "low", "s"),
        Output("duty", "share of time high", ""), Output("monostable_s", "pulse as monostable, upper resistor", "s"),
    ),
    _astable,
    "thresholds of 1/3 and 2/3 of the supply: high ln 2·(Ra + Rb)·C, low ln 2·Rb·C; monostable ln 3·R·C",
    plot=astable_wave,
)  # fmt: skip
