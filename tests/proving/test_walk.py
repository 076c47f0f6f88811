"""The walk proves every line with the fewest closures, never goes back, and says what it cannot prove."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import networkx
import pytest

from coppermend.board.folder import parse_board_folder
from coppermend.board.model import Board
from coppermend.demo.board_data import demo_board_files
from coppermend.proving.matrix import Position, SwitchMatrix, matrix_of
from coppermend.proving.walk import neighbours, walk_of

from .matrix_cases import fault, full_matrix, reports


def sparse(seed):
    """A random matrix of up to 8 x 8 with some positions missing and some lines proven."""
    dice = Random(seed)
    whole = full_matrix(dice.randint(1, 8), dice.random() < 0.5)
    kept = tuple(p for p in whole.positions if dice.random() < 0.5)
    proven = [frozenset(x for x in lines if dice.random() < 0.25) for lines in (whole.strobes, whole.returns)]
    return replace(whole, positions=kept, proven_strobes=proven[0], proven_returns=proven[1])


@pytest.mark.parametrize("seed", range(100))
def test_walk_proves_every_line_once_with_the_fewest_closures(seed):
    """All lines that have a position are proven, proven ones are asked for no more, and none is superfluous."""
    matrix = sparse(seed)
    walk = walk_of(matrix)

    ends = [[("s", p.strobe), ("r", p.ret)] for p in matrix.positions]
    done = {("s", s) for s in matrix.proven_strobes} | {("r", r) for r in matrix.proven_returns}
    wanted = {end for pair in ends for end in pair} - done
    touched = {end for c in walk.closures for end in (("s", c.crossing.strobe), ("r", c.crossing.ret))}
    inner = networkx.Graph([pair for pair in ends if set(pair) <= wanted])
    assert wanted <= touched
    assert sum(len(c.proves) for c in walk.closures) == len(wanted)
    assert len(walk.closures) == len(wanted) - len(networkx.max_weight_matching(inner, maxcardinality=True))


@pytest.mark.parametrize("seed", range(30))
def test_the_wire_never_goes_back(seed):
    """Strobes come in their order, and on one strobe the returns do."""
    matrix = sparse(seed)

    places = [
        (matrix.strobe_number[c.crossing.strobe], matrix.return_number[c.crossing.ret])
        for c in walk_of(matrix).closures
    ]

    assert places == sorted(places)


def test_moves_say_which_end_of_the_wire_goes_on():
    """One end stays wherever the line is the same."""
    matrix = SwitchMatrix(("A", "B"), ("1", "2", "3"), tuple(Position(*p) for p in ("A1", "A2", "B2", "B3")))

    moves = [(str(c.crossing), c.moves, c.proves) for c in walk_of(matrix).closures]

    assert moves == [("A:1", "both", ("A", "1")), ("B:2", "both", ("B", "2")), ("B:3", "return", ("3",))]


@pytest.mark.parametrize("seed", range(60))
def test_a_short_of_neighbours_shows_or_is_named(seed):
    """Simulated one by one, every short between neighbours changes a report that has a name, or is told as unseen."""
    matrix = sparse(seed)
    walk = walk_of(matrix)
    sets = [frozenset({c.crossing}) for c in (*walk.closures, *walk.extra)]
    named = {p.crossing for p in matrix.positions}
    names = (*matrix.strobes, *matrix.returns)
    hidden = {u.lines for u in walk.unreached if len(u.lines) == 2}

    for a, b in neighbours(matrix):
        faulty, sound = reports(matrix, [fault("shorted lines", a, b)], *sets), reports(matrix, [], *sets)
        shows = any((x ^ y) & named for x, y in zip(faulty, sound, strict=True))
        if matrix.positions:
            assert shows != ((names[a], names[b]) in hidden), (a, b)


def test_an_extra_closure_is_asked_for_where_the_walk_would_hide_a_short():
    """Diagonal closures leave S0-S1 unseen when no neighbouring crossing has a name; a third one shows it."""
    matrix = SwitchMatrix(
        ("S0", "S1"),
        ("R0", "R1", "R2"),
        tuple(Position(*p.split()) for p in ("S0 R0", "S1 R2", "S0 R1", "S1 R1")),
    )

    walk = walk_of(replace(matrix, proven_returns=frozenset({"R1"})))

    assert [str(c.crossing) for c in walk.closures] == ["S0:R0", "S1:R2"]
    assert [(str(c.crossing), c.why) for c in walk.extra] == [("S0:R1", "shows a short between S0 and S1")]


def test_lines_without_a_position_are_named_with_what_to_do():
    """Nothing can be closed on them."""
    matrix = SwitchMatrix(("A", "B"), ("1",), (Position("A", "1"),))

    unreached = [(u.lines, u.reason) for u in walk_of(matrix).unreached if len(u.lines) == 1]

    assert unreached == [
        (("B",), "no populated position is on it: watch it with a logic probe at the connector")
    ]


def test_dedicated_switches_come_last_unless_proven():
    """Each is closed by itself."""
    matrix = full_matrix(2, dedicated=("tilt", "door"), proven_dedicated=frozenset({"door"}))

    walk = walk_of(matrix)

    assert walk.dedicated == ("tilt",) and walk.proven_before == ("door",)


def test_each_diode_on_the_board_is_passed_once():
    """Two diodes on one strobe ask for a closure each; a proven one for none."""
    positions = (Position("A", "1", "", True, "D1"), Position("A", "2", "", True, "D2"), Position("B", "2"))
    matrix = SwitchMatrix(("A", "B"), ("1", "2"), positions)

    assert [c.why for c in walk_of(matrix).closures] == ["diode D1", "diode D2", ""]
    less = replace(matrix, proven_diodes=frozenset({"D2"}))
    assert [str(c.crossing) for c in walk_of(less).closures] == ["A:1", "B:2"]


def test_diodes_of_returns_and_of_several_lines_are_passed_too():
    """A diode in a return stands for it; one that serves a block is passed by any of its positions."""
    shared = [Position(s, r, "", True, "D9") for s in "AB" for r in "12"]
    matrix = SwitchMatrix(("A", "B", "C"), ("1", "2", "3"), (*shared, Position("C", "3", "", True, "D3")))
    by_return = SwitchMatrix(("A", "B"), ("1",), tuple(Position(s, "1", "", True, "D1") for s in "AB"))
    proven = replace(full_matrix(2), positions=tuple(shared), strobes=("A", "B"), returns=("1", "2"),
                     proven_strobes=frozenset("AB"), proven_returns=frozenset("12"))  # fmt: skip

    assert {c.why for c in walk_of(matrix).closures} == {"diode D9", "", "diode D3"}
    assert [c.why for c in walk_of(by_return).closures] == ["diode D1", ""]
    assert [c.why for c in walk_of(proven).closures] == ["diode D9"]


def test_demo_board_needs_as_many_closures_as_strobes():
    """Eight strobes and eight returns with a diode in each strobe: eight closures, forward all the way."""
    board = parse_board_folder(demo_board_files())

    walk = walk_of(matrix_of(board))

    assert len(walk.closures) == 8 and not walk.extra and not walk.unreached
    assert walk_of(matrix_of(board, board.matrix.strobes + board.matrix.returns)).proven_before


def test_a_board_without_positions_or_matrix():
    """Without positions every crossing counts; without lines there is no matrix."""
    board = Board("b", 10, 10)
    declared = replace(board, matrix=type(board.matrix)(("A",), ("1", "2")))

    assert matrix_of(board) is None
    assert [str(c.crossing) for c in walk_of(matrix_of(declared)).closures] == ["A:1", "A:2"]


def test_json_lists_the_closures_in_order():
    """Plain types with the documented keys."""
    document = walk_of(full_matrix(2, proven_returns=frozenset({"R1"}))).to_json()

    assert document["closures"][0] == {
        "order": 1, "closure": "S0:R0", "strobe": "S0", "return": "R0", "name": "", "proves": ["S0", "R0"],
        "moves": "both", "diode": True, "why": "",
    }  # fmt: skip
    assert document["counts"] == {"closures": 2, "extra": 0, "dedicated": 0}
    assert document["proven_before"] == ["R1"]
