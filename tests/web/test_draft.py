"""Drawing a board in, without a browser and in one: parts by tapping and by keys, nets by tapping pins, undo."""

from __future__ import annotations

import json
import re
import shutil

import pytest
from playwright.sync_api import expect

CHROMIUM = shutil.which("chromium") or ""
in_a_browser = [
    pytest.mark.debian,
    pytest.mark.skipif(not CHROMIUM, reason="browser checks skipped: Debian's chromium is absent"),
]
DRAFT = {
    "name": "Lamp driver", "width_mm": 80, "height_mm": 50, "rails": "+5V 5", "nets": "+5V: U1.14\nGND: U1.7",
    "parts": [{"refdes": "U1", "type": "7400", "x_mm": 20, "y_mm": 40}],
}  # fmt: skip


def test_a_draft_is_drawn_and_looked_over(bench):
    """Both sides, every pin with its place, and the findings of ``board check``."""
    answer = bench.client.post("/boards/draft/look", json=DRAFT).json()
    assert answer["svg"]["top"].startswith("<svg") and "solder" not in answer
    assert [name for name, _, _ in answer["pins"] if name.endswith(".14")] == ["U1.14"]
    assert {f["severity"] for f in answer["findings"]} <= {"error", "warning", "note"}
    wrong = bench.client.post("/boards/draft/look", json={**DRAFT, "nets": "GND U1.7"}).json()
    assert wrong == {"error": "nets:1: GND U1.7; expected a line such as GND: U1.7 C1.2"}


def test_a_draft_is_kept_as_a_board(bench):
    """It joins the library; a broken one is refused and nothing is kept."""
    answer = bench.client.post("/boards/draft", data={"draft": json.dumps(DRAFT)}, follow_redirects=False)
    assert answer.status_code == 303
    assert [record.name for record in bench.desk.store.boards()] == ["Lamp driver"]
    for broken in ("", "[]", "{", json.dumps({**DRAFT, "name": ""})):
        refused = bench.client.post("/boards/draft", data={"draft": broken})
        assert refused.status_code == 400 and "expected" in refused.text
    assert len(bench.desk.store.boards()) == 1


OF_80_MM = re.compile(
    r"^\S+ \S+ \d\d(\.\d+)? "
)  # a drawing less than 100 mm wide; the first one is of a larger board


def tap(page, x_mm: float, y_mm: float) -> None:
    """Tap the drawing at a place of the board."""
    spot = page.evaluate(
        """([x, y]) => { const svg = document.querySelector("#draft-board svg");
           const p = new DOMPoint(x, 50 - y).matrixTransform(svg.getScreenCTM()); return [p.x, p.y]; }""",
        [x_mm, y_mm],
    )
    page.mouse.click(*spot)


@pytest.mark.usefixtures("live")
class TestInABrowser:
    """The page as it is used."""

    pytestmark = in_a_browser

    def test_a_small_board_is_drawn_in_and_kept(self, live):
        """Two parts by tapping, one by keys, two nets, one undo; then the board is in the library."""
        with live.page(390) as page:
            page.goto(f"{live.address}/boards")
            page.click("text=Draw a board in")
            page.fill("#d-name", "Lamp driver")
            page.fill("#d-width", "80")
            page.fill("#d-height", "50")
            page.fill("#d-type", "7400")
            page.locator("#d-type").blur()
            expect(page.locator("#d-refdes")).to_have_value("U1")
            expect(page.locator("#d-package")).to_have_value("DIP-14")
            page.wait_for_selector("#draft-board svg")
            expect(page.locator("#draft-board svg")).to_have_attribute("viewBox", OF_80_MM)
            tap(page, 20.3, 40.1)
            expect(page.locator("#draft-says")).to_contain_text("U1 is placed")
            page.fill("#d-type", "resistor")
            page.locator("#d-type").blur()
            expect(page.locator("#d-refdes")).to_have_value("R1")
            tap(page, 50, 30)
            expect(page.locator("#draft-count")).to_have_text("2 placed")
            page.wait_for_selector("#draft-board [data-refdes=R1]")

            page.click("#draft-undo")
            expect(page.locator("#draft-count")).to_have_text("1 placed")
            page.click("#draft-redo")
            expect(page.locator("#draft-count")).to_have_text("2 placed")

            page.fill("#d-refdes", "R2")
            page.fill("#d-value", "4k7")
            page.fill("#d-type", "resistor")
            page.press("#d-type", "Enter")  # by keys alone: placed beside the last one, then moved
            page.press("#draft-board", "ArrowDown")
            page.press("#draft-board", "r")
            page.fill("#d-net", "GND")
            page.press("#d-net", "Enter")
            page.fill("#d-pin", "U1.7")
            page.press("#d-pin", "Enter")
            expect(page.locator("#d-netlist")).to_have_value("GND: U1.7")
            page.wait_for_selector("#draft-board [data-refdes=R1]")
            pins = page.evaluate(
                "fetch('/boards/draft/look', {method: 'POST', headers: {'content-type': 'application/json'}, body: localStorage.getItem('draft-board')}).then((a) => a.json()).then((a) => a.pins)"
            )
            x, y = next((x, y) for name, x, y in pins if name == "R1.2")
            tap(page, x, y)
            expect(page.locator("#d-netlist")).to_have_value("GND: U1.7 R1.2")
            for width in (390, 1280):
                page.set_viewport_size({"width": width, "height": 844})
                assert page.evaluate("document.documentElement.scrollWidth") <= width

            page.reload()
            expect(page.locator("#d-netlist")).to_have_value("GND: U1.7 R1.2")
            with page.expect_navigation():
                page.click("text=Keep the board")
            assert page.inner_text("h1") == "Lamp driver"
        (record,) = (kept for kept in live.desk.store.boards() if kept.name == "Lamp driver")
        board = live.desk.store.board(record.sha256)
        assert [(p.refdes, p.rotation_deg) for p in board.parts][:2] == [("U1", 0.0), ("R1", 0.0)]
        assert len(board.parts) == 3 and board.parts[2].rotation_deg == 90
        assert (board.parts[0].x_mm, board.parts[0].y_mm) == (20.32, 40.64)

    def test_a_pasted_list_is_placed_tap_by_tap_and_a_wrong_net_is_told(self, live):
        """The list's next part is named after each tap; what is wrong in a net stands among the findings."""
        with live.page(1280) as page:
            page.goto(f"{live.address}/boards/draft")
            page.fill("#d-name", "x")
            page.fill("#d-width", "80")
            page.fill("#d-height", "50")
            page.fill("#d-list", "refdes,type,value\nU3, 7404\nR7, resistor, 10k")
            page.click("#draft-list")
            expect(page.locator("#draft-says")).to_have_text("Parts to place: 2. Tap where U3 sits.")
            expect(page.locator("#draft-board svg")).to_have_attribute("viewBox", OF_80_MM)
            tap(page, 20, 40)
            expect(page.locator("#draft-says")).to_contain_text("Next of the list: R7.")
            page.wait_for_selector("#draft-board [data-refdes=U3]")
            tap(page, 60, 20)
            expect(page.locator("#draft-count")).to_have_text("2 placed")
            page.fill("#d-netlist", "GND U3.7")
            page.locator("#d-netlist").blur()
            expect(page.locator("#draft-findings")).to_contain_text("nets:1: GND U3.7")
