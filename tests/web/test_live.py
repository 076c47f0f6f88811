"""Two devices on one job: what one adds, the other shows."""

from __future__ import annotations

import asyncio
import json
import shutil
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import pytest
from playwright.sync_api import expect

from coppermend.demo.story import WHO
from coppermend.web.live import news_of

CHROMIUM = shutil.which("chromium") or ""
T = TypeVar("T")


def ran(work: Coroutine[None, None, T]) -> T:
    """What comes of it, in a thread of its own: in this one the browser's loop may be running."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, work).result()


async def first(events) -> str:
    async for event in events:
        return event
    raise AssertionError("the stream ended without a word")


def test_a_page_that_is_behind_is_told_of_the_last_entry(at_work):
    """The event says who added what, so that one can decide whether to look."""
    at_work.desk.store.append(at_work.number, "note", "copper", {"text": "Pad lifted."}, who="B. Sedge")
    seq = at_work.desk.store.last_seq(at_work.number)
    event = ran(first(news_of(at_work.desk, at_work.number, seen=seq - 1)))
    assert event.startswith("event: entry\ndata: ") and event.endswith("\n\n")
    news = json.loads(event.removeprefix("event: entry\ndata: "))
    assert news == {"seq": seq, "text": f"B. Sedge added entry {seq} at copper: Pad lifted."}


def test_the_stream_ends_when_the_bench_shuts(at_work):
    """Otherwise stopping the program would wait for every open page."""

    async def all_of_it() -> list[str]:
        at_work.desk.closing.set()
        return [event async for event in news_of(at_work.desk, at_work.number, seen=0)]

    assert ran(all_of_it()) == []


def test_an_unknown_job_has_no_news(at_work):
    """The page gets a plain 404 and stops asking."""
    assert at_work.client.get("/jobs/26-9999-0/live?seen=1").status_code in (400, 404)
    assert at_work.client.get(f"/jobs/{at_work.number}/live?seen=soon").status_code == 400


@pytest.mark.debian
@pytest.mark.skipif(not CHROMIUM, reason="browser checks skipped: Debian's chromium is absent")
def test_the_tablet_follows_the_phone_but_never_throws_away_what_was_typed(live):
    """The phone keeps a reading; the tablet's page moves on by itself, unless a number was being typed into it."""
    number = live.job()
    with live.page(820) as tablet:
        tablet.goto(f"{live.address}/jobs/{number}/copper")
        seen = live.desk.store.last_seq(number)
        expect(tablet.locator("#live")).to_be_hidden()

        # Else what is typed next could fall into the page that is on its way out.
        with tablet.expect_navigation():
            live.desk.store.append(number, "note", "copper", {"text": "Tips are clean."}, who=WHO)
        expect(tablet.locator("#live")).to_have_attribute("data-seq", str(seen + 1))
        expect(tablet.locator("#live")).to_be_hidden()  # it followed

        tablet.fill("#ohms", "0.4")
        live.desk.store.append(number, "note", "copper", {"text": "One more."}, who=WHO)
        expect(tablet.locator("#live")).to_contain_text(f"{WHO} added entry {seen + 2} at copper: One more.")
        assert tablet.input_value("#ohms") == "0.4"
        with tablet.expect_navigation():
            tablet.locator("#live button").click()
        expect(tablet.locator("#live")).to_be_hidden()
