"""In a real browser (Debian's Chromium): what was typed is there again after leaving, a refusal, a lost connection."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page
from tests.web.conftest import CHROMIUM
from tests.web.test_browser import as_tansy

pytestmark = [
    pytest.mark.debian,
    pytest.mark.skipif(not CHROMIUM, reason="browser checks skipped: Debian's chromium is absent"),
]


def values(page: Page, form: str) -> dict[str, str]:
    """What the fields of a form hold, without those that people do not see."""
    return page.eval_on_selector(
        form,
        "(f) => Object.fromEntries([...f.elements].filter((e) => e.name && e.type !== 'hidden').map((e) => [e.name, e.value]))",
    )


def sent(page: Page, button: str) -> None:
    with page.expect_navigation():
        page.locator(button).click()


def test_typed_text_outlives_the_page_and_ends_with_the_entry(live):
    """New job: left and opened again, the form is as it was; once the job is kept, the next form is empty."""
    with live.page() as page:
        as_tansy(page, live)
        page.goto(f"{live.address}/jobs/new")
        page.fill("[name=customer]", "O. Penhallow")
        page.fill("[name=complaint]", "It will\nnot boot.")
        page.fill("[name=promised]", "2026-12-24")

        page.goto(f"{live.address}/queue")
        page.goto(f"{live.address}/jobs/new")

        again = values(page, "form.form-sheet")
        assert again["customer"] == "O. Penhallow" and again["complaint"] == "It will\nnot boot."
        assert again["promised"] == "2026-12-24"
        assert page.locator(".typed-back").count() == 1
        sent(page, "text=Open the job")
        (job,) = live.desk.store.jobs(1)
        assert (job.customer, job.promised) == ("O. Penhallow", "2026-12-24")
        page.goto(f"{live.address}/jobs/new")
        assert values(page, "form.form-sheet")["customer"] == ""
        assert page.locator(".typed-back").count() == 0


def test_a_refused_answer_stays_until_it_is_kept(live):
    """Dealings: after a refusal and after a bench that was gone, the form still has it, and no other form has."""
    number = live.desk.store.new_job({"customer": "Ana"}, who="Bo")
    place = f"{live.address}/jobs/{number}/dealings"
    with live.page() as page:
        as_tansy(page, live)
        page.goto(place)
        page.fill("#d-earlier", "26-9999-X")
        page.fill("#c-why", "same scratch")
        sent(page, "text=Link the two")
        assert page.locator("#error").count() == 1
        page.goto(place)
        assert (page.input_value("#d-earlier"), page.input_value("#c-why")) == ("26-9999-X", "same scratch")
        page.fill("#d-carrier", "by hand")
        page.fill("#s-note", "in a box")
        page.route("**/shipping", lambda route: route.abort())
        with page.expect_event("requestfailed"):
            page.locator("text=It came in").click()
        page.unroute("**/shipping")

        page.goto(place)

        assert (page.input_value("#d-carrier"), page.input_value("#s-note")) == ("by hand", "in a box")
        assert page.input_value("#p-note") == ""
        page.locator("section#comebacks >> text=Take it away").click()
        sent(page, "text=It came in")
        assert page.input_value("#d-earlier") == page.input_value("#d-carrier") == ""
        # Chromium itself tells of the refusal and of the lost connection; nothing else may be there.
        assert all("Failed to load resource" in trouble for trouble in live.troubles), live.troubles
        live.troubles.clear()


def test_what_others_kept_meanwhile_is_not_undone(live):
    """A header half corrected here and corrected elsewhere shows what was kept elsewhere."""
    store = live.desk.store
    number = store.new_job({"customer": "Ana", "machine": "Pebble Run"}, who="Bo")
    with live.page() as page:
        as_tansy(page, live)
        page.goto(f"{live.address}/jobs/{number}/receive")
        page.locator("text=Correct the header").click()
        page.fill("#f-machine", "Pebble Ru")
        page.fill("#f-serial", "PR-7")
        store.append(number, "job", "receive", {"machine": "Pebble Run II"}, who="Eve")

        page.goto(f"{live.address}/jobs/{number}/receive")

        assert page.input_value("#f-machine") == "Pebble Run II"
        assert page.input_value("#f-serial") == "PR-7"
