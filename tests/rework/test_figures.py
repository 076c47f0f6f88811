"""Every figure beside published values, with its limits, its refusals and its document."""

from __future__ import annotations

import doctest
import importlib
import itertools
import json
import math
import pkgutil

import numpy as np
import pytest

from coppermend.errors import InputError, UnknownName
from coppermend.rework import figures
from coppermend.rework.figures.catalog import FIGURES, figure_called
from coppermend.rework.figures.hold import hold_up, hold_up_curve, warmed
from coppermend.rework.figures.interval import Interval
from coppermend.rework.figures.levels import FAMILIES, fan_out
from coppermend.rework.figures.plot import Plot, line_of, plot_svg, round_steps
from coppermend.rework.figures.ramp import rail_profile
from coppermend.rework.figures.rectifier import simulate_rectifier
from coppermend.rework.figures.retention import hold_up_s
from coppermend.rework.figures.supply import ripple_bound_v, ripple_refined_v
from coppermend.rework.figures.wire import awg_mm, copper_ohm, track_area_mm2, track_current_a


def nominal(name, given, output):
    return figure_called(name).evaluate(given).out(output).nominal


def check(name, given, start):
    return next(c for c in figure_called(name).evaluate(given).checks if c.name.startswith(start))


BARE = {
    "rail": "4.7",
    "diode": "0",
    "diode-leak": "0",
    "esr": "0",
    "ageing": "0",
    "temperature": "25",
    "series": "100",
}


@pytest.mark.parametrize(
    ("capacitance", "load", "leak", "seconds"),
    [
        ("0.1F", "2uA", "none", 135_000),
        ("0.47F", "10uA", "none", 126_900),
        ("0.1F", "2uA", "1MΩ", 51_581.3),
        ("0.47F", "10uA", "470k", 74_797.2),
        ("1F", "20uA", "1M", 115_761),
        ("0.1F", "0", "1M", 85_441.5),
    ],
)
def test_retention_meets_the_reference_table(capacitance, load, leak, seconds):
    """4.7 to 2 V: closed form of C·dV/dt = −I − V/R, one row confirmed in ngspice 39.3."""
    given = {**BARE, "capacitance": capacitance, "load": load, "leak": leak}

    assert nominal("retention", given, "hold_up_s") == pytest.approx(seconds, rel=1e-5)


def test_retention_charging_meets_the_reference():
    """100 Ω and 75 Ω, 0.1 F from 4.7 V: 26.86 mA at first, 80.59 s to 99 %."""
    answer = figure_called("retention").evaluate({**BARE, "esr": "75", "capacitance": "0.1F"})

    assert answer.out("charge_peak_a").nominal == pytest.approx(26.86e-3, rel=1e-3)
    assert answer.out("charge_99_s").nominal == pytest.approx(80.59, rel=1e-3)


def test_nothing_drawn_holds_without_limit():
    """No load, no leak: the document says null and the words say so."""
    document = figure_called("retention").evaluate({**BARE, "load": "0", "leak": "none"}).to_json()

    assert document["outputs"]["hold_up_s"]["nominal"] is None
    assert document["outputs"]["hold_up_s"]["words"] == "no limit"


def test_a_memory_brings_its_own_figures():
    """A standard-grade 5101 draws up to 200 µA; what is typed goes before."""
    figure = figure_called("retention")

    assert figure.evaluate({"memory": "5101"}).spreads["load"].high == pytest.approx(200e-6)
    assert figure.evaluate({"memory": "5101", "load": "3uA"}).spreads["load"].high == pytest.approx(3e-6)


def test_retention_says_hours_to_days_and_counts_the_schottky():
    """The two traps of a capacitor: leakage, and the diode's share of it."""
    assert "hours to days, not weeks" in check("retention", {}, "hold-up").note
    trap = check("retention", {"diode-leak": "50uA"}, "reverse leakage")
    assert not trap.ok
    assert "is a load on the keep-alive supply" in trap.note


def test_curve_and_closed_form_meet_at_the_end_voltage():
    """After the hold-up time the curve is at the end voltage, with and without a leak."""
    for leak in (1e6, math.inf):
        time = hold_up_s(0.1, 4.7, 2.0, 2e-6, leak)
        assert float(hold_up_curve(0.1, 4.7, 2e-6, leak, np.array([time]))[0]) == pytest.approx(2.0)


def test_array_form_equals_the_scalar_one():
    """Both forms of hold-up agree over a grid."""
    for load in (0.0, 1e-6, 1e-3):
        for leak in (1e4, 1e7, math.inf):
            if load or math.isfinite(leak):
                ours = float(hold_up(0.47, 4.4, 2.0, load, leak))
                assert ours == pytest.approx(hold_up_s(0.47, 4.4, 2.0, load, leak), rel=1e-9)


def test_leakage_doubles_every_ten_kelvin():
    """Common practice, no source."""
    assert float(warmed(1e-6, 45.0)) == pytest.approx(4e-6)


@pytest.mark.parametrize(("load", "years"), [("10uA", 2.510), ("2uA", 10.0)])
def test_coin_cell_life(load, years):
    """220 mAh at 10 µA is 2.510 years; 2 µA would be 12.55, capped at ten years of shelf life."""
    given = {"capacity": "220mAh", "load": load, "temperature": "25"}

    assert nominal("coin-cell", given, "life_s") / 31_557_600 == pytest.approx(years, rel=1e-3)


def test_coin_cell_resistor_of_the_designers_guide():
    """(5.25 − 2.0) V / 25 mA = 130 Ω; 1 kΩ gives 3.25 mA."""
    answer = figure_called("coin-cell").evaluate({"limit": "1k"})

    assert answer.out("least_limit_ohm").high == pytest.approx(130.0)
    assert answer.out("reverse_a").high == pytest.approx(3.25e-3)


def test_a_primary_cell_with_its_charge_path_is_refused():
    """The trap: a primary lithium cell must never see charge current."""
    found = check("coin-cell", {"charge-path": "fitted"}, "no charge path")

    assert (found.ok, found.must) == (False, True)
    assert "must never see charge current" in found.note
    assert not check("coin-cell", {"limit": "100"}, "current into the cell").ok


def test_a_pack_is_charged_gently():
    """180 Ω on 5 V gives an 800 mAh pack C/133; 10 Ω is too much."""
    assert check("battery-pack", {}, "continuous").ok
    assert not check("battery-pack", {"series": "10"}, "continuous").ok


@pytest.mark.parametrize(
    ("ohm", "farad", "threshold", "seconds"),
    [
        ("100k", "1u", "2", 51.08e-3),
        ("10k", "10u", "2.5", 69.31e-3),
        ("47k", "4.7u", "1.6", 85.19e-3),
        ("100k", "10u", "3.5", 1.204),
    ],
)
def test_rc_meets_the_reference_table(ohm, farad, threshold, seconds):
    """t = −RC·ln(1 − Vt/V) at 5 V."""
    given = {"resistance": ohm, "capacitance": f"{farad}F", "threshold": threshold, "supply": "5"}

    assert nominal("rc", given, "delay_s") == pytest.approx(seconds, rel=4e-4)


def test_a_threshold_above_the_rail_is_refused():
    """One clear error that names both voltages."""
    with pytest.raises(InputError) as caught:
        figure_called("rc").evaluate({"threshold": "6V"})

    assert caught.value.found == "threshold of up to 6 V is not below the supply of 4.75 V"


@pytest.mark.parametrize(
    ("kind", "seconds"),
    [
        ("4538", 0.1),
        ("74HC4538", 0.07),
        ("74HC123", 0.055),
        ("74HC423", 0.1),
        ("74LS123", 0.045),
        ("555", 0.10986),
    ],
)
def test_monostables_of_the_data_sheets(kind, seconds):
    """100 kΩ and 1 µF."""
    assert nominal("monostable", {"type": kind}, "pulse_s") == pytest.approx(seconds, rel=1e-4)


def test_the_hc_twin_of_a_metal_gate_monostable_times_shorter():
    """The trap: 30 % shorter, and the resistor that brings the pulse back."""
    found = check("monostable", {"type": "74HC4538", "instead-of": "4538"}, "pulse")

    assert not found.ok
    assert "30 % shorter" in found.note
    assert nominal("monostable", {"type": "74HC4538", "instead-of": "4538"}, "same_ohm") == pytest.approx(
        142_857, rel=1e-4
    )
    assert check("monostable", {"type": "74HC423", "instead-of": "4538"}, "pulse").ok


def test_555_astable_of_the_data_sheet():
    """f = 1/(ln 2·(Ra + 2Rb)·C): 10 kΩ, 100 kΩ, 100 nF give 68.70 Hz (1.44 in the sheet's rounding gives 68.6)."""
    assert nominal("timer-555", {}, "frequency_hz") == pytest.approx(1.443 / (210e3 * 100e-9), rel=1e-3)


@pytest.mark.parametrize(
    ("hz", "amps", "farads", "bound", "refined"),
    [
        (60, 1.0, 4700e-6, 1.7730, 1.497),
        (50, 1.0, 4700e-6, 2.1277, 1.767),
        (60, 2.0, 10e-3, 1.6667, 1.414),
        (60, 0.5, 2200e-6, 1.8939, 1.589),
    ],
)
def test_ripple_formulas_meet_the_reference_table(hz, amps, farads, bound, refined):
    """I/(2fC), and with the conduction time taken off, from a 9 V winding."""
    assert ripple_bound_v(amps, hz, farads) == pytest.approx(bound, rel=1e-4)
    assert ripple_refined_v(amps, hz, farads, 9 * math.sqrt(2)) == pytest.approx(refined, abs=6e-4)


def test_refined_ripple_solves_its_equation_at_any_load():
    """From no load to one that empties the capacitor, all at once: both sides of the equation agree, never over the peak."""
    amps, hz, farads, peak = np.array([0.0, 1e-9, 1e-3, 0.5, 5.0, 13.0, 400.0]), 50.0, 4700e-6, 12.0
    ripple = ripple_refined_v(amps, hz, farads, peak)
    discharge = amps / farads * (1 / (2 * hz) - np.arccos(1 - ripple / peak) / (2 * np.pi * hz))

    assert ripple[:-2] == pytest.approx(discharge[:-2], rel=1e-6)
    assert (np.diff(ripple) >= 0).all() and ripple[0] == 0.0
    assert ripple[-2:] == pytest.approx(peak) and (ripple[-2:] <= discharge[-2:]).all()


@pytest.mark.parametrize(
    ("hz", "amps", "farads", "source", "esr", "ripple", "rms"),
    [
        (60, 1.0, 4700e-6, 0.0, 0.0, 1.384, 2.186), (50, 1.0, 4700e-6, 0.0, 0.0, 1.642, 2.133),
        (60, 2.0, 10e-3, 0.0, 0.0, 1.273, 4.084), (60, 0.5, 2200e-6, 0.0, 0.0, 1.489, 1.129),
        (60, 1.0, 4700e-6, 0.3, 0.0, 1.198, 1.594), (60, 1.0, 4700e-6, 0.5, 0.0, 1.122, 1.441),
        (60, 1.0, 4700e-6, 0.3, 0.1, 1.304, 1.508),
    ],
)  # fmt: skip
def test_simulated_ripple_meets_recorded_transients(hz, amps, farads, source, esr, ripple, rms):
    """Recorded from ngspice 39.3: diodes IS 1 nA, N 1.6, RS 20 mΩ; within half a per cent."""
    found = simulate_rectifier(9.0, hz, amps, farads, source_ohm=source, esr_ohm=esr)

    assert found.ripple_v == pytest.approx(ripple, rel=0.005)
    assert found.capacitor_rms_a == pytest.approx(rms, rel=0.01)


def test_a_rectifier_without_voltage_is_refused_and_an_overload_collapses():
    """Zero volts are no input; a load beyond the capacitor lets the output fall to zero and rise again."""
    with pytest.raises(ValueError, match="positive voltage"):
        simulate_rectifier(0.0, 50, 1.0, 1e-3)
    assert simulate_rectifier(9.0, 50, 20.0, 100e-6).trough_v == 0.0


SUPPLY_60 = {"secondary": "9V 10%", "esr": "0", "mains": "60Hz", "source": "0", "capacitance": "4700uF"}


def test_supply_margins_of_the_worked_example():
    """9 V, 1 A, 4700 µF, 1 V a diode: trough 8.955 V, headroom 1.955 V; at 8.1 V 0.682 V; heat 3.57 W there."""
    answer = figure_called("supply").evaluate(SUPPLY_60)

    assert answer.out("trough_v").nominal == pytest.approx(8.955, abs=1e-3)
    assert answer.out("headroom_v").nominal == pytest.approx(1.955, abs=1e-3)
    assert answer.out("headroom_v").low == pytest.approx(0.682, abs=1e-3)
    assert answer.out("regulator_w").low == pytest.approx(3.57, abs=5e-3)


def test_supply_fails_at_50_hz_with_a_weak_capacitor():
    """−10 % mains leaves 0.327 V at 50 Hz, a capacitor of −20 % then −0.205 V: refused."""
    strong = figure_called("supply").evaluate({**SUPPLY_60, "mains": "50Hz"})
    weak = figure_called("supply").evaluate({**SUPPLY_60, "mains": "50Hz", "capacitance": "4700uF 20%"})

    assert strong.out("headroom_v").low == pytest.approx(0.327, abs=1e-3)
    assert weak.out("headroom_v").low == pytest.approx(-0.205, abs=1e-3)
    assert not weak.ok


def test_supply_shows_bound_and_simulation():
    """I/(2fC) is a bound: the simulated ripple stands beside it and is smaller."""
    answer = figure_called("supply").evaluate(SUPPLY_60)

    assert answer.simulated["ripple_v"][1] < answer.out("ripple_bound_v").nominal
    assert (
        "over-states ripple" in next(c for c in answer.checks if c.name.startswith("regulator headroom")).note
    )


@pytest.mark.parametrize(
    ("driver", "load", "fan"),
    [
        ("74", "74", 10),
        ("74", "74LS", 20),
        ("74LS", "74", 5),
        ("74LS", "74LS", 20),
        ("NMOS", "74", 1),
        ("NMOS", "74LS", 4),
        ("74HC", "74LS", 10),
    ],
)
def test_fan_out_of_the_families(driver, load, fan):
    """min(IOL/IIL, IOH/IIH) of the data sheets."""
    assert min(fan_out(FAMILIES[driver], FAMILIES[load])) == fan
    assert nominal("levels", {"driver": driver, "load": load}, "fan_out") == fan


@pytest.mark.parametrize("driver", ["74", "74LS", "NMOS", "NMOS-RAM"])
def test_hc_inputs_are_not_safe_behind_ttl_or_nmos(driver):
    """The trap: VOH 2.4 or 2.7 V against VIH 3.15 V; HCT is safe."""
    found = check("levels", {"driver": driver, "load": "74HC"}, "high level")

    assert not found.ok
    assert "not safe behind" in found.note
    assert check("levels", {"driver": driver, "load": "74HCT"}, "high level").ok


def test_pull_up_window_of_the_data_sheet():
    """DM74LS12: 713.2 Ω to 9.038 kΩ; at 0.5 V 698.5 Ω; 10.58 kΩ where 2.0 V is enough; at 4 mA 1732 Ω."""
    figure = figure_called("pull-up")
    plain = figure.evaluate({})

    assert plain.out("least_ohm").high == pytest.approx(713.2, abs=0.05)
    assert plain.out("most_ohm").low == pytest.approx(9038, abs=1)
    assert figure.evaluate({"low": "0.5"}).out("least_ohm").high == pytest.approx(698.5, abs=0.05)
    assert figure.evaluate({"high": "2.0"}).out("most_ohm").low == pytest.approx(10_577, abs=1)
    assert figure.evaluate({"sink": "4mA"}).out("least_ohm").high == pytest.approx(1732, abs=0.5)


def test_switch_returns_into_hc_on_leaky_lines():
    """Eight lines of 10 µA, NMOS sink of 1.6 mA: 3.031 to 17.81 kΩ."""
    given = {"load": "74HC", "inputs": "0", "outputs": "8", "leak": "10uA", "high": "3.325", "sink": "1.6mA"}
    answer = figure_called("pull-up").evaluate(given)

    assert answer.out("least_ohm").high == pytest.approx(3031, abs=1)
    assert answer.out("most_ohm").low == pytest.approx(17_810, abs=5)


def test_inputs_that_overload_the_output_leave_no_pull_up():
    """Three TTL inputs take more than 4 mA: no resistor helps."""
    found = check("pull-up", {"load": "74", "sink": "4mA"}, "pull-up not too small")

    assert not found.ok
    assert "the inputs alone overload" in found.limit


@pytest.mark.parametrize(
    ("ohm", "farad", "seconds"),
    [("10k", "100p", 2.197e-6), ("4.7k", "150p", 1.549e-6), ("3.3k", "50p", 0.3625e-6)],
)
def test_rise_of_a_net(ohm, farad, seconds):
    """RC·ln 9."""
    assert nominal("pull-up", {"pull-up": ohm, "net": f"{farad}F"}, "rise_s") == pytest.approx(
        seconds, rel=5e-4
    )


def test_rise_from_low_to_high_level():
    """0.4 to 2.0 V with 10 kΩ and 100 pF takes 427.4 ns."""
    given = {"pull-up": "10k", "net": "100pF", "high": "2.0", "rail": "5"}

    assert nominal("pull-up", given, "to_high_s") == pytest.approx(427.4e-9, abs=0.05e-9)


@pytest.mark.parametrize("given", [{"high": "5V"}, {"low": "3V"}])
def test_impossible_levels_are_refused(given):
    """High must lie below the rail, low below high."""
    with pytest.raises(InputError) as caught:
        figure_called("pull-up").evaluate(given)

    assert "is not below" in caught.value.found


@pytest.mark.parametrize(
    ("given", "milliohm"),
    [({"length": "100mm", "width": "0.5mm"}, 98.52), ({"length": "100mm", "width": "0.5mm", "temperature": "60"}, 114.0),
     ({"length": "50mm", "width": "1mm"}, 24.63), ({"length": "200mm", "width": "0.3mm", "temperature": "60"}, 380.0)],
)  # fmt: skip
def test_track_resistance(given, milliohm):
    """35 µm copper of IEC 60028."""
    assert nominal("track", given, "resistance_ohm") * 1e3 == pytest.approx(milliohm, rel=5e-4)


MIL2 = 6.4516e-4
OZ_MIL = 1.378


@pytest.mark.parametrize(
    ("mils", "rise", "constants", "amps"),
    [(10, 10, "outer", 0.8855), (20, 10, "outer", 1.464), (50, 20, "outer", 3.858), (100, 10, "outer", 4.701), (10, 10, "inner", 0.4428),
     (10, 10, "outer-2", 1.014), (10, 10, "inner-2", 0.3619)],
)  # fmt: skip
def test_track_current_of_both_sets_of_constants(mils, rise, constants, amps):
    """IPC-2221 fit as three public calculators give it, and the other set in circulation."""
    assert float(track_current_a(mils * OZ_MIL * MIL2, rise, constants)) == pytest.approx(amps, rel=6e-4)


@pytest.mark.parametrize(("amps", "rise", "mils"), [(1, 10, 11.83), (3, 10, 53.82), (5, 20, 71.49)])
def test_track_width_for_a_current(amps, rise, mils):
    """The inverse of the same fit, 1 oz copper."""
    assert float(track_area_mm2(amps, rise)) / MIL2 / OZ_MIL == pytest.approx(mils, rel=1e-3)


def test_the_set_of_constants_is_named():
    """The check's source says which set was used."""
    assert check("track", {"constants": "inner-2"}, "current").source.startswith(
        "other constants in use, inner"
    )


@pytest.mark.parametrize(
    ("gauge", "mm", "milliohm"),
    [
        (10, 2.5882, 3.277),
        (18, 1.0237, 20.95),
        (20, 0.8118, 33.31),
        (24, 0.5106, 84.21),
        (30, 0.2546, 338.5),
        (40, 0.0799, 3441),
    ],
)
def test_wire_gauges(gauge, mm, milliohm):
    """ASTM B258 (from memory) with the resistivity of IEC 60028."""
    assert float(awg_mm(gauge)) == pytest.approx(mm, abs=5e-5)
    assert nominal("wire", {"gauge": f"{gauge}"}, "ohm_per_m") * 1e3 == pytest.approx(milliohm, rel=4e-4)


def test_a_wrap_wire_jumper():
    """0.3 m of 30 AWG is 101.6 mΩ."""
    assert nominal("wire", {}, "resistance_ohm") == pytest.approx(0.1016, abs=5e-5)


def test_copper_sheet():
    """0.4926 mΩ a square at 35 µm."""
    assert float(copper_ohm(1.0, 35e-6)) == pytest.approx(0.4926e-3, rel=1e-4)


@pytest.mark.parametrize(("farad", "volts", "joule"), [("100u", "200", 2.0), ("47u", "170", 0.679)])
def test_stored_energy(farad, volts, joule):
    """½CV²."""
    assert nominal("discharge", {"capacitance": f"{farad}F", "charged": volts}, "energy_j") == pytest.approx(
        joule, rel=1e-3
    )


def test_bleeding_a_display_supply():
    """100 µF through 100 kΩ from 200 to 30 V takes 18.97 s."""
    assert nominal("discharge", {}, "bleed_s") == pytest.approx(18.97, abs=0.005)
    with pytest.raises(InputError) as caught:
        figure_called("discharge").evaluate({"charged": "20V"})
    assert "not charged above" in caught.value.found


def test_transistor_saturates_with_three_times_the_base_current():
    """5 V − 0.7 V over 1 kΩ is 4.3 mA; 50 mA at a gain of 100 need 0.5 mA."""
    answer = figure_called("transistor").evaluate(
        {"drive": "5V", "vbe": "0.7V", "base": "1k", "collector": "50mA", "gain": "100"}
    )

    assert answer.out("base_a").nominal == pytest.approx(4.3e-3)
    assert answer.out("overdrive").nominal == pytest.approx(8.6)
    assert answer.ok


def test_a_coil_without_a_diode_is_refused():
    """Nothing fitted fails; a diode across 32 V passes a 100 V transistor."""
    assert not figure_called("flyback").evaluate({"clamp": "none"}).ok
    assert figure_called("flyback").evaluate({}).ok
    assert nominal(
        "flyback", {"rail": "32", "coil": "20", "inductance": "20mH"}, "energy_j"
    ) == pytest.approx(0.0256)


def test_a_zener_lets_the_coil_go_sooner():
    """A higher clamp shortens the decay and costs voltage at the transistor."""
    plain, zener = (figure_called("flyback").evaluate({"clamp": c}) for c in ("diode", "zener"))

    assert zener.out("decay_s").nominal < plain.out("decay_s").nominal / 4
    assert zener.out("transistor_v").nominal == pytest.approx(plain.out("transistor_v").nominal + 24)


def test_led_resistor():
    """(5 − 2 − 0.4) V / 10 mA = 260 Ω; 270 and 240 Ω are beside it."""
    assert nominal("led", {}, "ideal_ohm") == pytest.approx(260)
    assert "270 Ω, 240 Ω" in check("led", {}, "greatest").note
    with pytest.raises(InputError) as caught:
        figure_called("led").evaluate({"led": "5V"})
    assert "drop up to 5.5 V" in caught.value.found


def test_divider_with_and_without_load():
    """12 V over 10 k and 4.7 k is 3.837 V; 4.7 k across the lower one makes 2.283 V."""
    assert nominal("divider", {}, "output_v") == pytest.approx(12 * 4.7 / 14.7)
    assert nominal("divider", {"load": "4.7k"}, "output_v") == pytest.approx(12 * 2.35 / 12.35)


def test_crystal_load():
    """Two of 22 pF and 5 pF stray are 16 pF; at the rated load nothing is pulled."""
    assert nominal("crystal", {}, "load_f") == pytest.approx(16e-12)
    assert nominal("crystal", {"rated": "16pF"}, "pulling_ppm") == pytest.approx(0.0, abs=1e-6)


def test_no_grade_covers_4_75_volt():
    """The trap: every published grade leaves a band below 4.75 V without reset, and says so."""
    for grade in ("4.63", "5%", "4.38", "10%", "15%"):
        found = check("reset", {"grade": grade}, "brown-out")
        assert not found.ok
        assert (
            found.note == "No standard supervisor grade holds reset all the way up to 4.75 V on a 5 % rail."
        )


def test_a_supervisor_of_the_wrong_polarity_or_on_a_shared_net_fails():
    """8080 wants active high; two push-pull outputs must not meet."""
    assert not check("reset", {"cpu": "8080"}, "polarity").ok
    assert check("reset", {"cpu": "8080", "output": "high"}, "polarity").ok
    assert not check("reset", {"shared": "yes"}, "output may share").ok
    assert check("reset", {"shared": "yes", "output": "open-drain"}, "output may share").ok


@pytest.mark.parametrize(
    ("cpu", "hz", "needed"),
    [("6502", "1MHz", 2e-6), ("6800", "894.886kHz", 8.940e-6), ("Z80", "4MHz", 0.75e-6)],
)
def test_reset_cycles_of_the_cpus(cpu, hz, needed):
    """Cycles at the clock, with rail and oscillator taken off."""
    given = {"cpu": cpu, "clock": hz, "oscillator": "0", "rise": "1ns"}

    assert nominal("reset", given, "needed_s") == pytest.approx(needed, rel=2e-3)


def test_a_dip_is_caught_by_the_supervisor_and_missed_by_the_rc():
    """4.3 V for 20 ms: the RC lets the CPU run throughout, the supervisor only on the edges of the band."""
    found = figure_called("reset").evaluate({"profile": "dip"}).simulated

    assert found["rc_unguarded_s"][1] > 0.02
    assert found["supervisor_unguarded_s"][1] < 0.002


def test_a_brown_out_that_stays_is_held_for_ever():
    """At 4.3 V the supervisor never lets go; between trip and 4.75 V nobody holds."""
    held = figure_called("reset").evaluate({"profile": "brown-out"}).simulated
    missed = figure_called("reset").evaluate({"profile": "brown-out", "dip": "4.7V"}).simulated

    assert math.isinf(held["supervisor_release_s"][1])
    assert missed["supervisor_unguarded_s"][1] > 0.1


@pytest.mark.parametrize(
    "given", [{"trip": "5V", "grade": "own"}, {"threshold": "5V"}, {"threshold": "4.8V"}]
)
def test_thresholds_above_the_rail_are_refused(given):
    """Named with the rail."""
    with pytest.raises(InputError) as caught:
        figure_called("reset").evaluate(given)

    assert "is not below the rail" in caught.value.found


def test_a_power_up_has_no_dip():
    """Three corners only."""
    assert len(rail_profile("power-up", 5, 0.01, 0.1, dip_v=4, dip_s=0.01)) == 3


@pytest.mark.parametrize(
    ("name", "given", "says"),
    [
        ("retention", {"capacitance": "-0.1F"}, "capacitance is -0.1F"),
        ("retention", {"capacitance": "none"}, "capacitance is none"),
        ("retention", {"capacitance": "2.2 banana"}, "capacitance: '2.2 banana' is in banana"),
        ("retention", {"ageing": "2"}, "ageing is 2"),
        ("retention", {"load": "-1uA"}, "load is -1uA"),
        ("retention", {"end": "6V"}, "end is 6 V, not below the rail of 5 V"),
        ("retention", {"memory": "core"}, "memory is 'core'"),
        ("retention", {"rail": "5..4"}, "rail: the limits in '5..4'"),
    ],
)
def test_impossible_inputs_name_themselves(name, given, says):
    """One clear error with the key, what was typed, and what was expected."""
    with pytest.raises(InputError) as caught:
        figure_called(name).evaluate(given)

    assert says in caught.value.found
    assert caught.value.expected


def test_unknown_figures_and_inputs_are_named():
    """With the list of those there are."""
    with pytest.raises(UnknownName) as figure:
        figure_called("horoscope")
    with pytest.raises(UnknownName) as key:
        figure_called("rc").evaluate({"inductance": "1"})

    assert "retention" in figure.value.hint
    assert "resistance" in key.value.hint


@pytest.mark.parametrize("name", FIGURES)
def test_every_figure_answers_in_full(name):
    """Plain JSON, all outputs, sources and units, corners within the interval, a plot that is well formed."""
    import xml.etree.ElementTree as ElementTree

    answer = figure_called(name).evaluate({}, samples=200, seed=3)
    document = json.loads(json.dumps(answer.to_json(), allow_nan=False))

    assert set(document["outputs"]) == {o.name for o in answer.figure.outputs} == set(answer.bounds)
    assert document["source"]
    assert all(c["source"] and c["value"] and c["limit"] for c in document["checks"])
    for one in document["outputs"].values():
        slack = 1e-9 * abs(one["high"])
        assert (
            one["surely_low"] - slack
            <= one["low"]
            <= one["nominal"]
            <= one["high"]
            <= one["surely_high"] + slack
        )
        assert one["low"] - slack <= one["quantiles"]["p1"] <= one["quantiles"]["p99"] <= one["high"] + slack
    if answer.plot:
        ElementTree.fromstring(plot_svg(answer.plot))


@pytest.mark.parametrize("name", FIGURES)
def test_defaults_are_sound_but_for_the_traps(name):
    """A figure opened for the first time shows a circuit that works; what fails there is a lesson."""
    failing = {c.name for c in figure_called(name).evaluate({}).checks if c.must and not c.ok}

    assert failing <= {"hold-up, worst case"}


def test_equal_seeds_give_equal_samples():
    """The generator starts where it is told."""
    first, second = (figure_called("rc").evaluate({}, samples=500, seed=7).quantiles for _ in range(2))
    other = figure_called("rc").evaluate({}, samples=500, seed=8).quantiles

    assert first == second != other


def test_a_long_curve_keeps_its_peaks():
    """Thinning for the page loses neither the least nor the greatest value."""
    y = np.zeros(10_000)
    y[1234], y[8765] = 5.0, -3.0

    line = line_of("spikes", np.arange(10_000), y)

    assert len(line.x) < 1000
    assert (max(line.y), min(line.y)) == (5.0, -3.0)


@pytest.mark.parametrize(
    "values", [lambda n: np.arange(n) % 7, np.zeros, lambda n: np.sin(np.arange(n) / 9.0)]
)
def test_a_thinned_curve_keeps_the_first_least_and_greatest_of_each_stretch(values):
    """As a loop over the stretches finds them, however long each is and however often a value comes."""
    y = values(1777)
    edges = np.linspace(0, 1777, 351).astype(int)
    kept = {0, 1776}
    for start, end in itertools.pairwise(edges):
        kept |= {start + int(np.argmin(y[start:end])), start + int(np.argmax(y[start:end]))}

    line = line_of("stretches", np.arange(1777), y)

    assert line.x == tuple(map(float, sorted(kept)))
    assert line.y == tuple(float(y[at]) for at in sorted(kept))


def test_a_flat_plot_has_axes():
    """One constant curve of zero still has a frame, and words are escaped."""
    svg = plot_svg(Plot("a < b", "x", "y", (line_of("flat", [0.0, 0.0], [0.0, 0.0]),)))

    assert "a &lt; b" in svg
    assert round_steps(0.0, 0.0) == round_steps(0.0, 1.0)


@pytest.mark.parametrize("module", [m.name for m in pkgutil.iter_modules(figures.__path__)])
def test_examples_in_the_docstrings_run(module):
    """Each example gives what it says."""
    assert doctest.testmod(importlib.import_module(f"coppermend.rework.figures.{module}")).failed == 0


def test_a_gauge_with_limits_has_an_interval():
    """29 to 31 AWG: the thicker wire bounds the resistance from below."""
    answer = figure_called("wire").evaluate({"gauge": "30 (29..31)"})

    assert (
        answer.out("ohm_per_m").surely_low
        <= answer.out("ohm_per_m").low
        < 0.3385
        < answer.out("ohm_per_m").high
    )


def test_an_interval_knows_what_it_holds():
    """Both ends are inside."""
    assert 1.0 in Interval(1.0, 2.0)
    assert 2.1 not in Interval(1.0, 2.0)
