"""Take the README's pictures from the running program: ``python tools/screenshots.py [FOLDER]``.

Needs Debian's chromium and the development environment. Opens the sample job in a record of its own, so the
pictures show what anyone sees after ``make demo``.
"""

from __future__ import annotations

import shutil
import struct
import sys
import tempfile
import threading
import time
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import cv2
import numpy as np
import uvicorn
from numpy.typing import NDArray
from playwright.sync_api import Browser, sync_playwright

from coppermend.demo.board_data import demo_board_files
from coppermend.demo.story import HEADER, SHOP, WHO, damage_area
from coppermend.job.store import Store
from coppermend.web.app import create_app

FOLDER = Path(__file__).resolve().parent.parent / "docs" / "images"
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
MOST_BYTES = 250_000


def main() -> int:
    """Write the pictures; 1 when there is no browser or one of them is too large."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER
    chromium = shutil.which("chromium")
    if chromium is None:
        print("chromium not found: install it with apt-get install chromium", file=sys.stderr)
        return 1
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as data, serving(Path(data)) as (address, store):
        number = sample_job(store)
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
            take(browser, f"{address}/jobs/{number}", (1280, 820), folder / "job.png")
            take(browser, f"{address}/jobs/{number}/copper#probe", (390, 844), folder / "copper.png")
            take(browser, f"{address}/jobs/{number}/strip", (1280, 820), folder / "strip.png")
            browser.close()
    sizes = {path.name: path.stat().st_size for path in sorted(folder.glob("*.png"))}
    print(", ".join(f"{name} {size // 1000} kB" for name, size in sizes.items()))
    return int(any(size > MOST_BYTES for size in sizes.values()))


@contextmanager
def serving(data: Path) -> Iterator[tuple[str, Store]]:
    """The bench over an empty record, on a free port."""
    app = create_app(data, shop=SHOP)
    server = uvicorn.Server(uvicorn.Config(app, port=0, log_level="warning", ws="none"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    port = server.servers[0].sockets[0].getsockname()[1]
    yield f"http://127.0.0.1:{port}", app.state.desk.store
    server.should_exit = True
    thread.join(10)


def sample_job(store: Store) -> str:
    """The sample job as it stands when its board comes to the copper stage."""
    sha256 = store.add_board(demo_board_files())
    number = store.new_job(HEADER, who=WHO)
    body = {"name": store.board(sha256).name, "sha256": sha256}
    store.append(number, "board", "receive", body, who=WHO)
    store.append(number, "damage", "inspect", {"area": damage_area()}, who=WHO)
    store.append(number, "remedy", "plan", {"id": "supercapacitor-BT1", "chosen": True}, who=WHO)
    store.append(number, "strip", "strip", {"refdes": "BT1", "done": True, "fate": "discard"}, who=WHO)
    store.append(number, "stage", "strip", {"stage": "copper"}, who=WHO)
    return number


def take(browser: Browser, address: str, size: tuple[int, int], path: Path) -> None:
    """One picture of a page, in few colours so that the file stays small."""
    context = browser.new_context(viewport={"width": size[0], "height": size[1]})
    context.add_cookies(
        [{"name": "who", "value": WHO.replace(" ", "%20"), "url": address.split("#", maxsplit=1)[0]}]
    )
    page = context.new_page()
    page.goto(address)
    page.wait_for_timeout(1500)  # a page of a job keeps a line open for news, so the network is never idle
    shot = cv2.imdecode(np.frombuffer(page.screenshot(), np.uint8), cv2.IMREAD_COLOR_RGB)
    path.write_bytes(indexed_png(shot))
    context.close()


def indexed_png(picture: NDArray[np.uint8]) -> bytes:
    """An RGB picture as PNG with a palette of at most 256 colours (W3C PNG, colour type 3)."""
    levels = (picture >> 4).astype(np.uint32)
    packed = (levels[..., 0] << 8) | (levels[..., 1] << 4) | levels[..., 2]
    codes, place, counts = np.unique(packed, return_inverse=True, return_counts=True)
    colours = np.array([picture[packed == code].mean(axis=0) for code in codes])
    kept = np.sort(np.argsort(counts)[::-1][:256])
    nearest = ((colours[:, None, :] - colours[None, kept, :]) ** 2).sum(axis=2).argmin(axis=1)
    rows = nearest[place].astype(np.uint8).reshape(packed.shape)
    height, width = rows.shape
    lines = b"".join(b"\0" + row.tobytes() for row in rows)
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        (
            chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 3, 0, 0, 0)),
            chunk(b"PLTE", colours[kept].round().astype(np.uint8).tobytes()),
            chunk(b"IDAT", zlib.compress(lines, 9)),
            chunk(b"IEND", b""),
        )
    )


def chunk(kind: bytes, data: bytes) -> bytes:
    """A PNG chunk: length, kind, data, CRC."""
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


if __name__ == "__main__":
    sys.exit(main())
