"""From a photo of a job to damage on record, by the routes and in a browser."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from fastapi.testclient import TestClient

from coppermend.board.folder import format_board_folder
from coppermend.damage.corrosion import encode_map
from coppermend.web.app import create_app
from coppermend.web.desk import Desk
from photo_render.sample import points_json, small_scene

WHO = "R. Tansy"


class Work:
    """A job on the board of a synthetic photograph, with that photo on record."""

    def __init__(self, client: TestClient, desk: Desk) -> None:
        board, _, shot = small_scene()
        files = {name: text.encode() for name, text in format_board_folder(board).items()}
        self.client, self.desk, self.points = client, desk, points_json(shot)
        self.shape = shot.severity.shape
        sha = desk.store.add_board(files)
        self.number = desk.store.new_job({"customer": "O. Penhallow", "complaint": "dark"}, who=WHO)
        desk.store.append(self.number, "board", "receive", {"name": board.name, "sha256": sha}, who=WHO)
        self.photo = desk.store.attach(shot.jpeg, "top.jpg", "image/jpeg")
        body = {"sha256": self.photo, "name": "top.jpg", "media_type": "image/jpeg"}
        desk.store.append(self.number, "photo", "inspect", body, who=WHO)
        self.path = f"/jobs/{self.number}/photo/{self.photo}"


@pytest.fixture
def work(tmp_path: Path):
    app = create_app(tmp_path / "data")
    with TestClient(app) as client:
        client.cookies.set("who", "R.%20Tansy")
        app.state.desk.errands.patience_s = 120.0  # on a busy machine too
        yield Work(client, app.state.desk)


def test_the_page_offers_the_boards_points(work: Work) -> None:
    """Every reference point can be chosen, and the photo is shown upright as a JPEG."""
    page = work.client.get(work.path)
    picture = work.client.get(f"{work.path}/upright")

    assert page.status_code == 200 and 'data-name="hole-1"' in page.text and "upper right corner" in page.text
    assert cv2.imdecode(np.frombuffer(picture.content, np.uint8), 1).shape == (1200, 1600, 3)
    assert work.path in work.client.get(f"/jobs/{work.number}/inspect").text


def told(work: Work, points: str) -> list[dict[str, object]]:
    """The events of one search for damage, and what came of it as the last."""
    sent = {"points": points, "side": "top"}
    headers = {"accept": "text/event-stream"}
    address = work.client.post(f"{work.path}/find", data=sent, headers=headers).json()["work"]
    text = work.client.get(f"{address}/events").text
    events = [json.loads(event.removeprefix("data: ")) for event in text.split("\n\n") if event]
    if events[-1]["state"] == "done":
        events.append(work.client.get(f"{address}/outcome").json())
    return events


def test_damage_is_found_corrected_and_kept(work: Work) -> None:
    """Each stage is told; the proposal is kept beside the corrected map, and that is the job's damage."""
    *stages, found = told(work, work.points)
    assert "Straightening the photo" in [s["words"] for s in stages]
    assert [s["done"] for s in stages] == sorted(s["done"] for s in stages) and stages[-1]["total"] == 4
    assert work.desk.job(work.number).state.damage is None
    corrected = np.zeros(work.shape, np.uint8)
    corrected[40:80, 60:120] = 215

    answer = work.client.post(
        f"{work.path}/keep",
        data={"proposed": found["map"], "straight": found["straight"], "side": "top", "note": "by eye", "registration": json.dumps(found["camera"])},
        files={"map": ("damage.png", encode_map(corrected), "image/png")}, follow_redirects=False,
    )  # fmt: skip

    assert answer.status_code == 303
    entry = work.desk.job(work.number).entries[-1]
    assert entry.kind == "damage" and entry.body["photo"] == work.photo and entry.body["note"] == "by eye"
    assert work.desk.store.attachment(entry.body["proposed"]) != work.desk.store.attachment(entry.body["map"])
    assert work.desk.job(work.number).found.touch.area_mm2 == pytest.approx(40 * 60 / 16)
    for stage in ("inspect", "copper", "refit"):  # the photo is offered under the drawing of its side alone
        text = work.client.get(f"/jobs/{work.number}/{stage}").text
        assert (
            text.count(f'data-photo="/attachments/{found["straight"]}"') == 1 and 'name="photo-under"' in text
        )
    work.client.post(f"/jobs/{work.number}/void", data={"seq": str(entry.seq), "stage": "inspect"})
    assert "data-photo" not in work.client.get(f"/jobs/{work.number}/copper").text


@pytest.mark.parametrize(("points", "words"), [("[]", "too few"), ("{", "broken JSON")])
def test_bad_points_find_nothing(work: Work, points: str, words: str) -> None:
    """What is wrong with the points is said, and nothing is kept."""
    answer = work.client.post(f"{work.path}/find", data={"points": points, "side": "top"})

    assert answer.status_code == 400 and words in answer.json()["error"]
    assert len(work.desk.job(work.number).entries) == 3


def test_events_end_with_what_is_wrong(work: Work) -> None:
    """Who accepts events gets the refusal as the last of them."""
    last = told(work, "[]")[-1]

    assert last["state"] == "failed" and "too few" in str(last["error"])


def test_points_that_the_photo_contradicts_are_refused_or_trusted(work: Work) -> None:
    """Points 15 mm off put no copper where the photo has it: that is said and nothing kept, unless they are to be trusted."""
    moved = [
        {**p, "board_mm": [p["board_mm"][0] * 0.8 + 15, p["board_mm"][1] * 0.75 + 9]}
        for p in json.loads(work.points)
    ]
    asked = {"points": json.dumps(moved), "side": "top"}

    refused = work.client.post(f"{work.path}/find", data=asked)
    trusted = work.client.post(f"{work.path}/find", data={**asked, "clicks_only": "1"})

    assert refused.status_code == 400 and "not where the points put them" in refused.json()["error"]
    assert trusted.status_code == 200 and trusted.json()["matches"] == 0
    assert len(work.desk.job(work.number).entries) == 3


@pytest.mark.parametrize(
    ("data", "words"), [({"proposed": "0" * 64}, "no damage map"), ({"side": "left"}, "no damage map")]
)
def test_nothing_is_kept_without_a_map(work: Work, data: dict[str, str], words: str) -> None:
    """A post without a map comes back with what is missing."""
    answer = work.client.post(f"{work.path}/keep", data=data)

    assert answer.status_code == 400 and words in answer.text


def test_photos_of_other_jobs_are_unknown(work: Work) -> None:
    """Only the job's own photos have a page."""
    assert work.client.get(f"/jobs/{work.number}/photo/{'0' * 64}").status_code == 404


def test_what_is_no_photo_is_said(work: Work) -> None:
    """A blank picture among the photos is refused on the inspect page."""
    blank = cv2.imencode(".png", np.full((300, 300, 3), 90, np.uint8))[1].tobytes()
    sha = work.desk.store.attach(blank, "blank.png", "image/png")
    body = {"sha256": sha, "name": "blank.png", "media_type": "image/png"}
    work.desk.store.append(work.number, "photo", "inspect", body, who=WHO)

    answer = work.client.get(f"/jobs/{work.number}/photo/{sha}")

    assert answer.status_code == 400 and "blank" in answer.text
