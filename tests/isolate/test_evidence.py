"""What observations mean for each fault: detection, false alarm, soft limits."""

from __future__ import annotations

import numpy as np
import pytest

from coppermend.board.folder import parse_board_folder
from coppermend.demo.board_data import demo_board_files
from coppermend.isolate.evidence import LEAST, likelihood
from coppermend.isolate.isolation import Isolation
from coppermend.isolate.observations import VISUAL_VALUES, observation
from coppermend.isolate.states import LOGIC_VALUES, MODES, SEEN, Mode, logic_likelihood

from .conftest import board_of, chain, divider


def _after(search: Isolation, *rows: tuple[str, ...]) -> Isolation:
    fresh = search.after_nothing()
    for row in rows:
        fresh.record(*row)
    return fresh


def _first(search: Isolation) -> str:
    return search.suspects(1)[0].name


@pytest.fixture(scope="module")
def row() -> Isolation:
    """Five inverters in a row."""
    return Isolation(chain(5))


def test_tables_are_distributions() -> None:
    """Every mode and every state's row of what is said sums to 1."""
    assert MODES.sum(axis=1) == pytest.approx(np.ones(len(Mode))) and SEEN.sum(axis=1) == pytest.approx(
        np.ones(6)
    )


def test_good_and_bad_exclude_each_other() -> None:
    """P(good) and P(bad) add up to 1 in every state."""
    assert logic_likelihood("good") + logic_likelihood("bad") == pytest.approx(np.ones(6))


def test_good_here_and_bad_there_leaves_what_lies_between(row: Isolation) -> None:
    """Good after the second and bad after the third of five inverters accuses the third."""
    assert _first(_after(row, ("N2", "logic", "good"), ("N3", "logic", "bad"))) == "U3"


def test_a_probe_means_more_where_it_is_known_what_the_net_should_do() -> None:
    """High on a clock is bad; high on a net of unknown duty hardly says anything."""
    clock = logic_likelihood("high", "moves")[0]

    assert clock < 0.02 < 0.2 < logic_likelihood("high", "")[0]


@pytest.mark.parametrize("value", LOGIC_VALUES)
def test_every_logic_value_is_possible_everywhere(row: Isolation, value: str) -> None:
    """No observation rules a fault out for good: likelihoods stay within LEAST and 1."""
    seen = likelihood(row.effects, observation(row.board, "U2.2", "logic", value))

    assert seen.min() >= LEAST and seen.max() <= 1.0 and seen.shape == (len(row.effects.faults),)


def test_a_rail_reading_is_soft_at_its_limit() -> None:
    """5.00 V clears the rail, 0.2 V accuses it, and a reading on the limit of 5 % speaks for neither side."""
    search = Isolation(chain(3))
    rail = [f.unit.kind == "rail" for f in search.effects.faults].index(True)
    other = [f.unit.kind == "part" for f in search.effects.faults].index(True)

    ratios = []
    for volts in ("5.00", "4.75", "0.2"):
        seen = likelihood(search.effects, observation(search.board, "+5V", "volts", volts))
        ratios.append(seen[rail] / seen[other])

    assert ratios[0] < 0.1 and 0.5 < ratios[1] < 2.0 and ratios[2] > 50


def test_a_steady_voltage_counts_as_its_level(row: Isolation) -> None:
    """4.2 V on a net is read as high, 0.1 V as low (TTL input levels 0.8 V and 2.0 V)."""
    for volts, level in (("4.2", "high"), ("0.1", "low")):
        as_volts = likelihood(row.effects, observation(row.board, "N2", "volts", volts))
        as_logic = likelihood(row.effects, observation(row.board, "N2", "logic", level))
        assert as_volts == pytest.approx(as_logic, abs=1e-3)


def test_a_counter_tells_a_sound_clock_from_a_halved_or_a_dead_one() -> None:
    """4 MHz clears the oscillator; 0 Hz accuses it."""
    search = Isolation(divider())

    sound, dead = (_after(search, ("CLK", "hertz", hz)) for hz in ("4.001M", "0"))

    assert dead.suspects(1)[0].name == "X1"
    assert {s.name: s.probability for s in sound.suspects()}["X1"] < 0.1
    assert _first(_after(search, ("CLK", "hertz", "4M"), ("QUARTER", "hertz", "2M"))) == "U1"


def test_a_count_on_a_net_without_a_declared_clock_says_that_it_moves(row: Isolation) -> None:
    """A frequency where none is due is a pulsing net."""
    hertz = likelihood(row.effects, observation(row.board, "N2", "hertz", "1k"))

    assert hertz == pytest.approx(likelihood(row.effects, observation(row.board, "N2", "logic", "pulsing")))


def test_continuity_names_the_open_copper(row: Isolation) -> None:
    """OL between driver and reader accuses that net's copper; 0.2 Ω clears it."""
    assert _first(_after(row, ("U2.2:U3.1", "ohms", "OL"))) == "N2"
    cleared = _after(row, ("N2", "logic", "good"), ("U2.2:U3.1", "ohms", "0.2"))
    assert {s.name: s.probability for s in cleared.suspects()}["N2"] < 0.01


def test_a_low_resistance_to_ground_accuses_what_shorts_the_net(row: Isolation) -> None:
    """1 Ω to ground on N2 leaves its driver, its reader and its neighbours; 5 kΩ clears shorts."""
    search = _after(row, ("N2", "ohms", "1"))

    assert {s.name for s in search.suspects(2)} == {"U2", "U3"}


def test_a_low_resistance_between_two_nets_accuses_their_short() -> None:
    """Near 0 Ω between neighbouring pins' nets: they touch."""
    search = Isolation(chain(3))

    assert _first(_after(search, ("IN:N1", "ohms", "0.3"))) == "IN + N1"


def test_a_swap_that_cures_names_the_part(row: Isolation) -> None:
    """The board works with another U4; several swapped together narrow it to them; no change clears them."""
    assert _first(_after(row, ("U4", "swap", "cured"))) == "U4"
    some = _after(row, ("U3+U4", "swap", "cured"), ("U3", "swap", "same"))
    assert _first(some) == "U4"
    left = _after(row, ("U1+U2+U3+U5", "swap", "no change"))
    assert next(s.name for s in left.suspects() if s.name.startswith("U")) == "U4"


def test_visual_findings_and_self_tests_count_softly(row: Isolation) -> None:
    """A burnt part leads; a clean one falls behind its equals; a failed self-test names its part."""
    assert _first(_after(row, ("U4", "visual", "burnt"))) == "U4"
    clean = {s.name: s.probability for s in _after(row, ("U4", "visual", "ok")).suspects()}
    assert clean["U4"] < clean["U3"] and VISUAL_VALUES["ok"] < 1
    assert _first(_after(row, ("U2", "selftest", "fail"))) == "U2"
    assert {s.name: s.probability for s in _after(row, ("U2", "selftest", "pass")).suspects()}["U2"] < 0.05


def test_a_complaint_accuses_what_feeds_the_function() -> None:
    """On the demo board a dead lamp bank is the lamps' section; one that does not start is CPU, memory or reset."""
    search = Isolation(parse_board_folder(demo_board_files()))
    lamps = _after(
        search, ("", "symptom", "boots"), ("", "symptom", "lamp wrong"), ("J4.3", "symptom", "wrong")
    )
    sections = {search.board.index.parts[s.name].section for s in lamps.suspects(3) if s.kind == "part"}
    assert sections <= {"lamps", "decoding"} and "lamps" in sections

    dead = _after(search, ("", "symptom", "no boot"))
    assert {"C1", "U1"} <= {s.name for s in dead.suspects(2)}


def test_a_complaint_that_fits_no_net_is_about_any() -> None:
    """A board without lamps is not thrown by a complaint about lamps."""
    search = _after(Isolation(chain(2)), ("", "symptom", "lamp dead"))

    assert sum(s.probability for s in search.suspects()) == pytest.approx(1.0)


def test_a_rail_that_is_not_declared_is_there_or_not() -> None:
    """Without a nominal voltage 5 V counts as present and 0 V as missing."""
    board = board_of(
        {"VCC": "U1.14 J1.1", "A": "J1.2 U1.1", "B": "U1.2 J1.3", "GND": "U1.7 J1.4"},
        {"U1": "7404", "J1": "header"},
    )
    search = Isolation(board)

    assert _after(search, ("VCC", "volts", "0")).suspects(1)[0].kind == "rail"
    cleared = _after(search, ("VCC", "volts", "5")).suspects()
    assert next(s.probability for s in cleared if s.kind == "rail") < 0.05
