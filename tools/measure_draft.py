"""Draw a 60-part board in through the page, as a person would, and count what it takes: ``python tools/measure_draft.py``.

The script performs every action in Chromium (list pasted, a tap a part, turns by key, nets typed) and checks that the
kept board has just the parts and nets that were meant. It cannot tell how long a person looks and thinks: that time is
estimated from the counted actions by the keystroke-level model (S. K. Card, T. P. Moran, A. Newell, The keystroke-level
model for user performance time with interactive systems, Communications of the ACM 23 (1980) 396-410): a key 0.28 s, a
pointing 1.1 s, a press 0.1 s, the hands to another device 0.4 s, a thought 1.35 s. No person was measured.
"""

from __future__ import annotations

import json
import shutil
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

from coppermend.board.folder import parse_board_folder
from coppermend.board.model import Board
from coppermend.demo.board_data import demo_board_files
from screenshots import FLAGS, serving

PARTS = 60
KEY_S, POINT_S, PRESS_S, HAND_S, THINK_S = 0.28, 1.1, 0.1, 0.4, 1.35


def main() -> int:
    """Print the counts; 1 when the kept board is not the one that was meant."""
    whole = parse_board_folder(demo_board_files())
    chosen = [p for p in whole.parts if p.side == "top" and p.type and not p.type.startswith("edge")][:PARTS]
    names = {p.refdes for p in chosen}
    nets = {net: [str(p) for p in pins if p.refdes in names] for net, pins in whole.nets.items()}
    nets = {net: pins for net, pins in nets.items() if len(pins) > 1}
    listed = "\n".join(f"{p.refdes}, {p.type}, {p.value}" for p in chosen)
    typed = "\n".join(f"{net}: {' '.join(pins)}" for net, pins in nets.items())
    with (
        tempfile.TemporaryDirectory() as data,
        serving(Path(data)) as (address, store),
        sync_playwright() as p,
    ):
        browser = p.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        page = browser.new_page(viewport={"width": 1280, "height": 1600})
        page.goto(f"{address}/boards/draft")
        began = time.perf_counter()
        turns = draw(page, whole, chosen, listed, typed)
        took_s = time.perf_counter() - began
        kept = store.board(page.url.rsplit("/", 1)[1].split("?")[0])
        browser.close()
    right = {net: sorted(map(str, pins)) for net, pins in kept.nets.items()} == {
        n: sorted(p) for n, p in nets.items()
    }
    right = right and {p.refdes: p.type for p in kept.parts} == {p.refdes: p.type for p in chosen}
    keys = len(listed) + len(typed) + len("Trial") + 10 + turns
    seconds = {
        "parts list typed": len(listed) * KEY_S + PARTS * THINK_S,
        "parts placed": PARTS * (THINK_S + POINT_S + PRESS_S) + turns * (KEY_S + 2 * HAND_S),
        "nets typed from a schematic": len(typed) * KEY_S + sum(map(len, nets.values())) * THINK_S,
    }
    print(json.dumps({
        "parts": len(kept.parts), "nets": len(kept.nets), "pins": sum(map(len, kept.nets.values())), "equal": right,
        "taps": PARTS, "turns": turns, "keys": keys, "script_s": round(took_s, 1),
        "model_minutes": {name: round(s / 60, 1) for name, s in seconds.items()} | {"in all": round(sum(seconds.values()) / 60, 1)},
    }))  # fmt: skip
    return 0 if right else 1


def draw(page: Page, whole: Board, chosen: list, listed: str, typed: str) -> int:
    """Everything from the empty page to the kept board; how many quarter turns were made."""
    for field, value in (("d-name", "Trial"), ("d-width", whole.width_mm), ("d-height", whole.height_mm)):
        page.fill(f"#{field}", str(value))
        page.locator(f"#{field}").blur()
    page.fill("#d-list", listed)
    page.click("#draft-list")
    turns = 0
    for number, part in enumerate(chosen, 1):
        page.wait_for_timeout(30)
        x, y = page.evaluate(
            """([x, y, h]) => { const svg = document.querySelector("#draft-board svg");
            const at = new DOMPoint(x, h - y).matrixTransform(svg.getScreenCTM()); return [at.x, at.y]; }""",
            [part.x_mm, part.y_mm, whole.height_mm],
        )
        page.mouse.click(x, y)
        page.wait_for_function("n => document.querySelector('#draft-count').textContent.startsWith(n + ' placed')", arg=number)  # fmt: skip
        for _ in range(int(part.rotation_deg) // 90 % 4):
            page.keyboard.press("r")
            turns += 1
    page.fill("#d-netlist", typed)
    page.locator("#d-netlist").blur()
    page.click("#draft-keep button")
    page.wait_for_url("**/boards/*added=1*", wait_until="commit")
    return turns


if __name__ == "__main__":
    sys.exit(main())
