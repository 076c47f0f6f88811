"""Accessibility of every page, by axe-core in Debian's Chromium: WCAG 2.2 at levels A and AA, light and dark.

Reference: W3C, Web Content Accessibility Guidelines 2.2; rules of axe-core.
"""

from __future__ import annotations

import re
import shutil

import pytest
from axe_playwright_python.sync_playwright import Axe

from coppermend.demo.story import WHO
from coppermend.job.entry import STAGES

CHROMIUM = shutil.which("chromium") or ""
LEVELS = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}

pytestmark = [
    pytest.mark.debian,
    pytest.mark.skipif(not CHROMIUM, reason="accessibility checks skipped: Debian's chromium is absent"),
]


def found_by_axe(page) -> list[str]:
    """What axe-core objects to, one line for each place."""
    results = Axe().run(page, options=LEVELS)
    return [
        f"{page.url} {fault['id']}: {node['target']} {node['failureSummary'].splitlines()[-1].strip()}"
        for fault in results.response["violations"]
        for node in fault["nodes"]
    ]


def pages_of(live, number: str) -> list[str]:
    """Every page that is reached from the head of the pages or from a job, by its address."""
    board = live.desk.store.boards()[0].sha256
    job = [f"/jobs/{number}{part}" for part in ("", "/record", *(f"/{stage}" for stage in STAGES))]
    return [
        "/",
        "/jobs/new",
        "/boards",
        f"/boards/{board}",
        "/figures",
        "/rom",
        "/craft",
        "/craft/words",
        "/craft/plan",
        *job,
    ]


@pytest.mark.parametrize(("width", "dark"), [(390, False), (1280, True)])
def test_axe_finds_nothing_on_the_pages_of_a_job(live, width, dark):
    """Names for every control, contrast of every text, order of headings, targets large enough."""
    number = live.job()
    live.desk.store.append(number, "note", "prove", {"text": "One note."}, who=WHO)
    with live.page(width, dark=dark) as page:
        faults = []
        # Wide and by day they are held against axe during the walk by keyboard; here each second one, by night each third.
        for path in pages_of(live, number)[:: 3 if dark else 2]:
            page.goto(live.address + path)
            faults += found_by_axe(page)
        assert faults == []


def test_axe_finds_nothing_on_any_figure(live):
    """Each figure with its first result and plot."""
    with live.page(820) as page:
        page.goto(f"{live.address}/figures")
        links = page.eval_on_selector_all(
            "main a[href^='/figures/']", "all => all.map((a) => a.getAttribute('href'))"
        )
        names = sorted({re.sub(r"[?#].*", "", link) for link in links})
        assert len(names) > 10
        faults = []
        for path in names:
            page.goto(live.address + path)
            faults += found_by_axe(page)
        assert faults == []
