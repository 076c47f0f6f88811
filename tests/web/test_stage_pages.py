"""The stages up to strip: what each page keeps and what it refuses. Copper, prove and return have their own files."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import cv2
import numpy as np
import pytest

from coppermend.job.entry import STAGES
from coppermend.papers.photos import scaled_jpeg
from coppermend.rework.records import Remedy

from .conftest import square

PNG = (
    b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\x01\0\0\0\x01\x08\x02\0\0\0\x90wS\xde\0\0\0\x0cIDATx\x9cc\xf8\xcf\xc0\0"
    b"\0\x03\x01\x01\0\xc9\xfe\x92\xef\0\0\0\0IEND\xaeB`\x82"
)


@pytest.mark.parametrize("stage", STAGES)
def test_every_stage_shows_itself_with_its_cautions(damaged, stage):
    """Each stage's page opens, is marked in the rail, and shows a caution and the way on."""
    text = damaged.get(f"/{stage}").text

    assert f'href="/jobs/{damaged.number}/{stage}" aria-current="page"' in text
    assert "licensed practice" in text


@pytest.mark.parametrize(
    ("sent", "told"),
    [
        ({"area": ""}, "no area was drawn"),
        ({"area": "POINT (1 1)"}, "is no area"),
        ({"area": '{"type": "FeatureCollection"'}, "broken JSON"),
        ({"area": "POLYGON ((900 900, 910 900, 910 910, 900 900))"}, "lies off the board"),
    ],
)
def test_an_area_that_cannot_be_used_is_refused_with_what_was_typed(at_work, sent, told):
    """The page says what is wrong and keeps the text; nothing is recorded."""
    answer = at_work.post("damage", **sent)

    assert answer.status_code == 400 and told in answer.text
    assert sent["area"].replace('"', "&#34;") in answer.text
    assert at_work.job.state.damage is None


def test_a_part_that_the_board_does_not_have_cannot_come_off(damaged):
    """A slip of the keys is told with what was typed; a part off the list and a socket are taken."""
    answer = damaged.post("strip", refdes="XX9", done="1", fate="discard")

    assert answer.status_code == 400 and "&#39;XX9&#39; is no part of this board" in answer.text
    assert 'name="refdes" maxlength="40" value="XX9"' in answer.text
    damaged.kept("strip", refdes="C6", done="1")
    damaged.kept("strip", refdes="XU3", done="1")
    assert set(damaged.job.state.strip) == {"C6", "XU3"}


def test_a_drawn_area_says_what_it_touches(damaged):
    """Parts and nets appear with severity and what they do."""
    text = damaged.get("/inspect").text

    touched = damaged.job.found.touch
    assert touched.parts and touched.nets
    assert f'data-find="{touched.parts[0].refdes}"' in text
    assert touched.nets[0].does in text
    assert 'class="overlay damage"' in text


def test_a_damage_map_counts_instead_of_the_text(at_work):
    """An uploaded file that is no map is refused by its name."""
    answer = at_work.client.post(
        f"/jobs/{at_work.number}/damage", data={"area": ""}, files={"map": ("leak.png", PNG, "image/png")}
    )

    assert answer.status_code == 400 and "leak.png" in answer.text


def test_a_map_on_which_nothing_is_damaged_is_refused(at_work):
    """A black damage map of the board's size has no damage to record; one with damage has."""
    board = at_work.job.board
    grid = np.zeros((round(board.height_mm * 4), round(board.width_mm * 4)), np.uint8)
    sound = cv2.imencode(".png", grid)[1].tobytes()
    grid[40:120, 40:120] = 200
    heavy = cv2.imencode(".png", grid)[1].tobytes()
    path = f"/jobs/{at_work.number}/damage"

    refused = at_work.client.post(path, files={"map": ("map.png", sound)})
    kept = at_work.client.post(path, files={"map": ("map.png", heavy)})

    assert refused.status_code == 400 and "nothing in this map is damaged" in refused.text
    assert kept.status_code == 200
    assert at_work.job.found.touch.area_mm2 == pytest.approx(400)


def test_an_area_without_a_board_is_refused(bench, area):
    """There is nothing to draw on before the board is known."""
    number = bench.desk.store.new_job({"customer": "O. Penhallow"}, who="R. Tansy")

    answer = bench.client.post(f"/jobs/{number}/damage", data={"area": area})

    assert answer.status_code == 400 and "no board to draw on" in answer.text


def test_a_board_can_be_chosen_later(bench, at_work):
    """A job without a board gets one of the library; a made-up one is refused."""
    number = bench.desk.store.new_job({"customer": "B"}, who="R. Tansy")

    refused = bench.client.post(f"/jobs/{number}/board", data={"board": ""})
    bench.client.post(f"/jobs/{number}/board", data={"board": at_work.board})

    assert refused.status_code == 400
    assert bench.desk.job(number).sha256 == at_work.board


def test_a_photo_is_kept_and_shown_small(at_work):
    """A picture becomes an entry of its stage, and its small form is a JPEG."""
    answer = at_work.client.post(
        f"/jobs/{at_work.number}/photo",
        data={"stage": "inspect", "caption": "left edge"},
        files=[("photo", ("a.png", PNG, "image/png"))],
        follow_redirects=False,
    )

    (photo,) = at_work.job.state.photos
    assert answer.status_code == 303 and (photo.stage, photo.words) == ("inspect", "left edge")
    small = at_work.client.get(f"/attachments/{photo.sha256}/small")
    assert small.content.startswith(b"\xff\xd8\xff")
    assert f"/attachments/{photo.sha256}/small" in at_work.get("/inspect").text


def test_a_large_photo_is_made_small_and_keeps_its_shape():
    """The longer side shrinks to what is asked, the other with it."""
    photo = cv2.imencode(".png", np.full((300, 1200, 3), 90, np.uint8))[1].tobytes()

    small = cv2.imdecode(np.frombuffer(scaled_jpeg(photo, 480), np.uint8), cv2.IMREAD_COLOR)

    assert small.shape[:2] == (120, 480)


def test_what_is_no_photo_is_refused_and_its_caption_kept(at_work):
    """One bad file refuses the lot, so that nothing is half kept."""
    answer = at_work.client.post(
        f"/jobs/{at_work.number}/photo",
        data={"stage": "inspect", "caption": "left edge"},
        files=[("photo", ("a.png", PNG, "image/png")), ("photo", ("b.exe", b"MZ", "image/png"))],
    )

    assert answer.status_code == 400 and "b.exe" in answer.text and "left edge" in answer.text
    assert at_work.job.state.photos == ()


def test_no_photo_chosen_is_told(at_work):
    """A form without a file is refused in words."""
    assert "no file was chosen" in at_work.post("photo", stage="inspect").text


def test_a_broken_photo_cannot_be_made_small(bench):
    """A file that starts like a JPEG and is none answers 400, not with a fault."""
    sha256 = bench.desk.store.attach(b"\xff\xd8\xff broken", "a.jpg", "image/jpeg")

    assert bench.client.get(f"/attachments/{sha256}/small").status_code == 400


def test_only_offered_remedies_can_be_chosen(damaged):
    """An invented remedy is refused; an offered one is chosen and chosen no longer."""
    refused = damaged.post("remedy", id="gold plating", chosen="1")
    offered = next(remedy for remedy in damaged.job.found.remedies if not remedy.note_only)

    damaged.kept("remedy", id=offered.id, chosen="1")
    chosen = damaged.job.state.remedies
    damaged.kept("remedy", id=offered.id, chosen="0")

    assert refused.status_code == 400 and chosen == (offered.id,)
    assert damaged.job.state.remedies == ()


def test_an_idea_without_parts_cannot_be_chosen(damaged, monkeypatch):
    """What is offered as a note only has no tick, and is refused when it is posted all the same."""
    ideas = (Remedy("idea", "an idea", "why", note_only=True),)
    found = replace(damaged.job.found, remedies=ideas)
    monkeypatch.setattr(damaged.desk, "_assessed", lambda key: (found, ""))

    assert damaged.post("remedy", id="idea", chosen="1").status_code == 400
    assert "tick-idea" not in damaged.get("/plan").text
    assert damaged.job.state.remedies == ()


def test_remedies_that_exclude_each_other_are_not_chosen_together(damaged, monkeypatch):
    """The second of two that exclude each other has no button, and is refused when posted all the same."""
    found = damaged.job.found
    pair = (
        Remedy("one", "first way", "why", excludes=("two",)),
        Remedy("two", "second way", "why", excludes=("one",)),
    )
    monkeypatch.setattr(damaged.desk, "_assessed", lambda key: (replace(found, remedies=pair), ""))
    damaged.kept("remedy", id="one", chosen="1")

    answer = damaged.post("remedy", id="two", chosen="1")

    assert answer.status_code == 400 and "exclude each other" in answer.text
    assert "Not together with first way" in damaged.get("/plan").text


def test_a_part_is_ticked_off_and_put_back(damaged):
    """A tick keeps part and fate, leads back to the row, and can be taken back."""
    item = damaged.job.found.strip[0]

    answer = damaged.post("strip", refdes=item.refdes, done="1", fate="test")
    off = dict(damaged.job.state.strip)
    damaged.kept("strip", refdes=item.refdes, done="0")

    assert answer.headers["location"].endswith(f"#off-{item.refdes}")
    assert off == {item.refdes: "test"}
    assert damaged.job.state.strip == {}


@pytest.mark.parametrize(
    "sent",
    [
        {"done": "1"},
        {"refdes": "C3"},
        {"refdes": "C3", "done": "maybe"},
        {"refdes": "C3", "done": "1", "fate": "burn"},
    ],
)
def test_a_tick_that_says_nothing_is_refused(damaged, sent):
    """Part, tick and a known fate are needed."""
    assert damaged.post("strip", **sent).status_code == 400
    assert damaged.job.state.strip == {}


def test_a_damaged_area_of_another_board_leaves_the_record_readable(at_work):
    """What cannot be worked out is said; every page of the job still opens."""
    far = json.dumps(
        {
            "type": "FeatureCollection",
            "features": [
                {
                    "type": "Feature",
                    "properties": {"severity": 1},
                    "geometry": {
                        "type": "Polygon",
                        "coordinates": [[[900, 900], [910, 900], [910, 910], [900, 900]]],
                    },
                }
            ],
        }
    )
    at_work.desk.store.append(at_work.number, "damage", "inspect", {"area": json.loads(far)}, who="R. Tansy")

    for stage in ("", *(f"/{stage}" for stage in STAGES), "/record"):
        answer = at_work.get(stage)
        assert answer.status_code == 200 and "cannot be worked out" in answer.text


def test_that_there_is_no_damage_can_be_kept(at_work):
    """A press says so: inspect is done, nothing is touched, and the page says what is on record; an area can still follow."""
    assert "There is no damage" in at_work.get("/inspect").text

    seq = at_work.kept("damage", none="1", area="")

    text = at_work.get(f"/inspect?kept={seq}").text
    assert "It is on record that there is none." in text and "no damage" in text
    assert "There is no damage" not in text
    found = at_work.job.found
    assert found.touch.parts == () and next(p for p in found.progress if p.stage == "inspect").finished
    assert "Nothing is recorded as touched yet" in at_work.get("/return").text
    at_work.kept("damage", area=square())
    assert (
        at_work.job.found.touch.parts and "on record that there is none" not in at_work.get("/inspect").text
    )


def test_inspect_tells_what_was_noted_on_arrival(at_work):
    """The condition that was noted at receive stands beside what is drawn from it."""
    at_work.kept("header", customer="O. Penhallow", condition="Battery swollen <3")

    assert "<b>As it came in:</b> Battery swollen &lt;3" in at_work.get("/inspect").text


def test_a_stage_that_is_begun_early_leads_to_what_is_open_before_it(damaged):
    """The papers of return may be made at once; what the job still waits for is named and led to."""
    text = damaged.get("/return").text

    assert "Make the return tag and the report." in text and "Still open before it:" in text
    assert f'<a href="/jobs/{damaged.number}/plan">Plan: Choose remedies' in text
    assert "Still open before it" not in damaged.get("/plan").text


@pytest.mark.parametrize("stage", STAGES)
def test_what_comes_next_leads_somewhere(damaged, stage):
    """Wherever the next step is a link, the page behind it is there."""
    text = damaged.get(f"/{stage}").text
    box = text[text.index('aria-label="What comes next"') :].partition("</section>")[0]

    for address in re.findall(r'href="([^"]+)"', box):
        assert re.fullmatch(rf"/jobs/{damaged.number}/({'|'.join(STAGES)})", address)
