"""The strip list names what comes off, why, what becomes of it, and in a safe order."""

from __future__ import annotations

import json

import pytest

from coppermend.board.model import Part
from coppermend.rework.records import Remedy
from coppermend.rework.strip import height_mm, strip_list

LIGHT, MODERATE, HEAVY = 0.3, 0.5, 0.8


def by_refdes(items):
    return {item.refdes: item for item in items}


def test_sound_board_keeps_everything(bench_board, library, touch_of):
    """Without damage nothing comes off, not even the battery."""
    assert strip_list(bench_board, library, touch_of()) == ()


def test_any_damage_takes_the_battery_off_first(bench_board, library, touch_of):
    """A single lightly touched pad far away is enough, and the battery is number one."""
    items = strip_list(bench_board, library, touch_of(pads=[("R1.1", LIGHT)]))

    assert [(i.order, i.refdes, i.fate, i.reasons) for i in items[:1]] == [
        (1, "BT1", "discard", ("known weak",))
    ]
    assert items[0].cautions[0].code == "battery"


def test_damage_of_an_area_alone_counts(bench_board, library, touch_of):
    """Damage that touches no copper still takes the battery off."""
    assert [i.refdes for i in strip_list(bench_board, library, touch_of(area_mm2=3.0))] == ["BT1"]


def test_corroded_part_names_its_pads_and_grade(bench_board, library, touch_of):
    """The reason states which pads lie in which damage."""
    items = by_refdes(strip_list(bench_board, library, touch_of(pads=[("R1.1", HEAVY), ("R1.2", MODERATE)])))

    assert items["R1"].why == "Pads R1.1 and R1.2 lie in heavy damage."
    assert (items["R1"].reasons, items["R1"].fate) == (("corroded",), "discard")


def test_corroded_body_without_touched_pads(bench_board, library, touch_of):
    """A body in damage counts even where the pads are clean."""
    items = by_refdes(strip_list(bench_board, library, touch_of(parts=[("R1", MODERATE)])))

    assert items["R1"].why == "Its body lies in moderate damage."


def test_light_damage_leaves_a_resistor_on(bench_board, library, touch_of):
    """Light damage is cleaned in place."""
    assert "R1" not in by_refdes(strip_list(bench_board, library, touch_of(pads=[("R1.1", LIGHT)])))


def test_via_under_a_chip_lifts_chip_and_socket(bench_board, library, touch_of):
    """A moderately damaged via below the body puts chip and socket in the way: test the one, discard the other."""
    items = by_refdes(strip_list(bench_board, library, touch_of(vias=[("V1", MODERATE)])))

    assert items["U1"].reasons == ("in the way",)
    assert items["U1"].why == "Its body covers damaged via V1."
    assert (items["U1"].fate, items["XU1"].fate) == ("test", "discard")
    assert items["XU1"].part == "U1"


def test_lightly_damaged_via_needs_no_sanding(bench_board, library, touch_of):
    """Nothing is in the way of copper that is only washed."""
    assert set(by_refdes(strip_list(bench_board, library, touch_of(vias=[("V1", LIGHT)])))) == {"BT1"}


def test_track_on_the_other_side_is_not_in_the_way(bench_board, library, touch_of):
    """A body on the top does not keep a tool from copper on the bottom."""
    items = by_refdes(strip_list(bench_board, library, touch_of(tracks=[(1, "bottom", HEAVY, 1.0)])))

    assert "U1" not in items


def test_only_the_damaged_end_of_a_track_counts(bench_board, library, touch_of):
    """A long track damaged at R1 puts R1's neighbour in the way, not the chip that its far end passes under."""
    touch = touch_of(pads=[("R1.1", HEAVY)], tracks=[(2, "top", HEAVY, 0.1)])

    assert by_refdes(strip_list(bench_board, library, touch))["XU1"].reasons == ("known weak",)


def test_known_areas_decide_where_a_track_is_damaged(bench_board, library, touch_of):
    """With the damage itself on record, the run beneath the chip is found."""
    touch = touch_of(
        tracks=[(2, "top", HEAVY, 0.1)], areas=(("heavy", "POLYGON ((42 52, 46 52, 46 54, 42 54, 42 52))"),)
    )

    assert by_refdes(strip_list(bench_board, library, touch))["U1"].why.startswith(
        "Its body covers damaged copper"
    )


def test_body_beside_the_damage_says_so(bench_board, library, touch_of):
    """Within 2.5 mm but not above it: the sentence tells the difference."""
    touch = touch_of(
        tracks=[(2, "top", HEAVY, 0.9)], areas=(("heavy", "POLYGON ((48 52, 50 52, 50 54, 48 54, 48 52))"),)
    )

    assert (
        "stands within 2.5 mm of damaged copper of net N2"
        in by_refdes(strip_list(bench_board, library, touch))["U1"].why
    )


def test_light_areas_ask_for_no_sanding(bench_board, library, touch_of):
    """A moderate track whose recorded areas are all light has no run to sand."""
    touch = touch_of(
        tracks=[(2, "top", MODERATE, 0.1)], areas=(("light", "POLYGON ((42 52, 46 52, 46 54, 42 52))"),)
    )

    assert "U1" not in by_refdes(strip_list(bench_board, library, touch))


def test_electrolytic_and_socket_of_a_touched_section_go(bench_board, library, touch_of):
    """Known weak parts go with their section; the reason says what is practice and what is published."""
    items = by_refdes(strip_list(bench_board, library, touch_of(pads=[("U2.8", LIGHT), ("R1.1", LIGHT)])))

    assert items["C1"].reasons == ("known weak",)
    assert "common practice, no source" in items["C1"].why
    assert "MIL-HDBK-217F" in items["C1"].why
    assert items["XU1"].reasons == ("known weak",)
    assert items["U1"].why == "It sits in the old socket XU1, which comes off."


def test_electrolytic_of_an_untouched_section_stays(bench_board, library, touch_of):
    """Damage in section a says nothing about a capacitor of section b."""
    assert "C1" not in by_refdes(strip_list(bench_board, library, touch_of(pads=[("R1.1", LIGHT)])))


def test_touched_electrolytic_without_section_goes(board_of, library, touch_of):
    """On a board without sections the touched part itself counts."""
    board = board_of([Part("C1", "electrolytic", package="RADIAL-POL-5.08")], {"A": "C1.1", "GND": "C1.2"})

    items = strip_list(board, library, touch_of(pads=[("C1.1", LIGHT)]))

    assert "in the damage" in items[0].why


def test_heavily_corroded_rom_is_still_read(bench_board, library, touch_of):
    """Its program may exist nowhere else."""
    item = by_refdes(strip_list(bench_board, library, touch_of(pads=[("U2.8", HEAVY)])))["U2"]

    assert item.fate == "test"
    assert "read its contents twice" in item.why


def test_heavily_corroded_chip_is_discarded(bench_board, library, touch_of):
    """Heavy damage ends any other chip."""
    assert (
        by_refdes(strip_list(bench_board, library, touch_of(pads=[("U1.1", HEAVY)])))["U1"].fate == "discard"
    )


def test_sound_resistor_in_the_way_goes_back(bench_board, library, touch_of):
    """A passive that merely stands in the way is refitted."""
    touch = touch_of(
        tracks=[(2, "top", HEAVY, 0.9)], areas=(("heavy", "POLYGON ((12 52.7, 14 52.7, 14 53.3, 12 52.7))"),)
    )

    item = by_refdes(strip_list(bench_board, library, touch))["R1"]

    assert (item.reasons, item.fate) == (("in the way",), "refit")


@pytest.mark.parametrize(("kind", "fate"), [("crystal", "test"), ("connector", "discard"), ("npn", "test")])
def test_moderately_corroded_parts_by_kind(board_of, library, touch_of, kind, fate):
    """What can be tried off the board is tested; contacts are replaced."""
    board = board_of([Part("X9", kind, package="HDR-1x4")], {"A": "X9.1", "B": "X9.2"})

    assert strip_list(board, library, touch_of(pads=[("X9.1", MODERATE)]))[0].fate == fate


def test_board_edge_and_holes_never_come_off(bench_board, library, touch_of):
    """Fingers and mounting holes are no parts to unsolder."""
    touch = touch_of(pads=[("J1.1", HEAVY)], parts=[("REF**", HEAVY)])

    assert {i.refdes for i in strip_list(bench_board, library, touch)} <= {"BT1", "U1", "XU1"}


def test_order_is_battery_sockets_last_and_tall_before_low(bench_board, library, touch_of):
    """Battery, chips lifted out, tall parts, low passives, sockets."""
    touch = touch_of(pads=[("R1.1", HEAVY), ("U1.1", HEAVY), ("C1.1", HEAVY), ("U2.8", HEAVY)])

    assert [i.refdes for i in strip_list(bench_board, library, touch)] == [
        "BT1",
        "U1",
        "C1",
        "U2",
        "R1",
        "XU1",
    ]


def test_socket_that_is_a_part_of_its_own_is_not_listed_twice(board_of, library, touch_of):
    """A board that lists XU1 itself gets no second one."""
    parts = [
        Part("U1", "7400", package="DIP-14", socketed=True),
        Part("XU1", "", package="DIP-14"),
    ]
    board = board_of(parts, {"A": "U1.1 XU1.1", "B": "U1.2 XU1.2"})

    items = strip_list(board, library, touch_of(pads=[("U1.1", HEAVY), ("XU1.1", HEAVY)]))

    assert [(i.refdes, i.fate, i.socket) for i in items] == [
        ("U1", "discard", False),
        ("XU1", "discard", True),
    ]


def test_socketed_part_that_is_no_u_gets_its_own_socket_name(board_of, library, touch_of):
    """A crystal in a socket: XY1."""
    board = board_of([Part("Y1", "crystal", package="HC-49", socketed=True)], {"A": "Y1.1", "B": "Y1.2"})

    assert "XY1" in by_refdes(strip_list(board, library, touch_of(pads=[("Y1.1", HEAVY)])))


def test_remedy_takes_its_parts_off(bench_board, library, touch_of):
    """A part that a chosen remedy replaces is on the list with that reason."""
    remedy = Remedy("x", "a better way", "because", parts_off=("R1",))

    items = by_refdes(strip_list(bench_board, library, touch_of(), [remedy]))

    assert (items["R1"].reasons, items["R1"].fate) == (("remedy",), "discard")
    assert items["R1"].why == 'The remedy "a better way" replaces it.'


def test_many_pads_are_summed_up(board_of, library, touch_of):
    """More than three pads are named as three and a number."""
    board = board_of([Part("J2", "connector", package="HDR-1x4")], {n: f"J2.{n}" for n in "1234"})

    item = strip_list(board, library, touch_of(pads=[(f"J2.{n}", HEAVY) for n in "1234"]))[0]

    assert item.why == "Pads J2.1, J2.2, J2.3 and 1 more lie in heavy damage."


def test_pads_unknown_to_the_board_are_passed_over(bench_board, library, touch_of):
    """A touch made for another revision does not stop the list."""
    touch = touch_of(pads=[("U99.1", HEAVY)], vias=[("V99", HEAVY)])

    assert [i.refdes for i in strip_list(bench_board, library, touch)] == ["BT1"]


def test_height_is_usual_for_its_kind_where_the_package_is_unknown():
    """A relay without a package still counts as tall."""
    assert height_mm(Part("K1"), "relay") == 15.0
    assert height_mm(Part("Z1"), None) == 4.0


def test_json_holds_the_documented_keys(bench_board, library, touch_of):
    """The document can be dumped and names grade and cautions in words."""
    items = by_refdes(strip_list(bench_board, library, touch_of(pads=[("R1.1", HEAVY)])))
    item = items["R1"].to_json()

    assert json.loads(json.dumps(item))["grade"] == "heavy"
    assert set(item) == {
        "order", "refdes", "part", "type", "value", "package", "reasons", "why", "fate", "section", "severity", "grade",
        "socket", "cautions",
    }  # fmt: skip
