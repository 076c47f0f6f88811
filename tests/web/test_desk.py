"""What the bench works out before it is asked."""

from __future__ import annotations

import pytest

from coppermend.errors import InputError
from coppermend.job import tables
from coppermend.job.erase import erase_personal
from coppermend.job.state import fold
from coppermend.job.store import now
from coppermend.web.desk import Desk


@pytest.fixture
def fresh(damaged) -> Desk:
    """The record of a damaged board, opened anew: nothing is worked out yet."""
    return Desk(damaged.desk.store, damaged.desk.library)


def test_what_jobs_rest_on_is_ready_before_their_pages_ask(fresh, damaged):
    """After getting ready neither a job nor its drawing is worked out again."""
    fresh.get_ready()
    before = fresh._assessed.cache_info().misses, fresh.drawing.cache_info().misses

    found = fresh.job(damaged.number).found
    fresh.drawing(damaged.board, "top")
    fresh.drawing(damaged.board, "bottom")

    assert found is not None
    assert before == (1, 2)
    assert (fresh._assessed.cache_info().misses, fresh.drawing.cache_info().misses) == before


def test_a_job_that_cannot_be_read_holds_up_no_other(fresh, damaged, monkeypatch):
    """A board whose archive is damaged is left to its own page."""
    other = damaged.desk.store.new_job({"customer": "A. Reed"}, who="R. Tansy")
    asked, job = [], fresh.job

    def reading(number):
        asked.append(number)
        if number == other:
            raise InputError("the archive is damaged")
        return job(number)

    monkeypatch.setattr(fresh, "job", reading)
    fresh.get_ready()

    assert sorted(asked) == sorted([damaged.number, other])
    assert fresh.drawing.cache_info().currsize == 2


def test_a_bench_that_shuts_gets_nothing_ready(fresh):
    """Ctrl-C does not wait for work that nobody will see."""
    fresh.closing.set()
    fresh.get_ready()

    assert fresh._assessed.cache_info().misses == 0


def test_of_a_record_that_has_grown_only_the_new_entries_are_read(fresh, damaged, monkeypatch):
    """The entries read before are the very same afterwards; nothing is asked for twice."""
    before, asked, entries = fresh.job(damaged.number), [], damaged.desk.store.entries
    monkeypatch.setattr(
        fresh.store, "entries", lambda number, after=0: asked.append(after) or entries(number, after)
    )
    fresh.store.append(damaged.number, "note", "inspect", {"text": "once more"}, who="R. Tansy")

    after = fresh.job(damaged.number)

    assert asked == [3]
    assert [e.seq for e in after.entries] == [1, 2, 3, 4]
    assert all(one is other for one, other in zip(before.entries, after.entries[:3], strict=True))
    assert [note.text for note in after.state.notes] == ["once more"]


def test_what_was_erased_is_forgotten_at_once(fresh, damaged):
    """An entry that says that earlier ones were changed has them all read again."""
    assert fresh.job(damaged.number).state.customer == "O. Penhallow"

    erase_personal(damaged.desk.store, damaged.number, why="asked for by letter", who="R. Tansy")

    job = fresh.job(damaged.number)
    assert (job.state.customer, job.entries[0].body.get("customer")) == ("", None)


def test_an_entry_of_a_later_version_is_counted_however_the_record_is_read(fresh, damaged):
    """Read at once or as it grew, what this version cannot read is told of, once."""
    number, store = damaged.number, damaged.desk.store
    assert fresh.job(number).state.unread == 0
    with tables.writing(store.engine) as connection:
        row = {"job": number, "at": now(), "who": "R. Tansy", "stage": "prove", "kind": "smell", "body": {}}
        connection.execute(tables.entry.insert().values({**row, "seq": 4}))
    store.append(number, "note", "prove", {"text": "after it"}, who="R. Tansy")

    grown = fresh.job(number)

    assert grown.state.unread == 1
    assert grown.state == fold(store.entries(number)) == Desk(store, fresh.library).job(number).state
