"""Plots of the small figures: each takes an answer and draws the curve that its result is read from. No formula of its own."""

from __future__ import annotations

import numpy as np

from coppermend.rework.figures.figure import Answer
from coppermend.rework.figures.plot import Plot, line_of

_POINTS = 200


def _around(value: float, low: float = 0.25, high: float = 4.0) -> np.ndarray:
    """Values from a quarter of ``value`` to four times it, evenly spaced by ratio."""
    return np.geomspace(value * low, value * high, _POINTS)


def pack_charge(a: Answer) -> Plot:
    """Charge left in a pack over the days."""
    hold = a.out("hold_up_s")
    days = np.linspace(0.0, min(hold.nominal, 3650 * 86_400.0) / 86_400, _POINTS)
    full = a.value("capacity") * 1e3
    lines = tuple(
        line_of(name, days, np.maximum(full * (1 - days * 86_400 / seconds), 0.0), style)
        for name, seconds, style in (("nominal", hold.nominal, ""), ("worst", hold.low, "dashed"))
    )
    return Plot("Charge left", "days without supply", "mAh", lines)


def pulse_over_resistor(a: Answer) -> Plot:
    """Pulse of a monostable over its resistor, beside the part that it replaces."""
    ohms = _around(a.value("resistance"))
    per_ohm = a.out("pulse_s").nominal / a.value("resistance")
    old = a.out("old_pulse_s").nominal / a.value("resistance")
    lines = [line_of(a.choices["type"], ohms / 1e3, ohms * per_ohm * 1e3)]
    if a.choices["instead-of"] != "none":
        lines.append(line_of(a.choices["instead-of"], ohms / 1e3, ohms * old * 1e3, "dashed"))
    return Plot("Pulse", "kΩ", "ms", tuple(lines), (("now", a.out("pulse_s").nominal * 1e3),))


def astable_wave(a: Answer) -> Plot:
    """Output and capacitor of a 555 oscillator, as shares of the supply."""
    high, low = a.out("high_s").nominal, a.out("low_s").nominal
    period = high + low
    time = np.linspace(0.0, 3 * period, 3 * _POINTS)
    at = np.mod(time, period)
    up = at < high
    ln2 = np.log(2.0)
    volts = np.where(up, 1 - 2 / 3 * np.exp(-at * ln2 / high), 2 / 3 * np.exp(-(at - high) * ln2 / low))
    output = line_of("output", time * 1e3, np.where(up, 1.0, 0.0))
    capacitor = line_of("capacitor", time * 1e3, volts, "dashed")
    return Plot("Oscillator", "ms", "of the supply", (output, capacitor), (("one third", 1 / 3), ("two thirds", 2 / 3)))  # fmt: skip


def level_bands(a: Answer) -> Plot:
    """What an output guarantees, high and then low, against what the input asks for."""
    high, low = a.out("high_margin_v").nominal, a.out("low_margin_v").nominal
    vih, vil = a.out("needs_high_v").nominal, a.out("needs_low_v").nominal
    line = line_of("output, worst case", [0.0, 1.0, 1.0, 2.0], [vih + high, vih + high, vil - low, vil - low])
    return Plot("Levels", "high, then low", "V", (line,), (("input needs for low", vil), ("input needs for high", vih)))  # fmt: skip


def overdrive_over_base(a: Answer) -> Plot:
    """How hard a transistor is driven over its base resistor."""
    ohms = _around(a.value("base"))
    drive = a.out("overdrive").nominal * a.value("base") / ohms
    worst = a.out("overdrive").low * a.value("base") / ohms
    lines = (line_of("nominal", ohms, drive), line_of("worst", ohms, worst, "dashed"))
    return Plot("Drive", "Ω at the base", "times the least base current", lines, (("saturated", 3.0),))


def coil_decay(a: Answer) -> Plot:
    """Current of a coil after switching off."""
    ohms, henry, amps = a.value("coil"), a.value("inductance"), a.out("coil_a").nominal
    clamp = a.out("transistor_v").nominal - a.value("rail")
    time = np.linspace(0.0, 1.3 * a.out("decay_s").nominal, _POINTS)
    current = np.maximum((amps + clamp / ohms) * np.exp(-time * ohms / henry) - clamp / ohms, 0.0)
    return Plot("Coil after switch-off", "ms", "A", (line_of("coil current", time * 1e3, current),))


def current_over_series(a: Answer) -> Plot:
    """Current of an LED over its resistor."""
    ohms = _around(a.value("series"))
    over = a.out("current_a").nominal * a.value("series")
    line = line_of("current", ohms, over / ohms * 1e3)
    return Plot("Current", "Ω in series", "mA", (line,), (("wanted", a.value("wanted") * 1e3), ("most", a.value("most") * 1e3)))  # fmt: skip


def output_over_load(a: Answer) -> Plot:
    """Output of a divider over the current that is drawn from it."""
    open_v, source = a.out("unloaded_v").nominal, a.out("source_ohm").nominal
    amps = np.linspace(0.0, open_v / source, _POINTS)
    line = line_of("output", amps * 1e3, open_v - amps * source)
    return Plot("Divider under load", "mA drawn", "V", (line,), (("now", a.out("output_v").nominal),))


def pulling_over_load(a: Answer) -> Plot:
    """How far a load pulls a crystal."""
    farads = _around(a.out("load_f").nominal, 0.4, 2.5)
    shunt, motional, rated = a.value("shunt"), a.value("motional"), a.value("rated")
    ppm = motional / 2 * (1 / (shunt + farads) - 1 / (shunt + rated)) * 1e6
    line = line_of("pulling", farads * 1e12, ppm)
    return Plot("Pulling", "pF of load", "ppm", (line,), (("now", a.out("pulling_ppm").nominal),))


def drop_over_length(a: Answer) -> Plot:
    """Voltage drop of a wire over its length."""
    metres = np.linspace(0.0, 2 * a.value("length"), _POINTS)
    per_m = a.out("drop_v").nominal / a.value("length")
    line = line_of(f"AWG {a.value('gauge'):g}", metres * 1e3, metres * per_m * 1e3)
    return Plot("Drop along the wire", "mm", "mV", (line,), (("now", a.out("drop_v").nominal * 1e3),))
