"""Where a point is, in words: pin counts, corners, leads, nearest part of a via, and the side to probe."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coppermend.board.model import Board, Pad, Part, PinRef, Via
from coppermend.board.packages import with_package_pads
from coppermend.board.parttypes import standard_library
from coppermend.board.where import ordinal, part_words, where_words
from coppermend.errors import UnknownName

LIBRARY = standard_library()


def place(part: Part, **more) -> Board:
    """A board with one part and the pads of its package."""
    return with_package_pads(Board("bench", 100, 100, parts=(part,), **more))


@pytest.mark.parametrize(
    "pin, words",
    [
        (1, "1st from the notch in the row of pin 1, upper left"),
        (4, "4th from the notch in the row of pin 1, left"),
        (7, "7th from the notch in the row of pin 1, lower left"),
        (8, "7th from the notch in the row opposite pin 1, lower right"),
        (9, "6th from the notch in the row opposite pin 1, lower right"),
        (14, "1st from the notch in the row opposite pin 1, upper right"),
    ],
)
def test_dip_pin_is_counted_from_the_notch(pin, words):
    """Pins of a dual in-line chip run down from the notch, round its end and up again (JEDEC MS-001 numbering)."""
    board = place(Part("U3", "7432", "", 20, 50, package="DIP-14"))

    assert where_words(board, LIBRARY, f"U3.{pin}") == f"pin {pin} of U3 (7432), {words}, both sides"


def test_corner_turns_with_the_part():
    """Left and right are those of the board: a chip turned upside down has pin 1 at its lower right."""
    board = place(Part("U3", "7432", "", 20, 50, 180, package="DIP-14"))

    assert ", lower right, " in where_words(board, LIBRARY, "U3.1")


def test_count_follows_the_type_without_pads():
    """A board without pads still tells the count, by the package of the part's type; no side is claimed."""
    board = Board("bench", 10, 10, parts=(Part("U3", "2716"),), nets={"N": (PinRef("U3", "20"),)})

    assert where_words(board, LIBRARY, "U3.20") == (
        "pin 20 of U3 (2716), 5th from the notch in the row opposite pin 1"
    )


def test_switch_bank_is_counted_from_pin_1():
    """A bank of 8 switches has 16 pins and no notch."""
    board = place(Part("SW1", "dip-switch-8", "", 20, 50, package="SW-DIP-8"))

    assert "1st from the end of pin 1 in the row opposite pin 1" in where_words(board, LIBRARY, "SW1.16")


@pytest.mark.parametrize(
    "package, pins",
    [("DIP-28_W15.24mm_Socket", 28), ("Package_DIP:DIP-28_W15.24mm", 28), ("PDIP-28", 28), ("SW_DIP_14", 28)],
)
def test_packages_of_other_programs_are_counted_too(package, pins):
    """Footprint names of CAD programs tell a dual in-line package as well."""
    board = Board(
        "b", 9, 9, parts=(Part("U1", "27128", package=package),), nets={"N": (PinRef("U1", str(pins)),)}
    )

    assert "1st from the notch in the row opposite pin 1" in where_words(board, LIBRARY, f"U1.{pins}")


@pytest.mark.parametrize(
    "part, point, words",
    [
        (Part("D3", "diode", "", 10, 10, package="AXIAL-7.62"), "D3.1", "cathode (pin 1) of D3 (diode), left lead"),
        (Part("R5", "resistor", "4k7", 9, 9, 90, package="AXIAL-7.62"), "R5.2", "pin 2 of R5 (4k7), upper lead"),
        (Part("Q1", "npn", "2N3904", 9, 9, package="TO-92"), "Q1.2", "base (pin 2) of Q1 (2N3904)"),
        (Part("Q1", "npn", "2N3904", 9, 9, package="TO-92"), "Q1.3", "collector (pin 3) of Q1 (2N3904), right"),
        (Part("BT1", "battery-coin", "", 9, 9, package="BAT-COIN"), "BT1.2", "minus (pin 2) of BT1 (battery-coin), right lead"),
        (Part("TP1", "test-point", "", 9, 9, package="TP"), "TP1.1", "pin 1 of TP1 (test-point)"),
        (Part("J1", "header", "", 9, 9, package="HDR-1x6"), "J1.6", "pin 6 of J1 (header), lower"),
        (Part("Q9", "", "", 9, 9, package="TO-92"), "Q9.1", "pin 1 of Q9, left"),
    ],
)  # fmt: skip
def test_lead_is_called_by_what_it_is(part, point, words):
    """Leads of discrete parts have names; all have their side of the part on the board."""
    assert where_words(place(part), LIBRARY, point) == f"{words}, both sides"


def test_side_of_a_finger_is_told():
    """Copper on one layer can be probed there only."""
    board = place(Part("J1", "edge-connector", "", 9, 9, package="EDGE-6x2"))

    assert where_words(board, LIBRARY, "J1.1").endswith("top side")
    assert where_words(board, LIBRARY, "J1.12").endswith("bottom side")


def test_pad_of_an_unlisted_part_is_named():
    """A pad whose part is missing from the parts list is still told."""
    board = Board("bench", 10, 10, pads=(Pad("X9", "A1", 1, 1, 0.8, 1.6),))

    assert where_words(board, LIBRARY, "X9.A1") == "pin A1 of X9, both sides"


@pytest.mark.parametrize(
    "dx, dy, words",
    [
        (3, 0, "3.0 mm right of"), (2, 2, "2.8 mm upper right of"), (0, 3, "3.0 mm above"), (-2, 2, "2.8 mm upper left of"),
        (-3, 0, "3.0 mm left of"), (-2, -2, "2.8 mm lower left of"), (0, -3, "3.0 mm below"), (2, -2, "2.8 mm lower right of"),
        (0, 0, "at"),
    ],
)  # fmt: skip
def test_via_is_told_by_the_nearest_pin(dx, dy, words):
    """A via is so far in such a direction from the nearest pad; both its sides can be probed."""
    board = place(
        Part("TP1", "test-point", "", 50, 50, package="TP"), vias=(Via("V17", "N", 50 + dx, 50 + dy, 0.4),)
    )

    assert where_words(board, LIBRARY, "V17") == f"via V17, {words} TP1 pin 1, both sides"


def test_via_without_pads_is_told_by_its_place():
    """Without pads a via is told by its coordinates."""
    board = Board("bench", 99, 99, vias=(Via("V1", "N", 12.34, 5, 0.4),))

    assert where_words(board, LIBRARY, "V1") == "via V1 at x 12.3 mm, y 5.0 mm, both sides"


@pytest.mark.parametrize("point", ["U9.1", "U3.15", "V9", "U3", ""])
def test_unknown_point_is_an_error(point):
    """A point that the board lacks is refused by name."""
    board = place(Part("U3", "7432", "", 20, 50, package="DIP-14"))

    with pytest.raises(UnknownName) as caught:
        where_words(board, LIBRARY, point)

    assert (caught.value.kind, caught.value.name) == ("point", point)


def test_part_is_called_by_what_is_printed_on_it():
    """Value before type; nothing in brackets when neither is known."""
    part = Part("U3", "7432", "74LS32")

    assert part_words(part) == "U3 (74LS32)"
    assert part_words(replace(part, value="")) == "U3 (7432)"
    assert part_words(Part("U3")) == "U3"


def test_counting_words():
    """Ordinals of English."""
    assert [ordinal(n) for n in (1, 2, 3, 4, 11, 12, 13, 20, 21, 22, 112)] == [
        "1st", "2nd", "3rd", "4th", "11th", "12th", "13th", "20th", "21st", "22nd", "112th",
    ]  # fmt: skip
