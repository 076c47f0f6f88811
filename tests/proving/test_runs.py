"""A test as it goes: the matrix from rest to its last closure or to a fault, and the outputs in their order."""

from __future__ import annotations

from dataclasses import replace

from coppermend.board.folder import parse_board_folder
from coppermend.board.parttypes import standard_library
from coppermend.demo.board_data import demo_board_files
from coppermend.proving.drive import DriveResult
from coppermend.proving.driverun import drive_run, outputs_of
from coppermend.proving.matrixrun import matrix_run, sound_report

from .matrix_cases import crossings, fault, full_matrix, look


def followed(matrix, faults, most=60):
    """What the run asked for, turn by turn, on a matrix with these faults; and how it ended."""
    seen, turns = [], []
    while (run := matrix_run(matrix, seen)).turn and len(turns) < most:
        turns.append(run.turn)
        seen += look(matrix, faults, frozenset(run.turn.closed))
    return turns, run


def test_a_sound_matrix_is_walked_forward_and_ends_proven():
    """Rest first, then strobe after strobe, never back; at the end every turn is done and nothing is odd."""
    turns, run = followed(full_matrix(5), [])

    strobes = [t.closed[0].strobe for t in turns if t.kind == "walk" and t.closure.proves]
    assert turns[0].kind == "rest" and strobes == sorted(strobes)
    assert run.turn is None and not run.odd and run.done == run.total
    assert run.to_json()["turn"] is None and run.to_json()["found"]["faults"]


def test_a_fault_turns_the_walk_into_a_search_that_names_it():
    """After an odd report the next closure separates the explanations, until the fault stands alone at the top."""
    planted = fault("open strobe", 2)

    turns, run = followed(full_matrix(5), [planted])

    assert run.found.explanations[0].faults == (planted,) and run.odd
    assert any(turn.kind == "find" for turn in turns)


def test_expected_reports_hold_the_ghosts_of_a_matrix_without_diodes():
    """Three corners closed report the fourth as well (elementary circuit)."""
    three = crossings("S0:R0 S0:R1 S1:R0")

    assert set(sound_report(full_matrix(3, diodes=False), three)) == three | crossings("S1:R1")
    assert set(sound_report(full_matrix(3), three)) == three


def test_a_button_in_use_is_taken_as_done():
    """Its strobe and return need no closure any more: a 4 x 3 matrix then takes one closure fewer of its four."""
    matrix = full_matrix(4)
    matrix = replace(
        matrix, returns=matrix.returns[:3], positions=tuple(p for p in matrix.positions if p.ret != "R3")
    )
    plain = matrix_run(matrix, [])
    beside = next(
        p.crossing for p in matrix.positions if p.crossing not in {c.crossing for c in plain.walk.closures}
    )

    run = matrix_run(matrix, look(matrix, [], frozenset({beside})))

    assert {beside.strobe, beside.ret} <= set(run.walk.proven_before)
    assert len(run.walk.closures) == len(plain.walk.closures) - 1


def test_outputs_come_in_the_order_of_their_danger():
    """Rest, lamps, displays, sounds, then coils; finished when each was tried."""
    board, library = parse_board_folder(demo_board_files()), standard_library()
    outputs = outputs_of(board, library)

    roles = list(dict.fromkeys(one.role for one in outputs))
    start = drive_run(board, library, [])
    tried = [DriveResult(frozenset(), frozenset())]
    tried += [DriveResult(frozenset({one.net}), frozenset({one.net})) for one in outputs]
    end = drive_run(board, library, tried)

    assert (
        roles == [role for role in ("lamp", "display", "sound", "solenoid") if role in roles]
        and len(roles) > 2
    )
    assert start.turn is None and not start.finished and start.total == len(outputs) + 1
    assert end.finished and not end.faults and end.done == end.total
