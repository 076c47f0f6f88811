"""The dim look for work inside a dark cabinet."""

from __future__ import annotations

import pytest


@pytest.mark.parametrize("path", ["/", "/boards", "/backups", "/craft"])
def test_it_is_switched_on_and_off_anywhere(bench, path):
    """A press without scripts leads back to the page, which wears it from then on, until the next press."""
    on = bench.client.post("/cabinet", data={"back": path, "cabinet": "1"})
    off = bench.client.post("/cabinet", data={"back": path, "cabinet": "0"})

    assert (
        on.url.path == path
        and '<html lang="en" class="cabinet">' in on.text
        and 'aria-pressed="true"' in on.text
    )
    assert '<html lang="en">' in off.text and 'aria-pressed="false"' in off.text


def test_it_leads_to_no_other_site(bench):
    """What is sent as the page to go back to is a page of the bench, or the first one."""
    answer = bench.client.post(
        "/cabinet", data={"back": "//elsewhere.example", "cabinet": "1"}, follow_redirects=False
    )

    assert answer.headers["location"] == "/"


def test_one_test_at_a_time_always_wears_it(damaged):
    """The page for the cabinet itself is dim without being told, and has nothing to switch."""
    text = damaged.get("/prove/one").text

    assert 'class="cabinet"' in text and 'action="/cabinet"' not in text
