"""Inrush into a retention capacitor, life of a non-volatile RAM, and the price of a year of holding."""

from __future__ import annotations

import math

import numpy as np
import pytest

from coppermend.errors import InputError
from coppermend.rework.figures.catalog import FIGURES, figure_called
from coppermend.rework.figures.inrush import rail_rise_s
from coppermend.rework.figures.plot import plot_svg

EXACT = {
    "rail": "5 V", "limit": "1.5 A", "load": "0.5 A", "bulk": "1000 uF", "capacitance": "1 F", "series": "100 Ω",
    "esr": "75 Ω", "diode": "0.3 V", "input": "9 V",
}  # fmt: skip


def out(name, given, output):
    return figure_called(name).evaluate(given).out(output)


def check(name, given, start):
    return next(c for c in figure_called(name).evaluate(given).checks if c.name.startswith(start))


def test_charge_current_is_rail_less_diode_over_both_resistances():
    """4.7 V over 175 Ω: 26.86 mA; without the resistor 62.67 mA (reference values of the retention section)."""
    assert out("inrush", EXACT, "charge_peak_a").nominal == pytest.approx(26.857e-3, rel=1e-4)
    assert out("inrush", EXACT, "bare_peak_a").nominal == pytest.approx(62.667e-3, rel=1e-4)
    assert out("inrush", EXACT, "peak_a").nominal == pytest.approx(0.526857, rel=1e-5)


def test_charge_time_is_that_of_the_reference_example():
    """175 Ω and 0.1 F: 99 % at 80.59 s."""
    assert out("inrush", {**EXACT, "capacitance": "0.1 F"}, "charge_99_s").nominal == pytest.approx(
        80.59, rel=1e-3
    )


def test_a_regulator_in_its_limit_is_caught():
    """Load and charge current together beyond the least limit."""
    found = check("inrush", {**EXACT, "limit": "0.5 A", "series": "0 Ω", "esr": "1 Ω"}, "regulator stays")

    assert not found.ok


def test_a_rail_that_never_rises_has_no_limit():
    """When the capacitor alone takes what the regulator has to spare, the rail stays below."""
    assert math.isinf(float(rail_rise_s(5.0, 0.51, 0.5, 1e-3, 0.0, 10.0)))
    assert (
        "no limit"
        in check("inrush", {**EXACT, "limit": "0.51 A", "series": "0", "esr": "10"}, "rail is up").value
    )


def test_without_a_diode_in_the_way_the_rise_is_plain():
    """An endless resistance leaves C·V/(Ilim − Iload): 1000 µF, 5 V, 1 A is 5 ms."""
    assert float(rail_rise_s(5.0, 1.5, 0.5, 1e-3, 5.0, 1e9)) == pytest.approx(5e-3, rel=1e-6)


def test_an_input_below_the_rail_is_refused():
    """A regulator only drops."""
    with pytest.raises(InputError) as error:
        figure_called("inrush").evaluate({**EXACT, "input": "4 V"})

    assert "not above the rail" in error.value.found


def test_reads_wear_a_ferroelectric_memory_too():
    """1e10 accesses (FM1608 data sheet of 2000) at one a second last 317 years, at a million a second under three hours."""
    given = {"endurance": "10G", "years": "1000", "accesses": "1 Hz"}

    assert out("nonvolatile-ram", given, "worn_s").nominal / 31_557_600 == pytest.approx(316.9, rel=1e-3)
    assert not check("nonvolatile-ram", {**given, "accesses": "1 MHz"}, "busiest byte").ok


def test_contents_hold_no_longer_than_the_part_says():
    """Seldom used, ten years are ten years."""
    given = {"accesses": "0.001 Hz", "years": "10", "price": "16"}

    assert out("nonvolatile-ram", given, "life_s").nominal / 31_557_600 == pytest.approx(10.0)
    assert out("nonvolatile-ram", given, "price_per_year").nominal == pytest.approx(1.6)


def test_static_decode_fails_a_ferroelectric_memory_only():
    """The trap, in one sentence; a RAM with built-in store does not latch."""
    trap = check("nonvolatile-ram", {"enable": "static"}, "enable falls")

    assert not trap.ok
    assert "fails where the enable is only a static decode" in trap.note
    assert check("nonvolatile-ram", {"enable": "static", "kind": "with-store"}, "enable falls").ok


def test_too_fast_a_bus_fails():
    """180 ns of cycle (FM1608 data sheet) do not fit into 10 MHz."""
    assert not check("nonvolatile-ram", {"clock": "10 MHz"}, "cycle").ok
    assert out("nonvolatile-ram", {"clock": "1 MHz"}, "cycle_margin_s").nominal == pytest.approx(820e-9)


@pytest.mark.parametrize(
    ("name", "given", "price"),
    [
        ("retention", {"price": "6", "life": "8"}, 0.75),
        ("battery-pack", {"price": "9", "life": "3"}, 3.0),
        ("coin-cell", {"price": "3", "capacity": "220mAh", "load": "10uA", "temperature": "25"}, 3 / 2.510),
    ],
)
def test_price_of_a_year_of_holding(name, given, price):
    """Price over life; a 220 mAh cell at 10 µA lives 2.510 years (reference value)."""
    assert out(name, given, "price_per_year").nominal == pytest.approx(price, rel=2e-3)


@pytest.mark.parametrize("name", FIGURES)
def test_every_figure_has_a_plot_of_finite_points(name):
    """At its defaults, and with a title."""
    plot = figure_called(name).evaluate().plot

    assert plot is not None and plot.title
    assert all(np.isfinite(line.x).all() and np.isfinite(line.y).all() for line in plot.lines)
    assert "nan" not in plot_svg(plot)


@pytest.mark.parametrize(
    ("name", "given"),
    [
        ("monostable", {"instead-of": "4538", "type": "74HC4538"}), ("flyback", {"clamp": "zener"}),
        ("levels", {"driver": "NMOS", "load": "74HC"}), ("battery-pack", {"load": "1nA"}),
    ],
)  # fmt: skip
def test_plots_follow_the_choice(name, given):
    """Another choice draws another picture."""
    figure = figure_called(name)

    assert figure.evaluate(given).plot != figure.evaluate().plot
