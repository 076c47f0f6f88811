"""Remedies are found on the graph, computed for this board, and name what must be proven again."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from coppermend.board.model import Part, PinRef, Rail
from coppermend.board.subject import Subject
from coppermend.errors import InputError, UnknownName
from coppermend.rework.figures.retention import charge_time_s, hold_up_s
from coppermend.rework.remedies import choose, remedies
from coppermend.rework.renewal import rating_for_v


def offered(board, library, touch):
    return {remedy.id: remedy for remedy in remedies(board, library, touch)}


def check(remedy, start):
    return next(c for c in remedy.checks if c.name.startswith(start))


def without(board, *refdes, nets=None):
    """The board without some parts, and with some nets replaced."""
    kept = {n: tuple(p for p in pins if p.refdes not in refdes) for n, pins in board.nets.items()}
    kept |= {n: tuple(PinRef.parse(p) for p in pins.split()) for n, pins in (nets or {}).items()}
    return replace(
        board,
        parts=tuple(p for p in board.parts if p.refdes not in refdes),
        nets={n: p for n, p in kept.items() if p},
    )


def test_a_board_without_weak_sections_is_offered_nothing(board_of, library, touch_of):
    """Two resistors need no remedy."""
    board = board_of([Part("R1", "resistor"), Part("R2", "resistor")], {"A": "R1.1 R2.1", "B": "R1.2 R2.2"})

    assert remedies(board, library, touch_of()) == ()


def test_all_remedies_of_the_small_board_in_order(keep_board, library, touch_of):
    """Battery first, then reset, capacitors, sockets; one memory of 256x4 has no non-volatile twin."""
    found = [r.id for r in remedies(keep_board(), library, touch_of(pads=[("U2.1", 0.8)]))]

    assert found == [
        "supercapacitor-BT1",
        "coin-cell-BT1",
        "remote-pack-BT1",
        "reset-supervisor",
        "supply-capacitors",
        "turned-pin-sockets",
    ]


def test_hold_up_is_computed_from_the_worst_figures(keep_board, library, touch_of):
    """4.75 V less 0.32 V of a Schottky (BAT85), 10 µA of a 5101L and 2 µA of leakage down to 2 V: 1.5 F less 20 %."""
    found = check(offered(keep_board(), library, touch_of())["supercapacitor-BT1"], "hold-up")

    assert found.value == f"{hold_up_s(1.2, 4.43, 2.0, 12e-6) / 3600:.2f} h" == "67.50 h"
    assert found.ok
    assert "hours to days, not weeks" in found.note
    assert "Schottky" in found.note


def test_a_tenth_of_a_farad_holds_4_5_hours_in_the_worst_case():
    """Reference table: 0.08 F, 4.43 to 2.0 V at 12 µA, 16 200 s."""
    assert hold_up_s(0.08, 4.43, 2.0, 12e-6) / 3600 == pytest.approx(4.5)


def test_a_hungry_memory_fails_the_wanted_hours_without_ruling_the_remedy_out(keep_board, library, touch_of):
    """A standard-grade 5101 at 200 µA empties the largest capacitor in hours: said, not hidden."""
    remedy = offered(keep_board(U2v=""), library, touch_of())["supercapacitor-BT1"]

    assert not check(remedy, "hold-up").ok
    assert check(remedy, "hold-up").must is False
    assert remedy.ok


def test_silicon_diode_costs_more_drop_and_hardly_any_leakage(keep_board, library, touch_of):
    """With a small-signal silicon diode the load is the memory's alone."""
    found = check(offered(keep_board(D1="diode"), library, touch_of())["supercapacitor-BT1"], "hold-up")

    assert "Schottky" not in found.note
    assert "4.15 to 2.00 V" in found.source


def test_charge_path_and_time_are_those_of_this_board(keep_board, library, touch_of):
    """D1 and R1 charge it; 100 Ω and 75 Ω of the capacitor, as in the reference example."""
    remedy = offered(keep_board(), library, touch_of())["supercapacitor-BT1"]

    assert check(remedy, "charge path").value == "D1, R1, 100 Ω"
    assert f"{charge_time_s(175, 1.5) / 60:.0f} minutes" in check(remedy, "peak").note
    assert check(remedy, "peak").value == "30 mA"
    assert check(remedy, "heat").value == "0.090 W"


def test_reversed_diode_leaves_no_charge_path_and_empties_the_capacitor(keep_board, library, touch_of):
    """Both checks fail, and the remedy with them."""
    nets = {"+5V": "U1.8 D1.1 R2.1 R3.1 C2.1", "VKEEP": "D1.2 R1.1 U2.22"}
    remedy = offered(without(keep_board(), nets=nets), library, touch_of())["supercapacitor-BT1"]

    assert not check(remedy, "charge path").ok
    assert check(remedy, "no discharge").value == "D1 conduct back"
    assert not remedy.ok


def test_resistor_straight_to_the_rail_is_named_as_a_leak(keep_board, library, touch_of):
    """A charge resistor without a diode discharges into the dead rail."""
    board = keep_board()
    board = replace(
        board,
        parts=(*board.parts, Part("R9", "resistor", "1k")),
        nets={
            **board.nets,
            "+5V": (*board.nets["+5V"], PinRef("R9", "1")),
            "BATT": (*board.nets["BATT"], PinRef("R9", "2")),
        },
    )

    assert (
        check(offered(board, library, touch_of())["supercapacitor-BT1"], "no discharge").value
        == "R9 conduct back"
    )


def test_memory_without_retention_mode_fails(keep_board, library, touch_of):
    """NTE2114 data sheet: no retention mode."""
    board = keep_board(U2="2114", U2v="")
    board = without(board, nets={"VKEEP": "D1.1 R1.1 U2.18", "GND": "U1.1 U2.9 BT1.2 Q1.1 C1.2 C2.2"})

    found = check(offered(board, library, touch_of())["supercapacitor-BT1"], "memory holds")

    assert not found.ok
    assert "no retention mode" in found.note


def test_other_chips_on_the_kept_supply_are_named(keep_board, library, touch_of):
    """A CMOS gate on the kept rail draws current that no figure here knows."""
    board = keep_board()
    board = replace(
        board,
        parts=(*board.parts, Part("U9", "4011", package="DIP-14")),
        nets={**board.nets, "VKEEP": (*board.nets["VKEEP"], PinRef("U9", "14"))},
    )

    assert "U9 also hang" in check(offered(board, library, touch_of())["supercapacitor-BT1"], "hold-up").note


def test_feed_diode_raises_the_voltage_at_which_the_memory_forgets(keep_board, library, touch_of):
    """Fed only through a Schottky, the capacitor must stay 0.32 V above the memory's 2 V (BAT85 data sheet)."""
    nets = {
        "VKEEP": "D1.1 D7.1 U2.22",
        "BATT": "D7.2 R1.2 BT1.1",
        "CHARGE": "R1.1 D8.1",
        "+5V": "U1.8 D1.2 D8.2 R2.1 R3.1 C2.1",
    }
    board = keep_board()
    board = replace(board, parts=(*board.parts, Part("D7", "schottky"), Part("D8", "diode")))

    remedy = offered(without(board, nets=nets), library, touch_of())["supercapacitor-BT1"]

    assert "to 2.32 V" in check(remedy, "hold-up").source
    assert check(remedy, "charge path").value == "D8, R1, 100 Ω"


def test_power_schottky_is_counted_with_its_own_leakage(keep_board, library, touch_of):
    """1N5817 class, 1 mA at rated voltage (from memory): a trap that empties any small capacitor."""
    board = keep_board()
    board = replace(
        board, parts=tuple(replace(p, value="1N5817") if p.refdes == "D1" else p for p in board.parts)
    )

    found = check(offered(board, library, touch_of())["supercapacitor-BT1"], "hold-up")

    assert not found.ok
    assert "1N5817 class" in found.note


def test_two_charge_resistors_side_by_side_count_the_smaller(keep_board, library, touch_of):
    """The least resistance sets the peak current."""
    board = keep_board()
    board = replace(board, parts=(*board.parts, Part("R9", "resistor", "1k"), Part("R8", "resistor", "10")))
    nets = {"VKEEP": "D1.1 R1.1 U2.22 R9.1 R8.1", "BATT": "R1.2 BT1.1 R9.2", "DEAD": "R8.2"}

    assert (
        check(
            offered(without(board, nets=nets), library, touch_of())["supercapacitor-BT1"], "charge path"
        ).value
        == "D1, R1, 100 Ω"
    )


def test_changes_are_the_cell_and_the_kept_nets(keep_board, library, touch_of):
    """What must be proven again."""
    remedy = offered(keep_board(), library, touch_of())["supercapacitor-BT1"]

    assert remedy.changes == {Subject("part", "BT1"), Subject("net", "BATT"), Subject("net", "VKEEP")}


@pytest.mark.parametrize(
    "nets",
    [
        {"VKEEP": "D1.1 R1.1"},  # no memory on the kept net
        {"BATT": "R1.2", "GND": "U1.1 U2.8 Q1.1 C1.2 C2.2"},  # battery on no net
        {
            "+5V": "D1.2 R2.1 R3.1 C2.1",
            "VKEEP": "D1.1 R1.1",
            "BATT": "R1.2 BT1.1 U2.22",
        },  # no other rail feeds a chip
    ],
)
def test_battery_that_keeps_nothing_gets_no_supercapacitor(keep_board, library, touch_of, nets):
    """Without memory, connection or charging rail there is nothing to replace."""
    board = replace(without(keep_board(), nets=nets), rails=())

    assert "supercapacitor-BT1" not in offered(board, library, touch_of())


def test_plus_pole_of_an_unknown_battery_is_the_pin_off_ground(keep_board, library, touch_of):
    """A battery type that the library does not know still has one pole on ground."""
    board = keep_board()
    board = replace(
        board, parts=tuple(replace(p, type="mystery") if p.refdes == "BT1" else p for p in board.parts)
    )

    assert "supercapacitor-BT1" in offered(board, library, touch_of())


def test_unreadable_resistor_counts_as_no_resistance(keep_board, library, touch_of):
    """Worst case for the peak current: only the capacitor's own 75 Ω."""
    remedy = offered(keep_board(R1v="?"), library, touch_of())["supercapacitor-BT1"]

    assert check(remedy, "peak").value == "70 mA"


@pytest.fixture
def big_memory(keep_board):
    """The small board with an 8Kx8 memory; ``select`` is the net at its enable."""

    def make(select):
        nets = {
            "VKEEP": "D1.1 R1.1 U2.28", "A0": "U1.9 U2.10 U5.1", "D0": "U1.33 U2.11",
            "GND": "U1.1 U2.14 BT1.2 Q1.1 C1.2 C2.2 U5.7", "R/W": "U1.34",
            "PHI2": "U1.39 U5.2", "+5V": "U1.8 D1.2 R2.1 R3.1 C2.1 U5.14", **select,
        }  # fmt: skip
        board = keep_board(U2="6264", U2v="6264LP")
        board = replace(board, parts=(*board.parts, Part("U5", "7400", package="DIP-14")))
        return without(board, nets=nets)

    return make


def test_ferroelectric_memory_behind_a_clocked_decode_is_fine(big_memory, library, touch_of):
    """A NAND of address and PHI2 lets the enable fall at every access (FM1608 data sheets)."""
    remedy = offered(big_memory({"/SEL": "U5.3 U2.20"}), library, touch_of())["nonvolatile-ram-BT1"]

    assert check(remedy, "enable of U2").ok
    assert remedy.ok
    assert remedy.excludes == ("supercapacitor-BT1", "coin-cell-BT1", "remote-pack-BT1")


def test_ferroelectric_memory_behind_a_static_decode_fails(big_memory, library, touch_of):
    """The trap: an enable straight from an address line does not re-latch the address."""
    nets = {"A0": "U1.9 U2.10 U2.20 U5.1"}
    remedy = offered(big_memory(nets), library, touch_of())["nonvolatile-ram-BT1"]

    assert check(remedy, "enable of U2").value == "static decode"
    assert not remedy.ok


def test_unblocked_writes_at_power_down_are_a_warning(big_memory, library, touch_of):
    """FM1608 data sheet: the part does not block them; a supervisor does."""
    board = big_memory({"/SEL": "U5.3 U2.20"})
    bare = check(offered(board, library, touch_of())["nonvolatile-ram-BT1"], "writes to U2")
    guarded = replace(board, parts=(*board.parts, Part("U7", "supervisor-low")))

    assert (bare.ok, bare.must) == (False, False)
    assert check(offered(guarded, library, touch_of())["nonvolatile-ram-BT1"], "writes to U2").ok


def test_two_kilobyte_memory_needs_no_clocked_enable(keep_board, library, touch_of):
    """The 24-pin non-volatile part is no ferroelectric one."""
    remedy = offered(keep_board(U2v="6116"), library, touch_of())["nonvolatile-ram-BT1"]

    assert [c.name for c in remedy.checks] == ["writes to U2 blocked while the supply falls"]


def test_supervisor_replaces_the_discrete_reset_and_nothing_else(keep_board, library, touch_of):
    """Transistor, base network and pull-up go; the charge resistor R1 and supply capacitor C2 stay."""
    remedy = offered(keep_board(), library, touch_of())["reset-supervisor"]

    assert remedy.parts_off == ("C1", "Q1", "R2", "R3")
    assert (remedy.parts_on[0].type, remedy.parts_on[0].refdes) == ("supervisor-low", ("U3",))
    assert Subject("net", "/RESET") in remedy.changes


def test_supervisor_checks_state_the_brown_out_gap(keep_board, library, touch_of):
    """The 4.63 V ±2.5 % grade fits a 5 % rail; from 4.51 to 4.75 V nothing is sure, which is said."""
    remedy = offered(keep_board(), library, touch_of())["reset-supervisor"]

    assert check(remedy, "a healthy rail").ok
    assert not check(remedy, "brown-out").ok
    assert "4.51 and 4.75 V is not caught" in check(remedy, "brown-out").note
    assert check(remedy, "reset lasts").limit == "0.002 ms"  # 2 cycles at 1 MHz, 65xx data sheets
    assert remedy.ok


def test_rail_that_no_grade_suits_fails_the_remedy(keep_board, library, touch_of):
    """A 3.3 V rail needs another part."""
    board = replace(keep_board(), rails=(Rail("+5V", 3.3, 0.05),))

    remedy = offered(board, library, touch_of())["reset-supervisor"]

    assert not remedy.ok
    assert check(remedy, "threshold").value == "no grade known"


def test_shared_reset_net_gets_an_open_drain_part(keep_board, library, touch_of):
    """A reset button on the same net must not fight a push-pull output."""
    board = keep_board()
    board = replace(
        board,
        parts=(*board.parts, Part("SW1", "pushbutton")),
        nets={
            **board.nets,
            "/RESET": (*board.nets["/RESET"], PinRef("SW1", "1")),
            "GND": (*board.nets["GND"], PinRef("SW1", "2")),
        },
    )

    assert (
        offered(board, library, touch_of())["reset-supervisor"].parts_on[0].type
        == "supervisor-open-drain-timed"
    )


def test_inverter_between_discretes_and_cpu_turns_the_polarity(keep_board, library, touch_of):
    """Behind an inverter the supervisor must be active high, on the inverter's input."""
    nets = {
        "/RESET": "U1.40 U6.2", "RIN": "U6.1 Q1.3 R2.2", "+5V": "U1.8 D1.2 R2.1 R3.1 C2.1 U6.14",
        "GND": "U1.1 U2.8 BT1.2 Q1.1 C1.2 C2.2 U6.7",
    }  # fmt: skip
    board = keep_board()
    board = without(replace(board, parts=(*board.parts, Part("U6", "7404"))), nets=nets)

    remedy = offered(board, library, touch_of())["reset-supervisor"]

    assert remedy.parts_on[0].type == "supervisor-high"
    assert "net RIN" in remedy.parts_on[0].note


def test_active_high_cpu_gets_an_active_high_supervisor(board_of, library, touch_of):
    """An 8080 is reset by a high level."""
    parts = [Part("U1", "8080"), Part("R1", "resistor", "10k"), Part("C1", "electrolytic", "10u")]
    board = board_of(parts, {"RES": "U1.12 R1.1 C1.2", "+5V": "U1.20 C1.1", "GND": "U1.2 R1.2"})

    assert offered(board, library, touch_of())["reset-supervisor"].parts_on[0].type == "supervisor-high"


@pytest.mark.parametrize(
    "reset",
    [
        {"/RESET": "U1.40 U8.3", "P": "U8.1 R2.2", "Q": "U8.2 Q1.3"},  # a gate of two inputs decides
        {"/RESET": "U1.40 R2.2"},  # one pull-up alone is no section
        {"/RESET": "U1.40 U6.2", "P": "U6.1 U6.4", "Q": "U6.3 U6.2"},  # inverters in a ring
        {"/RESET": "U1.40 U6.2", "+5V": "U1.8 D1.2 R2.1 R3.1 C2.1 U6.1"},  # tied to the rail
    ],
)
def test_reset_that_is_no_discrete_section_is_left_alone(keep_board, library, touch_of, reset):
    """Logic, a lone pull-up, a ring or a strap get no supervisor."""
    board = keep_board()
    board = replace(board, parts=(*board.parts, Part("U6", "7404"), Part("U8", "7400")))

    assert "reset-supervisor" not in offered(
        without(board, nets={"RB": "Q1.2 R3.2 C1.1", **reset}), library, touch_of()
    )


def test_board_with_a_supervisor_needs_no_second(keep_board, library, touch_of):
    """What is there already is not offered."""
    board = keep_board()
    board = replace(board, parts=(*board.parts, Part("U7", "supervisor-low")))

    assert "reset-supervisor" not in offered(board, library, touch_of())


def test_cpu_without_reset_on_a_net_is_passed_over(keep_board, library, touch_of):
    """A reset pin that is joined to nothing is no section."""
    board = without(keep_board(), nets={"/RESET": "Q1.3 R2.2"})

    assert "reset-supervisor" not in offered(board, library, touch_of())


def test_part_shared_with_another_section_stays(keep_board, library, touch_of):
    """A resistor whose far net feeds a chip is no part of the reset section."""
    board = keep_board()
    nets = {"RB": "Q1.2 R3.2 C1.1 R8.1", "WATCH": "R8.2 U1.34"}
    board = without(
        replace(board, parts=(*board.parts, Part("R8", "resistor", "1k"))), nets={**nets, "R/W": "U2.20"}
    )

    remedy = offered(board, library, touch_of()).get("reset-supervisor")

    assert remedy is None or "R8" not in remedy.parts_off


def test_supply_capacitor_gets_a_rating_for_its_rail(keep_board, library, touch_of):
    """5.25 V with half as much again in hand is the 10 V step of the usual series."""
    remedy = offered(keep_board(), library, touch_of())["supply-capacitors"]

    assert remedy.parts_off == ("C2",)
    assert remedy.parts_on[0].note.startswith("10 V, 105 °C")
    assert check(remedy, "rating of C2").ok


def test_fitted_rating_is_never_lowered_and_checked(keep_board, library, touch_of):
    """A stated 16 V stays; a stated 3 V on a 5 V rail fails and the new part is rated right."""
    good = offered(keep_board(C2v="100u/16V"), library, touch_of())["supply-capacitors"]
    bad = offered(keep_board(C2v="100u 3V"), library, touch_of())["supply-capacitors"]

    assert (good.parts_on[0].value, good.parts_on[0].note[:4]) == ("100u", "16 V")
    assert not check(bad, "rating of C2").ok
    assert bad.parts_on[0].note.startswith("10 V")


def test_undeclared_rail_keeps_the_old_rating(keep_board, library, touch_of):
    """Without volts there is no check, and the kit says so."""
    remedy = offered(replace(keep_board(), rails=()), library, touch_of())["supply-capacitors"]

    assert remedy.checks == ()
    assert "rated as the old one" in remedy.parts_on[0].note


def test_hazardous_rail_brings_its_caution(keep_board, library, touch_of):
    """Above 60 V dc (IEC 62368-1 ES1, from memory) the display supply caution is shown; beyond the series it fails."""
    board = replace(keep_board(), rails=(Rail("+5V", 500.0, 0.05),))
    remedy = offered(board, library, touch_of())["supply-capacitors"]

    assert "display supply" in {c.code for c in remedy.cautions}
    assert check(remedy, "rating of C2").value == "none in the series"


def test_rating_beyond_the_series_is_none():
    """IEC 60384-4 series end at 450 V (from memory)."""
    assert rating_for_v(301.0) is None


def test_socket_check_compares_outline_and_pads(keep_board, library, touch_of):
    """22 leads of the outline against the pads of the part."""
    remedy = offered(keep_board(), library, touch_of(pads=[("U2.1", 0.8)]))["turned-pin-sockets"]

    found = check(remedy, "pins of XU2")
    assert found.ok
    assert found.value == "DIP-22-400: 22"
    assert {line.refdes for line in remedy.parts_on} == {("XU2",)}


def test_several_eproms_are_offered_one_larger_as_a_note(board_of, library, touch_of):
    """Two of 2048 bytes fit a 2732 of 4096."""
    board = board_of([Part("U1", "2716"), Part("U2", "2716")], {"A": "U1.8 U2.8"})

    remedy = offered(board, library, touch_of())["larger-eprom"]

    assert remedy.note_only
    assert "one 2732" in remedy.why


def test_too_many_eproms_for_any_device_are_left(board_of, library, touch_of):
    """33 of 2048 bytes exceed the largest device known, 65536 bytes."""
    parts = [Part(f"U{n}", "2716") for n in range(1, 34)]
    board = board_of(parts, {"A": " ".join(f"{p.refdes}.8" for p in parts)})

    assert "larger-eprom" not in offered(board, library, touch_of())


def test_choosing_keeps_the_order_of_the_offer(keep_board, library, touch_of):
    """Chosen remedies come back as they were offered."""
    all_of = remedies(keep_board(), library, touch_of())

    assert [r.id for r in choose(all_of, ["supply-capacitors", "supercapacitor-BT1"])] == [
        "supercapacitor-BT1",
        "supply-capacitors",
    ]


def test_choosing_what_was_not_offered_is_refused(keep_board, library, touch_of):
    """The error names the id and what there is."""
    with pytest.raises(UnknownName) as caught:
        choose(remedies(keep_board(), library, touch_of()), ["gold-plating"])

    assert caught.value.name == "gold-plating"
    assert "reset-supervisor" in caught.value.hint


def test_choosing_both_battery_remedies_is_refused(keep_board, library, touch_of):
    """They exclude each other."""
    all_of = remedies(keep_board(U2v="6116"), library, touch_of())

    with pytest.raises(InputError) as caught:
        choose(all_of, ["supercapacitor-BT1", "nonvolatile-ram-BT1"])

    assert "exclude each other" in caught.value.found


def test_choosing_a_note_is_refused(board_of, library, touch_of):
    """A note has no parts to fit."""
    board = board_of([Part("U1", "2716"), Part("U2", "2716")], {"A": "U1.8 U2.8"})

    with pytest.raises(InputError) as caught:
        choose(remedies(board, library, touch_of()), ["larger-eprom"])

    assert caught.value.found == "remedy larger-eprom is only a note"


def test_every_check_names_value_limit_and_source(keep_board, library, touch_of):
    """No figure without a passport, and the document is plain JSON."""
    for remedy in remedies(keep_board(), library, touch_of(pads=[("U2.1", 0.8)])):
        assert all(c.value and c.limit and c.source for c in remedy.checks)
        assert json.loads(json.dumps(remedy.to_json()))["ok"] is remedy.ok
