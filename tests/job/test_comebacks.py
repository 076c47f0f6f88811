"""A board that comes back is linked to its earlier job by itself; the same on SQLite and PostgreSQL."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from coppermend.errors import InputError, UnknownName
from coppermend.job.history import later_work
from coppermend.job.lessons import lessons
from coppermend.job.state import fold
from coppermend.job.store import Store

BOTH = True
CODES = {"U1": "8142", "U2": "8139", "U3": "8201", "U4": "7936"}


def opened(store: Store, **header: str) -> str:
    """A job of one of many customers."""
    return store.new_job({"customer": "x", **header}, who="Bo", at=datetime(2026, 3, 4, tzinfo=UTC))


def links(store: Store, job: str) -> list[tuple[str, str]]:
    """What a job is linked to, and why."""
    return [(line.job, line.why) for line in fold(store.entries(job)).comebacks]


@pytest.mark.parametrize(
    ("first", "second", "why"),
    [
        ({"serial": "SR-00231"}, {"serial": "sr 00231"}, "same serial"),
        ({}, {"marks": "old tag {0}, scratched"}, "its tag is on the board"),
        ({"marks": "24-0001-1"}, {"marks": "tag 24-0001-1"}, "both carry the same earlier tag"),
    ],
)
def test_header_links_by_itself(store: Store, first: dict[str, str], second: dict[str, str], why: str):
    """Tag or serial: the later job keeps the link as an entry, and the earlier one tells of the later."""
    earlier = opened(store, **first)
    later = opened(store, **{key: text.format(earlier) for key, text in second.items()})

    assert links(store, later) == [(earlier, why)]
    assert [(e.seq, e.kind, e.who) for e in store.entries(later)] == [(1, "job", "Bo"), (2, "comeback", "Bo")]
    assert [job.number for job in later_work(store, earlier)] == [later]
    assert links(store, earlier) == [] and later_work(store, later) == ()


def test_codes_on_parts_link_by_themselves(store: Store):
    """A fingerprint of four codes alike."""
    earlier, later = opened(store), opened(store)
    for job in (earlier, later):
        store.append(job, "fingerprint", "receive", {"codes": CODES}, who="Bo")

    assert links(store, later) == [(earlier, "same codes on its parts")]
    assert links(store, earlier) == []  # only ever to an earlier job


def test_third_visit_is_linked_to_the_second(store: Store):
    """The latest earlier job; both earlier ones have then come back."""
    jobs = [opened(store, serial="SR-5") for _ in range(3)]
    for job in jobs:
        store.append(job, "stage", "return", {"stage": "return"}, who="Bo")

    assert [links(store, job) for job in jobs[1:]] == [[(jobs[0], "same serial")], [(jobs[1], "same serial")]]
    whole = lessons(store).comebacks["all"][0]
    assert (whole.count, whole.of) == (2, 3)


def test_link_that_was_taken_back_is_not_made_again(store: Store):
    """Whoever says that it is another board is believed, also when the header is corrected afterwards."""
    earlier, later = opened(store, serial="SR-5"), opened(store, serial="SR-5")
    store.append(later, "void", "receive", {"seq": 2, "why": "another board"}, who="Bo")
    store.append(later, "job", "receive", {"serial": "SR 5", "machine": "Pebble Run"}, who="Bo")

    assert links(store, later) == [] and later_work(store, earlier) == ()
    assert [e.kind for e in store.entries(later)] == ["job", "comeback", "void", "job"]

    store.append(later, "comeback", "receive", {"job": earlier, "why": "asked the customer"}, who="Bo")
    assert [job.number for job in later_work(store, earlier)] == [later]


@pytest.mark.parametrize("header", [{"serial": "none"}, {"marks": "blue dot"}, {"contact": "x"}])
def test_what_many_boards_share_links_nothing(store: Store, header: dict[str, str]):
    """A serial without a digit, marks that name no tag, a customer."""
    opened(store, **header)

    assert links(store, opened(store, **header)) == []


def test_only_another_job_can_be_named(store: Store, job: str):
    """No job comes back from itself, or from one that there is not."""
    with pytest.raises(InputError, match="from itself"):
        store.append(job, "comeback", "receive", {"job": job}, who="Bo")
    with pytest.raises(UnknownName):
        store.append(job, "comeback", "receive", {"job": "24-0001-1"}, who="Bo")
    assert store.last_seq(job) == 1


def test_erased_entries_are_not_made_by_hand(store: Store, job: str):
    """The word that something is gone comes with its going alone."""
    with pytest.raises(InputError, match="by erasing alone"):
        store.append(job, "erased", "return", {"entries": [1], "why": "x"}, who="Bo")
    assert store.last_seq(job) == 1
