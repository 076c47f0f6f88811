"""A board in words and numbers: plain JSON, complete, and open about what is not known."""

from __future__ import annotations

import json

import pytest

from coppermend.board.model import (
    Board,
    Clock,
    Connector,
    Matrix,
    MatrixPosition,
    MemoryRegion,
    Pad,
    Part,
    PinRef,
    Rail,
    ReferencePoint,
    Section,
    Track,
)
from coppermend.board.parttypes import PartLibrary, parse_part_types
from coppermend.board.summary import board_summary

BOARD = Board(
    "Lift", 200, 150, revision="C", outline=((0, 0), (200, 0), (200, 150)),
    parts=(Part("U1", "gate", section="reset"), Part("X9", section="odd"), Part("R1")),
    nets={"A": (PinRef("U1", "1"), PinRef("X9", "2"))},
    pads=(Pad("U1", "1", 1, 1, 0.8, 1.6),),
    tracks=(Track("A", "top", 1, 1, 2, 2, 0.3),),
    sections=(Section("clock", "Clock"), Section("reset", "Reset")),
    rails=(Rail("A", 5.0),), clocks=(Clock("A", 1e6),), memory_map=(MemoryRegion("RAM", 0, 255, ("U1",)),),
    matrix=Matrix(("A",), ("B",), (MatrixPosition("A", "B", "lane", "D1"),)),
    connectors=(Connector("J1", "Lamps", "lamp", {"1": "GND"}),),
    reference_points=(ReferencePoint("hole", 5, 5),),
)  # fmt: skip
LIBRARY = PartLibrary(parse_part_types('["gate"]\ndescription="g"\nkind="logic"\npins=["1 A in"]'))


def test_it_is_plain_json():
    """Everything survives JSON, with sizes and counts where the command promises them."""
    summary = json.loads(json.dumps(board_summary(BOARD, LIBRARY)))

    assert (summary["width_mm"], summary["height_mm"]) == (200, 150)
    assert summary["counts"] == {
        "parts": 3, "pins": 2, "nets": 1, "pads": 1, "vias": 0, "tracks": 1, "areas": 0,
    }  # fmt: skip
    assert summary["nets"] == {"A": ["U1.1", "X9.2"]}
    assert summary["matrix"]["positions"] == [{"strobe": "A", "return": "B", "name": "lane", "diode": "D1"}]
    assert summary["memory_map"] == [{"name": "RAM", "start": 0, "end": 255, "parts": ["U1"]}]
    assert summary["connectors"][0]["signals"] == {"1": "GND"}
    assert summary["parts"][0]["refdes"] == "U1" and summary["reference_points"][0]["x_mm"] == 5


def test_sections():
    """Listed sections come first, then those only parts name, then parts in none."""
    sections = board_summary(BOARD)["sections"]

    assert [(s["name"], s["title"], s["parts"]) for s in sections] == [
        ("clock", "Clock", []), ("reset", "Reset", ["U1"]), ("odd", "", ["X9"]), ("", "in no section", ["R1"]),
    ]  # fmt: skip


def test_kinds():
    """With a library, parts are counted by kind and wired parts of unknown type are named."""
    summary = board_summary(BOARD, LIBRARY)

    assert summary["kinds"]["logic"] == 1 and sum(summary["kinds"].values()) == 3
    assert summary["unknown_types"] == ["X9"]
    assert "kinds" not in board_summary(BOARD)


@pytest.mark.parametrize(
    ("board", "lacks"),
    [
        (BOARD, []),
        (Board("B", 1, 1), ["no nets", "no pads", "no tracks", "no rails", "no sections"]),
        (Board("B", 1, 1, nets=BOARD.nets, pads=BOARD.pads, pads_from_packages=True, rails=BOARD.rails),
         ["pads are computed", "no tracks", "no sections"]),
    ],
)  # fmt: skip
def test_it_says_what_is_lacking(board, lacks):
    """What the board does not say is said, one sentence each."""
    said = board_summary(board)["lacks"]

    assert [sentence.startswith(start) for sentence, start in zip(said, lacks, strict=True)] == [True] * len(
        lacks
    )


def test_a_board_without_sections_has_none():
    """Parts without a section do not make one when the board has no sections at all."""
    assert board_summary(Board("B", 1, 1, parts=(Part("R1"),)))["sections"] == []
