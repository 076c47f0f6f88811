"""The scan page: photo, frame and typed number lead to the job, or to a comeback filled in from it."""

from __future__ import annotations

from pathlib import Path

import cv2
import pytest
from fastapi.testclient import TestClient

from coppermend.job.store import Store
from coppermend.papers.tag import TagContent, tag_png
from coppermend.web.app import create_app


@pytest.fixture
def bench(tmp_path: Path):
    """A bench with one job, and the job's number."""
    with Store.open(tmp_path) as store:
        header = {"customer": "O. <b>Penhallow</b>", "machine": "Saltmarsh Ramble", "serial": "SR-00231"}
        number = store.new_job(header, who="R. Tansy")
    with TestClient(create_app(tmp_path)) as client:
        yield client, number


def _photo(number: str) -> bytes:
    return tag_png(TagContent(number, "Sample", "2026-11-28", "R. Tansy", (), "Proven"))


def test_photo_of_a_tag_opens_its_job(bench):
    """The page then offers the job and the comeback; the customer's name is text, not markup."""
    client, number = bench

    answer = client.post("/scan", files={"photo": ("tag.png", _photo(number), "image/png")})

    assert answer.url.params["number"] == number
    assert f'href="/jobs/{number}"' in answer.text and f"comeback={number}" in answer.text
    assert "&lt;b&gt;Penhallow" in answer.text


def test_frame_answers_number_or_advice(bench):
    """What the camera loop reads: the number, or words to show; a file that is no picture is refused."""
    client, number = bench
    blank = cv2.imencode(".jpg", cv2.UMat(240, 320, cv2.CV_8U, 128.0).get())[1].tobytes()

    found = client.post("/scan/frame", files={"frame": ("f.png", _photo(number))})
    nothing = client.post("/scan/frame", files={"frame": ("f.jpg", blank)})
    refused = client.post("/scan/frame", files={"frame": ("f.jpg", b"GIF89a")})

    assert found.json()["number"] == number
    assert nothing.json()["number"] == "" and "come closer" in nothing.json()["words"]
    assert refused.status_code == 400 and "cannot be decoded" in refused.json()["error"]
    assert client.post("/scan/frame", data={"x": "1"}).status_code == 400


def test_typed_number_is_checked(bench):
    """A wrong digit comes back with what was typed and what is wrong; a sound number of another record says so."""
    client, number = bench

    wrong = client.post("/scan", data={"number": number[:-1] + ("A" if number[-1] != "A" else "B")})
    other = client.post("/scan", data={"number": "20-0042-1"})
    stranger = client.get("/scan", params={"number": "26-0042-U"})

    assert wrong.status_code == 400 and "wrong digit or check character" in wrong.text
    assert other.status_code == 400
    assert "this record has no such job" in stranger.text


def test_comeback_fills_the_new_job_in(bench):
    """Customer, machine and serial come from the earlier job, whose tag becomes a mark: the job is linked by it."""
    client, number = bench

    page = client.get("/jobs/new", params={"comeback": number}).text
    strange = client.get("/jobs/new", params={"comeback": "26-0042-U"}).text

    assert 'value="SR-00231"' in page and f'value="tag {number}"' in page
    assert 'value="tag 26-0042-U"' in strange
    assert client.get("/jobs/new", params={"comeback": "nonsense"}).status_code == 400
