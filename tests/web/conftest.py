"""A bench over an empty record, a sample board on it, and a job on that board."""

from __future__ import annotations

import itertools
import json
import re
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest
import uvicorn
from fastapi import FastAPI
from fastapi.testclient import TestClient
from httpx import Response
from playwright.sync_api import Browser, Page, sync_playwright

from coppermend.demo.board_data import demo_board_files
from coppermend.demo.story import HEADER, damage_area
from coppermend.web.app import create_app
from coppermend.web.desk import Desk, Job
from coppermend.web.errands import Errand

WHO = "R. Tansy"
CHROMIUM = shutil.which("chromium") or ""
FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
WIDTHS = {390: 844, 820: 1180, 1280: 900}


@dataclass(frozen=True)
class Bench:
    """A client, what is behind it, and the number and board of the job at hand."""

    client: TestClient
    desk: Desk
    number: str = ""
    board: str = ""

    @property
    def job(self) -> Job:
        return self.desk.job(self.number)

    def errand(self, address: str) -> Errand:
        """The long work that a page at ``address`` tells of."""
        return self.desk.errands.get(address.rpartition("/")[2])

    def get(self, path: str = "") -> Response:
        return self.client.get(f"/jobs/{self.number}{path}")

    def post(self, action: str, **data: str) -> Response:
        """Post a form of the job without following where it leads."""
        return self.client.post(f"/jobs/{self.number}/{action}", data=data, follow_redirects=False)

    def kept(self, action: str, **data: str) -> int:
        """Post a form of the job and return the number of the entry that was kept."""
        answer = self.post(action, **data)
        assert answer.status_code == 303, answer.text[:2000]
        found = re.search(r"kept=(\d+)", answer.headers["location"])
        assert found is not None
        return int(found[1])


@pytest.fixture(scope="module")
def one_job(tmp_path_factory: pytest.TempPathFactory) -> tuple[FastAPI, dict[str, str]]:
    """The bench with one job that has its board, for many requests that do it no harm, and the names that lead to both."""
    app = create_app(tmp_path_factory.mktemp("record"))
    store = app.state.desk.store
    board = store.add_board(demo_board_files())
    number = store.new_job(HEADER, who=WHO)
    store.append(number, "board", "receive", {"name": "x", "sha256": board}, who=WHO)
    return app, {"number": number, "sha256": board}


@pytest.fixture
def bench(tmp_path: Path, new_record: Callable[[Path], Path]) -> Iterator[Bench]:
    """An empty record behind a client whose browser remembers who works."""
    app = create_app(new_record(tmp_path / "data"), shop="Fen Lane Board Works")
    with TestClient(app) as client:
        client.cookies.set("who", "R.%20Tansy")
        app.state.desk.errands.patience_s = (
            120.0  # on a busy machine too, answers come without a page in between
        )
        yield Bench(client, app.state.desk)


@pytest.fixture
def at_work(bench: Bench) -> Bench:
    """A job on the sample board, with no damage yet."""
    board = bench.desk.store.add_board(demo_board_files())
    number = bench.desk.store.new_job({"customer": "O. Penhallow", "complaint": "dark"}, who=WHO)
    body = {"name": bench.desk.store.board(board).name, "sha256": board}
    bench.desk.store.append(number, "board", "receive", body, who=WHO)
    return Bench(bench.client, bench.desk, number, board)


def square(severity: float = 0.85, left: float = 10, bottom: float = 170, size: float = 30) -> str:
    """A square damaged area as GeoJSON text."""
    right, top = left + size, bottom + size
    ring = [[left, bottom], [right, bottom], [right, top], [left, top], [left, bottom]]
    feature = {
        "type": "Feature", "properties": {"severity": severity},
        "geometry": {"type": "Polygon", "coordinates": [ring]},
    }  # fmt: skip
    return json.dumps({"type": "FeatureCollection", "features": [feature]})


@pytest.fixture
def area() -> str:
    """A heavy square over the sample board's battery corner."""
    return square()


@pytest.fixture
def damaged(at_work: Bench, area: str) -> Bench:
    """The job with that area."""
    at_work.kept("damage", area=area)
    return at_work


@dataclass
class Live:
    """A running bench, and what the pages complained about."""

    address: str
    desk: Desk
    browser: Browser
    troubles: list[str] = field(default_factory=list)

    @contextmanager
    def page(self, width: int = 1280, *, touch: bool = False, dark: bool = False) -> Iterator[Page]:
        """A page of its own browser profile; anything it complains about fails the test."""
        context = self.browser.new_context(
            viewport={"width": width, "height": WIDTHS[width]}, has_touch=touch, is_mobile=touch,
            color_scheme="dark" if dark else "light",
        )  # fmt: skip
        page = context.new_page()
        page.set_default_timeout(30_000)
        page.on("console", lambda m: self.troubles.append(m.text) if m.type in ("error", "warning") else None)
        page.on("pageerror", lambda error: self.troubles.append(str(error)))
        page.on(
            "request",
            lambda r: None if r.url.startswith(self.address) else self.troubles.append(f"external {r.url}"),
        )
        yield page
        context.close()
        assert self.troubles == []

    def job(self) -> str:
        """A new sample job with its damage on record; its serial is its own, so that no other job is its earlier one."""
        store = self.desk.store
        board = store.add_board(demo_board_files())
        number = store.new_job({**HEADER, "serial": f"SR-{next(_serials)}"}, who=WHO)
        store.append(number, "board", "receive", {"name": store.board(board).name, "sha256": board}, who=WHO)
        store.append(number, "damage", "inspect", {"area": damage_area()}, who=WHO)
        return number


_serials = itertools.count(1000)


@contextmanager
def served(folder: Path) -> Iterator[tuple[str, Desk]]:
    """A bench on a free port of this machine: its address, and what is behind it."""
    app = create_app(folder, shop="Fen Lane Board Works")
    server = uvicorn.Server(uvicorn.Config(app, port=0, log_level="warning", ws="none"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    yield f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}", app.state.desk
    server.should_exit = True
    thread.join(10)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One Chromium for all tests of a worker; each page has a profile of its own."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def shared_bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Desk]]:
    """One bench for all tests that bring their own job: the sample board is drawn and worked out once."""
    with served(tmp_path_factory.mktemp("shared-bench")) as bench:
        yield bench


@pytest.fixture
def live(shared_bench: tuple[str, Desk], browser: Browser) -> Live:
    """The shared bench in a browser. Its record holds what other tests have kept: look at your own job only."""
    return Live(*shared_bench, browser)


@pytest.fixture
def empty_live(tmp_path: Path, new_record: Callable[[Path], Path], browser: Browser) -> Iterator[Live]:
    """A bench of its own over an empty record, in the shared browser."""
    with served(new_record(tmp_path / "data")) as bench:
        yield Live(*bench, browser)
