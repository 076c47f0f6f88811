"""The whole sample job through the pages by keyboard alone, in Debian's Chromium: no pointer, no click, no focus by script.

Pages that only such a walk comes to are held against axe-core (WCAG 2.2, A and AA). Screenshots are left in build/screenshots.
"""

from __future__ import annotations

import json

import pytest
from playwright.sync_api import Page
from tests.web.axe import found_by_axe
from tests.web.conftest import CHROMIUM
from tests.web.test_browser import shot

from coppermend.demo.story import WHO

pytestmark = [
    pytest.mark.debian,
    pytest.mark.skipif(not CHROMIUM, reason="browser checks skipped: Debian's chromium is absent"),
]
AREA = "POLYGON((33 99.5, 45 99.5, 45 103.5, 33 103.5, 33 99.5))"  # one resistor and what runs to it
MOST_TABS = 140


class Keys:
    """What a keyboard can do: go from stop to stop, type, press; and what axe found on the pages that were passed."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.faults: list[str] = []

    def reach(self, selector: str) -> None:
        """Tab until an element that matches has the focus, in sight and with a mark that says so."""
        for _ in range(MOST_TABS):
            self.page.keyboard.press("Tab")
            if self.page.evaluate("(s) => document.activeElement.matches(s)", selector):
                return
        raise AssertionError(f"no tab stop of {self.page.url} leads to {selector}")

    def write(self, selector: str, text: str) -> None:
        self.reach(selector)
        self.page.keyboard.type(text)

    def press(self, key: str) -> None:
        """Press a key that leads to another page, and wait for that page."""
        with self.page.expect_navigation():
            self.page.keyboard.press(key)

    def follow(self, selector: str, key: str = "Enter") -> None:
        self.reach(selector)
        self.press(key)

    def look(self, name: str, *, axe: bool = False) -> None:
        """Keep a picture of the page, and what axe says of it where no other test comes to the page in this state."""
        self.faults += found_by_axe(self.page) if axe else []
        shot(self.page, f"keys-{name}")

    def has(self, selector: str) -> bool:
        return self.page.locator(selector).count() > 0

    def go_on(self) -> None:
        self.follow(".go-on button.main")


def test_the_sample_job_is_walked_from_arrival_to_tag_by_keyboard(empty_live):
    """From an empty shop to a passed gate and a tag on record; every step is reached by tab and pressed by a key."""
    live = empty_live
    with live.page(1280) as page:
        page.goto(live.address)
        keys = Keys(page)
        keys.look("empty-shop", axe=True)
        keys.follow("form[action='/boards/sample'] button")
        keys.follow("a[href^='/jobs/new']")
        keys.write("[name=customer]", "O. Penhallow")
        keys.write("[name=complaint]", "It will not boot.")
        keys.write("form.form-sheet [name=who]", WHO)
        keys.look("new-job")
        keys.follow("form.form-sheet button")
        keys.look("receive")
        keys.go_on()
        inspect_and_plan(keys)
        work(keys)
        keys.follow(".paper-forms button")
        keys.look("return", axe=True)

    (job,) = live.desk.store.jobs()
    found = live.desk.job(job.number)
    assert found.found.gate.passed and job.stage == "return"
    assert [paper.words for paper in found.state.papers] == ["tag"]
    assert {entry.who for entry in found.entries} == {WHO}
    assert keys.faults == []


def inspect_and_plan(keys: Keys) -> None:
    """An area drawn by keys, then a smaller one put in its place as text; then through isolate and plan."""
    keys.reach("[data-draw=start]")
    keys.page.keyboard.press("Enter")
    for key in (
        "Enter",
        "Shift+ArrowLeft",
        "Enter",
        "ArrowUp",
        "Backspace",
        "Shift+ArrowUp",
        "Enter",
        "ArrowRight",
        "Space",
        "c",
    ):
        keys.page.keyboard.press(key)
    assert keys.page.inner_text("#areas").startswith("Area 1, heavy")
    first, second, third, last = json.loads(keys.page.input_value("#area"))["features"][0]["geometry"][
        "coordinates"
    ][0]
    assert first == last and second[0] < third[0] < first[0] and first[1] < second[1] == third[1]
    keys.reach("#damage-form details summary")
    keys.page.keyboard.press("Enter")
    keys.reach("#area")
    keys.page.keyboard.press("Control+a")
    keys.page.keyboard.type(AREA)
    keys.follow("#damage-form button.main")
    keys.look("inspect")
    keys.go_on()
    keys.look("isolate")
    keys.go_on()
    keys.look("plan")
    keys.go_on()


def work(keys: Keys) -> None:
    """Off, probed with one undone, on, and proven one test at a time."""
    keys.look("strip", axe=True)
    while keys.has(".tick-box"):
        keys.follow(".tick-box", "Space")
    keys.go_on()
    keys.look("copper", axe=True)
    keys.press("o")
    keys.press("u")
    while keys.has("#probe"):
        keys.press("Space")
    keys.go_on()
    keys.look("refit")
    while keys.has(".tick-box"):
        keys.follow(".tick-box", "Space")
    keys.go_on()
    keys.look("prove")
    keys.follow("a[href$='/prove/one']")
    keys.look("prove-one", axe=True)
    while keys.has("#one-form"):
        if keys.has("#ohms"):
            keys.write("#ohms", "120")
            keys.press("Enter")
        else:
            keys.press("p")
    assert keys.has(".good-empty")
    keys.follow(".one-back a")
    keys.go_on()
