"""Hold-up and charging against published figures and an integration of the differential equation."""

from __future__ import annotations

import math

import numpy as np
import pytest

from coppermend.rework.figures.retention import (
    SCHOTTKY,
    capacitance_for_f,
    charge_time_s,
    hold_up_s,
    retention_class,
)

# C [F], start and end [V], load [A], leak [Ω], time [s]. Closed form of C·dV/dt = −I − V/R; the row with
# 0.1 F, 2 µA and 1 MΩ was also run in ngspice 39.3 (51 581.3 s).
TABLE = [
    (0.1, 4.7, 2.0, 2e-6, math.inf, 135_000),
    (0.1, 4.7, 2.0, 10e-6, math.inf, 27_000),
    (0.47, 4.7, 2.0, 10e-6, math.inf, 126_900),
    (1.0, 4.7, 2.0, 20e-6, math.inf, 135_000),
    (1.0, 4.65, 2.0, 50e-6, math.inf, 53_000),
    (0.1, 4.7, 2.0, 0.0, 1e6, 85_441.5),
    (1.0, 4.7, 2.0, 0.0, 1e6, 854_415),
    (0.1, 4.7, 2.0, 2e-6, 1e6, 51_581.3),
    (0.1, 4.7, 2.0, 10e-6, 1e6, 20_294.1),
    (0.47, 4.7, 2.0, 10e-6, 470e3, 74_797.2),
    (1.0, 4.7, 2.0, 20e-6, 1e6, 115_761),
    (0.08, 4.43, 2.0, 12e-6, math.inf, 16_200),
]


@pytest.mark.parametrize(("farads", "start", "end", "load", "leak", "seconds"), TABLE)
def test_hold_up_matches_the_reference_table(farads, start, end, load, leak, seconds):
    """Every row of the retention table is met to its printed digits."""
    assert hold_up_s(farads, start, end, load, leak) == pytest.approx(seconds, rel=1e-5)


def test_worked_example_of_a_capacitor_maker():
    """A maker's technical guide computes 0.2 F, 2.5 to 1.8 V, 10 µA load and 0.2 µA leakage to 13 725 s."""
    assert hold_up_s(0.2, 2.5, 1.8, 10.2e-6) == pytest.approx(13_725.49, abs=0.005)


def test_hold_up_agrees_with_stepping_the_circuit():
    """Integrating the discharge step by step gives the closed form within 0.01 %."""
    volts = np.linspace(4.7, 2.0, 200_001)
    middle = (volts[1:] + volts[:-1]) / 2
    stepped = float(np.sum(0.1 * -np.diff(volts) / (2e-6 + middle / 1e6)))

    assert hold_up_s(0.1, 4.7, 2.0, 2e-6, 1e6) == pytest.approx(stepped, rel=1e-4)


def test_a_huge_leak_resistance_tends_to_the_constant_current_form():
    """No digits are lost when the leak is negligible."""
    assert hold_up_s(0.1, 4.7, 2.0, 2e-6, 1e15) == pytest.approx(135_000, rel=1e-6)


def test_nothing_drawn_holds_for_ever():
    """Without load and leak the voltage stays."""
    assert hold_up_s(0.1, 4.7, 2.0, 0.0) == math.inf


def test_a_start_below_the_end_holds_not_at_all():
    """A supply that is already too low holds for no time."""
    assert hold_up_s(0.1, 1.9, 2.0, 1e-6) == 0.0


@pytest.mark.parametrize(
    "bad", [(0, 5, 2, 1e-6, 1e6), (1, 5, 0, 1e-6, 1e6), (1, 5, 2, -1, 1e6), (1, 5, 2, 0, 0)]
)
def test_values_that_cannot_be_are_refused(bad):
    """Negative or missing values name themselves."""
    with pytest.raises(ValueError, match="hold-up needs positive values"):
        hold_up_s(*bad)


def test_thirty_days_need_almost_three_farads():
    """30 days at 3 µA over 2.7 V: 2.88 F, by C = I·t/ΔV."""
    assert capacitance_for_f(30 * 86_400, 4.7, 2.0, 3e-6) == pytest.approx(2.88)


def test_no_capacitance_makes_up_for_a_low_start():
    """A start below the end is refused."""
    with pytest.raises(ValueError, match="nothing to discharge"):
        capacitance_for_f(60, 2.0, 2.0, 1e-6)


def test_charging_to_99_per_cent_takes_4_6_time_constants():
    """100 Ω and 75 Ω of the capacitor, 0.1 F: 80.59 s."""
    assert charge_time_s(175, 0.1) == pytest.approx(80.59, abs=0.005)
    assert charge_time_s(175, 0.1) / 17.5 == pytest.approx(math.log(100))


@pytest.mark.parametrize("share", [1.0, -0.1])
def test_a_capacitor_never_charges_beyond_its_supply(share):
    """A share outside 0 up to 1 is refused."""
    with pytest.raises(ValueError, match="share of 0 up to 1"):
        charge_time_s(100, 1, share)


@pytest.mark.parametrize(
    ("name", "volts", "worst_a"),
    [
        ("5101L", 2.0, 10e-6),
        ("5101L-3", 2.0, 10e-6),
        ("5101", 2.0, 200e-6),
        ("6116LP-3", 2.0, 20e-6),
        ("HM6116-3", 2.0, 300e-6),
        ("6264ALP", 2.0, 75e-6),
        ("6264", 2.0, 250e-6),
        ("62256", 2.0, 100e-6),
        ("2114", None, 70e-3),
        ("something", 2.0, 300e-6),
    ],
)
def test_retention_class_is_keyed_on_the_suffix(name, volts, worst_a):
    """Figures of the NTE65101, HM-65162, HM-65642 and NTE2114 data sheets; a low-power suffix is another grade."""
    found = retention_class(name)

    assert (found.hold_v, found.worst_a) == (volts, worst_a)
    assert found.source


def test_schottky_drop_and_leakage_are_those_of_the_data_sheet():
    """BAT85 data sheet: 0.32 V at 1 mA, 2 µA at 25 °C."""
    assert (SCHOTTKY.drop_v, SCHOTTKY.leak_a) == (0.32, 2e-6)
