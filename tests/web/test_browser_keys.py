"""The whole sample job through the pages by keyboard alone, in Debian's Chromium: no pointer, no click, no focus by the test.

At 390 px, as the walk by touch, and as far: from an empty shop to the invoice, the payment and the way out. Each thing that is
reached must be in sight and wear its mark. Pages that only such a walk comes to are held against axe-core (WCAG 2.2, A and AA).
Screenshots are left in build/screenshots.
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
AT = "(selector) => document.activeElement.matches(selector)"
# What is wrong with where the keys are: out of sight, under something that stays in place (WCAG 2.2, 2.4.11), or unmarked (2.4.7).
HIDDEN = """() => {
    const held = document.activeElement, box = held.getBoundingClientRect(), style = getComputedStyle(held);
    const [x, y] = [box.left + box.width / 2, box.top + Math.min(box.height / 2, 30)];
    if (x < 0 || x > innerWidth || y < 0 || y > innerHeight) return "out of sight";
    const over = document.elementFromPoint(x, y);
    if (over !== held && !held.contains(over) && !held.labels?.[0]?.contains(over) && !over?.contains(held)) return `under ${over?.outerHTML.slice(0, 80)}`;
    return style.outlineStyle === "none" || parseFloat(style.outlineWidth) < 2 ? "without a mark" : "";
}"""


class Keys:
    """What a keyboard can do: go from stop to stop, type, press; and what axe found on the pages that were passed."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.faults: list[str] = []

    def at(self, selector: str) -> bool:
        return self.page.evaluate(AT, selector)

    def brought_to(self, selector: str) -> None:
        """The page itself has put the keys here, in sight and with a mark."""
        self.page.wait_for_function(AT, arg=selector, timeout=5_000)
        assert self.page.evaluate(HIDDEN) == "", f"{selector} of {self.page.url}"

    def reach(self, selector: str) -> None:
        """Tab until an element that matches has the focus, in sight and with a mark that says so."""
        for _ in range(MOST_TABS):
            self.page.keyboard.press("Tab")
            if self.at(selector):
                assert self.page.evaluate(HIDDEN) == "", f"{selector} of {self.page.url}"
                return
        raise AssertionError(f"no tab stop of {self.page.url} leads to {selector}")

    def skip_to(self, place: str) -> None:
        """By a link that a page begins with, which shows itself only when the keys come to it."""
        self.reach(f"a.skip[href='#{place}']")
        self.page.keyboard.press("Enter")

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

    def refused(self, words: str, selector: str) -> None:
        """A refusal stands in sight beside what it is about, where the keys are."""
        told = self.page.locator("#error")
        assert words in told.inner_text()
        assert self.at(selector), self.page.evaluate("document.activeElement.outerHTML")
        top, bottom = self.page.evaluate(
            "(() => { const box = document.getElementById('error').getBoundingClientRect(); return [box.top, box.bottom]; })()"
        )
        assert 0 <= top < bottom <= self.page.viewport_size["height"]


def test_the_sample_job_is_walked_from_arrival_to_the_way_out_by_keyboard(empty_live):
    """From an empty shop to a passed gate, tag, invoice, payment and dispatch; every step is reached by tab and pressed by a key."""
    live = empty_live
    with live.page(390, dark=True) as page:
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
        prove(keys)
        hand_over(keys)
        refusals = [trouble for trouble in live.troubles if "400 (Bad Request)" in trouble]
        live.troubles = [trouble for trouble in live.troubles if trouble not in refusals]

    (job,) = live.desk.store.jobs()
    found = live.desk.job(job.number)
    assert len(refusals) == 3
    assert found.found.gate.passed and job.stage == "return"
    assert [paper.words for paper in found.state.papers] == ["tag", "invoice"]
    assert (found.state.payment.state, found.state.payment.amount) == ("paid", "85.00")
    assert [(way.direction, way.carrier) for way in found.state.shipping] == [("out", "by hand")]
    assert {entry.who for entry in found.entries} == {WHO}
    assert keys.faults == []


def inspect_and_plan(keys: Keys) -> None:
    """An area drawn by keys, then a smaller one put in its place as text; then through isolate and plan."""
    keys.reach("[data-draw=start]")
    keys.page.keyboard.press("Enter")
    keys.brought_to(".sheet[data-side=top]")
    assert "Enter sets a corner" in keys.page.inner_text("figcaption")  # where the keys are, the hint is
    keys.page.keyboard.press("Escape")
    assert keys.at("[data-draw=start]") and "Tap a part" in keys.page.inner_text("figcaption")
    keys.page.keyboard.press("Enter")
    keys.brought_to(".sheet[data-side=top]")
    steps = "Enter Shift+ArrowLeft Enter ArrowUp Backspace Shift+ArrowUp Enter ArrowRight Space c"
    for key in steps.split():
        keys.page.keyboard.press(key)
    assert keys.page.inner_text("#areas").startswith("Area 1, heavy")
    first, second, third, last = json.loads(keys.page.input_value("#area"))["features"][0]["geometry"][
        "coordinates"
    ][0]
    assert first == last and second[0] < third[0] < first[0] and first[1] < second[1] == third[1]
    assert keys.at("#damage-form button.main")
    keys.reach("#damage-form details summary")
    keys.page.keyboard.press("Enter")
    keys.reach("#area")
    keys.page.keyboard.press("Control+a")
    keys.page.keyboard.type("POLYGON((oops")
    keys.follow("#damage-form button.main")
    keys.refused("is no area", "#area")
    keys.look("inspect-refused", axe=True)
    keys.page.keyboard.press("Control+a")
    keys.page.keyboard.type(AREA)
    keys.follow("#damage-form button.main")
    keys.look("inspect")
    keys.go_on()
    keys.skip_to("work")
    keys.write("#note-text", "Reset stays low.")
    keys.follow(".notes button")
    assert keys.at(".notes button")  # and not at the top of the page again
    keys.look("isolate")
    keys.go_on()
    keys.look("plan")
    keys.skip_to("go-on")
    keys.go_on()


def work(keys: Keys) -> None:
    """Off, with one taken back; probed, with one undone; and on again. The keys go from one to the next by themselves."""
    keys.look("strip", axe=True)
    keys.reach(".tick-box")
    keys.press("Space")
    keys.press("Control+z")
    while keys.has(".tick-box"):
        keys.brought_to(".tick-box")
        keys.press("Space")
    keys.brought_to(".go-on button.main")
    keys.press("Enter")
    keys.look("copper", axe=True)
    keys.page.keyboard.type("12x")
    keys.press("Enter")
    keys.refused("expected ohms", "#ohms")
    keys.look("copper-refused")
    keys.page.keyboard.press("Control+a")
    keys.page.keyboard.press("Delete")
    probe = keys.page.inner_text("#probe")
    for state in ("off", "on"):
        keys.page.focus("#single-keys")
        keys.page.keyboard.press("Enter")
        assert keys.page.inner_text("#single-keys").endswith(state)
        keys.page.evaluate("document.activeElement.blur()")
        if state == "off":
            keys.page.keyboard.press("o")
            keys.page.keyboard.press("n")
            keys.page.wait_for_timeout(200)
            assert keys.page.inner_text("#probe") == probe
    keys.press("o")
    keys.press("u")
    while keys.has("#probe"):
        keys.press("Space")
    keys.go_on()
    keys.look("refit")
    keys.reach(".tick-box")
    while keys.has(".tick-box"):
        keys.brought_to(".tick-box")
        keys.press("Space")
    keys.brought_to(".go-on button.main")
    keys.press("Enter")


def prove(keys: Keys) -> None:
    """One test at a time: p passes, also from the field of a reading, which has the focus; Enter alone decides nothing."""
    keys.look("prove")
    keys.follow("a[href$='/prove/one']")
    keys.look("prove-one", axe=True)
    keys.write("#note", "0.3 V left")
    keys.page.keyboard.press("Enter")
    assert keys.at("button[name=passed][value='1']")
    keys.press("Enter")
    while keys.has("#one-form"):
        if keys.has("#ohms"):
            assert keys.at("#ohms")
            keys.page.keyboard.type("120")
        keys.press("p")
    assert keys.has(".good-empty")
    keys.go_on()


def hand_over(keys: Keys) -> None:
    """A label of a size that there is not, then the tag and the invoice; paid, and out by hand, which Enter alone does not say."""
    keys.write("[name=size]", "x")
    keys.press("Enter")
    keys.refused("expected", "[name=size]")
    keys.look("return-refused")
    keys.page.keyboard.press("Control+a")
    keys.page.keyboard.type("tag")
    keys.press("Enter")
    keys.page.wait_for_selector(
        "#notice:has-text('tag-')"
    )  # on a slow machine a page in between tells that it is made
    keys.write("[name=what]", "Inv")
    keys.write("[name=minutes]", "90")
    keys.press("Enter")
    keys.page.wait_for_selector("#notice:has-text('invoice-')")
    keys.look("return", axe=True)
    keys.follow(".go-on a[href$='/dealings#shipping']")
    keys.write("#d-carrier", "by hand")
    keys.page.keyboard.press("Enter")
    assert keys.at("button[name=direction][value=in]")
    keys.follow("button[name=direction][value=out]")
    keys.write("#d-state", "paid")
    keys.write("#d-amount", "85.00")
    keys.press("Enter")
    keys.look("dealings", axe=True)
