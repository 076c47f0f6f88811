"""Opening a job, its overview and record, undo, and what goes wrong on the way."""

from __future__ import annotations

import pytest

HOSTILE = '"><script>alert(1)</script>'


def test_a_job_without_a_customer_is_refused_and_nothing_typed_is_lost(bench):
    """The form comes back with 400, what is wrong, and every field as it was."""
    sent = {"customer": " ", "machine": "Saltmarsh Ramble", "complaint": "dark\ndisplays", "who": "A. Other"}

    answer = bench.client.post("/jobs/new", data=sent)

    assert answer.status_code == 400
    assert "customer" in answer.text and "Not kept" in answer.text
    for value in ("Saltmarsh Ramble", "dark\ndisplays", "A. Other"):
        assert value in answer.text
    assert bench.desk.store.jobs() == ()


def test_the_form_for_a_new_job_offers_the_boards(at_work):
    """The library's boards are listed, and the only one is chosen already."""
    text = at_work.client.get("/jobs/new").text

    assert f'<option value="{at_work.board}" selected>' in text


def test_a_new_job_leads_to_receive_and_remembers_the_author(bench):
    """The answer is 303 to the new job's first stage; its first entry carries the name given."""
    sent = {"customer": "O. Penhallow", "who": "J. Fenn"}

    answer = bench.client.post("/jobs/new", data=sent, follow_redirects=False)

    (job,) = bench.desk.store.jobs()
    assert answer.status_code == 303
    assert answer.headers["location"].startswith(f"/jobs/{job.number}/receive")
    assert bench.desk.store.entries(job.number)[0].who == "J. Fenn"
    assert "J.%20Fenn" in answer.headers["set-cookie"]


def test_a_job_on_a_board_that_is_not_kept_is_not_opened(bench):
    """A made-up board is refused before the job is opened."""
    answer = bench.client.post("/jobs/new", data={"customer": "O. Penhallow", "board": "0" * 64})

    assert answer.status_code == 400
    assert bench.desk.store.jobs() == ()


@pytest.mark.parametrize(
    "path", ["/jobs/26-9999-Z", "/jobs/none", "/jobs/26-0001-B/strip", "/nowhere", "/boards/none"]
)
def test_what_does_not_exist_answers_with_a_way_on(bench, path):
    """Unknown jobs, boards and pages answer 404 or 400 with a page that leads back to the bench."""
    answer = bench.client.get(path)

    assert answer.status_code in (400, 404)
    assert 'href="/"' in answer.text and "did not work" in answer.text


def test_a_number_as_read_from_a_tag_finds_its_job(at_work):
    """Small letters and missing dashes lead to the job's own address."""
    loose = at_work.number.lower().replace("-", "")

    answer = at_work.client.get(f"/jobs/{loose}", follow_redirects=False)
    stage = at_work.client.get(f"/jobs/{loose}/copper", follow_redirects=False)

    assert answer.headers["location"] == f"/jobs/{at_work.number}"
    assert stage.headers["location"] == f"/jobs/{at_work.number}/copper"


def test_an_unknown_stage_is_no_page(at_work):
    """Only the nine stages exist."""
    assert at_work.get("/polish").status_code == 404


def test_the_overview_says_what_comes_next(at_work):
    """The next step stands in a banner with a button to its stage."""
    text = at_work.get().text

    assert at_work.job.found.next_step in text
    assert f'href="/jobs/{at_work.number}/inspect">Go to inspect' in text


def test_a_job_without_a_board_asks_for_one_at_every_stage(bench):
    """No stage is a dead end when the board is not known yet."""
    number = bench.desk.store.new_job({"customer": "O. Penhallow"}, who="R. Tansy")

    for path in ("", "/inspect", "/isolate", "/plan", "/strip", "/copper", "/refit", "/prove", "/return"):
        text = bench.client.get(f"/jobs/{number}{path}").text
        assert f'href="/jobs/{number}/receive#board"' in text


def test_hostile_text_is_shown_as_text_everywhere(bench):
    """Markup in any field of a job is escaped on bench, stages and record."""
    header = dict.fromkeys(
        ("customer", "contact", "machine", "serial", "marks", "complaint", "condition"), HOSTILE
    )
    number = bench.desk.store.new_job(header, who=HOSTILE)
    bench.desk.store.append(number, "note", "receive", {"text": HOSTILE}, who=HOSTILE)
    bench.desk.store.append(number, "strip", "strip", {"refdes": HOSTILE, "done": True}, who=HOSTILE)

    for path in ("/", f"/jobs/{number}", f"/jobs/{number}/receive", f"/jobs/{number}/record?kept=2"):
        text = bench.client.get(path).text
        assert "<script>alert" not in text and "&lt;script&gt;alert" in text


def test_a_post_without_an_author_asks_and_then_goes_through(at_work):
    """Who is asked once; the same form goes on with the answer, and nothing typed is lost."""
    at_work.client.cookies.clear()
    sent = {"stage": "isolate", "text": f"U3 is warm {HOSTILE}"}

    asked = at_work.post("note", **sent)
    browser = at_work.client.post(
        f"/jobs/{at_work.number}/note", data=sent, headers={"accept": "text/html,*/*;q=0.8"}
    )
    done = at_work.post("note", **sent, who="J. Fenn")

    assert (asked.status_code, browser.status_code) == (
        400,
        200,
    )  # a script must not take the question for a yes
    assert asked.text == browser.text and f'action="/jobs/{at_work.number}/note"' in asked.text
    assert "U3 is warm" in asked.text and "<script>alert" not in asked.text
    assert done.status_code == 303
    assert at_work.job.entries[-1].who == "J. Fenn"


def test_a_kept_entry_is_told_with_its_undo(at_work):
    """After a post the page names the entry and offers to undo it."""
    seq = at_work.kept("note", stage="isolate", text="reset stays low")

    text = at_work.get(f"/isolate?kept={seq}").text

    assert f"Kept as entry {seq}" in text and "reset stays low" in text
    assert f'name="seq" value="{seq}"' in text


@pytest.mark.parametrize("asked", ["0", "999", "-1", "1e3", "<b>", "²", "99999999999999999999"])
def test_a_made_up_notice_is_not_shown(at_work, asked):
    """The notice speaks only of entries that the record has."""
    assert (
        "Kept as entry"
        not in at_work.client.get(f"/jobs/{at_work.number}/isolate", params={"kept": asked}).text
    )


def test_undo_leaves_the_entry_in_the_record(at_work):
    """An undone note no longer counts, and the record still shows it as such."""
    seq = at_work.kept("note", stage="isolate", text="wrong board")

    at_work.kept("void", seq=str(seq), stage="isolate", back="record", why="other job")

    assert at_work.job.state.notes == ()
    text = at_work.get("/record").text
    assert "wrong board" in text and "no longer counts" in text and "other job" in text


@pytest.mark.parametrize(("seq", "status"), [("1", 409), ("77", 409), ("x", 400), ("", 400)])
def test_what_cannot_be_undone_is_refused(at_work, seq, status):
    """The first entry, unknown entries and nonsense are refused, and the page comes back."""
    answer = at_work.post("void", seq=seq, stage="receive")

    assert answer.status_code == status and "Not kept" in answer.text


def test_the_header_can_be_corrected(at_work):
    """A corrected header counts from then on; what was left out stays."""
    at_work.kept("header", customer="O. Penhallow", serial="SR-00231")

    state = at_work.job.state
    assert (state.serial, state.complaint) == ("SR-00231", "dark")


def test_a_note_for_an_unknown_stage_is_refused(at_work):
    """A note needs one of the nine stages, and some text."""
    assert at_work.post("note", stage="polish", text="x").status_code == 400
    assert at_work.post("note", stage="isolate", text=" ").status_code == 400


def test_earlier_work_on_the_same_serial_is_shown(bench):
    """A second job with the same serial names the first at receive."""
    first = bench.desk.store.new_job({"customer": "A", "serial": "SR 00231"}, who="R. Tansy")
    second = bench.desk.store.new_job({"customer": "B", "serial": "sr-00231"}, who="R. Tansy")

    text = bench.client.get(f"/jobs/{second}/receive").text

    assert f'href="/jobs/{first}"' in text and "same serial" in text


def test_the_record_can_be_saved_as_json(at_work):
    """The whole record comes as a file named after the job."""
    answer = at_work.get("/record.json")

    assert answer.json()["number"] == at_work.number
    assert f'filename="job-{at_work.number}.json"' in answer.headers["content-disposition"]
