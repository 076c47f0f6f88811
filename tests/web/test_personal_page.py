"""Personal data past the shop's period: listed, erased once confirmed, and quotes against what it took."""

from __future__ import annotations

from datetime import UTC, datetime

from coppermend.job.shop import set_shop
from coppermend.job.state import fold

OLD = datetime(2014, 3, 4, tzinfo=UTC)


def test_what_is_due_is_listed_and_erased_when_sure(bench):
    """Without a period nothing; without the tick nothing goes; what is not ticked stays."""
    store = bench.desk.store
    jobs = [
        store.new_job({"customer": name, "machine": "Pebble Run"}, who="Bo", at=OLD)
        for name in ("Penhallow", "Tregeagle")
    ]
    for job in jobs:
        store.append(job, "stage", "return", {"stage": "return"}, who="Bo", at=OLD)
    assert "No period is set" in bench.client.get("/personal").text
    set_shop(store, {"keep_years": "10"}, who="Bo")
    shown = bench.client.get("/personal").text
    assert "Penhallow" in shown and "Tregeagle" in shown

    unsure = bench.client.post("/personal", data={f"job-{jobs[0]}": "1"})
    sure = bench.client.post("/personal", data={f"job-{jobs[0]}": "1", "sure": "1"})

    assert unsure.status_code == 400 and "nothing was erased" in unsure.text
    assert sure.status_code == 200 and "Penhallow" not in sure.text and "Tregeagle" in sure.text
    states = [fold(store.entries(job)) for job in jobs]
    assert [(s.customer, s.machine) for s in states] == [("", "Pebble Run"), ("Tregeagle", "Pebble Run")]


def test_job_that_is_not_due_is_refused(bench):
    """Whatever a form says."""
    job = bench.desk.store.new_job({"customer": "Ana"}, who="Bo")
    set_shop(bench.desk.store, {"keep_years": "10"}, who="Bo")

    answer = bench.client.post("/personal", data={f"job-{job}": "1", "sure": "1"})

    assert answer.status_code == 400 and "is not due" in answer.text
    assert fold(bench.desk.store.entries(job)).customer == "Ana"


def test_learning_shows_quotes_against_what_it_took(bench):
    """Two jobs that took twice what was quoted."""
    store = bench.desk.store
    sha256 = store.attach(b"q", "q.pdf")
    for _ in range(2):
        job = store.new_job({"customer": "x"}, who="Bo")
        for kind, body in (
            ("paper", {"what": "quote", "sha256": sha256, "name": "q.pdf", "minutes": 60.0}),
            ("timer", {"does": "add", "minutes": 120}),
            ("stage", {"stage": "return"}),
        ):
            store.append(job, kind, "return", body, who="Bo")

    assert "Work took 2.00 of the quoted time" in bench.client.get("/learn").text
