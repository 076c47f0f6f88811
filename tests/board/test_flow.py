"""Cones follow signals through gates, series parts and buses, and stop at supplies and stores."""

from __future__ import annotations

import pytest

from coppermend.board.flow import Cone, Flow
from coppermend.board.model import Board, Part, PinRef
from coppermend.board.parttypes import PartLibrary, parse_part_types

LIBRARY = PartLibrary(
    parse_part_types(
        """
        ["cpu"]
        description = "CPU"
        kind = "cpu"
        pins = ["1 D0 bidi data", "2 A0 out address", "3 /RES in reset"]
        ["ram"]
        description = "RAM"
        kind = "ram"
        pins = ["1 D0 bidi data", "2 /CE in select"]
        ["inv"]
        description = "inverter"
        kind = "logic"
        pins = ["1 A in", "2 Y out", "3 A2 in", "4 Y2 out", "8 V power"]
        paths = ["1 > 2", "3 > 4"]
        ["latch"]
        description = "latch"
        kind = "logic"
        pins = ["1 D in", "2 CLK in", "3 Q out"]
        paths = ["1 2 > 3"]
        ["245"]
        description = "transceiver"
        kind = "logic"
        pins = ["1 DIR in", "2 A bidi", "3 B bidi"]
        paths = ["2 1 > 3", "3 1 > 2"]
        ["buffer"]
        description = "three-state buffer"
        kind = "logic"
        pins = ["1 A in", "2 /OE in", "3 Y out"]
        paths = ["1 2 > 3"]
        ["npn"]
        description = "transistor"
        kind = "transistor"
        pins = ["1 E passive", "2 B in", "3 C open-collector"]
        paths = ["2 1 > 3", "2 3 > 1"]
        ["r"]
        description = "resistor"
        kind = "resistor"
        pins = ["1 1 passive", "2 2 passive"]
        ["c"]
        description = "capacitor"
        kind = "capacitor"
        pins = ["1 1 passive", "2 2 passive"]
        ["bus"]
        description = "network"
        kind = "network"
        pins = ["1 COM passive", "2 R1 passive", "3 R2 passive"]
        paths = ["1 > 2 3"]
        ["bank"]
        description = "switch bank"
        kind = "switch"
        pins = ["1 1A passive", "2 2A passive", "3 2B passive", "4 1B passive"]
        paths = ["1 > 4", "4 > 1", "2 > 3", "3 > 2"]
        """
    )
)


def flow(parts: dict[str, str], nets: dict[str, str]) -> Flow:
    board = Board(
        "f",
        10,
        10,
        parts=tuple(Part(r, t) for r, t in parts.items()),
        nets={n: tuple(PinRef.parse(p) for p in pins.split()) for n, pins in nets.items()},
    )
    return Flow(board, LIBRARY, {"+5V", "GND"})


def pins(cone: Cone) -> set[str]:
    return {str(pin) for pin in cone.pins}


def test_upstream_goes_through_gates_to_the_cpu():
    """Output, input, and the CPU pin that drives it."""
    cone = flow({"U1": "cpu", "U2": "inv"}, {"A": "U1.2 U2.1", "B": "U2.2"}).upstream(["B"])

    assert pins(cone) == {"U2.2", "U2.1", "U1.2"}
    assert cone.nets == {"A", "B"}


def test_upstream_takes_only_the_gate_that_is_used():
    """The other inverter of the package is no part of the cone."""
    cone = flow({"U2": "inv"}, {"A": "U2.1", "B": "U2.2", "C": "U2.3", "D": "U2.4"}).upstream(["B"])

    assert pins(cone) == {"U2.2", "U2.1"}


def test_two_gates_of_one_package_in_a_row():
    """A gate may drive another of its own package."""
    cone = flow({"U2": "inv"}, {"A": "U2.1", "B": "U2.2 U2.3", "C": "U2.4"}).upstream(["C"])

    assert pins(cone) == {"U2.4", "U2.3", "U2.2", "U2.1"}


def test_pull_up_is_taken_in_and_the_rail_is_not():
    """The resistor belongs to the signal, the supply does not."""
    cone = flow(
        {"Q1": "npn", "R1": "r"}, {"OUT": "Q1.3 R1.1", "B": "Q1.2", "GND": "Q1.1", "+5V": "R1.2"}
    ).upstream(["OUT"])

    assert "R1" in cone.parts
    assert "+5V" not in cone.nets


def test_series_resistor_is_crossed_only_where_nothing_drives():
    """A driven net's series resistor leads away, not towards the source."""
    f = flow({"U2": "inv", "R1": "r"}, {"A": "U2.1", "B": "U2.2 R1.1", "PLUG": "R1.2"})

    assert "R1" in f.upstream(["PLUG"]).parts
    assert "R1" not in f.upstream(["B"]).parts


def test_capacitor_is_never_crossed():
    """It carries no level."""
    assert flow({"C1": "c"}, {"A": "C1.1", "B": "C1.2"}).upstream(["A"]).parts == frozenset()


def test_bus_is_followed_to_the_cpu_not_to_other_memories():
    """On a data net the CPU is the driver; the memory only stores."""
    cone = flow({"U1": "cpu", "U3": "ram", "U4": "latch"}, {"D": "U1.1 U3.1 U4.1", "Q": "U4.3"}).upstream(
        ["Q"]
    )

    assert pins(cone) == {"U4.3", "U4.1", "U1.1"}


def test_transceiver_is_crossed_to_the_far_side():
    """From the buffered bus to the CPU, with its direction input."""
    f = flow(
        {"U1": "cpu", "U2": "245", "U3": "ram", "U4": "latch", "U5": "buffer"},
        {"D": "U1.1 U2.2", "BD": "U2.3 U3.1 U4.1 U5.3", "Q": "U4.3", "DIR": "U2.1 U1.2"},
    )

    assert pins(f.upstream(["Q"])) == {"U4.3", "U4.1", "U2.3", "U2.2", "U2.1", "U1.1", "U1.2"}


def test_downstream_runs_through_a_buffer_and_follows_its_enable():
    """A switch is read over the bus; the buffer's enable must work as well."""
    f = flow(
        {"U1": "cpu", "U5": "buffer", "U2": "inv", "R1": "r"},
        {"PLUG": "R1.1", "IN": "R1.2 U5.1", "D": "U5.3 U1.1", "EN": "U2.2 U5.2", "A": "U1.2 U2.1"},
    )

    assert pins(f.downstream(["PLUG"])) == {
        "R1.1",
        "R1.2",
        "U5.1",
        "U5.3",
        "U1.1",
        "U5.2",
        "U2.2",
        "U2.1",
        "U1.2",
    }


def test_downstream_passes_transceiver_to_the_cpu():
    """Not into every chip of the buffered bus."""
    f = flow(
        {"U1": "cpu", "U2": "245", "U3": "ram", "U5": "buffer"},
        {"IN": "U5.1", "BD": "U5.3 U2.3 U3.1", "D": "U2.2 U1.1", "DIR": "U2.1"},
    )

    assert f.downstream(["IN"]).parts == {"U5", "U2", "U1"}


def test_paths_that_meet_again_are_walked_once():
    """Two inverters side by side between two nets, and a cross-coupled pair, come to an end."""
    f = flow({"U2": "inv"}, {"A": "U2.1 U2.3", "B": "U2.2 U2.4", "GND": "U2.8"})
    ring = flow({"U2": "inv"}, {"A": "U2.1 U2.4", "B": "U2.2 U2.3"})

    assert pins(f.upstream(["B", "A"])) == pins(f.downstream(["A", "B"])) == {"U2.1", "U2.2", "U2.3", "U2.4"}
    assert ring.upstream(["A"]).nets == ring.downstream(["A"]).nets == {"A", "B"}


def test_output_on_no_net_leads_nowhere():
    """A buffer whose output is open ends the cone."""
    assert pins(flow({"U5": "buffer"}, {"IN": "U5.1"}).downstream(["IN"])) == {"U5.1"}


def test_rails_and_unknown_nets_have_no_cone():
    """Nothing to follow."""
    f = flow({"U2": "inv"}, {"+5V": "U2.8", "A": "U2.1"})

    assert f.upstream(["+5V", "NOPE"]) == f.downstream(["+5V"]) == Cone()


def test_bussed_network_is_a_pull_up_of_each_pin():
    """Its common pin on the rail makes each other pin a pull-up."""
    f = flow({"RN1": "bus", "U2": "inv"}, {"A": "RN1.2 U2.1", "B": "RN1.3", "+5V": "RN1.1", "Y": "U2.2"})

    assert "RN1.2" in pins(f.upstream(["Y"]))
    assert f.across(PinRef("RN1", "1")) is None


def test_bank_of_switches_joins_pins_that_its_type_joins():
    """Position 1 leads from pin 1 to pin 4."""
    f = flow({"SW1": "bank"}, {"A": "SW1.1", "B": "SW1.2", "C": "SW1.3", "D": "SW1.4"})

    assert f.across(PinRef("SW1", "1")) == PinRef("SW1", "4")


def test_part_off_the_board_leads_nowhere():
    """A netlist may name a part that the parts list lacks."""
    f = flow({}, {"A": "X9.1 X9.2"})

    assert f.across(PinRef("X9", "1")) is None
    assert f.spec(PinRef("X9", "1")) is None
    assert f.drivers("A") == f.readers("A") == ()


@pytest.mark.parametrize(
    ("pin", "needed"),
    [
        ("U3.8", False),
        ("U2.1", True),
        ("U2.8", False),
        ("C1.1", False),
        ("U2.3", False),
        ("R1.1", True),
        ("U2.9", False),
    ],
)
def test_pins_that_a_proof_must_pass(pin, needed):
    """Supply pins, capacitors and pins alone on their net need none."""
    f = flow(
        {"U2": "inv", "C1": "c", "R1": "r"},
        {"A": "U2.1 C1.1 R1.1", "+5V": "U2.8 R1.2", "LONE": "U2.3", "GND": "C1.2"},
    )

    assert f.needs_proof(PinRef.parse(pin)) is needed


def test_cones_add_up():
    """Union of nets, parts and pins."""
    one = Cone(frozenset({"A"}), frozenset({"U1"}), frozenset({PinRef("U1", "1")}))

    assert (one | Cone(frozenset({"B"}))).nets == {"A", "B"}
