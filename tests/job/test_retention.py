"""Personal data is due for erasing once the shop's period is over, and only then; the same on both databases."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from coppermend.errors import InputError
from coppermend.job.retention import due_jobs, erase_due
from coppermend.job.shop import read_shop, set_shop
from coppermend.job.state import fold
from coppermend.job.store import Store

BOTH = True
TODAY = datetime(2026, 3, 4, 12, tzinfo=UTC)


@pytest.fixture
def jobs(store: Store) -> dict[str, str]:
    """Jobs of 2016: one gone, one at return, one still at copper; and one that went last year."""
    made = {}
    for name, kind, year in (("gone", "shipping", 2016), ("returned", "stage", 2016), ("open", "note", 2016), ("late", "shipping", 2025)):  # fmt: skip
        at = datetime(year, 3, 4, tzinfo=UTC)
        made[name] = store.new_job({"customer": f"Customer {name}", "machine": "Pebble Run"}, who="Bo", at=at)
        body = {"shipping": {"direction": "out"}, "stage": {"stage": "return"}, "note": {"text": "x"}}[kind]
        store.append(made[name], kind, "return", body, who="Bo", at=at)
    return made


def test_only_finished_jobs_past_the_period_are_due(store: Store, jobs: dict[str, str]):
    """Ten years after the last entry to the day; what is on the bench never; without a period nothing."""
    assert [j.number for j in due_jobs(store, 10, TODAY)] == [jobs["gone"], jobs["returned"]]
    assert due_jobs(store, 10, datetime(2026, 3, 3, 23, tzinfo=UTC)) == ()
    assert len(due_jobs(store, 1, datetime(2026, 3, 5, tzinfo=UTC))) == 3
    assert due_jobs(store, None, TODAY) == ()


def test_erasing_what_is_due(store: Store, jobs: dict[str, str]):
    """The customer goes, the technical record stays, the reason names the period, and it is due no more."""
    (erased,) = erase_due(store, 10, [jobs["gone"]], who="Bo", at=TODAY)

    state = fold(store.entries(jobs["gone"]))
    assert erased.entries == (1,) and (state.customer, state.machine) == ("", "Pebble Run")
    assert store.entries(jobs["gone"])[-1].body["why"] == "kept for 10 years, the shop's period"
    assert [j.number for j in due_jobs(store, 10, TODAY)] == [jobs["returned"]]
    assert store.search("gone").jobs == () and store.verify() == ()


def test_nothing_that_is_not_due_is_erased(store: Store, jobs: dict[str, str]):
    """One wrong number, and nothing goes."""
    with pytest.raises(InputError, match=f"job {jobs['open']} is not due"):
        erase_due(store, 10, [jobs["gone"], jobs["open"]], who="Bo", at=TODAY)
    assert fold(store.entries(jobs["gone"])).customer == "Customer gone"


@pytest.mark.parametrize("text", ["0", "100", "ten", "-1", "1.5", "٣"])
def test_period_is_a_number_of_years(store: Store, text: str):
    """From 1 to 99, or nothing."""
    with pytest.raises(InputError, match="keep_years"):
        set_shop(store, {"keep_years": text}, who="Bo")
    assert read_shop(store).keeps_years is None
    assert set_shop(store, {"keep_years": "10"}, who="Bo").keeps_years == 10
