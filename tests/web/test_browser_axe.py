"""Accessibility of the figures, by axe-core in Debian's Chromium; the pages of a job are held against it in test_browser."""

from __future__ import annotations

import re

import pytest
from tests.web.axe import found_by_axe
from tests.web.conftest import CHROMIUM

pytestmark = [
    pytest.mark.debian,
    pytest.mark.skipif(not CHROMIUM, reason="accessibility checks skipped: Debian's chromium is absent"),
]


def test_axe_finds_nothing_on_any_figure(live):
    """Every third figure with its first result and plot: they share their templates, and one costs a second."""
    with live.page(820) as page:
        page.goto(f"{live.address}/figures")
        links = page.eval_on_selector_all(
            "main a[href^='/figures/']", "all => all.map((a) => a.getAttribute('href'))"
        )
        names = sorted({re.sub(r"[?#].*", "", link) for link in links})
        assert len(names) > 10
        faults = []
        for path in names[::3]:
            page.goto(live.address + path)
            faults += found_by_axe(page)
        assert faults == []
