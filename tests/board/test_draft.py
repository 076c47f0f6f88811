"""A board drawn in by hand: parts and lines of nets become a board, and what is wrong is told by part or line."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coppermend.board.check import check_board
from coppermend.board.draft import draft_board, read_nets, read_rails
from coppermend.board.folder import format_board_folder, parse_board_folder
from coppermend.board.model import PinRef, Rail
from coppermend.board.parttypes import standard_library
from coppermend.errors import InputError

DRAFT = {
    "name": "Lamp driver",
    "width_mm": 80,
    "height_mm": 50.5,
    "parts": [
        {"refdes": "U1", "type": "7400", "x_mm": 20, "y_mm": 40, "section": "logic", "socketed": True},
        {"refdes": "R1", "type": "resistor", "value": "4k7", "x_mm": 50, "y_mm": 30, "rotation_deg": 90},
        {"refdes": "J1", "type": "connector", "package": "HDR-1X4", "side": "bottom", "x_mm": 60, "y_mm": 10},
    ],
    "nets": "+5V: U1.14, R1.1 J1.1  # supply\n\nGND: U1.7 J1.2\nA: U1.1 R1.2\nA: J1.3\n",
    "rails": "+5V 5\n",
}


def test_a_draft_becomes_a_board_that_can_be_kept_and_looked_over():
    """Packages come from the types, pads from the packages, and the folder reads back as the same board."""
    board = draft_board(DRAFT, standard_library())
    assert (board.name, board.width_mm, board.height_mm) == ("Lamp driver", 80.0, 50.5)
    assert [part.package for part in board.parts] == [
        "DIP-14",
        standard_library().get("resistor").package,
        "HDR-1X4",
    ]
    assert board.nets["A"] == (PinRef("U1", "1"), PinRef("R1", "2"), PinRef("J1", "3"))
    assert board.rails == (Rail("+5V", 5.0),) and [s.name for s in board.sections] == ["logic"]
    assert len(board.index.pads_of_part["U1"]) == 14
    assert not [f for f in check_board(board, standard_library()) if f.severity == "error"]
    files = {name: text.encode() for name, text in format_board_folder(board).items()}
    again = parse_board_folder(files)
    assert (again.parts, again.nets, again.rails) == (board.parts, board.nets, board.rails)


@pytest.mark.parametrize(
    ("change", "where", "what"),
    [
        ({"name": " "}, "", "the board has no name"),
        ({"name": 7}, "the board", "name is 7"),
        ({"width_mm": "wide"}, "the board", "width_mm is 'wide'"),
        ({"height_mm": 0}, "", "the board is 80 × 0 mm"),
        ({"width_mm": True}, "the board", "width_mm is True"),
        ({"height_mm": float("nan")}, "the board", "height_mm is nan"),
        ({"parts": {}}, "", "parts are no list"),
        ({"parts": [{}] * 5001}, "", "parts are no list"),
        ({"parts": ["U1"]}, "part 1", "is no part"),
        ({"parts": [{"refdes": "U.1"}]}, "part 1", "refdes is 'U.1'"),
        ({"parts": [{"refdes": "U1", "side": "left"}]}, "part 1", "side is 'left'"),
        ({"parts": [{"refdes": "U1", "x_mm": 1e9}]}, "part 1", "x_mm is 1000000000.0"),
        ({"parts": [{"refdes": "U1", "value": "a\nb"}]}, "part 1", "value is 'a\\nb'"),
        ({"parts": [{"refdes": "U1"}, {"refdes": "U1"}]}, "part 2", "U1 is there already"),
        ({"nets": "GND U1.7"}, "nets", "GND U1.7"),
        ({"nets": "A: U1.1\nGND: U1"}, "nets", "U1"),
        ({"nets": "A: U1.1\nB: U1.1"}, "nets", "U1.1 is on A already"),
        ({"rails": "+5V five"}, "rails", "+5V five"),
        ({"rails": "+5V"}, "rails", "+5V"),
        ({"rails": "+5V inf"}, "rails", "+5V inf"),
    ],
)
def test_what_is_wrong_is_told_with_its_place(change, where, what):
    """One line: which part or which line of the nets, what was found, what was expected."""
    with pytest.raises(InputError) as told:
        draft_board({**DRAFT, **change}, standard_library())
    assert (told.value.where, told.value.found) == (where, what)
    assert told.value.expected


def test_lines_count_as_they_stand():
    """Blank lines and remarks count, so that the number is the one the editor shows."""
    with pytest.raises(InputError) as told:
        read_nets("# supply\n\nGND: U1.7\nbroken\n")
    assert told.value.line == 4
    with pytest.raises(InputError) as told:
        read_rails("\n+5V 5\n+12V\n")
    assert told.value.line == 3


NAMES = st.text("ABCXYZ0189_+-", min_size=1, max_size=6)


@given(st.dictionaries(NAMES, st.lists(st.tuples(NAMES, NAMES), max_size=5), max_size=6))
def test_nets_written_as_lines_read_back(nets):
    """Whatever the names, as long as no pin stands twice."""
    seen = set()
    nets = {
        n: [p for p in dict.fromkeys(pins) if p not in seen and not seen.add(p)] for n, pins in nets.items()
    }
    text = "\n".join(f"{net}: {' '.join('.'.join(pin) for pin in pins)}" for net, pins in nets.items())
    assert read_nets(text) == {net: tuple(PinRef(*pin) for pin in pins) for net, pins in nets.items()}
