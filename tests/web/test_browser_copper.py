"""The copper walk in a real browser: two nets apart, put off and taken up again, jumpers drawn, what a meter should read."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from coppermend.demo.story import WHO

SHOTS = Path(__file__).resolve().parents[2] / "build" / "screenshots"

pytestmark = [
    pytest.mark.debian,
    pytest.mark.skipif(
        not shutil.which("chromium"), reason="browser checks skipped: Debian's chromium is absent"
    ),
]


def as_tansy(page: Page, live) -> None:
    page.context.add_cookies([{"name": "who", "value": WHO.replace(" ", "%20"), "url": live.address}])


def shot(page: Page, name: str) -> None:
    SHOTS.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=SHOTS / f"{name}.png", full_page=True)


def press(page: Page, key: str) -> None:
    with page.expect_navigation():
        page.keyboard.press(key)


def fits(page: Page) -> bool:
    return page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]


def test_two_nets_are_told_apart_or_shorted_by_keyboard(live):
    """At 390 px: Short by key is a short on the list; undone, Apart by the space bar; then the walk goes on."""
    number = live.job()
    plan = live.desk.job(number).found.copper
    probe = next(p for p in plan.probes if p.purpose == "isolation")
    with live.page(390) as page:
        as_tansy(page, live)
        page.goto(f"{live.address}/jobs/{number}/copper?probe={probe.id}")
        expect(page.locator(".answer.open")).to_contain_text("Short")
        expect(page.locator(".expect")).to_contain_text("must not be joined")
        assert fits(page)
        page.locator("#probe").evaluate("probe => probe.scrollIntoView()")
        for seen in ("#drawing .overlay.probe >> visible=true", ".tips", ".answer.open"):
            expect(page.locator(seen).first).to_be_in_viewport()
        shot(page, "copper-isolation-390")

        press(page, "s")
        expect(page.get_by_text("✗ short").first).to_be_visible()
        assert len(live.desk.job(number).found.copper.shorts) == 1
        press(page, "u")
        page.goto(f"{live.address}/jobs/{number}/copper?probe={probe.id}")
        page.locator("#ohms").fill("0.4")
        expect(page.locator("#verdict")).to_contain_text("short")
        page.locator("#ohms").fill("")
        page.locator("h2").first.click()
        press(page, "Space")

    state = live.desk.job(number).state
    assert [(r.a, r.b, r.ohms) for r in state.readings] == [(probe.a, probe.b, probe.expect_ohms)]


def test_put_off_twice_and_taken_up_again_after_an_interruption(live):
    """n leads on and on; an answer does not lead back to what was put off; a page opened anew begins with it."""
    number = live.job()
    probes = live.desk.job(number).found.copper.probes
    with live.page(1280) as page:
        as_tansy(page, live)
        page.goto(f"{live.address}/jobs/{number}/copper")
        press(page, "n")
        press(page, "n")
        expect(page.locator(".tips")).to_contain_text(probes[2].a)
        press(page, "Space")
        shown = set(page.locator(".tips dd b").all_inner_texts())
        assert shown not in ({probes[0].a, probes[0].b}, {probes[1].a, probes[1].b})

        page.goto(f"{live.address}/jobs/{number}/copper")
        first = live.desk.job(number).found.copper.probes[0]
        expect(page.locator(".tips")).to_contain_text(first.a)
    assert len(live.desk.job(number).state.readings) == 1


def test_each_wire_is_drawn_along_its_run(live):
    """Every probe open: the jumpers proposed are numbered on the drawing, with corners, and listed with their wire."""
    number = live.job()
    for _ in range(80):
        plan = live.desk.job(number).found.copper
        if not plan.probes:
            break
        for probe in plan.probes:
            open_net = probe.purpose == "continuity"
            ohms = "OL" if open_net or probe.expect_ohms is None else probe.expect_ohms
            body = {"a": probe.a, "b": probe.b, "ohms": ohms}
            live.desk.store.append(number, "reading", "copper", body, who=WHO)
    assert max(len(j.route) for j in plan.jumpers) > 2
    with live.page(390, touch=True) as page:
        as_tansy(page, live)
        page.goto(f"{live.address}/jobs/{number}/copper")
        expect(page.get_by_text("mm to cut").first).to_be_visible()
        run = page.locator("svg.board-drawing .overlay.jumper[data-label=W1] path").first
        expect(run).to_be_attached()
        assert run.get_attribute("d").count(" ") >= 2 * len(plan.jumpers[0].route) - 1
        assert fits(page)
        shot(page, "copper-jumpers-390")
        with page.expect_download() as held:
            page.get_by_text("Wire list as CSV").first.tap()
        assert held.value.path().read_text().count("\n") == len(plan.jumpers) + 1


def test_two_points_tapped_are_answered(live):
    """On the drawing: the first tap fills A, the second asks."""
    number = live.job()
    assert live.desk.job(number).found is not None  # worked out once before the page is timed
    with live.page(820, touch=True) as page:
        as_tansy(page, live)
        page.goto(f"{live.address}/jobs/{number}/copper/expect")
        page.wait_for_selector(".sheet[data-side=top] svg.board-drawing")
        for name in ("RN1.2", "RN1.3"):
            pad = page.locator(f".sheet[data-side=top] [data-point='{name}']").first
            pad.scroll_into_view_if_needed()
            box = pad.bounding_box()
            page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        expect(page.locator("#answer")).to_contain_text("5.4 kΩ", timeout=60_000)
        assert fits(page)
        shot(page, "copper-expect-820")
        page.set_viewport_size({"width": 390, "height": 844})
        assert fits(page)
        shot(page, "copper-expect-390")
