"""Trials, kept voltages and described tests in the record: what counts, what begins anew, and the proofs that follow."""

from __future__ import annotations

from datetime import UTC, datetime

from coppermend.board.folder import parse_board_folder
from coppermend.board.parttypes import standard_library
from coppermend.demo.board_data import demo_board_files
from coppermend.job.assess import assess
from coppermend.job.entry import Entry
from coppermend.job.state import fold

NOON = datetime(2026, 11, 28, 12, tzinfo=UTC)


def folded(*bodies):
    """The state after entries (kind, body)."""
    first = Entry("26-0001-X", 1, NOON, "R. Tansy", "receive", "job", {"customer": "Ana"})
    made = [
        Entry("26-0001-X", n, NOON, "R. Tansy", "prove", kind, body)
        for n, (kind, body) in enumerate(bodies, 2)
    ]
    return fold([first, *made])


def trial(commanded, seen, **more):
    return "trial", {"test": "matrix", "commanded": commanded, "seen": seen, **more}


def test_trials_and_results_that_carry_one_run_in_their_order():
    """An evidence entry with the same keys is a trial as well; one without is none."""
    state = folded(
        trial([], []),
        (
            "evidence",
            {"proof": "closure:A/B", "passed": True, "test": "matrix", "commanded": ["A:B"], "seen": ["A:B"]},
        ),
        ("evidence", {"proof": "clock:CLK", "passed": True}),
        ("evidence", {"proof": "x", "passed": True, "test": "matrix", "commanded": "A:B", "seen": []}),
    )

    assert [(line.commanded, line.seen, line.seq) for line in state.trials] == [
        ((), (), 2),
        (("A:B",), ("A:B",), 3),
    ]


def test_a_fresh_trial_forgets_those_before_of_its_test():
    """After a repair the matrix begins anew; the outputs' trials stay."""
    state = folded(
        trial(["A:B"], []),
        ("trial", {"test": "drive", "commanded": ["L1"], "seen": []}),
        trial([], [], fresh=True),
    )

    assert [(line.test, line.seq) for line in state.trials] == [("drive", 3), ("matrix", 4)]


def test_voltages_begin_anew_at_hour_nought():
    """A reading at power-off starts its cell's row; other cells keep theirs."""
    kept = [("C7", 0, 4.7), ("C7", 2, 4.6), ("B1", 0, 3.6), ("C7", 0, 4.72)]

    state = folded(*[("decay", {"refdes": r, "hours": h, "volts": v}) for r, h, v in kept])

    assert [(line.refdes, line.volts) for line in state.decays] == [("B1", 3.6), ("C7", 4.72)]


def described(**change):
    body = {"id": "book-3", "title": "Lamp test", "shows": ["lamps"], "watched": "each", "offered": True}
    return "proof", {**body, **change}


def test_a_described_test_is_a_proof_of_the_job_until_it_is_withdrawn():
    """The last entry of its id counts; what the board has not is told in a note."""
    board, library = parse_board_folder(demo_board_files()), standard_library()

    there = assess(board, library, folded(described()))
    gone = assess(board, library, folded(described(), described(offered=False)))
    odd = assess(board, library, folded(described(shows=["trumpets"])))

    assert "selftest:book-3" in {proof.id for proof in there.proofs}
    assert "selftest:book-3" not in {proof.id for proof in gone.proofs}
    assert any("trumpets" in note for note in odd.notes)


def test_a_closure_that_was_not_needed_counts_as_well():
    """A button in use proves its lines, though the walk would have closed another position of them."""
    board, library = parse_board_folder(demo_board_files()), standard_library()
    offered = {proof.id for proof in assess(board, library, folded()).proofs}
    spare = next(p for p in board.matrix.positions if f"closure:{p.strobe}/{p.ret}" not in offered)
    name = f"closure:{spare.strobe}/{spare.ret}"

    found = assess(board, library, folded(("evidence", {"proof": name, "passed": True})))

    assert name in {proof.id for proof in found.proofs}
    assert not [note for note in found.gate.notes if name in note]
