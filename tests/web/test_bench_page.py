"""The bench page and who is working."""

from __future__ import annotations

import re

import pytest


def test_an_empty_shop_offers_three_ways_to_begin(bench):
    """Sample board, import and new job are all one press away."""
    text = bench.client.get("/").text

    assert 'action="/boards/sample"' in text
    assert 'href="/boards#import"' in text
    assert 'href="/jobs/new"' in text


def test_jobs_lie_under_the_stage_they_stand_at(at_work):
    """A job that went on to strip is listed there, not under receive."""
    at_work.kept("stage", stage="strip", here="receive")

    text = at_work.client.get("/").text

    assert 'id="at-strip"' in text and 'id="at-receive"' not in text
    assert f'href="/jobs/{at_work.number}/strip"' in text


def test_search_keeps_jobs_that_have_every_word(at_work):
    """Words are looked for in number, customer and complaint; nothing found says so."""
    assert at_work.number in at_work.client.get("/", params={"find": "penhallow dark"}).text

    text = at_work.client.get("/", params={"find": "penhallow bright"}).text

    assert at_work.number not in text and "0 jobs have" in text


def test_search_words_are_shown_as_text(bench):
    """Markup in the search is escaped."""
    text = bench.client.get("/", params={"find": '"><script>alert(1)</script>'}).text

    assert "<script>alert" not in text and "&lt;script&gt;alert" in text


def test_the_browser_remembers_who_works(bench):
    """A name with any letters comes back on the next page, and the cookie is not open to scripts."""
    bench.client.cookies.clear()

    answer = bench.client.post("/who", data={"who": "Zoë; Björk", "back": "/boards"}, follow_redirects=False)

    assert (answer.status_code, answer.headers["location"]) == (303, "/boards")
    assert "HttpOnly" in answer.headers["set-cookie"]
    assert "Zoë; Björk" in bench.client.get("/").text


@pytest.mark.parametrize(
    "back", ["https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere.example", ""]
)
def test_nobody_is_sent_to_another_site(bench, back):
    """The way back after giving a name stays on the bench."""
    answer = bench.client.post("/who", data={"who": "R. Tansy", "back": back}, follow_redirects=False)

    assert answer.headers["location"] == "/"


@pytest.mark.parametrize("action", ["note", "stage", "void"])
def test_a_name_given_on_a_refused_page_leads_to_a_page(at_work, action):
    """Of a post nothing can be asked for again: the way back is the job."""
    refused = at_work.post(action, stage="nowhere").text

    back = re.search(r'name="back" value="([^"]*)"', refused).group(1)

    assert back == f"/jobs/{at_work.number}"
    assert at_work.client.get(back).status_code == 200


def test_an_empty_name_is_refused(bench):
    """No name, no cookie."""
    answer = bench.client.post("/who", data={"who": " "})

    assert answer.status_code == 400 and "set-cookie" not in answer.headers


def test_an_empty_shop_opens_the_sample_job_with_one_press(bench):
    """The job has its board and its complaint, nothing done yet, and the page says what comes next."""
    first = bench.client.get("/").text
    for way in ('action="/sample-job"', 'href="/boards#import"', 'href="/boards/draft"', 'href="/jobs/new"'):
        assert way in first

    page = bench.client.post("/sample-job")

    assert page.status_code == 200
    number = page.url.path.rsplit("/", 1)[1]
    job = bench.desk.job(number)
    assert (job.state.customer, job.state.stage, job.state.seq) == ("O. Penhallow", "receive", 2)
    assert job.found is not None and "Next" in page.text
