"""Lookups by name: what is found, which of two duplicates wins, and what a missing name says."""

from __future__ import annotations

import pytest

from coppermend.board.index import Place
from coppermend.board.model import Board, Connector, CopperArea, Pad, Part, PinRef, Rail, Track, Via
from coppermend.errors import UnknownName

BOARD = Board(
    "Sorter", 50, 40,
    parts=(Part("R1", value="1k", section="reset"), Part("R1", value="2k"), Part("U3", section="reset")),
    nets={"A": (PinRef("R1", "1"), PinRef("U3", "9")), "B": (PinRef("R1", "2"), PinRef("R1", "1"))},
    pads=(Pad("R1", "1", 1, 2, 0.8, 1.6), Pad("U3", "9", 3, 4, 0, 1, "top"), Pad("R1", "9", 5, 6, 1, 2), Pad("R1", "1", 9, 9, 1, 2)),
    vias=(Via("V1", "A", 7, 8, 0.4), Via("V1", "B", 9, 9, 0.4)),
    tracks=(Track("A", "top", 0, 0, 1, 1, 0.3),),
    areas=(CopperArea("A", "bottom", "POLYGON ((0 0, 1 0, 0 1, 0 0))"),),
    rails=(Rail("A", 5.0), Rail("A", 12.0)),
    connectors=(Connector("J1", "first"), Connector("J1", "second")),
)  # fmt: skip


def test_the_first_duplicate_wins():
    """Of two parts, pins, pads, vias, rails or connectors of one name the first is found."""
    index = BOARD.index

    assert index.part("R1").value == "1k"
    assert index.net_of_pin[PinRef("R1", "1")] == "A"
    assert index.pads[PinRef("R1", "1")].x_mm == 1
    assert index.vias["V1"].net == "A"
    assert index.rails["A"].volts == 5.0
    assert index.connectors["J1"].title == "first"


def test_groups():
    """Everything of a part, net or section is found in file order."""
    index = BOARD.index

    assert index.pins_of_part["R1"] == [PinRef("R1", "1"), PinRef("R1", "2")]
    assert [pad.ref for pad in index.pads_of_net["A"]] == [("R1", "1"), ("U3", "9"), ("R1", "1")]
    assert len(index.pads_of_part["R1"]) == 3
    assert [part.refdes for part in index.parts_of_section["reset"]] == ["R1", "U3"]
    assert len(index.tracks_of_net["A"]) == len(index.areas_of_net["A"]) == len(index.vias_of_net["B"]) == 1


def test_looking_does_not_add():
    """A name that is not there has an empty group, and is still not there afterwards."""
    groups = BOARD.index.tracks_of_net

    assert groups["no such net"] == []
    assert "no such net" not in groups


@pytest.mark.parametrize(
    ("name", "place"),
    [
        ("U3.9", Place("U3.9", "A", 3, 4, "top")),
        ("V1", Place("V1", "A", 7, 8, "both")),
        ("R1.9", Place("R1.9", "", 5, 6, "both")),
    ],
)
def test_places(name, place):
    """A pad, a via and a pad on no net are places with net, position and side."""
    assert BOARD.index.place(name) == place


@pytest.mark.parametrize("name", ["U3.8", "V2", "U3", "", "."])
def test_no_such_place(name):
    """A point that does not exist is named, with the board and how to write one."""
    with pytest.raises(UnknownName) as caught:
        BOARD.index.place(name)

    assert (caught.value.kind, caught.value.name, caught.value.where) == ("point", name, "Sorter")


def test_no_such_part():
    """A part that does not exist is named with the board."""
    with pytest.raises(UnknownName) as caught:
        BOARD.index.part("Q9")

    assert (caught.value.kind, caught.value.name) == ("part", "Q9")
