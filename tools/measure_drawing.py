"""How fast the drawing of a large board is in the browser: ``python tools/measure_drawing.py [PADS] [--keep PICTURE]``.

A generated board of PADS pads (5,000), with vias and tracks, in Debian's Chromium without a graphics processor, so all
is drawn by the processor. Three openings of its page, then pans of 120 frames each at four sizes, by pointer events
as a finger sends them, and a zoom by wheel. Prints milliseconds from the start of the navigation to the moment at
which the drawing answers and is painted, with the most that the page's own thread worked in that time (processor time,
which counts on a busy machine), and frames a second from the times of requestAnimationFrame.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tools")]

from playwright.sync_api import CDPSession, Page, sync_playwright  # noqa: E402
from tests.bench.generate import PIN_SHARE, generate_ipcd356  # noqa: E402

from coppermend.board.importing import Source, import_board  # noqa: E402
from coppermend.board.model import Board  # noqa: E402
from coppermend.board.parttypes import standard_library  # noqa: E402
from screenshots import FLAGS, serving  # noqa: E402

OPENINGS, FRAMES = 2, 90
GOAL_MS, GOAL_FPS = 1000.0, 30.0
READY = """() => new Promise((done) => {
    const painted = () => requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now())));
    const look = () => document.querySelector(".sheet > svg.board-drawing") ? painted() : setTimeout(look, 4);
    look();
})"""
# Each frame moves the pointer by some pixels, to and fro, as a finger does; the times between frames are returned [ms].
PAN = """(frames) => new Promise((done) => {
    const svg = document.querySelector(".sheet > svg.board-drawing");
    const box = svg.closest(".sheet").getBoundingClientRect();
    const middle = [box.left + box.width / 2, box.top + Math.min(box.height, innerHeight - box.top) / 2];
    const send = (type, n) => svg.dispatchEvent(new PointerEvent(type, { pointerId: 7, bubbles: true, isPrimary: true,
        clientX: middle[0] + 90 * Math.sin(n / 9), clientY: middle[1] + 60 * Math.sin(n / 13) }));
    svg.setPointerCapture = () => {};
    svg.hasPointerCapture = () => true;
    const times = [];
    send("pointerdown", 0);
    const step = (now) => {
        times.push(now);
        if (times.length > frames) { send("pointerup", times.length); done(times.slice(1).map((t, i) => t - times[i])); return; }
        send("pointermove", times.length);
        requestAnimationFrame(step);
    };
    requestAnimationFrame(step);
})"""
WHEEL = """(frames) => new Promise((done) => {
    const sheet = document.querySelector(".sheet > svg.board-drawing").closest(".sheet");
    const box = sheet.getBoundingClientRect();
    const times = [];
    const step = (now) => {
        times.push(now);
        if (times.length > frames) { done(times.slice(1).map((t, i) => t - times[i])); return; }
        const deltaY = 40 * (times.length % 40 < 20 ? -1 : 1);
        sheet.dispatchEvent(new WheelEvent("wheel", { deltaY, ctrlKey: true, cancelable: true,
            clientX: box.left + box.width / 2, clientY: box.top + 200 }));
        requestAnimationFrame(step);
    };
    requestAnimationFrame(step);
})"""


def main() -> int:
    """Print the figures; 1 when a goal is missed."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("pads", nargs="?", type=int, default=5000)
    asked.add_argument("--keep", type=Path, help="where to put a picture of the last view")
    options = asked.parse_args()
    board = large_board(options.pads)
    print(
        f"{len(board.pads)} pads, {len(board.vias)} vias, {len(board.tracks)} tracks, {len(board.nets)} nets"
    )
    with tempfile.TemporaryDirectory() as data, serving(Path(data)) as (address, store):
        page_address = f"{address}/boards/{store.add_board(board)}"
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
            page = browser.new_page(viewport={"width": 1280, "height": 900})
            page.set_default_timeout(120_000)
            teller = page.context.new_cdp_session(page)
            teller.send("Performance.enable", {"timeDomain": "threadTicks"})
            opened, worked = zip(
                *(opening(page, teller, page_address) for _ in range(OPENINGS + 1)), strict=True
            )
            slowest = frame_figures(page)
            if options.keep:
                page.screenshot(path=options.keep)
            browser.close()
    again = sorted(opened[1:])
    print(
        f"interactive after {opened[0]:.0f} ms the first time (the server draws it), then {median(again):.0f} ms; "
        f"processor time of the page's thread {median(worked[1:]):.0f} ms"
    )
    return int(median(again) >= GOAL_MS or slowest <= GOAL_FPS)


def large_board(pads: int) -> Board:
    """A board with this many pads, from a generated netlist file."""
    text = generate_ipcd356(round(pads / PIN_SHARE), conductors=pads)
    board, _ = import_board(
        name="large board", ipc356=Source("large.ipc", text.encode()), gerber=[], parts=None,
        library=standard_library(),
    )  # fmt: skip
    return board


def opening(page: Page, teller: CDPSession, address: str) -> tuple[float, float]:
    """From the start of the navigation until the drawing is there and painted [ms]: wall clock, and the page's thread."""
    page.goto(address, wait_until="commit")
    return float(page.evaluate(READY)), thread_ms(teller)


def thread_ms(teller: CDPSession) -> float:
    """Processor time of all tasks of the page's own thread since its document came [ms]."""
    metrics = teller.send("Performance.getMetrics")["metrics"]
    return 1e3 * float(next(one["value"] for one in metrics if one["name"] == "TaskDuration"))


def frame_figures(page: Page) -> float:
    """Print frames a second while panning at several sizes and while zooming; the least of the pans."""
    page.locator(".sheet > svg.board-drawing").first.scroll_into_view_if_needed()
    rates = []
    for size in (1.35, 2.5, 6.0, 15.0):
        page.evaluate(
            "(size) => document.querySelector('[data-drawing]').drawing.ready().then((s) => { s.whole(); s.zoom(size); })",
            size,
        )
        time.sleep(1.5)
        rates.append(told(f"pan at {size:g} x", page.evaluate(PAN, FRAMES)))
        time.sleep(0.5)
    told("zoom by wheel", page.evaluate(WHEEL, FRAMES))
    return min(rates)


def told(what: str, gaps_ms: list[float]) -> float:
    """Print a line on the gaps between frames; frames a second over the whole run."""
    rate = 1000 * len(gaps_ms) / sum(gaps_ms)
    ordered = sorted(gaps_ms)
    late = sum(gap > 1000 / GOAL_FPS for gap in gaps_ms)
    print(
        f"{what}: {rate:.1f} frames/s, median gap {median(ordered):.1f} ms, worst {ordered[-1]:.0f} ms, {late} of {len(ordered)} over 33 ms"
    )
    return rate


if __name__ == "__main__":
    sys.exit(main())
