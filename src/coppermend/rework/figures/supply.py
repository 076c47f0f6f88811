"""Figures of a linear supply: ripple, capacitor, regulator headroom and heat. Time steps: ``rectifier``."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from coppermend.board.cautions import PRACTICE
from coppermend.quantity import format_quantity
from coppermend.rework.figures.figure import Answer, Figure, Input, Output
from coppermend.rework.figures.interval import Interval, Num
from coppermend.rework.figures.plot import Plot, line_of
from coppermend.rework.figures.rectifier import Rectified, simulate_rectifier
from coppermend.rework.records import Check

_ITERATIONS = 6  # the error squares itself each time; the last change is below rounding
_REGULATOR = "MC7805A data sheet: 2.0 V typical drop-out at 1 A, 25 °C"


def ripple_bound_v(load_a: Num, mains_hz: Num, capacitance_f: Num) -> Num:
    """Upper bound of full-wave ripple: the load discharges the capacitor for a whole half cycle.

    Args:
        load_a: Load current [A].
        mains_hz: Mains frequency [Hz].
        capacitance_f: Capacitor [F].

    Returns:
        Peak to peak [V].

    Source: ΔV = I/(2·f·C). It over-states ripple by a quarter or more; show it as a bound.

    >>> round(ripple_bound_v(1.0, 60.0, 4700e-6), 4)
    1.773
    """
    return load_a / (2.0 * mains_hz * capacitance_f)


def ripple_refined_v(load_a: Num, mains_hz: Num, capacitance_f: Num, peak_v: Num) -> Num:
    """Ripple with the time of conduction taken off the discharge.

    Args:
        load_a: Load current [A].
        mains_hz: Mains frequency [Hz].
        capacitance_f: Capacitor [F].
        peak_v: Peak of the secondary voltage [V].

    Returns:
        Peak to peak [V]; at most the peak.

    Source: ΔV = (I/C)·(1/(2f) − acos(1 − ΔV/Vp)/(2πf)). With the angle of conduction θ, ΔV = Vp·(1 − cos θ), it
    reads 1 − cos θ = k·(π − θ), k = I/(2πf·C·Vp): solved by Newton's method from above, where the difference of
    the two sides rises ever more steeply, so that no step goes too far. It rises with load and peak and falls
    with capacitance and frequency.

    >>> round(ripple_refined_v(1.0, 60.0, 4700e-6, 12.728), 3)
    1.497
    """
    arguments = (load_a, mains_hz, capacitance_f, peak_v)
    if any(isinstance(value, Interval) for value in arguments):
        load, hz, farad, peak = (v if isinstance(v, Interval) else Interval(v, v) for v in arguments)
        low = ripple_refined_v(load.low, hz.high, farad.high, peak.low)
        high = ripple_refined_v(load.high, hz.low, farad.low, peak.high)
        return Interval(float(low) * (1 - 1e-12), float(high) * (1 + 1e-12))
    k = load_a / (2 * np.pi * mains_hz * capacitance_f * peak_v)
    # 1 − cos θ is at least 4θ²/π² up to a right angle, so this start is above the root, by a ninth at most.
    angle = np.minimum((np.sqrt(k * k + 16 * k / np.pi) - k) * np.pi**2 / 8, np.pi / 2)
    for _ in range(_ITERATIONS):
        sine, cosine = np.sin(angle / 2), np.cos(angle / 2)
        slope = np.maximum(2 * sine * cosine + k, np.finfo(float).tiny)  # without load all three are 0
        angle = np.minimum(angle - (2 * sine * sine - k * (np.pi - angle)) / slope, np.pi / 2)
    ripple = np.minimum(2 * peak_v * np.sin(angle / 2) ** 2, peak_v)
    return float(ripple) if np.ndim(ripple) == 0 else ripple


def sawtooth_rms_v(ripple_v: Num) -> Num:
    """Effective value of a sawtooth [V] from its peak-to-peak value [V]: ΔV/(2√3).

    >>> round(float(sawtooth_rms_v(1.7730)), 4)
    0.5118
    """
    return ripple_v / (2.0 * np.sqrt(3.0))


def _supply(v: Mapping[str, Num], _: Mapping[str, str]) -> dict[str, Num]:
    peak = v["rms_v"] * np.sqrt(2.0)
    rectified = peak - 2.0 * v["diode_v"]
    load = v["load_a"]
    bound = ripple_bound_v(load, v["mains_hz"], v["capacitance_f"])
    trough = rectified - bound - load * v["esr_ohm"]
    return {
        "ripple_bound_v": bound,
        "ripple_refined_v": ripple_refined_v(load, v["mains_hz"], v["capacitance_f"], peak),
        "ripple_rms_v": sawtooth_rms_v(bound),
        "rectified_v": rectified,
        "trough_v": trough,
        "headroom_v": trough - v["output_v"] - v["dropout_v"],
        "regulator_w": (rectified - bound / 2.0 - v["output_v"]) * load,
        "junction_c": v["ambient_c"]
        + np.maximum(rectified - bound / 2.0 - v["output_v"], 0.0) * load * v["thermal_k_w"],
    }


def _run_at_worst(a: Answer) -> Rectified:
    """The corner that leaves the regulator least: low mains, slow, full load, weak capacitor, high resistances."""
    s = a.spreads
    return simulate_rectifier(
        s["secondary"].low, s["mains"].low, s["load"].high, s["capacitance"].low,
        source_ohm=s["source"].high, esr_ohm=s["esr"].high,
    )  # fmt: skip


def _run(a: Answer) -> Rectified:
    return simulate_rectifier(
        a.value("secondary"), a.value("mains"), a.value("load"), a.value("capacitance"),
        source_ohm=a.value("source"), esr_ohm=a.value("esr"),
    )  # fmt: skip


def _simulated(a: Answer) -> Mapping[str, tuple[str, float, str]]:
    run = _run(a)
    return {
        "ripple_v": ("ripple, simulated", run.ripple_v, "V"),
        "trough_v": ("lowest voltage, simulated", run.trough_v, "V"),
        "capacitor_rms_a": ("ripple current of the capacitor, simulated", run.capacitor_rms_a, "A"),
        "capacitor_peak_a": ("peak charging current, simulated", run.capacitor_peak_a, "A"),
    }


def _supply_checks(a: Answer) -> tuple[Check, ...]:
    headroom, rated, junction = a.out("headroom_v"), a.spreads["rated"].low, a.out("junction_c").high
    no_load = a.spreads["secondary"].high * float(np.sqrt(2.0))
    simulated = _run_at_worst(a).trough_v - a.spreads["output"].high - a.spreads["dropout"].high
    rms, allowed = a.simulated["capacitor_rms_a"][1], a.value("ripple-rating")
    return (
        Check(
            "regulator headroom at low mains", f"{headroom.low:.3f} V", "more than 0 V", headroom.low > 0, _REGULATOR,
            "I/(2fC) over-states ripple, and leaves out the transformer's resistance: see the simulated headroom.",
        ),
        Check(
            "regulator headroom at low mains, simulated", f"{simulated:.3f} V", "more than 0 V", simulated > 0,
            f"time steps with the diode equation; {_REGULATOR}",
        ),
        Check(
            "rating of the capacitor", f"{no_load:.1f} V without load", f"at most {rated:g} V", no_load <= rated,
            "peak of the highest secondary voltage, no diode drop",
        ),
        Check(
            "ripple current of the capacitor", format_quantity(rms, "A"), f"at most {format_quantity(allowed, 'A')}",
            rms <= allowed, "simulated; 1.4 to 2.3 times the load for a stiff transformer", must=False,
        ),
        Check(
            "regulator junction", f"{junction:.0f} °C", "at most 125 °C", junction <= 125,
            f"heat times thermal resistance; 125 °C: {PRACTICE}",
        ),
    )  # fmt: skip


def _supply_plot(a: Answer) -> Plot:
    run = _run(a)
    needs = a.value("output") + a.value("dropout")
    line = line_of("capacitor voltage", run.time_s * 1e3, run.output_v)
    return Plot("Ripple", "ms", "V", (line,), (("regulator needs", needs),))


SUPPLY = Figure(
    "supply",
    "rectifier, capacitor and regulator",
    "Ripple, headroom and heat of a 5 V supply from a transformer, at low and high mains.",
    (
        Input("secondary", "rms_v", "secondary voltage, effective", "V", "10 V 10%", above=0),
        Input("mains", "mains_hz", "mains frequency", "Hz", "50 Hz", above=0),
        Input("load", "load_a", "load current", "A", "1 A", above=0),
        Input("capacitance", "capacitance_f", "smoothing capacitor", "F", "4700 uF 20%", above=0),
        Input("esr", "esr_ohm", "series resistance of the capacitor", "Ω", "0.05 Ω", least=0),
        Input("source", "source_ohm", "resistance of transformer and wiring", "Ω", "0.3 Ω", least=0),
        Input("diode", "diode_v", "drop of one rectifier diode", "V", "1 V", least=0),
        Input("output", "output_v", "regulated output", "V", "5 V", above=0),
        Input("dropout", "dropout_v", "drop-out of the regulator", "V", "2 V", least=0),
        Input("rated", "rated_v", "rated voltage of the capacitor", "V", "25 V", above=0),
        Input("ripple-rating", "ripple_rating_a", "ripple-current rating of the capacitor", "A", "2 A", above=0),
        Input("ambient", "ambient_c", "air around the heat sink", "°C", "40 °C", least=-40, most=100),
        Input("thermal", "thermal_k_w", "junction to air, kelvin per watt", "", "10", above=0),
    ),
    (
        Output("ripple_bound_v", "ripple, upper bound I/(2fC)", "V"),
        Output("ripple_refined_v", "ripple, conduction counted", "V"),
        Output("ripple_rms_v", "ripple, effective", "V"), Output("rectified_v", "rectified peak", "V"),
        Output("trough_v", "lowest voltage", "V"), Output("headroom_v", "headroom of the regulator", "V"),
        Output("regulator_w", "heat in the regulator", "W"), Output("junction_c", "junction of the regulator", "°C"),
    ),
    _supply,
    f"ΔV ≤ I/(2fC); trough = peak − 2·Vf − ΔV − I·ESR; {_REGULATOR}; simulation with IS 1 nA, N 1.6, RS 20 mΩ",
    checks=_supply_checks,
    plot=_supply_plot,
    simulate=_simulated,
)  # fmt: skip
