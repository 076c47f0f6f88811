"""The traps of the trade, each caught by calculation and said in one sentence, where the technician meets it."""

from __future__ import annotations

from functools import lru_cache

import pytest

from coppermend.board.atrisk import Touch
from coppermend.board.folder import parse_board_folder
from coppermend.board.parttypes import standard_library
from coppermend.demo.board_data import demo_board_files
from coppermend.rework.figures.catalog import figure_called
from coppermend.rework.figures.reset import GRADES
from coppermend.rework.remedies import remedies
from coppermend.rework.substitutes import compare, part_called


@lru_cache
def offered():
    board = parse_board_folder(demo_board_files())
    return {r.id: r for r in remedies(board, standard_library(), Touch())}


def trap(name, start):
    return next(c for c in offered()[name].checks if c.name.startswith(start))


def figured(name, given, start):
    return next(c for c in figure_called(name).evaluate(given).checks if c.name.startswith(start))


def test_no_supervisor_grade_guards_up_to_4_75_v():
    """Of all grades known (DS1831, MCP1xx) none that a 5 % rail does not trip is sure up to what the CPU needs."""
    healthy = [grade for grade in GRADES if grade.max_v <= 4.75]
    found = trap("reset-supervisor", "brown-out")

    assert healthy and all(grade.min_v < 4.75 for grade in healthy)
    assert not found.ok and not found.must
    assert "No standard grade holds reset all the way up to 4.75 V on a 5 % rail" in found.note
    assert not figured("reset", {"grade": "5%"}, "brown-out").ok


def test_a_schottky_diode_leaks_the_keep_alive_supply_away():
    """1 mA of a 1N5817 class (from memory) beside 10 µA of memory: the check fails and says why."""
    found = figured("retention", {"diode-leak": "1mA", "load": "10uA"}, "reverse leakage")

    assert not found.ok
    assert found.note.startswith("A Schottky diode's reverse leakage is a load on the keep-alive supply")


def test_ferroelectric_ram_fails_behind_a_static_decode():
    """FM1608 data sheets: the address is latched on the falling enable."""
    found = figured("nonvolatile-ram", {"enable": "static"}, "enable falls")

    assert not found.ok
    assert (
        "latches its address on the falling enable and fails where the enable is only a static decode"
        in found.note
    )


def test_an_hc_monostable_times_30_percent_shorter():
    """74HC4538 data sheet: 0.7·R·C; the metal-gate part R·C."""
    found = figured("monostable", {"type": "74HC4538", "instead-of": "4538"}, "pulse")

    assert not found.ok
    assert "A 74HC4538 in place of a 4538 times 30 % shorter" in found.note


@pytest.mark.parametrize("driver", ["74", "74LS", "NMOS", "NMOS-RAM"])
def test_hc_inputs_are_not_safe_behind_ttl_or_nmos(driver):
    """2.4 or 2.7 V of guaranteed high against 3.15 V asked; an HCT part is safe, and an HC no substitute for LS."""
    found = figured("levels", {"driver": driver, "load": "74HC"}, "high level")

    assert not found.ok
    assert f"74HC inputs are not safe behind {driver} outputs" in found.note
    assert figured("levels", {"driver": driver, "load": "74HCT"}, "high level").ok
    assert not compare(part_called("74LS"), part_called("74HC")).ok


def test_the_textbook_ripple_is_a_bound_and_the_simulated_value_stands_beside_it():
    """I/(2fC) is above the simulation, never below it (27 to 31 % in the reference transients)."""
    answer = figure_called("supply").evaluate({"source": "0.001", "esr": "0.001"})
    simulated = answer.simulated["ripple_v"][1]

    assert 0.6 * answer.out("ripple_bound_v").nominal <= simulated <= answer.out("ripple_bound_v").nominal
    assert "over-states ripple" in figured("supply", {}, "regulator headroom at low mains").note


def test_a_fraction_of_a_farad_holds_hours_to_days():
    """Not weeks, once leakage counts: said on the figure and on the remedy."""
    found = trap("supercapacitor-BT1", "hold-up")

    assert "A fraction of a farad holds hours to days, not weeks" in found.note
    assert figure_called("retention").evaluate().out("hold_up_s").high < 4 * 7 * 86_400
    assert not figured("retention", {"wanted": "30 days"}, "hold-up").ok


def test_a_primary_cell_never_sees_charge_current():
    """The netlist after the remedy is asked; and the figure refuses a charge resistor that stays."""
    found = trap("coin-cell-BT1", "no charge path")

    assert found.ok and found.must
    assert found.note == "A primary lithium cell must never see charge current."
    assert not figured("coin-cell", {"charge-path": "fitted"}, "no charge path").ok
