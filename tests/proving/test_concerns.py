"""Concerns name every subject that the job has given reason to doubt, in a stable order."""

from __future__ import annotations

from coppermend.board.atrisk import Touch, TouchedNet, TouchedPart
from coppermend.board.subject import Subject, net_subject, part_subject
from coppermend.proving.concerns import concerns_from

TOUCH = Touch(
    parts=(
        TouchedPart("U3", "6116", "", 0.8, 1.0, ("U3.9",)),
        TouchedPart("R2", "resistor", "", 0.3, 0.5, ()),
    ),
    nets=(
        TouchedNet("D0", "data", "data line 0 of the CPU", (), 0.8, 2, 1, 0),
        TouchedNet("X", "signal", "", (), 0.3, 0, 0, 0),
    ),
)


def test_nothing_touched_gives_no_concern():
    """A sound board has nothing to prove."""
    assert concerns_from(Touch()) == ()


def test_damaged_nets_and_parts_come_worst_first_with_facts():
    """Order is that of the touch; the note counts copper and names what the net does."""
    found = concerns_from(TOUCH)

    assert [str(c.subject) for c in found] == ["net D0", "net X", "part U3", "part R2"]
    assert found[0].note == "data line 0 of the CPU: heavy damage on 2 pads, 1 via"
    assert found[1].note == "light damage on its copper"
    assert found[2].note == "heavy damage"


def test_removed_parts_tell_whether_they_come_back():
    """A part that came off without a successor says so; names run naturally."""
    found = concerns_from(Touch(), strip_done=["R10", "R2"], refit=["R2"])

    assert [(c.subject.name, c.why) for c in found] == [("R2", "removed"), ("R10", "removed")]
    assert found[1].note == "came off and nothing takes its place"


def test_part_replaced_by_a_remedy_is_no_concern_but_its_nets_are():
    """The discrete part is gone for good; what it drove must be shown to work."""
    changes = {"supervisor": [part_subject("Q1"), net_subject("/RES")]}

    found = concerns_from(Touch(parts=(TouchedPart("Q1", "npn", "", 0.8, 1, ()),)), ["Q1"], [], changes)

    assert [(str(c.subject), c.why, c.note) for c in found] == [("net /RES", "changed", "supervisor")]


def test_part_that_a_remedy_renews_in_place_is_changed():
    """A supercapacitor on the battery's pads: removed and changed, and still to be proven."""
    found = concerns_from(Touch(), ["BT1"], ["BT1"], {"supercapacitor": [part_subject("BT1")]})

    assert [c.why for c in found] == ["removed", "changed"]


def test_suspects_are_listed_once_by_name():
    """A suspect named twice is one concern."""
    found = concerns_from(
        Touch(), suspects=[Subject("point", "U3.9"), Subject("part", "U3"), Subject("part", "U3")]
    )

    assert [(str(c.subject), c.why) for c in found] == [("part U3", "suspected"), ("point U3.9", "suspected")]


def test_parts_on_no_net_are_left_out_when_the_board_is_known(machine_board):
    """A damaged logo needs no proof."""
    logo = Touch(parts=(TouchedPart("REF**", "", "", 0.8, 1, ()), TouchedPart("U3", "6116", "", 0.8, 1, ())))

    assert [c.subject.name for c in concerns_from(logo, board=machine_board())] == ["U3"]


def test_json_of_a_concern_is_plain():
    """Item, why and note as text."""
    assert concerns_from(TOUCH)[2].to_json() == {"item": "part U3", "why": "damaged", "note": "heavy damage"}
