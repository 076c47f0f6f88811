"""The plan page in a real browser: ticks are answered at once, by touch and by keyboard, and kept as one choice."""

from __future__ import annotations

import shutil

import pytest
from playwright.sync_api import expect

from coppermend.demo.story import WHO
from coppermend.job.state import fold

pytestmark = [
    pytest.mark.debian,
    pytest.mark.skipif(not shutil.which("chromium"), reason="browser checks skipped: Debian's chromium is absent"),
]  # fmt: skip


def test_ticks_are_answered_while_one_ticks_and_kept_together(live):
    """Space on the keyboard and a tap; price, proofs and a clash follow without loading the page anew; then one press keeps it."""
    number = live.job()
    with live.page(390, touch=True) as page:
        page.context.add_cookies([{"name": "who", "value": WHO.replace(" ", "%20"), "url": live.address}])
        page.set_default_timeout(30_000)
        page.goto(f"{live.address}/jobs/{number}/plan")
        effect = page.locator("#plan-effect")
        page.locator("[name=tick-reset-supervisor]").focus()
        page.keyboard.press("Space")
        expect(effect).to_contain_text("1 ticked: 58 min", timeout=30_000)
        page.locator("[name=tick-supercapacitor-BT1]").tap()
        expect(effect).to_contain_text("2 ticked: 65 min", timeout=30_000)
        page.locator("[name=tick-larger-eprom]").tap()
        expect(effect).to_contain_text("contents of U28 read back", timeout=30_000)
        page.locator("[name=tick-larger-eprom]").tap()
        expect(effect).to_contain_text("2 ticked: 65 min", timeout=30_000)
        page.locator("[name=tick-coin-cell-BT1]").tap()
        expect(effect).to_contain_text("exclude each other", timeout=30_000)
        page.locator("[name=tick-coin-cell-BT1]").tap()
        expect(effect).to_contain_text("2 ticked", timeout=30_000)
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        assert fold(live.desk.store.entries(number)).remedies == ()

        with page.expect_navigation():
            page.locator("text=Keep this choice").tap()

        assert set(fold(live.desk.store.entries(number)).remedies) == {
            "reset-supervisor",
            "supercapacitor-BT1",
        }
        expect(page.locator("#remedy-reset-supervisor .circuit")).to_be_visible()
        with page.expect_navigation():
            page.locator("#remedy-reset-supervisor .checks a").first.tap()
        expect(page.locator("#figure-result .plot")).to_be_visible()
