"""What goes back, what comes new, in soldering order, which way round, and the kit."""

from __future__ import annotations

import json

import pytest

from coppermend.board.model import Part
from coppermend.rework.refit import kit, polarity_words, refit_list
from coppermend.rework.remedies import choose, remedies
from coppermend.rework.strip import strip_list

HEAVY, MODERATE = 0.8, 0.5


@pytest.fixture
def job(keep_board, library, touch_of):
    """(board, strip, refit) of the small board after damage on some pads, with chosen remedies."""

    def make(pads, chosen=(), bad=()):
        board, touch = keep_board(), touch_of(pads=pads)
        picked = choose(remedies(board, library, touch), chosen)
        strip = strip_list(board, library, touch, picked)
        return board, strip, refit_list(board, library, strip, picked, bad)

    return make


def by_refdes(items):
    return {item.refdes: item for item in items}


def test_nothing_off_means_nothing_on(job):
    """An empty strip list gives an empty refit list and kit."""
    _, _, refit = job([])

    assert refit == ()
    assert kit(refit) == ()


def test_order_is_low_bodies_then_sockets_then_chips(job):
    """Lowest first, sockets before the chips that go into them."""
    _, _, refit = job([("R1.1", HEAVY), ("D1.1", HEAVY), ("U2.1", MODERATE)])

    assert [i.refdes for i in refit] == ["D1", "R1", "BT1", "XU2", "U2"]
    assert [i.order for i in refit] == [1, 2, 3, 4, 5]


def test_discarded_parts_come_new_and_tested_ones_go_back(job):
    """The fate decides the source."""
    items = by_refdes(job([("R1.1", HEAVY), ("U2.1", MODERATE)])[2])

    assert (items["R1"].source, items["U2"].source, items["XU2"].source) == ("new", "refit", "new")
    assert items["U2"].note == "goes back once it has passed its test"


def test_chip_that_failed_its_test_comes_new(job):
    """A recorded failure off the board puts it on the kit."""
    items = by_refdes(job([("U2.1", MODERATE)], bad=["U2"])[2])

    assert items["U2"].source == "new"
    assert items["U2"].note == "failed its test off the board"


def test_battery_never_goes_back_onto_the_board(job):
    """Without a remedy the new battery is to be fitted away from the board."""
    battery = by_refdes(job([("R1.1", HEAVY)])[2])["BT1"]

    assert battery.note.startswith("fit it away from the board")
    assert {"polarity", "primary cell"} <= {c.code for c in battery.cautions}


def test_chosen_supercapacitor_takes_the_place_of_the_battery(job):
    """On the battery's pads, plus where its plus was."""
    item = by_refdes(job([("R1.1", HEAVY)], ["supercapacitor-BT1"])[2])["BT1"]

    assert (item.type, item.value, item.remedy, item.part) == (
        "supercapacitor",
        "1.5 F",
        "supercapacitor-BT1",
        "BT1",
    )


def test_supervisor_comes_as_a_part_of_its_own(job):
    """The discrete parts stay away; the new part belongs to no old place and goes in with the chips."""
    _, strip, refit = job([], ["reset-supervisor"])

    assert {i.refdes for i in strip} == {"C1", "Q1", "R2", "R3"}
    assert [(i.refdes, i.part, i.package) for i in refit] == [("U3", "", "TO-92")]


def test_renewed_capacitors_and_turned_pin_sockets_stand_in_for_plain_ones(job):
    """A remedy's part replaces the plain new one of the same place, once."""
    _, _, refit = job([("U2.1", MODERATE)], ["turned-pin-sockets", "supply-capacitors"])

    items = by_refdes(refit)
    assert len(items) == len(refit)
    assert (items["XU2"].value, items["XU2"].part) == ("turned pin", "U2")
    assert items["C2"].note.startswith("10 V")
    assert items["XU2"].polarity.startswith("pin 1 at the upper left")


def test_kit_merges_equal_new_parts(job):
    """Two equal resistors are one line of two; parts that go back are not bought."""
    _, _, refit = job([("R2.1", HEAVY), ("R3.1", HEAVY), ("R1.1", HEAVY), ("U2.1", MODERATE)])

    lines = {(line.type, line.value): line for line in kit(refit)}
    assert lines["resistor", "10k"].refdes == ("R2",)
    assert ("5101", "5101L") not in lines
    assert lines["ic-socket", ""].quantity == 1


def test_kit_counts_pieces(board_of, library, touch_of):
    """Quantity is the number of places, in natural order."""
    parts = [Part(f"R{n}", "resistor", "1k", 10.0 * n, 10, package="AXIAL-10.16") for n in (10, 2)]
    board = board_of(parts, {"A": "R10.1 R2.1", "B": "R10.2 R2.2"})
    strip = strip_list(board, library, touch_of(pads=[("R10.1", HEAVY), ("R2.1", HEAVY)]))

    line = kit(refit_list(board, library, strip))[0]

    assert (line.quantity, line.refdes) == (2, ("R2", "R10"))
    assert line.to_json()["refdes"] == ["R2", "R10"]


@pytest.mark.parametrize(
    ("rotation", "words"),
    [
        (0, "stripe (cathode) to the left (D1.1, net A)"),
        (90, "stripe (cathode) to the bottom (D1.1, net A)"),
        (180, "stripe (cathode) to the right (D1.1, net A)"),
        (270, "stripe (cathode) to the top (D1.1, net A)"),
        (45, "stripe (cathode) to the bottom left (D1.1, net A)"),
    ],
)
def test_stripe_of_a_diode_is_told_as_seen(board_of, library, rotation, words):
    """The words turn with the part."""
    from coppermend.board.packages import with_package_pads

    part = Part("D1", "diode", "", 50, 50, rotation, package="AXIAL-7.62")
    board = with_package_pads(board_of([part], {"A": "D1.1", "B": "D1.2"}))

    assert polarity_words(board, library, part) == words


@pytest.mark.parametrize(
    ("part", "words"),
    [
        (Part("C1", "electrolytic"), "plus to C1.1, net A"),
        (Part("C9", "electrolytic"), "plus to C9.1"),
        (Part("R1", "resistor"), ""),
        (Part("E9", "mystery"), ""),
        (Part("L1", "keyed"), "pin 1 to L1.1"),
        (Part("M1", "bare"), ""),
        (Part("U1", "7404"), "pin 1 as marked on the board"),
    ],
)
def test_polarity_without_pads_names_the_pin(board_of, library, part, words):
    """Where nothing is known of the place, the pin and net must do; unpolarised parts say nothing."""
    board = board_of([part], {"A": "C1.1"})

    assert polarity_words(board, library, part) == words


def test_chip_is_told_by_the_corner_of_pin_1(board_of, library):
    """Turned half round, pin 1 is at the lower right."""
    from coppermend.board.packages import with_package_pads

    part = Part("U1", "7404", "", 50, 50, 180, package="DIP-14")
    board = with_package_pads(board_of([part], {"A": "U1.1"}))

    assert polarity_words(board, library, part) == "pin 1 at the lower right, notch as printed"


def test_json_of_a_refit_item_is_plain(job):
    """The document can be dumped."""
    item = job([("R1.1", HEAVY)])[2][0].to_json()

    assert json.loads(json.dumps(item))["source"] == "new"
