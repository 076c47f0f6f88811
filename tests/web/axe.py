"""Accessibility of a page as axe-core sees it: WCAG 2.2 at levels A and AA.

Reference: W3C, Web Content Accessibility Guidelines 2.2; rules of axe-core.
"""

from __future__ import annotations

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

# Only what is wrong comes back, and style sheets are not fetched anew: else the looking costs twice as much.
LEVELS = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"], "resultTypes": ["violations"], "preload": False,
}  # fmt: skip
# The thousands of shapes of a board's drawing are a picture that takes most of axe's time. They step aside; the drawing's
# frame, which has the name and takes the keys, stays and is looked at. So do the rows of a long list beyond its first ones:
# one line of a template makes them all.
MOST_ROWS = 8
_ASIDE = """(most) => {
    const rows = [...document.querySelectorAll("ul, ol, tbody")].flatMap((list) => [...list.children].slice(most));
    window.aside = [...document.querySelectorAll("svg.board-drawing"), ...rows].map((one) => {
        const mark = document.createComment("aside"); one.replaceWith(mark); return [mark, one]; }); }"""
_BACK = "() => window.aside.reverse().forEach(([mark, one]) => mark.replaceWith(one))"


def found_by_axe(page: Page) -> list[str]:
    """What axe-core objects to, one line for each place."""
    page.evaluate(_ASIDE, MOST_ROWS)
    results = Axe().run(page, options=LEVELS)
    page.evaluate(_BACK)
    return [
        f"{page.url} {fault['id']}: {node['target']} {node['failureSummary'].splitlines()[-1].strip()}"
        for fault in results.response["violations"]
        for node in fault["nodes"]
    ]
