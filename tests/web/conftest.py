"""A bench over an empty record, a sample board on it, and a job on that board."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from httpx import Response

from coppermend.demo.board_data import demo_board_files
from coppermend.web.app import create_app
from coppermend.web.desk import Desk, Job

WHO = "R. Tansy"


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


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    """An empty record behind a client whose browser remembers who works."""
    app = create_app(tmp_path / "data", shop="Fen Lane Board Works")
    with TestClient(app) as client:
        client.cookies.set("who", "R.%20Tansy")
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
