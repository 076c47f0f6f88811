"""A job goes back only through its gate, or by a waiver on record that names all that holds it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from coppermend.board.subject import part_subject
from coppermend.errors import InputError
from coppermend.job.assess import assess
from coppermend.job.progress import FINISHED, WAIVED
from coppermend.job.release import check_stage_allowed, holding, release
from coppermend.job.state import FileLine, JobState, WaiverLine, fold
from coppermend.proving.records import Gate, OpenItem

AT = datetime(2026, 3, 4, 9, 30, tzinfo=UTC)


@pytest.fixture
def small_damaged(small, library, leak):
    """A small board, its library, and a job on it with a leak."""
    return small, library, JobState(damage=leak)


OPEN = Gate(open=(OpenItem(part_subject("U1"), ()),), failed=("clock:CLK",))
WHOLE = WaiverLine("no lamps here", ("part U1", "proof clock:CLK"), "Bo", AT, 9)


def test_a_passed_gate_needs_no_waiver():
    """And a waiver on record is not told of then."""
    assert release(Gate(), JobState(waiver=WHOLE)) == release(Gate(), JobState())
    assert release(Gate(), JobState()).allowed and release(Gate(), JobState(waiver=WHOLE)).waiver is None


def test_an_open_gate_holds_the_job():
    """What is open and what stands failed is named."""
    found = release(OPEN, JobState())

    assert (found.allowed, found.left) == (False, ("part U1", "proof clock:CLK"))
    assert found.left == holding(OPEN)


def test_a_waiver_of_all_that_is_open_lets_the_job_go():
    """With its reason, author and moment at hand."""
    found = release(OPEN, JobState(waiver=WHOLE))

    assert found.allowed and found.waiver == WHOLE
    assert found.to_json()["waiver"]["reason"] == "no lamps here"


def test_what_opens_after_a_waiver_is_not_covered():
    """It holds the job until it is waived itself."""
    found = release(OPEN, JobState(waiver=replace(WHOLE, items=("part U1",))))

    assert (found.allowed, found.waiver, found.left) == (False, None, ("proof clock:CLK",))
    assert found.to_json() == {"allowed": False, "waiver": None, "left": ["proof clock:CLK"]}


def test_a_waiver_is_an_entry_like_any_other(store, job):
    """The last one counts, and a void entry takes it back."""
    first = store.append(job, "waiver", "return", {"reason": "a", "items": ["net N1"]}, who="Bo", at=AT)
    second = store.append(job, "waiver", "return", {"reason": "b", "items": ["net N2"]}, who="Bo", at=AT)
    state = fold(store.entries(job))
    assert state.waiver.reason == "b" and list(state.to_json()["waiver"]["items"]) == ["net N2"]

    store.append(job, "void", "return", {"seq": second.seq}, who="Bo", at=AT)
    assert fold(store.entries(job)).waiver.seq == first.seq


@pytest.mark.parametrize(
    "body", [{"reason": " ", "items": ["x"]}, {"reason": "a", "items": []}, {"reason": "a", "items": [""]}]
)
def test_a_waiver_without_reason_or_items_is_refused(store, job, body):
    """It must say why and what."""
    with pytest.raises(InputError) as caught:
        store.append(job, "waiver", "return", body, who="Bo")

    assert "waiver entry" in caught.value.found


def test_the_return_stage_waits_for_gate_or_waiver(small_damaged):
    """Papers alone do not finish a job; the gate or a waiver does, and the last words say which."""
    board, library, state = small_damaged
    papers = tuple(FileLine("0" * 64, what, what, "return", 5) for what in ("tag", "report"))
    printed = replace(state, papers=papers, stage="return", complaint="dark")

    held = assess(board, library, printed)
    assert "record a waiver" in {p.stage: p.next_step for p in held.progress}["return"]
    waiver = WaiverLine("spare board", holding(held.gate), "Bo", AT, 6)
    freed = assess(board, library, replace(printed, waiver=waiver))
    steps = {p.stage: p.next_step for p in freed.progress}
    assert (steps["return"], steps["prove"], freed.gate.passed) == ("", "", False)
    assert freed.release.allowed and freed.next_step not in (FINISHED,)


def test_the_last_words_tell_a_waiver_from_a_passed_gate(small_damaged):
    """With everything else done, the waiver is what they name."""
    board, library, state = small_damaged
    found = assess(board, library, replace(state, damage=None))
    finished = replace(found, state=found.state)
    finished.__dict__["progress"] = tuple(replace(p, next_step="") for p in found.progress)
    held = replace(found, gate=OPEN)
    held.__dict__["progress"] = finished.__dict__["progress"]

    assert (finished.next_step, held.next_step) == (FINISHED, WAIVED)


def test_return_is_refused_while_the_gate_is_open():
    """Going on to return names how much is open and what; other stages, a waiver, and a job without a board pass."""
    with pytest.raises(InputError) as caught:
        check_stage_allowed("return", release(OPEN, JobState()))

    assert "2 things are not proven, part U1, proof clock:CLK" in caught.value.found
    assert "waiver" in caught.value.expected
    check_stage_allowed("prove", release(OPEN, JobState()))
    check_stage_allowed("return", release(OPEN, JobState(waiver=WHOLE)))
    check_stage_allowed("return", None)
