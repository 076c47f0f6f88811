"""The search as the record tells it: observations in order, strays told, suspects that must be proven."""

from __future__ import annotations

import pytest

from coppermend.board.folder import parse_board_folder
from coppermend.board.parttypes import standard_library
from coppermend.board.subject import part_subject
from coppermend.demo.board_data import demo_board_files
from coppermend.errors import InputError
from coppermend.job.assess import assess
from coppermend.job.earlierfaults import NO_HISTORY, FaultHistory
from coppermend.job.isolating import search_of
from coppermend.job.state import JobState, ObservationLine, fold
from coppermend.job.validate import check_body

BOARD, LIBRARY = parse_board_folder(demo_board_files()), standard_library()


def _state(*rows: tuple[str, str, str]) -> JobState:
    return JobState(observations=tuple(ObservationLine(*row, "", k) for k, row in enumerate(rows, 1)))


def test_observations_count_in_their_order() -> None:
    """Each observation of the record is in the search, and what leads there is suspected."""
    search = search_of(BOARD, LIBRARY, _state(("", "symptom", "no boot"), ("U1.40", "logic", "stuck low")))

    assert [line.seq for line in search.used] == [1, 2] and search.isolation.suspects(1)[0].name == "C1"
    assert part_subject("C1") in search.subjects and search.notes == ()


def test_strays_are_told_and_left_out() -> None:
    """A point that this board lacks is told with its entry's number."""
    search = search_of(BOARD, LIBRARY, _state(("U99.1", "logic", "low")))

    assert search.used == () and search.subjects == () and search.notes[0].startswith("entry 1 is not used")


def test_searches_of_one_board_do_not_disturb_each_other() -> None:
    """The remembered search stays as it was when it had seen nothing."""
    search_of(BOARD, LIBRARY, _state(("U1.40", "logic", "stuck low")))

    assert search_of(BOARD, LIBRARY, JobState()).isolation.seen == ()


def test_an_observation_entry_needs_kind_and_value() -> None:
    """The record refuses one without a value, or of a kind that it does not know."""
    assert check_body("observation", {"point": "U1.2", "kind": "logic", "value": "low"})["value"] == "low"
    for body in ({"kind": "logic"}, {"kind": "smell", "value": "bad"}):
        with pytest.raises(InputError) as caught:
            check_body("observation", body)
        assert "observation entry" in str(caught.value)


def test_suspects_must_be_proven_before_the_gate_closes() -> None:
    """What the search accuses is of concern to the gate; without observations nothing is suspected."""
    accused = assess(BOARD, LIBRARY, _state(("", "symptom", "no boot"), ("U1.40", "logic", "stuck low")))
    silent = assess(BOARD, LIBRARY, fold([]))

    assert any(item.subject == part_subject("C1") for item in accused.gate.open)
    assert not any(item.subject == part_subject("C1") for item in silent.gate.open)


def test_what_was_at_fault_on_boards_of_this_type_changes_an_assessment() -> None:
    """A part that was the fault before must be proven where the observations alone accuse others; and it says why."""
    state = _state(("", "symptom", "no boot"))
    known = FaultHistory(here=(("U3", 30),))
    plain, told = (assess(BOARD, LIBRARY, state, history) for history in (NO_HISTORY, known))

    assert not any(item.subject == part_subject("U3") for item in plain.gate.open)
    assert any(item.subject == part_subject("U3") for item in told.gate.open)
    suspect = search_of(BOARD, LIBRARY, state, known).isolation.suspects(1)[0]
    assert suspect.name == "U3" and any("30 times" in why for why in suspect.reasons)


def test_a_search_that_is_carried_on_leaves_the_remembered_one() -> None:
    """The same record is answered from memory, whatever a caller adds to the search that it was given."""
    state = _state(("U1.40", "logic", "stuck low"))
    first = search_of(BOARD, LIBRARY, state)
    before = first.isolation.posterior.copy()
    first.isolation.record("U1.39", "logic", "good")
    again = search_of(BOARD, LIBRARY, state)

    assert len(again.isolation.seen) == 1 and (again.isolation.posterior == before).all()
    assert not (first.isolation.posterior == before).all()
