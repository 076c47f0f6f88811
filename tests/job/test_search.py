"""Every job in short, finding jobs by words, and earlier work on the same board."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from coppermend.job.history import earlier_work
from coppermend.job.store import Store

AT = datetime(2026, 3, 4, 9, 30, tzinfo=UTC)
LATER = AT.replace(month=5)
BOTH = True


@pytest.fixture
def other(store: Store, job: str) -> str:
    """A second job, of another customer."""
    header = {
        "customer": "Gérard Müller",
        "machine": "Marble Lift",
        "serial": "ML 0-9",
        "complaint": "resets",
    }
    return store.new_job(header, who="Eve", at=LATER)


def numbers(store: Store, text: str) -> list[str]:
    """What a search finds."""
    return [summary.number for summary in store.find(text)]


def test_jobs_are_listed_newest_first(store: Store, job: str, other: str):
    """The list runs from the newest job to the oldest."""
    assert [summary.number for summary in store.jobs()] == [other, job]


def test_summary_follows_the_record(store: Store, job: str):
    """Stage, corrections, number of entries and the last moment come from the record."""
    store.append(job, "stage", "inspect", {"stage": "inspect"}, who="Bo", at=AT)
    store.append(job, "stage", "inspect", {"stage": "strip"}, who="Bo", at=AT)
    store.append(job, "job", "inspect", {"serial": "PR-0118"}, who="Bo", at=AT)
    store.append(job, "void", "inspect", {"seq": 3}, who="Bo", at=LATER)

    (summary,) = store.jobs()

    assert (summary.stage, summary.serial, summary.machine) == ("inspect", "PR-0118", "Pebble Run")
    assert (summary.entries, summary.created, summary.changed) == (5, AT, LATER)
    assert summary.to_json()["changed"] == "2026-05-04T09:30:00+00:00"


@pytest.mark.parametrize(
    "text",
    [
        "lindqvist",
        "ANA pebble",
        "pr-0117",
        "pr0117",
        "flicker",
        "blue dot",
        "ana@example",
        "26-0001",
        "260001",
    ],
)
def test_words_find_the_job(store: Store, job: str, other: str, text: str):
    """Any words from customer, contact, machine, serial, marks, complaint or number find the job."""
    assert numbers(store, text) == [job]


def test_accents_do_not_matter(store: Store, job: str, other: str):
    """A name is found as it is typed on any keyboard."""
    assert numbers(store, "gerard muller") == [other]


def test_number_finds_exactly_its_job(store: Store, job: str, other: str):
    """A whole job number, however typed, finds that job only."""
    assert numbers(store, other.lower().replace("0", "O")) == [other]


def test_words_that_fit_no_job_find_nothing(store: Store, job: str, other: str):
    """All words must fit the same job; no words find every job."""
    assert numbers(store, "ana resets") == []
    assert numbers(store, "  ") == [other, job]


def test_same_serial_is_the_same_board(store: Store, job: str, other: str):
    """A serial is recognised whatever its punctuation, and the asking job is left out."""
    (found,) = earlier_work(store, serial="pr 0117")

    assert (found.job.number, found.why, found.same_board) == (job, ("same serial",), True)
    assert earlier_work(store, serial="pr 0117", besides=job) == ()


def test_tag_on_the_board_leads_to_its_job(store: Store, job: str, other: str):
    """A job number among the marks on a board leads to that job, and to others that saw the same tag."""
    comeback = store.new_job({"customer": "Cy", "marks": f"old tag {job}"}, who="Bo", at=LATER)

    found = earlier_work(store, marks=f"label says {job.lower()}")

    assert {f.job.number: f.why for f in found} == {
        job: ("its tag is on the board",), comeback: ("both carry the same earlier tag",),
    }  # fmt: skip


def test_same_marks_are_the_same_board(store: Store, job: str, other: str):
    """Marks written the same but for case and blanks point to the same board."""
    (found,) = earlier_work(store, marks=" Blue  DOT")

    assert (found.job.number, found.why) == (job, ("same marks",))


def test_other_boards_of_the_customer_come_last(store: Store, job: str, other: str):
    """Jobs of the same customer are shown after those on the same board, and are told apart."""
    found = earlier_work(store, serial="PR-0117", customer="gerard muller")

    assert [(f.job.number, f.why, f.same_board) for f in found] == [
        (job, ("same serial",), True), (other, ("same customer",), False),
    ]  # fmt: skip
    assert found[1].to_json()["why"] == ["same customer"]


def test_nothing_known_finds_nothing(store: Store, job: str, other: str):
    """Empty serial, marks and customer match no job, not even one where they are empty too."""
    store.new_job({"customer": "Cy"}, who="Bo")

    assert earlier_work(store, serial=" - ", marks="", customer="") == ()
