"""The photo page in a real browser: click the points, find the damage, correct it with the brush, keep it."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from coppermend.board.importing import Source, import_board
from coppermend.board.parttypes import standard_library
from coppermend.demo.story import WHO

CHROMIUM = shutil.which("chromium") or ""
SHOTS = Path(__file__).resolve().parents[2] / "build" / "screenshots"

pytestmark = [
    pytest.mark.debian,
    pytest.mark.shared,
    pytest.mark.skipif(not CHROMIUM, reason="browser checks skipped: Debian's chromium is absent"),
]


def photo_job(live, boards: Path, case: Path) -> tuple[str, str]:
    """A job on the clock board with one of its photographs; returns job number and the photo's SHA-256."""
    folder = boards / "clock-module"
    files = sorted((folder / "gerber").iterdir())
    board, _ = import_board(
        name="clock-module",
        ipc356=None,
        gerber=[Source(f.name, f.read_bytes()) for f in files],
        parts=Source("parts.csv", (folder / "parts.csv").read_bytes()),
        library=standard_library(),
    )
    store = live.desk.store
    number = store.new_job({"customer": "O. Penhallow"}, who=WHO)
    kept = store.add_board(board)
    store.append(number, "board", "receive", {"name": board.name, "sha256": kept}, who=WHO)
    photo = store.attach((case / "photo.jpg").read_bytes(), "photo.jpg", "image/jpeg")
    body = {"sha256": photo, "name": "photo.jpg", "media_type": "image/jpeg"}
    store.append(number, "photo", "inspect", body, who=WHO)
    return number, photo


def press(page: Page, selector: str, across: float, down: float) -> None:
    """Press a picture at a place given as shares of its width and height."""
    picture = page.locator(selector)
    picture.scroll_into_view_if_needed()
    box = picture.bounding_box()
    page.mouse.move(box["x"] + across * box["width"], box["y"] + down * box["height"])
    page.mouse.down()
    page.mouse.up()


def click_points(page: Page, case: Path) -> None:
    """Click the photograph's four holes, each after choosing its place of the board."""
    wide, high = (
        int(page.locator("#photo-map").get_attribute(f"data-{side}")) for side in ("width", "height")
    )
    for point in json.loads((case / "truth.json").read_text("utf-8"))["reference_points"]["points"]:
        x_mm, y_mm = point["board_mm"]
        for button in page.locator("#places button").all():
            far = abs(float(button.get_attribute("data-x")) - x_mm) + abs(
                float(button.get_attribute("data-y")) - y_mm
            )
            if far < 0.5:
                button.click()
        across, down = (point["pixel"][0] + 0.5) / wide, (point["pixel"][1] + 0.5) / high
        press(page, "#photo-marks", across, down)


def test_damage_is_found_corrected_and_kept(live, shared_boards: Path):
    """From four clicks to a damage entry that holds the corrected map, painted by finger and by keys, kept over a reload."""
    case = shared_boards.parent / "photos" / "02"
    number, photo = photo_job(live, shared_boards, case)

    with live.page(390) as page:
        page.goto(f"{live.address}/jobs/{number}/photo/{photo}")
        click_points(page, case)
        page.click("#find")
        page.wait_for_selector("#step-paint:not([hidden])", timeout=60_000)
        expect(page.locator("#found-told")).to_contain_text("Points agree to")
        press(page, "#overlay", 0.2, 0.2)
        expect(page.locator("#painted")).to_contain_text("corrected by hand")
        page.click("#undo")
        expect(page.locator("#painted")).not_to_contain_text("corrected by hand")
        press(page, "#overlay", 0.2, 0.2)
        page.reload()
        expect(page.locator("#painted")).to_contain_text("corrected by hand")
        before = page.inner_text("#painted")
        page.focus("#overlay")
        for key in ("ArrowRight", "Shift+ArrowDown", "Space"):
            page.keyboard.press(key)
        expect(page.locator("#painted")).not_to_have_text(before)
        page.click("#note-place")
        press(page, "#overlay", 0.5, 0.25)
        expect(page.locator("#map-note")).to_be_focused()
        page.keyboard.type("pad lifted")
        expect(page.locator("#map-note")).to_have_value(re.compile(r"^at \d+, \d+ mm: pad lifted$"))
        SHOTS.mkdir(parents=True, exist_ok=True)
        page.screenshot(path=SHOTS / "390-photo-map.png")
        page.fill("#keep-map input[name=who]", WHO)
        with page.expect_navigation(timeout=60_000):
            page.click("#keep-map button.main")
        page.locator(".sheet[data-side=top] > svg.board-drawing").wait_for()
        assert page.locator(".photo-layer").count() == 0  # not fetched before it is wanted
        page.locator(".layers summary").click()
        page.locator("[name=photo-under]").fill("60")
        page.screenshot(path=SHOTS / "390-photo-slider.png")
        laid = page.locator(".sheet[data-side=top] .photo-layer")
        expect(laid).to_have_attribute("opacity", "0.6")
        page.goto(f"{live.address}/jobs/{number}/copper")
        expect(laid).to_have_attribute("opacity", "0.6")  # this device keeps it from stage to stage
        page.wait_for_load_state("networkidle")
        page.screenshot(path=SHOTS / "390-photo-under.png")

    damage = live.desk.store.entries(number)[-1]
    assert damage.kind == "damage"
    assert damage.body["map"] != damage.body["proposed"]
    assert damage.body["note"].endswith("mm: pad lifted")
