"""Proofs come from the graph: each exercises its own cone, and no more than it can show."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from coppermend.board.model import Board, Matrix, MatrixPosition, Rail
from coppermend.board.subject import Subject, net_subject, part_subject
from coppermend.proving.closures import needed_closures
from coppermend.proving.concerns import concerns_from
from coppermend.proving.gate import gate
from coppermend.proving.powerup import power_up_allowed
from coppermend.proving.proofs import net_points, power_facts, proofs_for, unprovable
from coppermend.proving.records import ENOUGH, Evidence


def by_id(board, library):
    return {proof.id: proof for proof in proofs_for(board, library)}


def names(proof, kind):
    return {s.name for s in proof.exercises if s.kind == kind}


def test_board_without_nets_has_no_proofs(library):
    """Nothing is known, so nothing is promised."""
    assert proofs_for(Board("bare", 10, 10), library) == ()


def test_proofs_run_from_safety_to_what_is_left(machine_board, library):
    """The order is the order in which a board comes to life."""
    kinds = list(dict.fromkeys(p.id.partition(":")[0] for p in proofs_for(machine_board(), library)))

    assert kinds == [
        "discharge", "resistance", "rail", "ripple", "retention", "clock", "reset", "program", "ram", "peripheral",
        "interrupt", "lamp", "closure", "switch", "attract", "connector",
    ]  # fmt: skip


def test_resistance_to_ground_alone_proves_nothing(machine_board, library):
    """It keeps a short from the supply; it does not show that the rail works."""
    assert by_id(machine_board(), library)["resistance:+5V"].strength < ENOUGH


def test_rail_proof_states_the_window_and_reaches_back_to_the_plug(machine_board, library):
    """5 V within 5 % is 4.75 to 5.25 V; regulator, fuse and supply plug are on the way."""
    rail = by_id(machine_board(), library)["rail:+5V"]

    assert "4.75 V to 5.25 V" in rail.how
    assert names(rail, "part") == {"VR1", "F1", "J1"}
    assert names(rail, "net") == {"+5V", "RAW", "INLET", "GND"}


def test_ripple_proof_exercises_the_capacitors(machine_board, library):
    """1 % of 5 V is 50 mV (common practice, no source)."""
    ripple = by_id(machine_board(), library)["ripple:+5V"]

    assert "50 mV" in ripple.how
    assert names(ripple, "part") == {"C1", "C2"}


def test_undeclared_rail_refers_to_the_schematic(machine_board, library):
    """Without volts no window is invented."""
    rail = by_id(machine_board(rails=()), library)["rail:+5V"]

    assert "the voltage on the schematic" in rail.how


def test_high_rail_is_measured_in_the_machine_with_its_caution(machine_board, library):
    """Above 60 V dc the display supply caution is shown (IEC 62368-1 ES1, from memory)."""
    rail = by_id(machine_board(rails=(Rail("+5V", 170.0, 0.1),)), library)["rail:+5V"]

    assert rail.setup == "machine"
    assert "display supply" in {c.code for c in rail.cautions}


def test_adjustable_regulator_brings_the_parts_that_set_it(machine_board, library):
    """The divider of an adjustable regulator decides its output."""
    board = machine_board(
        {"VR1": "LM317", "R8": "resistor", "R9": "resistor"},
        {
            "RAW": "VR1.3 F1.2", "ADJ": "VR1.1 R8.1 R9.1",
            "+5V": "U1.8 U2.24 U4.14 U5.20 U6.20 X1.14 VR1.2 C1.1 C2.1 D1.2 R2.1 R3.1 R4.1 R8.2",
            "GND": "U1.1 U2.12 U3.12 U4.7 U5.10 U6.1 X1.7 C1.2 C2.2 C3.2 BT1.2 Q1.1 Q2.1 J1.2 SW1.2 U5.1 R9.2",
        },
    )  # fmt: skip

    assert {"VR1", "R8", "R9"} <= names(by_id(board, library)["rail:+5V"], "part")


def test_retention_exercises_what_hangs_between_cell_and_memory(machine_board, library):
    """Battery, charge resistor and blocking diode, and the two kept nets."""
    kept = by_id(machine_board(), library)["retention:BT1"]

    assert (names(kept, "part"), names(kept, "net")) == ({"BT1", "R1", "D1"}, {"BATT", "VKEEP"})


def test_battery_that_keeps_nothing_is_only_measured(machine_board, library):
    """No memory, no retention test."""
    proofs = by_id(machine_board(nets={"VKEEP": "D1.1 R1.1", "+5V": "U1.8 D1.2 U3.24"}), library)

    assert "retention:BT1" not in proofs
    assert "value:BT1" in proofs


def test_clock_proof_names_the_frequency_and_its_source(machine_board, library):
    """1 MHz from the oscillator to the CPU."""
    clock = by_id(machine_board(), library)["clock:CLK"]

    assert "1 MHz" in clock.how
    assert "X1" in names(clock, "part")


def test_reset_proof_takes_in_the_timing_parts(machine_board, library):
    """Pull-up and capacitor set the time, the button pulls the same net."""
    assert {"R2", "C3"} <= names(by_id(machine_board(), library)["reset:/RES"], "part")


def test_reset_nodes_are_part_of_the_proof_of_the_final_net(machine_board, library):
    """A transistor's base network has no proof of its own."""
    board = machine_board(
        {"Q7": "npn", "R7": "resistor"},
        {
            "/RES": "U1.40 U6.34 R2.2 C3.1 SW1.1 Q7.3",
            "RESB": "Q7.2 R7.1",
            "GND": "U1.1 Q7.1 C3.2 SW1.2",
            "+5V": "U1.8 R2.1 R7.2",
        },
    )

    assert {"Q7", "R7"} <= names(by_id(board, library)["reset:/RES"], "part")


def test_program_start_exercises_cpu_rom_decoding_and_straps(machine_board, library):
    """Address, data, select, clock, reset and the strapped input; not the lamp latch."""
    program = by_id(machine_board(), library)["program"]

    assert {"U1", "U2", "R4"} <= names(program, "part")
    assert {"U4.1", "U4.2"} <= names(program, "point")
    assert "U5" not in names(program, "part")


def test_program_start_does_not_claim_interrupt_sources(machine_board, library):
    """A program that runs shows only that the interrupt is not stuck."""
    assert "U6.38" not in names(by_id(machine_board(), library)["program"], "point")


def test_shared_bus_net_is_proven_only_by_all_its_chips_together(machine_board, library):
    """Program start alone does not show that D0 reaches the memory and the latch."""
    board = machine_board()
    proofs = proofs_for(board, library)
    concerns = concerns_from(_touched("D0"))
    needed = net_points(board, library)

    alone = gate(concerns, proofs, {"program": Evidence("program", True)}, net_points=needed)
    ids = ["program", "ram:U3", "peripheral:U6", "lamp:LAMP0"]
    together = gate(concerns, proofs, {i: Evidence(i, True) for i in ids}, net_points=needed)

    assert not alone.passed
    assert together.passed


def _touched(net):
    from coppermend.board.atrisk import Touch, TouchedNet

    return Touch(nets=(TouchedNet(net, "data", "", (), 0.8, 1, 0, 0),))


def test_lamp_proof_runs_from_the_plug_back_to_the_bus(machine_board, library):
    """Transistor, base resistor and latch are exercised; the lamp is called what the machine calls it."""
    lamp = by_id(machine_board(), library)["lamp:LAMP0"]

    assert lamp.title == "game over (J2.1) lights alone"
    assert {"Q1", "R5", "U5"} <= names(lamp, "part")
    assert "J2.1" in names(lamp, "point")


def test_solenoid_proof_carries_its_cautions(machine_board, library):
    """A coil is pulsed, never held, and the cautions are shown."""
    from coppermend.board.model import Connector

    board = machine_board(connectors=(Connector("J2", "coils", "solenoid", {"2": "knocker"}),))
    coil = by_id(board, library)["solenoid:COIL0"]

    assert {"solenoid", "moving parts"} <= {c.code for c in coil.cautions}
    assert coil.setup == "machine"


def test_display_is_proven_per_plug(machine_board, library):
    """One test pattern serves every display pin of a plug."""
    from coppermend.board.model import Connector

    board = machine_board(connectors=(Connector("J2", "display", "display"),))
    display = by_id(board, library)["display:J2"]

    assert {"LAMP0", "COIL0"} <= names(display, "net")


def test_closure_exercises_strobe_return_and_diode(machine_board, library):
    """One closure shows both lines, the diode and the plug."""
    closure = by_id(machine_board(), library)["closure:STROBE0J/RETURN0"]

    assert closure.title == "start is read when closed"
    assert {"D9", "J3"} <= names(closure, "part")
    assert {"STROBE0J", "RETURN0"} <= names(closure, "net")


def test_undeclared_positions_let_every_strobe_meet_every_return(machine_board, library):
    """Lines without positions still get a closure, titled by what they do."""
    board = machine_board(matrix=Matrix(("STROBE0J",), ("RETURN0",)))

    assert "strobe" in by_id(board, library)["closure:STROBE0J/RETURN0"].title


def test_matrix_lines_off_this_board_give_a_closure_without_copper(machine_board, library):
    """A declared line that is no net here exercises nothing and is left out."""
    board = machine_board(matrix=Matrix(("S",), ("T",), (MatrixPosition("S", "T", "ghost", "D77"),)))

    assert "closure:S/T" not in by_id(board, library)


@pytest.mark.parametrize(("strobes", "returns"), [(8, 8), (5, 8), (1, 4), (3, 3)])
def test_full_matrix_needs_as_many_closures_as_its_longer_side(strobes, returns):
    """Edge cover of a complete bipartite graph: |V| − maximum matching (Gallai) = max(m, n)."""
    positions = [MatrixPosition(f"S{s}", f"R{r}", "") for s in range(strobes) for r in range(returns)]

    assert len(needed_closures(positions)) == max(strobes, returns)


def test_every_diode_on_the_board_is_closed_once():
    """A diode shared by several positions needs one closure."""
    positions = [MatrixPosition("S0", f"R{r}", "", "D1" if r < 2 else "D2") for r in range(1)] + [
        MatrixPosition("S0", "R0", "again", "D2"),
        MatrixPosition("S0", "R0", "third", "D2"),
    ]

    assert [p.diode for p in needed_closures(positions)] == ["D1", "D2"]


def test_option_bank_and_loose_option_pins(machine_board, library):
    """A switch bank is one proof; an option line at a plug another."""
    from coppermend.board.model import Connector

    board = machine_board(
        {"SW2": "dip-switch-2", "J5": "connector"},
        {
            "OPT0": "SW2.1 U4.5",
            "OPT1": "SW2.2 U6.99",
            "GND": "U1.1 SW2.4 SW2.3",
            "DOOR": None,
            "OPTJ": "J5.1 U4.9",
        },
        connectors=(Connector("J5", "options", "option"),),
    )
    proofs = by_id(board, library)

    options = [i for i in proofs if i.startswith("option:")]
    assert "option:SW2" in options
    assert "SW2" in names(proofs["option:SW2"], "part")
    assert "option:OPTJ" in options


def test_led_and_button_on_the_board(machine_board, library):
    """An LED is seen to light, a button to act."""
    board = machine_board(
        {"LED1": "led", "R7": "resistor"},
        {"SPARE": "U4.6 J4.1 R7.1", "LEDA": "R7.2 LED1.2", "GND": "U1.1 LED1.1 SW1.2"},
    )
    proofs = by_id(board, library)

    assert {"LED1", "R7"} <= names(proofs["led:LED1"], "part")
    assert "SW1" in names(proofs["switch:SW1"], "part")


def test_dedicated_input_is_read_not_heard(machine_board, library):
    """A pin of a sound plug that the board only reads is an input."""
    from coppermend.board.model import Connector

    board = machine_board(connectors=(Connector("J4", "sound", "sound", {"1": "bell", "2": "door"}),))
    proofs = by_id(board, library)

    assert proofs["sound:SPARE"].title == "bell (J4.1) acts as asked"
    assert proofs["input:DOOR"].title == "door (J4.2) is read"


def test_machine_switch_at_a_plug_has_its_own_proof(machine_board, library):
    """A switch plug's pin off the matrix."""
    from coppermend.board.model import Connector

    board = machine_board(connectors=(Connector("J4", "switches", "switch"),))

    assert "input:DOOR" in by_id(board, library)


def test_leftover_pins_of_a_plug_are_probed(machine_board, library):
    """Outputs and inputs that no other proof reaches."""
    found = by_id(machine_board(), library)["connector:J4"]

    assert names(found, "net") == {"SPARE", "DOOR"}
    assert "(1, 2)" in found.how


def test_chip_with_an_idle_gate_is_compared_in_circuit(machine_board, library):
    """A gate that leads nowhere near a plug is still shown to work."""
    board = machine_board({"U9": "7404"}, {"AA": "U9.1 U9.4", "BB": "U9.2 U9.3"})

    assert "U9" in names(by_id(board, library)["chip:U9"], "part")


def test_passive_that_no_test_reaches_is_measured(machine_board, library):
    """A filter capacitor on a signal, with its value in the instruction."""
    board = machine_board({"C9": "capacitor"}, {"DOOR": "U4.5 J4.2 C9.1", "GND": "U1.1 C9.2"})
    board = replace(
        board, parts=tuple(replace(p, value="100n") if p.refdes == "C9" else p for p in board.parts)
    )

    assert "(100n)" in by_id(board, library)["value:C9"].how


def test_every_part_on_a_net_has_a_proof_when_its_type_is_known(machine_board, library):
    """On the whole small machine nothing is left out."""
    board = machine_board()

    assert unprovable(board, library, proofs_for(board, library)) == {}


def test_what_no_proof_can_reach_says_why(machine_board, library):
    """No pin, unknown type, single-pin net: each has its own reason."""
    board = machine_board(
        {"H1": "", "U9": "mystery", "W1": "link"}, {"AA": "U9.1 U9.2", "LONE": "U4.9", "W": "W1.1 W1.2"}
    )
    reasons = unprovable(board, library, proofs_for(board, library))

    assert reasons[part_subject("H1")] == "it has no pin on any net"
    assert reasons[part_subject("U9")].startswith("its type mystery is not in the part-type library")
    assert reasons[net_subject("LONE")] == "it joins nothing: it has a single pin"
    assert part_subject("W1") not in reasons


def test_supply_only_part_of_a_known_type_has_no_signal(machine_board, library):
    """A chip on supply alone."""
    board = machine_board({"U9": "7404"}, {"GND": "U1.1 U9.7"})

    assert (
        unprovable(board, library, proofs_for(board, library))[part_subject("U9")]
        == "no signal passes through it"
    )


def test_board_without_cpu_has_no_program_start(machine_board, library):
    """Nothing runs, nothing is promised to run."""
    board = machine_board()
    board = replace(board, parts=tuple(p for p in board.parts if p.refdes != "U1"))

    assert "program" not in by_id(board, library)


def test_unknown_memory_pins_are_not_claimed(machine_board, library):
    """A pin that the type does not list is passed over, as is an unlisted CPU pin."""
    board = machine_board(nets={"EXTRA": "U3.99 U1.98 U4.9"})

    assert "U3.99" not in names(by_id(board, library)["ram:U3"], "point")


def test_passing_everything_passes_the_gate_without_probes(machine_board, library):
    """All proofs passed prove every net and part of this board."""
    board = machine_board()
    proofs = proofs_for(board, library)
    concerns = concerns_from(
        _touched_all(board), strip_done=[p.refdes for p in board.parts], refit=[p.refdes for p in board.parts]
    )

    state = gate(
        concerns, proofs, {p.id: Evidence(p.id, True) for p in proofs}, net_points=net_points(board, library)
    )

    assert [str(item.subject) for item in state.open] == []


def _touched_all(board):
    from coppermend.board.atrisk import Touch, TouchedNet

    return Touch(nets=tuple(TouchedNet(n, "", "", (), 0.8, 1, 0, 0) for n in board.nets))


def test_power_facts_come_from_strip_and_evidence(machine_board, library):
    """Battery off, each rail's resistance and the discharge on record allow power; a failed one does not."""
    board = machine_board()
    ids = ["discharge", *(p for p in by_id(board, library) if p.startswith("resistance:"))]
    good = {i: Evidence(i, True) for i in ids}

    assert power_up_allowed(power_facts(board, library, ["BT1"], good)).allowed
    assert not power_up_allowed(power_facts(board, library, [], good)).allowed
    bad = {**good, "resistance:+5V": Evidence("resistance:+5V", False)}
    assert not power_up_allowed(power_facts(board, library, ["BT1"], bad)).allowed
    assert power_up_allowed(power_facts(board, library, ["BT1"], bad, {"+5V": 300.0})).allowed


def test_json_of_a_proof_is_plain(machine_board, library):
    """Exercises are listed by kind."""
    document = json.loads(json.dumps(by_id(machine_board(), library)["lamp:LAMP0"].to_json()))

    assert "Q1" in document["exercises"]["parts"]
    assert document["setup"] == "machine"


def test_every_proof_says_how_and_exercises_something(machine_board, library):
    """No empty instruction; only the discharge exercises nothing."""
    for proof in proofs_for(machine_board(), library):
        assert proof.how.endswith(".")
        assert proof.exercises or proof.id == "discharge"
        assert 0 <= proof.strength <= 1


def test_net_points_ask_for_no_supply_and_no_capacitor(machine_board, library):
    """A rail is proven as a rail; a filter capacitor carries no signal."""
    points = net_points(machine_board(), library)

    assert points["+5V"] == frozenset()
    assert points["/RES"] == {"U1.40", "U6.34", "R2.2", "SW1.1"}


def test_subject_points_are_written_as_everywhere(machine_board, library):
    """A point of a proof is REFDES.PIN."""
    assert Subject("point", "U5.11") in by_id(machine_board(), library)["lamp:LAMP0"].exercises
