"""Faults built from a board: what can fail, how it shows, and where its weight comes from."""

from __future__ import annotations

import pytest

from coppermend.board.atrisk import Touch, TouchedNet, TouchedPart
from coppermend.board.kinds import kind_of
from coppermend.board.model import PinRef
from coppermend.board.parttypes import standard_library
from coppermend.isolate.faultlist import faults_of
from coppermend.isolate.faults import Faults, Unit
from coppermend.isolate.graph import SignalGraph
from coppermend.isolate.isolation import Isolation
from coppermend.isolate.priors import Knowledge, damage_factor, rate_of, rate_of_class
from coppermend.isolate.states import Mode

from .conftest import board_of, chain


def _faults(board, known: Knowledge | None = None) -> Faults:
    return faults_of(SignalGraph(board, standard_library()), known or Knowledge())


def test_an_inverter_can_fail_in_every_usual_way() -> None:
    """Dead, its output stuck high, low or open, its input shorted, and the copper at each pin open."""
    found = {(f.unit, f.what) for f in _faults(chain(2)) if f.unit.name in ("U2", "N1")}

    assert found == {
        (Unit("part", "U2"), "dead"), (Unit("part", "U2"), "input U2.1 shorted"),
        (Unit("part", "U2"), "output U2.2 stuck high"), (Unit("part", "U2"), "output U2.2 stuck low"),
        (Unit("part", "U2"), "output U2.2 open"), (Unit("net", "N1"), "open at U1.2"),
        (Unit("net", "N1"), "open at U2.1"),
    }  # fmt: skip


def test_an_open_track_floats_only_what_lies_behind_it() -> None:
    """Cut off at its reader, a net stays good while the reader's pin floats; cut off at its driver, it floats."""
    at_reader, at_driver = (
        next(f for f in _faults(chain(2)) if f.what == f"open at {pin}") for pin in ("U2.1", "U1.2")
    )

    assert not at_reader.starts and at_reader.pin_mode is Mode.FLOATING and at_reader.opens
    assert [mode for _, mode in at_driver.starts] == [Mode.FLOATING] and at_driver.pin_mode is Mode.NONE


def test_a_part_weighs_as_its_ways_of_failing_together() -> None:
    """The faults of a CPU share its published rate (0.048 per 1e6 h, times 10 for a commercial part)."""
    board = board_of(
        {"CLK": "J1.1 U1.37", "A0": "U1.9 J1.2", "+5V": "U1.8", "GND": "U1.1"}, {"U1": "6502", "J1": "header"}
    )

    weight = sum(f.weight for f in _faults(board) if f.unit == ("part", "U1"))

    assert weight == pytest.approx(
        0.48 * 0.92
    )  # 0.08 are faults of a store's content: it has no data pin on a net


def test_published_rates_keep_their_ratios() -> None:
    """CPU to ceramic capacitor 13.3, aluminium electrolytic 6.67 (MIL-HDBK-217F Notice 2, ground benign)."""
    ceramic = rate_of_class("ceramic").per_million_h

    assert rate_of_class("cpu_8bit").per_million_h / ceramic == pytest.approx(13.3, abs=0.05)
    assert rate_of_class("electrolytic").per_million_h / ceramic == pytest.approx(6.67, abs=0.005)


def test_every_failure_class_of_the_library_has_a_rate() -> None:
    """No part type names a class that the table lacks, and every kind of part has one."""
    for kind in standard_library().types.values():
        if kind.failure_class:
            assert rate_of_class(kind.failure_class).weight > 0, kind.name


def test_a_part_of_unknown_type_is_weighed_by_its_kind() -> None:
    """C1 without a type is a ceramic capacitor, by its letter."""
    part = board_of({"N": "C1.1"}, {"C1": ""}).parts[0]

    assert kind_of(part, standard_library()) == "capacitor"
    assert rate_of(part, standard_library()).per_million_h == pytest.approx(0.0036)


def test_damage_multiplies_ten_to_a_hundredfold() -> None:
    """The worst damage counts a hundredfold, none not at all (common practice, no source)."""
    assert [damage_factor(s) for s in (0.0, 0.5, 1.0)] == [1.0, 55.0, 100.0]


def test_damage_history_and_rework_raise_a_weight() -> None:
    """A damaged part that came back before and was just worked on is suspected first."""
    touch = Touch(parts=(TouchedPart("U2", "7404", "logic", 1.0, 0.5, ()),))
    known = Knowledge(touch, {"U2": 1}, ("U2",))

    assert known.factor("U2") == 100.0 * 4.0 * 4.0 and known.factor("U1") == 1.0 and len(known.why("U2")) == 3


def test_damaged_copper_is_suspected_before_sound_parts() -> None:
    """On a chain whose net N2 lies in heavy damage that net comes first among the nets."""
    touch = Touch(nets=(TouchedNet("N2", "signal", "", (), 1.0, 2, 0, 1),))

    search = Isolation(chain(3), touch=touch)

    nets = [s.name for s in search.suspects() if s.kind == "net"]
    assert (
        nets[0] == "N2"
        and "damage" in search.suspects()[[s.name for s in search.suspects()].index("N2")].reasons[0]
    )


def test_sockets_shorts_and_rails_are_units_of_their_own(demo: Isolation) -> None:
    """The demo board offers contacts of sockets, neighbours that touch, and rails; a ROM's content too."""
    units, whats = set(demo.effects.units.units), {f.what for f in demo.effects.faults}

    assert {Unit("socket", "U2"), Unit("rail", "+5V"), Unit("part", "C1")} <= units
    assert any(unit.kind == "short" for unit in units) and "content wrong" in whats


def test_a_matrix_diode_is_a_fault_of_its_own(demo: Isolation) -> None:
    """The diode of a strobe can be open: its column alone is gone."""
    found = [f for f in demo.effects.faults if f.unit == ("part", "D11")]

    assert any(f.what.startswith("open") for f in found)


def test_parts_that_share_a_refdes_and_parts_not_listed_are_left_out() -> None:
    """Two parts called U1 cannot be told apart, and X is on nets only: neither gives a fault of a part."""
    board = board_of({"A": "X.1 U1.1", "B": "U1.2 X.2"}, {"U1": "7404"})
    twice = board.__class__(**{**board.__dict__, "parts": (*board.parts, board.parts[0])})

    assert not [f for f in _faults(twice) if f.unit.kind == "part"]


def test_faults_are_made_when_looked_at_and_stand_in_a_row(demo: Isolation) -> None:
    """A fault is the same whether it is asked for by number, from the end or in a slice; beyond the end there is none."""
    faults = demo.effects.faults

    assert faults[-1] is faults[len(faults) - 1] and faults[2:4] == (faults[2], faults[3])
    assert [f.weight for f in faults] == faults.weight.tolist()
    with pytest.raises(IndexError):
        faults[len(faults)]


def test_columns_say_what_the_faults_say(demo: Isolation) -> None:
    """Where each fault begins, the pin it sits at, its unit and its flags are the same in columns and one by one."""
    effects = demo.effects
    faults, pins, first = effects.faults, effects.faults.pins, effects.faults.first.tolist()

    for k, fault in enumerate(faults):
        assert tuple(map(tuple, faults.starts[first[k] : first[k + 1], 1:].tolist())) == fault.starts
        assert (pins.refs[faults.pin[k]] if faults.pin[k] >= 0 else None) == fault.pin
        assert effects.units.unit(effects.unit_of_fault[k]) == fault.unit
        assert (bool(faults.opens[k]), bool(faults.grounds[k]), bool(faults.carries[k])) == (
            fault.opens, fault.grounds, bool(fault.carries),
        )  # fmt: skip
    at = next(fault.pin for fault in faults if fault.pin)
    assert [k for k, fault in enumerate(faults) if fault.pin == at] == faults.at(at)
    assert faults.at(None) == [] and faults.at(PinRef("nobody", "1")) == []


def test_only_neighbouring_pins_with_plain_numbers_touch() -> None:
    """Pins 1, 2 and 3 touch in a row; A2, a number of twenty digits and one beyond a gap touch nothing."""
    pins = {"A": "1", "B": "2", "C": "3", "D": "5", "E": "A2", "F": "9" * 20}
    nets = {net: f"U1.{number} J1.{k}" for k, (net, number) in enumerate(pins.items(), 20)}
    board = board_of(
        {net: ends if net != "C" else "U1.3" for net, ends in nets.items()}, {"U1": "", "J1": ""}
    )

    found = {f.unit.name: f.what for f in _faults(board) if f.unit.kind == "short" and "U1" in f.what}

    assert found == {"A + B": "touch at U1"}


def test_a_short_is_named_as_one_counts() -> None:
    """A2 comes before A10 in the name of a short, whatever the order of their letters."""
    nets = {"A10": "U1.1 J1.1", "A2": "U1.2 J1.5", "Z": "U1.3 J1.9"}

    found = [f.unit.name for f in _faults(board_of(nets, {"U1": "", "J1": ""})) if f.unit.kind == "short"]

    assert found == ["A2 + A10", "A2 + Z"]


def test_a_pin_named_on_two_nets_drives_only_the_first() -> None:
    """U1.2 stands on OUT and again on TWICE: the copper that may be open at it is that of OUT."""
    board = board_of(
        {"IN": "J1.1 U1.1", "OUT": "U1.2 J1.2", "TWICE": "J1.3 U1.2", "+5V": "U1.14", "GND": "U1.7"},
        {"U1": "7404", "J1": "header"},
    )
    graph = SignalGraph(board, standard_library())

    found = [f for f in faults_of(graph, Knowledge()) if f.what == "open at U1.2"]

    assert [(f.unit.name, [graph.nets[net] for net, _ in f.starts]) for f in found] == [("OUT", ["OUT"])]


def test_the_site_of_a_rail_is_found_by_its_net(demo: Isolation) -> None:
    """A rail's site has its name; a net that is no rail has none."""
    units, number = demo.effects.units, demo.effects.graph.number

    assert units.site(units.site_of_net("rail", number["+5V"])) == ("rail", "+5V")
    assert units.site_of_net("rail", number["A0"]) == -1
