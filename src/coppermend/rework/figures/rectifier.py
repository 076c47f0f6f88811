"""A full-wave rectifier with a smoothing capacitor, stepped through time. Closed forms: ``supply``."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

_THERMAL_V = 0.0258649  # kT/q at 27 °C, the reference temperature of SPICE programs
_HALF_CYCLES, _MEASURED, _STEPS = 16, 4, 400
_MOST_NEWTON = 60


@dataclass(frozen=True, slots=True)
class Rectified:
    """The last four half cycles of a run: time [s], output [V], current into the capacitor [A], and their measures."""

    time_s: np.ndarray
    output_v: np.ndarray
    capacitor_a: np.ndarray

    @property
    def ripple_v(self) -> float:
        """Peak to peak [V]."""
        return float(self.output_v.max() - self.output_v.min())

    @property
    def trough_v(self) -> float:
        """Lowest output [V]."""
        return float(self.output_v.min())

    @property
    def capacitor_rms_a(self) -> float:
        """Effective current in the capacitor [A]."""
        return float(np.sqrt(np.mean(self.capacitor_a**2)))

    @property
    def capacitor_peak_a(self) -> float:
        """Greatest charging current [A]."""
        return float(self.capacitor_a.max())


@lru_cache(maxsize=128)  # pages and checks ask for the same run again and again
def simulate_rectifier(
    rms_v: float,
    mains_hz: float,
    load_a: float,
    capacitance_f: float,
    *,
    source_ohm: float = 0.0,
    esr_ohm: float = 0.0,
    saturation_a: float = 1e-9,
    emission: float = 1.6,
    diode_ohm: float = 0.02,
) -> Rectified:
    """Step a bridge of four diodes, a capacitor and a constant-current load to its steady state.

    Args:
        rms_v: Secondary voltage, effective [V].
        mains_hz: Mains frequency [Hz].
        load_a: Load current [A], drawn while there is voltage.
        capacitance_f: Smoothing capacitor [F].
        source_ohm: Resistance of transformer and wiring [Ω].
        esr_ohm: Series resistance of the capacitor [Ω].
        saturation_a: Saturation current of a diode [A].
        emission: Emission coefficient of a diode.
        diode_ohm: Series resistance of a diode [Ω].

    Returns:
        The last four half cycles; the run is remembered, so change none of its arrays.

    Raises:
        ValueError: If voltage, frequency or capacitance is not positive, or a resistance or the load is negative.

    Source: Kirchhoff's laws and the diode equation, backward Euler with 400 steps a half cycle; two diodes
    conduct in series.
    """
    if min(rms_v, mains_hz, capacitance_f) <= 0 or min(load_a, source_ohm, esr_ohm, diode_ohm) < 0:
        raise ValueError("a rectifier needs positive voltage, frequency and capacitance")
    step_s = 1 / (2 * mains_hz * _STEPS)
    slope_v = 2 * emission * _THERMAL_V
    inner_ohm = step_s / capacitance_f + esr_ohm
    total_ohm = inner_ohm + source_ohm + 2 * diode_ohm
    peak_v = rms_v * math.sqrt(2)
    source = (peak_v * np.abs(np.sin(np.arange(_STEPS) * np.pi / _STEPS))).tolist()
    held_v = max(peak_v - slope_v * math.log1p(max(load_a, saturation_a) / saturation_a), 0.0)
    output, current = [], []
    for number in range(_HALF_CYCLES * _STEPS):
        drawn = load_a if held_v > 0 else 0.0
        driving = source[number % _STEPS] - held_v + drawn * inner_ohm
        charging = _diode_current(driving, total_ohm, slope_v, saturation_a) if driving > 0 else 0.0
        net = charging - drawn
        output.append(max(held_v + net * inner_ohm, 0.0))
        held_v = max(held_v + net * step_s / capacitance_f, 0.0)
        current.append(net)
    last = _MEASURED * _STEPS
    return Rectified(np.arange(last) * step_s, np.array(output[-last:]), np.array(current[-last:]))


def _diode_current(driving_v: float, ohm: float, slope_v: float, saturation_a: float) -> float:
    """Current through diodes and resistance in series, by Newton's method from above (the function is convex)."""
    drop = min(driving_v, slope_v * math.log1p(driving_v / (ohm * saturation_a)))
    for _ in range(_MOST_NEWTON):
        rising = saturation_a * math.exp(drop / slope_v)
        wrong = drop + ohm * (rising - saturation_a) - driving_v
        step = wrong / (1 + ohm * rising / slope_v)
        drop -= step
        if abs(step) < 1e-9:
            break
    return (driving_v - drop) / ohm
