"""The image pages in a real browser: by keyboard, by dropping files, from look-over to burn list, at all widths."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect
from tests.web.conftest import CHROMIUM, WIDTHS
from tests.web.test_browser import as_tansy, assert_fits, shot

pytestmark = [
    pytest.mark.debian,
    pytest.mark.skipif(not CHROMIUM, reason="browser checks skipped: Debian's chromium is absent"),
]
IMAGE = bytes(range(256)) * 16
PAGES = ("", "/merge", "/split", "/adapt", "/burn", "/selftest", "/known", "/devices?a=2332&b=2732")


def file(name: str, data: bytes) -> dict[str, object]:
    return {"name": name, "mimeType": "application/octet-stream", "buffer": data}


def test_every_image_page_fits(live):
    """At no width a page scrolls sideways, every button is large enough, and no script complains."""
    with live.page(390) as page:
        as_tansy(page, live)
        for path in PAGES:
            page.goto(f"{live.address}/rom{path}")
            for width, height in WIDTHS.items():
                page.set_viewport_size({"width": width, "height": height})
                assert_fits(page)


def test_order_by_keyboard_then_saved_and_burnt(live):
    """Two files are put in order by keyboard; the one looked over is saved as a file and handed on to be burnt."""
    with live.page(390) as page:
        as_tansy(page, live)
        page.goto(f"{live.address}/rom")
        page.set_input_files(
            "#rom-files", [file("bad.bin", bytes(b | 8 for b in IMAGE)), file("good.bin", IMAGE)]
        )
        page.locator("button:text-is('Up')").first.focus()
        page.keyboard.press("Enter")
        expect(page.locator(".file-order li").first).to_contain_text("good.bin")
        page.locator("button.main").focus()
        page.keyboard.press("Space")
        expect(page.locator("#compared")).to_contain_text("data line D3 stuck high")
        assert_fits(page)
        shot(page, "rom-compared")
        page.uncheck("[name=use-1]")
        page.click("button.main")
        page.select_option("#info-format", "srec")
        for _ in range(2):  # the same form hands out more than once
            with page.expect_download() as sent:
                page.click("text=Save the file")
        assert sent.value.suggested_filename == "image.s19"
        page.click("text=Burn it")
        expect(page.locator(".held").first).to_contain_text("image.bin")


def test_files_are_dropped_onto_the_form(live):
    """A file dropped anywhere on the form lands in its field."""
    with live.page(1280) as page:
        as_tansy(page, live)
        page.goto(f"{live.address}/rom")
        drop(page, "form[data-drop]", "dropped.bin")
        expect(page.locator(".file-order")).to_contain_text("dropped.bin, 3 bytes")
        page.click("button.main")
        expect(page.locator("h2").first).to_contain_text("dropped.bin")


def drop(page: Page, where: str, name: str) -> None:
    page.evaluate(
        """([where, name]) => {
            const data = new DataTransfer();
            data.items.add(new File(["abc"], name));
            const event = (kind) => new DragEvent(kind, { dataTransfer: data, bubbles: true, cancelable: true });
            const area = document.querySelector(where);
            area.dispatchEvent(event("dragover"));
            area.dispatchEvent(event("drop"));
        }""",
        [where, name],
    )
