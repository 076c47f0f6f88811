"""Figures of copper: tracks, jumper wire and fuses. What a reading on a board should be is told elsewhere."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from coppermend.board.cautions import PRACTICE
from coppermend.quantity import format_quantity
from coppermend.rework.figures.curves import drop_over_length
from coppermend.rework.figures.figure import Answer, Choice, Figure, Input, Output
from coppermend.rework.figures.interval import Interval, Num, monotone
from coppermend.rework.figures.plot import Plot, line_of
from coppermend.rework.records import Check

RESISTIVITY_OHM_M = 1.7241e-8  # annealed copper at 20 °C, IACS 100 % (IEC 60028)
_ALPHA_K = 0.00393  # per kelvin at 20 °C (NBS Handbook 100, as quoted by public trace calculators)
_MM2_PER_MIL2 = 6.4516e-4
# k, exponent of the rise, exponent of the area in mil²: two sets circulate, so each is named.
TRACK_SETS: Mapping[str, tuple[float, float, float, str]] = {
    "outer": (0.048, 0.44, 0.725, "IPC-2221 fit, outer layer: 0.048/0.44/0.725"),
    "inner": (0.024, 0.44, 0.725, "IPC-2221 fit, inner layer: 0.024/0.44/0.725"),
    "outer-2": (0.0647, 0.4281, 0.6732, "other constants in use, outer layer: 0.0647/0.4281/0.6732"),
    "inner-2": (0.0150, 0.5453, 0.7349, "other constants in use, inner layer: 0.0150/0.5453/0.7349"),
}


def copper_ohm(length_m: Num, area_m2: Num, temperature_c: Num = 20.0) -> Num:
    """Resistance of copper.

    Args:
        length_m: Length [m].
        area_m2: Cross-section [m²], greater than zero.
        temperature_c: Temperature [°C].

    Returns:
        Resistance [Ω].

    Source: R = ρL/A·(1 + α(T − 20)), IEC 60028 copper.

    >>> round(copper_ohm(0.1, 0.5e-3 * 35e-6) * 1e3, 2)
    98.52
    """
    return RESISTIVITY_OHM_M * length_m / area_m2 * (1.0 + _ALPHA_K * (temperature_c - 20.0))


def track_current_a(area_mm2: Num, rise_k: Num, constants: str = "outer") -> Num:
    """Current that warms a track by ``rise_k``.

    Args:
        area_mm2: Cross-section [mm²].
        rise_k: Temperature rise [K].
        constants: Name in ``TRACK_SETS``.

    Returns:
        Current [A].

    Source: I = k·ΔT^b·A^c with A in square mils; IPC-2221.

    >>> round(float(track_current_a(10 * 1.378 * 6.4516e-4, 10.0)), 4)
    0.8855
    """
    k, b, c, _ = TRACK_SETS[constants]
    return k * np.power(rise_k, b) * np.power(area_mm2 / _MM2_PER_MIL2, c)


def track_area_mm2(current_a: Num, rise_k: Num, constants: str = "outer") -> Num:
    """Cross-section [mm²] that a current [A] warms by ``rise_k`` [K]; the inverse of ``track_current_a``.

    >>> round(float(track_area_mm2(1.0, 10.0)) / 6.4516e-4, 2)
    16.3
    """
    k, b, c, _ = TRACK_SETS[constants]
    return np.power(current_a / (k * np.power(rise_k, b)), 1.0 / c) * _MM2_PER_MIL2


def awg_mm(gauge: Num) -> Num:
    """Diameter of a wire gauge [mm]: 0.127·92^((36 − n)/39), ASTM B258 (from memory); falls with the number.

    >>> round(float(awg_mm(30)), 4)
    0.2546
    """
    if isinstance(gauge, Interval):
        return monotone(awg_mm)(gauge)
    return 0.127 * np.power(92.0, (36.0 - gauge) / 39.0)


def _track(v: Mapping[str, Num], c: Mapping[str, str]) -> dict[str, Num]:
    area_mm2 = v["width_m"] * v["thickness_m"] * 1e6
    ohm = copper_ohm(v["length_m"], v["width_m"] * v["thickness_m"], v["temperature_c"])
    least = track_area_mm2(v["current_a"], v["rise_k"], c["constants"])
    return {
        "resistance_ohm": ohm,
        "drop_v": ohm * v["current_a"],
        "allowed_a": track_current_a(area_mm2, v["rise_k"], c["constants"]),
        "least_width_m": least * 1e-6 / v["thickness_m"],
        "heat_w": ohm * v["current_a"] * v["current_a"],
    }


def _track_checks(a: Answer) -> tuple[Check, ...]:
    allowed, current = a.out("allowed_a").low, a.spreads["current"].high
    source = TRACK_SETS[a.choices["constants"]][3]
    return (
        Check(
            f"current for {a.value('rise'):g} K of warming", format_quantity(current, "A"),
            f"at most {format_quantity(allowed, 'A')}", current <= allowed, source,
            "The two sets of constants in use differ by 14 to 18 % for a narrow track.",
        ),
    )  # fmt: skip


def _track_plot(a: Answer) -> Plot:
    width = np.linspace(0.1e-3, max(3e-3, 2 * a.value("width")), 150)
    area = width * a.value("thickness") * 1e6
    lines = tuple(
        line_of(
            name,
            width * 1e3,
            track_current_a(area, a.value("rise"), name),
            "" if name == "outer" else "dashed",
        )
        for name in ("outer", "inner", "outer-2")
    )
    return Plot("Current of a track", "mm wide", "A", lines, (("wanted", a.value("current")),))


_TEMPERATURE = Input(
    "temperature", "temperature_c", "temperature of the copper", "°C", "20 °C", least=-40, most=150
)
_CURRENT = Input("current", "current_a", "current", "A", "1 A", above=0)
TRACK = Figure(
    "track",
    "resistance and current of a track",
    "What a track reads from end to end, and what current it carries.",
    (
        Input("length", "length_m", "length", "m", "100 mm", above=0),
        Input("width", "width_m", "width", "m", "0.5 mm 10%", above=0),
        Input("thickness", "thickness_m", "thickness of the copper", "m", "35 um 10%", above=0),
        _CURRENT,
        Input("rise", "rise_k", "warming allowed", "K", "10 K", above=0),
        _TEMPERATURE,
    ),
    (
        Output("resistance_ohm", "resistance", "Ω"), Output("drop_v", "voltage drop", "V"),
        Output("allowed_a", "current for that warming", "A"), Output("least_width_m", "least width for the current", "m"),
        Output("heat_w", "heat", "W"),
    ),
    _track,
    "R = ρL/A·(1 + α(T − 20)), IEC 60028; I = k·ΔT^b·A^c, constants named",
    (Choice("constants", "constants", {n: s[3] for n, s in TRACK_SETS.items()}, "outer"),),
    _track_checks,
    plot=_track_plot,
)  # fmt: skip


def _wire(v: Mapping[str, Num], _: Mapping[str, str]) -> dict[str, Num]:
    diameter = awg_mm(v["gauge"])
    area = diameter * diameter * float(np.pi / 4)
    ohm = copper_ohm(v["length_m"], area * 1e-6, v["temperature_c"])
    return {
        "diameter_m": diameter * 1e-3,
        "area_mm2": area,
        "resistance_ohm": ohm,
        "ohm_per_m": copper_ohm(1.0, area * 1e-6, v["temperature_c"]),
        "drop_v": ohm * v["current_a"],
        "fuse_a": v["current_a"] / 0.75,
    }


def _wire_checks(a: Answer) -> tuple[Check, ...]:
    density = a.spreads["current"].high / a.out("area_mm2").low
    return (
        Check(
            "current density",
            f"{density:.1f} A/mm²",
            "at most 5 A/mm²",
            density <= 5.0,
            f"single wire in air: {PRACTICE}",
        ),
    )


WIRE = Figure(
    "wire",
    "jumper wire and its fuse",
    "Diameter and resistance of a wire gauge, its drop, and a fuse for the current.",
    (
        Input("gauge", "gauge", "AWG number", "", "30", least=0, most=50),
        Input("length", "length_m", "length", "m", "0.3 m", above=0),
        Input("current", "current_a", "current", "A", "0.1 A", above=0),
        _TEMPERATURE,
    ),
    (
        Output("diameter_m", "diameter", "m"), Output("area_mm2", "cross-section, mm²", ""),
        Output("resistance_ohm", "resistance", "Ω"), Output("ohm_per_m", "resistance of one metre", "Ω"),
        Output("drop_v", "voltage drop", "V"), Output("fuse_a", "least fuse rating, run at 75 %", "A"),
    ),
    _wire,
    f"ASTM B258 (from memory); IEC 60028 copper; a fuse runs at 75 % of its rating: {PRACTICE}",
    checks=_wire_checks,
    plot=drop_over_length,
)  # fmt: skip
