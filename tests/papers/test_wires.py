"""The wire list on paper: each jumper in words, the wire in all, a drawing of every side that has wires."""

from __future__ import annotations

import pytest

from coppermend.board.folder import parse_board_folder
from coppermend.board.lengths import Lengths
from coppermend.board.model import Board
from coppermend.board.parttypes import standard_library
from coppermend.copper.records import CopperPlan, Jumper
from coppermend.demo.board_data import demo_board_files
from coppermend.papers.wires import wire_pictures, wire_tables

LIBRARY = standard_library()


@pytest.fixture(scope="module")
def board() -> Board:
    return parse_board_folder(demo_board_files())


PLAN = CopperPlan(
    jumpers=(
        Jumper("RETURN7", "R28.1", "J3.8", "bottom", 15.2, (), 30),
        Jumper("RST_B3", "R7.2", "Q3.2", "both", 10.0, (), 24),
    ),
    fitted=(Jumper("RETURN1", "RN1.3", "R22.1", "bottom", 7.6, (), 30),),
)


def test_each_wire_says_where_it_begins_and_ends_and_what_to_cut(board):
    """15.2 mm and 5 mm for either end are 25.2: 26 mm to cut."""
    to_fit, fitted, _ = wire_tables(board, LIBRARY, PLAN)

    number, net, start, end, side, run, cut, gauge = to_fit.rows[0]
    assert (number, net, side, run, cut, gauge) == ("W1", "RETURN7", "on the bottom", "15", "26", "30")
    assert start.startswith("R28.1: pin 1 of R28") and end.startswith("J3.8: pin 8 of J3")
    assert to_fit.rows[1][4] == "from side to side" and fitted.rows[0][0] == "F1"


def test_a_shop_in_inches_cuts_in_inches_and_never_too_short(board):
    """26 mm are 1.0236 in: 1.03 in to cut; 44 mm are 1.7323 in. No millimetre is left in the tables."""
    tables = wire_tables(board, LIBRARY, PLAN, Lengths("inch"))

    assert tables[0].rows[0][5:7] == ("0.60", "1.03") and tables[-1].rows[0][2:] == ("0.90", "1.74")
    assert [head for head in tables[0].heads if ", " in head] == ["Run, in", "Cut, in"]
    assert "mm" not in str(tables)


def test_wire_is_added_up_by_gauge(board):
    """AWG 30: 26 and 18 mm; AWG 24: 20 mm."""
    totals = wire_tables(board, LIBRARY, PLAN)[-1]

    assert totals.rows == (("30", "2", "23", "44"), ("24", "1", "10", "20"))


def test_each_side_with_wires_is_drawn_with_their_numbers(board):
    """The wire from side to side is drawn on the parts side."""
    drawn = {picture.file: picture.data.decode() for picture in wire_pictures(board, LIBRARY, PLAN)}

    assert list(drawn) == ["wires-top.svg", "wires-bottom.svg"]
    assert ">W2<" in drawn["wires-top.svg"] and ">W1<" not in drawn["wires-top.svg"]
    assert ">W1<" in drawn["wires-bottom.svg"] and ">F1<" in drawn["wires-bottom.svg"]


def test_a_plan_without_wires_says_so(board):
    """One empty table, no drawing."""
    (to_fit,) = wire_tables(board, LIBRARY, CopperPlan())

    assert not to_fit.rows and to_fit.empty == "No wire is left to fit."
    assert wire_pictures(board, LIBRARY, CopperPlan()) == ()
