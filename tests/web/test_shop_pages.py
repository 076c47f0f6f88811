"""Shop and shelf in the browser: settings, movements, lists, the kit of a job, and its papers."""

from __future__ import annotations

from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from coppermend.board.folder import parse_board_folder
from coppermend.demo.board_data import demo_board_files
from coppermend.demo.story import damage_area
from coppermend.job.store import Store
from coppermend.web.app import create_app

WHO = {"who": "R. Tansy"}


@pytest.fixture
def bench(tmp_path: Path):
    """A bench with one job on the demo board."""
    with Store.open(tmp_path) as store:
        board = parse_board_folder(demo_board_files())
        number = store.new_job({"customer": "O. Penhallow"}, who="R. Tansy")
        store.append(
            number, "board", "receive", {"name": board.name, "sha256": store.add_board(board)}, who="R. Tansy"
        )
        store.append(number, "damage", "inspect", {"area": damage_area()}, who="R. Tansy")
    with TestClient(create_app(tmp_path)) as client:
        yield client, number


def test_settings_are_kept_or_come_back(bench):
    """What does not fit comes back as typed, with what is wrong; nothing of it is kept."""
    client, _ = bench

    good = client.post("/shop", data={"taxes": "standard 20; none 0", "name": "<b>Fen</b>", **WHO})
    bad = client.post("/shop", data={"currency": "euro", "name": "Other", **WHO})

    assert "Kept." in good.text and "&lt;b&gt;Fen" in good.text
    assert bad.status_code == 400 and 'value="euro"' in bad.text and "ISO 4217" in bad.text
    assert 'value="&lt;b&gt;Fen&lt;/b&gt;"' in client.get("/shop").text


def test_parts_come_in_and_are_counted(bench):
    """Hostile names are text; a count, a list out and in again."""
    client, _ = bench

    client.post(
        "/shelf/receive",
        data={"type": "=cmd", "value": "<script>x</script>", "quantity": "5", "minimum": "9", **WHO},
    )
    counted = client.post(
        "/shelf/count", data={"key": "=cmd <script>x</script>", "quantity": "3", **WHO}
    ).text
    text = client.get("/shelf.csv").text
    again = client.post("/shelf/import", files={"list": ("s.csv", text.encode())}, data=WHO).text
    refused = client.post("/shelf/receive", data={"type": "resistor", "quantity": "x", **WHO})

    assert "3 counted" in counted and "<script>x" not in counted and "To order" in counted
    assert "'=cmd" in text and "1 rows read, 0 changed" in again
    assert refused.status_code == 400 and 'value="resistor"' in refused.text
    assert client.post("/shelf/import", data=WHO).status_code == 400
    assert "No part has all these words" in client.get("/shelf", params={"find": "nothing"}).text


def test_kit_of_a_job_is_reserved_and_used(bench):
    """From the job's number; a job that there is not is told."""
    client, number = bench
    client.post("/shelf/receive", data={"type": "capacitor", "value": "100n", "quantity": "50", **WHO})

    reserved = client.post("/shelf/kit", data={"job": number, "do": "reserve", **WHO}).text
    used = client.post("/shelf/kit", data={"job": number, "do": "use", **WHO}).text

    assert f"reserved for {number}" in reserved
    assert f"kit of {number} taken off the shelf" in used
    assert client.post("/shelf/kit", data={"job": "26-0042-U", **WHO}).status_code == 404


@pytest.mark.parametrize(
    "what", ["quote", "invoice", "sheet", "packing", "order", "kit-label", "tag", "report"]
)
def test_every_paper_is_made_and_kept(bench, what: str):
    """A press makes it, and the page lists it."""
    client, number = bench

    answer = client.post(f"/jobs/{number}/paper", data={"what": what, **WHO})

    assert answer.status_code == 200 and f"{what}-{number}.pdf" in answer.text


def test_label_for_a_printer_and_unknown_papers(bench):
    """PNG in the size that was typed; what there is not is refused."""
    client, number = bench

    made = client.post(f"/jobs/{number}/paper", data={"what": "tag", "size": "50x30", "dpi": "203", **WHO})

    assert f"tag-{number}.png" in made.text
    for data in (
        {"what": "poster"},
        {"what": "tag", "size": "9x9"},
        {"what": "tag", "dpi": "7"},
        {"what": "quote", "paper": "a5"},
    ):
        assert client.post(f"/jobs/{number}/paper", data={**data, **WHO}).status_code == 400


def test_history_page_with_and_without_history(bench):
    """Nothing finished yet is said; then the finished job counts, with its interval drawn."""
    client, number = bench

    before = client.get("/learn").text
    client.app.state.desk.store.append(number, "stage", "return", {"stage": "return"}, who="R. Tansy")
    after = client.get("/learn").text

    assert "no history to learn from" in before
    assert "0 of 1 finished jobs came back" in after and "<svg" in after


def test_the_page_of_the_shop_keeps_logo_tools_units_and_language(bench):
    """What is chosen stands in the settings and shows on pages; an SVG with a script is refused and nothing kept."""
    client, _ = bench
    svg = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 4 4"><path d="M0 0h4v4z"/></svg>'
    form = {"units": "inch", "tools-shown": "1", "tool-0": "1", "language": "en", **WHO}

    bad = client.post("/shop", data=form, files={"logo-file": ("x.svg", svg.replace(b"<path", b"<script/><path"))})  # fmt: skip
    assert bad.status_code == 400 and "does more than draw" in bad.text
    good = client.post("/shop", data=form, files={"logo-file": ("x.svg", svg)}, follow_redirects=False)

    assert good.status_code == 303
    shop = client.app.state.desk.settings()
    assert (shop.units, shop.tools, shop.owned.meter, shop.owned.logic_probe) == (
        "inch",
        "multimeter",
        True,
        False,
    )
    answer = client.get("/shop/logo")
    assert answer.content == svg and answer.headers["content-type"] == "image/svg+xml"
    assert "sandbox" in answer.headers["content-security-policy"]
    assert f"/shop/logo?{shop.logo[:12]}" in client.get("/").text
    client.post("/shop", data={"logo-off": "1", **WHO})
    assert client.app.state.desk.settings().logo == ""
    assert client.get("/shop/logo").status_code == 404
