"""Supervisor thresholds, reset times and RC delays against data sheets and published tables."""

from __future__ import annotations

import pytest

from coppermend.rework.figures.reset import (
    ANY_CPU,
    GRADES,
    choose_grade,
    cpu_reset,
    rc_delay_s,
    reset_needed_s,
)

# DS1831 data sheet, page 12, and MCP102/103/121/131 data sheet (-475, -450): minimum, typical, maximum [V].
PUBLISHED = {
    "5 % grade": (4.50, 4.63, 4.75),
    "10 % grade": (4.25, 4.38, 4.49),
    "15 % grade": (4.00, 4.15, 4.24),
    "4.63 V, ±2.5 %": (4.514, 4.630, 4.746),
    "4.38 V, ±2.5 %": (4.271, 4.380, 4.490),
}


def test_thresholds_are_the_published_ones():
    """Each grade carries the limits of its data sheet."""
    assert {g.name: (g.min_v, g.typical_v, g.max_v) for g in GRADES} == PUBLISHED


def test_no_grade_holds_reset_up_to_4_75_volt():
    """The trap: none of the published grades guarantees reset between its minimum and 4.75 V."""
    assert max(grade.min_v for grade in GRADES) < 4.75


@pytest.mark.parametrize(
    ("rail_min", "name"), [(4.75, "4.63 V, ±2.5 %"), (4.5, "4.38 V, ±2.5 %"), (4.25, "15 % grade")]
)
def test_the_highest_guard_that_a_healthy_rail_does_not_trip(rail_min, name):
    """The choice guards as high as the rail's tolerance allows."""
    chosen = choose_grade(rail_min)

    assert chosen is not None
    assert chosen.name == name


def test_a_rail_below_every_threshold_has_no_grade():
    """A 3.3 V rail is not served by the 5 V grades."""
    assert choose_grade(3.13) is None


@pytest.mark.parametrize(
    ("cpu", "hz", "seconds"),
    [
        ("6502", 1e6, 2e-6),  # 65xx data sheets: 2 cycles
        ("6800", 894_886, 8.940e-6),  # MC6800 data sheet (from memory): 8 cycles
        ("Z80", 4e6, 0.75e-6),  # Z80 user manual: 3 cycles
        ("6802", 894_886, 20.00894e-3),  # MC6802 data sheet (from memory): 20 ms more for the crystal
    ],
)
def test_reset_need_of_each_cpu_class(cpu, hz, seconds):
    """Cycles at the clock, plus crystal start-up where the data sheet asks for it."""
    assert reset_needed_s(cpu_reset(cpu), hz) == pytest.approx(seconds, rel=1e-4)


def test_an_unknown_cpu_is_held_to_the_strictest_class():
    """Nothing known means 8 cycles and a crystal."""
    assert cpu_reset("mystery") is ANY_CPU
    assert reset_needed_s(ANY_CPU) > 0.020


def test_a_clock_of_zero_is_refused():
    """A stopped clock gives no reset time."""
    with pytest.raises(ValueError, match="0 Hz"):
        reset_needed_s(ANY_CPU, 0)


@pytest.mark.parametrize(
    ("ohm", "farad", "threshold", "seconds"),
    [
        (100e3, 1e-6, 2.0, 51.0826e-3),  # ngspice 39.3 gives 51.0826 ms
        (10e3, 10e-6, 2.5, 69.31e-3),
        (47e3, 4.7e-6, 1.6, 85.19e-3),
        (10e3, 10e-6, 0.8, 17.44e-3),
        (100e3, 10e-6, 3.5, 1.204),
    ],
)
def test_rc_delay_matches_the_reference_table(ohm, farad, threshold, seconds):
    """t = −RC·ln(1 − Vt/V) at 5 V, to the printed digits."""
    assert rc_delay_s(ohm, farad, 5.0, threshold) == pytest.approx(seconds, rel=4e-4)


def test_a_threshold_at_the_supply_is_never_reached():
    """The delay would be infinite, so it is refused."""
    with pytest.raises(ValueError, match="never reached"):
        rc_delay_s(1e3, 1e-6, 5.0, 5.0)
