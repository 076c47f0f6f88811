"""Figures of drivers and small parts: transistor, flyback diode, LED, divider, crystal load."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from coppermend.board.cautions import PRACTICE
from coppermend.errors import InputError
from coppermend.quantity import format_quantity
from coppermend.rework.codes.series import nearest
from coppermend.rework.figures.curves import (
    coil_decay,
    current_over_series,
    output_over_load,
    overdrive_over_base,
    pulling_over_load,
)
from coppermend.rework.figures.figure import Answer, Choice, Figure, Input, Output
from coppermend.rework.figures.interval import Num
from coppermend.rework.figures.plot import Plot, line_of
from coppermend.rework.figures.spread import Spread
from coppermend.rework.records import Check

_OVERDRIVE = 3.0  # base current over the least that the gain asks for: common practice, no source


def _transistor(v: Mapping[str, Num], _: Mapping[str, str]) -> dict[str, Num]:
    base = np.maximum(v["drive_v"] - v["vbe_v"], 0.0) / v["base_ohm"]
    needed = v["collector_a"] / v["gain"]
    heat = v["collector_a"] * v["saturated_v"] + base * v["vbe_v"]
    return {
        "base_a": base,
        "needed_a": needed,
        "overdrive": base / needed,
        "most_base_ohm": np.maximum(v["drive_v"] - v["vbe_v"], 0.0) / (_OVERDRIVE * needed),
        "heat_w": heat,
        "junction_c": v["ambient_c"] + heat * v["thermal_k_w"],
    }


def _transistor_checks(a: Answer) -> tuple[Check, ...]:
    drive, junction, base = a.out("overdrive").low, a.out("junction_c").high, a.out("base_a").high
    return (
        Check("saturation", f"{drive:.1f} times the base current needed", f"at least {_OVERDRIVE:g}", drive >= _OVERDRIVE, PRACTICE),
        Check("junction", f"{junction:.0f} °C", "at most 125 °C", junction <= 125, f"125 °C: {PRACTICE}"),
        Check(
            "current from the driving output", format_quantity(base, "A"), f"at most {format_quantity(a.value('source'), 'A')}",
            base <= a.value("source"), "as given for the driving output",
        ),
    )  # fmt: skip


TRANSISTOR = Figure(
    "transistor",
    "transistor as a switch",
    "Whether a driver transistor saturates, and how warm it gets.",
    (
        Input("collector", "collector_a", "collector current", "A", "50 mA", above=0),
        Input("gain", "gain", "current gain at that current", "", "100 (60..200)", above=0),
        Input("drive", "drive_v", "high level of the driving output", "V", "2.7 V (2.4..5)", above=0),
        Input("vbe", "vbe_v", "base-emitter voltage (Darlington 1.4 V and more)", "V", "0.8 V (0.65..0.95)", above=0),
        Input("base", "base_ohm", "base resistor", "Ω", "330 Ω 5%", above=0),
        Input("saturated", "saturated_v", "collector-emitter voltage when on (Darlington 1 V and more)", "V", "0.3 V", least=0),
        Input("source", "source_a", "what the driving output can source", "A", "20 mA", above=0),
        Input("ambient", "ambient_c", "air around it", "°C", "40 °C", least=-40, most=125),
        Input("thermal", "thermal_k_w", "junction to air, kelvin per watt", "", "200", above=0),
    ),
    (
        Output("base_a", "base current", "A"), Output("needed_a", "base current that the gain asks for", "A"),
        Output("overdrive", "base current over needed", ""), Output("most_base_ohm", "greatest base resistor", "Ω"),
        Output("heat_w", "heat when on", "W"), Output("junction_c", "junction", "°C"),
    ),
    _transistor,
    f"IB = (VOH − VBE)/RB; IB,min = IC/hFE; three times that for saturation: {PRACTICE}",
    checks=_transistor_checks,
    plot=overdrive_over_base,
)  # fmt: skip


def _flyback(v: Mapping[str, Num], c: Mapping[str, str]) -> dict[str, Num]:
    current = v["rail_v"] / v["coil_ohm"]
    clamp = v["diode_v"] + (v["zener_v"] if c["clamp"] == "zener" else 0.0)
    return {
        "coil_a": current,
        "transistor_v": v["rail_v"] + clamp,
        "decay_s": v["coil_h"] / v["coil_ohm"] * np.log1p(current * v["coil_ohm"] / clamp),
        "energy_j": 0.5 * v["coil_h"] * current * current,
        "diode_w": 0.5 * v["coil_h"] * current * current * v["rate_hz"],
    }


def _flyback_checks(a: Answer) -> tuple[Check, ...]:
    volts, amps, current = a.out("transistor_v").high, a.value("diode-rating"), a.out("coil_a").high
    fitted = a.choices["clamp"] != "none"
    return (
        Check(
            "a diode across the coil", "fitted" if fitted else "none", "fitted", fitted, PRACTICE,
            "" if fitted else "Without it the coil's current breaks the transistor down at every switch-off.",
        ),
        Check(
            "voltage at the transistor", f"{volts:.1f} V", f"at most {a.value('transistor'):g} V",
            fitted and volts <= a.value("transistor"), "rail plus clamp",
        ),
        Check(
            "diode current", format_quantity(current, "A"), f"at most {format_quantity(amps, 'A')}", current <= amps,
            "the diode takes over the whole coil current",
        ),
    )  # fmt: skip


FLYBACK = Figure(
    "flyback",
    "flyback diode of a coil",
    "What a diode across a solenoid or relay has to take, and how long the coil holds on.",
    (
        Input("rail", "rail_v", "supply of the coil", "V", "32 V 10%", above=0),
        Input("coil", "coil_ohm", "resistance of the coil", "Ω", "20 Ω 10%", above=0),
        Input("inductance", "coil_h", "inductance of the coil", "H", "20 mH (5mH..60mH)", above=0),
        Input("diode", "diode_v", "drop of the diode", "V", "0.8 V", above=0),
        Input("zener", "zener_v", "zener in series, when the clamp is a zener", "V", "24 V 5%", above=0),
        Input("transistor", "transistor_v", "voltage rating of the transistor", "V", "100 V", above=0),
        Input("diode-rating", "diode_rating_a", "current rating of the diode", "A", "3 A", above=0),
        Input("rate", "rate_hz", "operations a second", "Hz", "5 Hz", least=0),
    ),
    (
        Output("coil_a", "coil current", "A"), Output("transistor_v", "voltage at the transistor", "V"),
        Output("decay_s", "time until the coil lets go", "s"), Output("energy_j", "energy in the coil", "J"),
        Output("diode_w", "heat in the clamp", "W"),
    ),
    _flyback,
    "I = V/R; E = ½LI²; decay (L/R)·ln(1 + IR/Vclamp) from L·dI/dt = −IR − Vclamp",
    (Choice("clamp", "clamp", {"diode": "diode", "zener": "diode and zener", "none": "nothing fitted"}, "diode"),),
    _flyback_checks,
    plot=coil_decay,
)  # fmt: skip


def _led(v: Mapping[str, Num], _: Mapping[str, str]) -> dict[str, Num]:
    over = v["supply_v"] - v["led_v"] - v["switch_v"]
    current = over / v["series_ohm"]
    return {
        "current_a": current,
        "ideal_ohm": over / v["wanted_a"],
        "resistor_w": current * current * v["series_ohm"],
        "led_w": current * v["led_v"],
    }


def _led_checks(a: Answer) -> tuple[Check, ...]:
    current, heat = a.out("current_a").high, a.out("resistor_w").high
    near = ", ".join(format_quantity(r, "Ω") for r in nearest(a.out("ideal_ohm").nominal, "E24"))
    return (
        Check(
            "greatest current", format_quantity(current, "A"), f"at most {format_quantity(a.value('most'), 'A')}",
            current <= a.value("most"), "as given for the lamp", f"E24 beside the ideal value: {near}",
        ),
        Check(
            "heat in the resistor", f"{heat:.3f} W", f"at most {a.value('rated') / 2:g} W", heat <= a.value("rated") / 2,
            f"half of the rating: {PRACTICE}",
        ),
    )  # fmt: skip


def _led_lit(spreads: Mapping[str, Spread], _: Mapping[str, str]) -> None:
    dropped = spreads["led"].high + spreads["switch"].high
    if dropped >= spreads["supply"].low:
        raise InputError(
            f"LED and switch drop up to {dropped:g} V of {spreads['supply'].low:g} V",
            expected="a higher supply",
        )


LED = Figure(
    "led",
    "series resistor of an LED or lamp",
    "The resistor for a wanted current, and what the one that is fitted gives.",
    (
        Input("supply", "supply_v", "supply", "V", "5 V 5%", above=0),
        Input("led", "led_v", "forward voltage, or voltage of the lamp", "V", "2 V (1.8..2.2)", least=0),
        Input("switch", "switch_v", "drop of the switching output", "V", "0.4 V (0.1..0.5)", least=0),
        Input("wanted", "wanted_a", "wanted current", "A", "10 mA", above=0),
        Input("series", "series_ohm", "resistor fitted", "Ω", "270 Ω 5%", above=0),
        Input("most", "most_a", "greatest current allowed", "A", "20 mA", above=0),
        Input("rated", "rated_w", "rating of the resistor", "W", "0.25 W", above=0),
    ),
    (
        Output("current_a", "current", "A"), Output("ideal_ohm", "resistor for the wanted current", "Ω"),
        Output("resistor_w", "heat in the resistor", "W"), Output("led_w", "power in the LED", "W"),
    ),
    _led,
    "R = (V − VF − Vsw)/I",
    checks=_led_checks,
    refuse=_led_lit,
    plot=current_over_series,
)  # fmt: skip


def _divider(v: Mapping[str, Num], _: Mapping[str, str]) -> dict[str, Num]:
    loaded = 1.0 / (1.0 / v["lower_ohm"] + 1.0 / v["load_ohm"])
    return {
        "output_v": v["input_v"] / (1.0 + v["upper_ohm"] / loaded),
        "unloaded_v": v["input_v"] / (1.0 + v["upper_ohm"] / v["lower_ohm"]),
        "source_ohm": 1.0 / (1.0 / v["upper_ohm"] + 1.0 / v["lower_ohm"]),
        "current_a": v["input_v"] / (v["upper_ohm"] + v["lower_ohm"]),
    }


DIVIDER = Figure(
    "divider",
    "voltage divider",
    "The voltage between two resistors, with and without a load.",
    (
        Input("input", "input_v", "voltage across both", "V", "12 V 5%", above=0),
        Input("upper", "upper_ohm", "upper resistor", "Ω", "10 kΩ 5%", above=0),
        Input("lower", "lower_ohm", "lower resistor", "Ω", "4.7 kΩ 5%", above=0),
        Input("load", "load_ohm", "load across the lower one, or none", "Ω", "none", above=0, absent_ok=True),
    ),
    (
        Output("output_v", "output", "V"), Output("unloaded_v", "output without load", "V"),
        Output("source_ohm", "source resistance", "Ω"), Output("current_a", "current through both", "A"),
    ),
    _divider,
    "V·R2/(R1 + R2) with the load across R2; source resistance R1 ∥ R2",
    plot=output_over_load,
)  # fmt: skip


def _crystal(v: Mapping[str, Num], _: Mapping[str, str]) -> dict[str, Num]:
    load = 1.0 / (1.0 / v["first_f"] + 1.0 / v["second_f"]) + v["stray_f"]
    pulled = v["motional_f"] / 2.0 * (1.0 / (v["shunt_f"] + load) - 1.0 / (v["shunt_f"] + v["rated_f"]))
    return {
        "load_f": load,
        "pulling_ppm": pulled * 1e6,
        "each_f": 2.0 * (v["rated_f"] - v["stray_f"]),
        "frequency_hz": v["crystal_hz"] * (1.0 + pulled),
    }


def _crystal_checks(a: Answer) -> tuple[Check, ...]:
    worst = max(abs(a.out("pulling_ppm").low), abs(a.out("pulling_ppm").high))
    return (
        Check(
            "pulling",
            f"{worst:.0f} ppm",
            "at most 100 ppm",
            worst <= 100,
            f"a CPU clock: {PRACTICE}",
            must=False,
        ),
    )


CRYSTAL = Figure(
    "crystal",
    "load of a crystal",
    "The capacitance that a crystal sees, and how far that pulls it.",
    (
        Input("first", "first_f", "capacitor at one pin", "F", "22 pF 5%", above=0),
        Input("second", "second_f", "capacitor at the other", "F", "22 pF 5%", above=0),
        Input("stray", "stray_f", "stray capacitance", "F", "5 pF (3pF..7pF)", least=0),
        Input("rated", "rated_f", "load that the crystal is cut for", "F", "18 pF", above=0),
        Input("crystal", "crystal_hz", "frequency", "Hz", "4 MHz", above=0),
        Input("motional", "motional_f", "motional capacitance", "F", "15 fF", above=0),
        Input("shunt", "shunt_f", "shunt capacitance", "F", "5 pF", least=0),
    ),
    (
        Output("load_f", "load", "F"), Output("pulling_ppm", "pulling, ppm", ""),
        Output("each_f", "equal capacitors for the rated load", "F"), Output("frequency_hz", "frequency", "Hz"),
    ),
    _crystal,
    "CL = C1·C2/(C1 + C2) + stray; Δf/f = (C1m/2)·(1/(C0 + CL) − 1/(C0 + CL,rated)): crystal equivalent circuit (from memory)",
    checks=_crystal_checks,
    plot=pulling_over_load,
)  # fmt: skip


def _discharge(v: Mapping[str, Num], _: Mapping[str, str]) -> dict[str, Num]:
    return {
        "energy_j": 0.5 * v["capacitance_f"] * v["charged_v"] * v["charged_v"],
        "bleed_s": v["bleeder_ohm"] * v["capacitance_f"] * np.log(v["charged_v"] / v["safe_v"]),
        "peak_w": v["charged_v"] * v["charged_v"] / v["bleeder_ohm"],
        "peak_a": v["charged_v"] / v["bleeder_ohm"],
    }


def _discharge_plot(a: Answer) -> Plot:
    constant = a.value("bleeder") * a.value("capacitance")
    time = np.linspace(0, max(3 * constant, 1.2 * a.out("bleed_s").nominal), 250)
    line = line_of("capacitor", time, a.value("charged") * np.exp(-time / constant))
    return Plot("Discharge", "s", "V", (line,), (("then measure", a.value("safe")),))


def _charged_above(spreads: Mapping[str, Spread], _: Mapping[str, str]) -> None:
    if spreads["charged"].low <= spreads["safe"].high:
        raise InputError("the capacitor is not charged above the safe voltage", expected="a higher voltage")


DISCHARGE = Figure(
    "discharge",
    "discharge of a charged capacitor",
    "The energy in a capacitor and how long a resistor takes to bleed it. Then measure before touching anything.",
    (
        Input("capacitance", "capacitance_f", "capacitor", "F", "100 uF 20%", above=0),
        Input("charged", "charged_v", "voltage when charged", "V", "200 V", above=0),
        Input("bleeder", "bleeder_ohm", "bleed resistor", "Ω", "100 kΩ 5%", above=0),
        Input("safe", "safe_v", "voltage to bleed to", "V", "30 V", above=0),
    ),
    (
        Output("energy_j", "energy", "J"), Output("bleed_s", "time to bleed", "s"),
        Output("peak_w", "heat in the resistor at first", "W"), Output("peak_a", "current at first", "A"),
    ),
    _discharge,
    "E = ½CV²; t = RC·ln(V0/V)",
    refuse=_charged_above,
    plot=_discharge_plot,
)  # fmt: skip
