"""What the bench works out before it is asked."""

from __future__ import annotations

import pytest

from coppermend.errors import InputError
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
