"""Time and dealings: every form keeps its entry, undo takes it back, and what is wrong comes back as it was typed."""

from __future__ import annotations

import re

import pytest

from coppermend.errors import InputError
from coppermend.web.dealings_page import parse_codes

MP4 = b"\x00\x00\x00\x18ftypmp42" + b"\x00" * 64


FORMS = (
    ("timer", {"does": "start", "stage": "copper"}, "timer", {"does": "start"}),
    ("timer", {"does": "add", "minutes": "20", "stage": "strip", "why": "forgot"}, "timer", {"does": "add", "minutes": 20, "why": "forgot"}),
    ("timer", {"does": "add", "minutes": "5", "less": "1", "stage": "strip"}, "timer", {"does": "add", "minutes": -5}),
    ("promise", {"promised": "2026-04-01"}, "job", {"promised": "2026-04-01"}),
    ("waiting", {"parts": "C5 C7", "arrived": "0", "until": "2026-03-20"}, "waiting", {"parts": "C5 C7", "arrived": False, "until": "2026-03-20"}),
    ("approval", {"what": "quote", "approved": "1", "by": "O. P.", "note": ""}, "approval", {"what": "quote", "approved": True, "by": "O. P."}),
    ("shipping", {"direction": "out", "carrier": "by hand"}, "shipping", {"direction": "out", "carrier": "by hand"}),
    ("payment", {"state": "paid", "amount": "40.00"}, "payment", {"state": "paid", "amount": "40.00"}),
    ("video", {"url": "https://example.org/v.mp4", "stage": "receive"}, "video", {"url": "https://example.org/v.mp4"}),
    ("fingerprint", {"codes": "U5 8142\nU9: 7936"}, "fingerprint", {"codes": {"U5": "8142", "U9": "7936"}}),
)  # fmt: skip


def test_form_keeps_its_entry_and_undo_takes_it_back(at_work):
    """What was filled in and no more; undo from the page takes each back."""
    for action, sent, kind, body in FORMS:
        seq = at_work.kept(action, **sent)

        entry = at_work.job.entry(seq)
        assert (entry.kind, dict(entry.body), entry.who) == (kind, body, "R. Tansy")
        at_work.kept("void", seq=str(seq), back="dealings", stage="receive")
        assert seq in at_work.job.state.voided
    assert at_work.get("/dealings").status_code == 200


def test_page_shows_all_that_was_kept(at_work):
    """Time with its stages, promise, parts, approval, shipping, payment, video, codes."""
    at_work.kept("timer", does="add", minutes="25", stage="strip")
    at_work.kept("promise", promised="2026-04-01")
    at_work.kept("waiting", parts="C5", arrived="0")
    at_work.kept("approval", what="quote of March", approved="0")
    at_work.kept("shipping", direction="in", tracking="TR-9")
    at_work.kept("payment", state="invoiced", amount="80.00")
    at_work.kept("fingerprint", codes="U5 8142")

    words = re.sub(r"<[^>]+>|\s+", " ", at_work.get("/dealings").text)

    for expected in ("25", "C5", "not here yet", "not approved", "TR-9", "invoiced", "80.00", "8142"):
        assert expected in words
    assert 'value="2026-04-01"' in at_work.get("/dealings").text


def test_timer_runs_from_any_stage(at_work):
    """Started on the copper page it counts for copper, and every page of the job offers to stop it."""
    answer = at_work.post("timer", does="start", stage="copper", back="stage")

    assert answer.headers["location"].startswith(f"/jobs/{at_work.number}/copper")
    assert [run.stage for run in at_work.job.state.time.running] == ["copper"]
    assert "Stop the timer" in at_work.get("/strip").text
    at_work.kept("timer", does="stop", stage="copper")
    assert at_work.job.state.time.running == ()


def test_video_file_is_kept_and_shown(at_work):
    """A file is known by its first bytes, not by its name; something else is refused and nothing is kept."""
    address = f"/jobs/{at_work.number}/video"
    sent = {"stage": "receive", "caption": "does not start"}
    good = at_work.client.post(address, data=sent, files={"file": ("start.mp4", MP4)}, follow_redirects=False)
    before = at_work.job.state.seq
    bad = at_work.client.post(
        address, data=sent, files={"file": ("start.mp4", b"<script>")}, follow_redirects=False
    )

    (video,) = at_work.job.state.videos
    shown = at_work.client.get(f"/attachments/{video.sha256}")
    assert good.status_code == 303 and (video.name, video.caption) == ("start.mp4", "does not start")
    assert (shown.headers["content-type"], shown.content) == ("video/mp4", MP4)
    assert bad.status_code == 400 and "is no video" in bad.text and at_work.job.state.seq == before


WRONG = (
    ("promise", {"promised": "soon"}, "a date such as"), ("waiting", {"parts": "", "arrived": "0"}, "parts"),
    ("timer", {"does": "add", "minutes": "x", "stage": "strip"}, "a whole number"),
    ("payment", {"state": "half"}, "one of quoted"), ("fingerprint", {"codes": "U5"}, "U5 has no code"),
    ("comeback", {"earlier": "26-9999-9"}, "job"), ("video", {"url": "", "stage": "receive"}, "an address, or a file"),
)  # fmt: skip


def test_what_is_wrong_is_told_and_nothing_is_kept(at_work):
    """The page comes back with the reason."""
    before = at_work.job.state.seq
    for action, sent, words in WRONG:
        answer = at_work.post(action, **sent)

        assert answer.status_code in (400, 404) and words in answer.text, action
        assert at_work.job.state.seq == before


def test_comeback_is_seen_in_both_jobs(at_work):
    """The later job says from which it came back and why, the earlier one as which."""
    store = at_work.desk.store
    later = store.new_job({"customer": "x", "marks": f"tag {at_work.number}"}, who="Bo")

    assert at_work.number in at_work.client.get(f"/jobs/{later}/dealings").text
    assert "its tag is on the board" in at_work.client.get(f"/jobs/{later}/dealings").text
    assert later in at_work.get("/dealings").text


def test_erasing_is_asked_twice_and_names_its_reason(at_work):
    """Without the tick nothing goes; with it customer and ticked notes go, and the page says that nothing is left."""
    note = at_work.kept("note", stage="receive", text="Ask for Wilhelmina")
    customer = at_work.job.state.customer
    unsure = at_work.post("erase", why="letter of 3 March")
    assert unsure.status_code == 400 and at_work.job.state.customer == customer

    at_work.kept("erase", why="letter of 3 March", sure="1", **{f"note-{note}": "1"})

    page = at_work.get("/dealings").text
    assert at_work.job.state.customer == "" and customer not in page and "Wilhelmina" not in page


def test_codes_are_one_a_line():
    """Part first; a line without a code is named."""
    assert parse_codes("U5 = 8142 B\n\n  U9:7936") == {"U5": "8142 B", "U9": "7936"}
    with pytest.raises(InputError) as caught:
        parse_codes("U5 8142\nU9")
    assert caught.value.line == 2
