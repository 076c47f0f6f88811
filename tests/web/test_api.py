"""The JSON API: the same record, and entries from scripts."""

from __future__ import annotations

import pytest

NOTE = {"kind": "note", "stage": "isolate", "who": "script", "body": {"text": "reset stays low"}}


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"kind": "poem"}, 400),
        ({"kind": None}, 400),
        ({"body": []}, 400),
        ({"body": {}}, 400),
        ({"who": ""}, 400),
        ({"stage": "polish"}, 400),
        ({"expect_seq": "last"}, 400),
        ({"expect_seq": True}, 400),
        ({"expect_seq": 1}, 409),
    ],
)
def test_a_malformed_entry_is_refused_in_json(at_work, change, status):
    """Every refusal is JSON with one clear line, and nothing is kept."""
    before = at_work.job.state.seq

    answer = at_work.client.post(f"/api/jobs/{at_work.number}/entries", json={**NOTE, **change})

    assert answer.status_code == status
    assert set(answer.json()) == {"error"}
    assert at_work.job.state.seq == before


@pytest.mark.parametrize("content", [b"", b"[]", b"{", b'"x"', b"\xff"])
def test_what_is_no_object_is_refused(at_work, content):
    """Broken or other JSON answers 400 in JSON."""
    answer = at_work.client.post(
        f"/api/jobs/{at_work.number}/entries", content=content, headers={"content-type": "application/json"}
    )

    assert answer.status_code == 400 and answer.json()["error"]


def test_only_json_is_taken(at_work):
    """A body of another type, which a foreign form could send, is refused."""
    answer = at_work.client.post(
        f"/api/jobs/{at_work.number}/entries", content=b"{}", headers={"content-type": "text/plain"}
    )

    assert answer.status_code == 400


def test_an_unknown_job_is_404_in_json(bench):
    """Errors of the API are JSON, not pages."""
    answer = bench.client.get("/api/jobs/26-9999-Z")

    assert answer.status_code in (400, 404) and "error" in answer.json()
    assert bench.client.get("/api/nothing").json() == {"error": "There is no such page."}


def test_an_entry_is_kept_and_answered(at_work):
    """The kept entry comes back with its number, and its expected predecessor was honoured."""
    seq = at_work.job.state.seq

    answer = at_work.client.post(f"/api/jobs/{at_work.number}/entries", json={**NOTE, "expect_seq": seq})

    assert answer.status_code == 201
    assert (answer.json()["seq"], answer.json()["body"]) == (seq + 1, NOTE["body"])


def test_a_job_is_told_with_what_follows_from_it(damaged):
    """State, assessment and entries are one document; the list finds it by words."""
    document = damaged.client.get(f"/api/jobs/{damaged.number}").json()
    listed = damaged.client.get("/api/jobs", params={"find": "penhallow"}).json()["jobs"]

    assert document["job"]["number"] == damaged.number == listed[0]["number"]
    assert document["assessment"]["next_step"] == damaged.job.found.next_step
    assert len(document["entries"]) == damaged.job.state.seq


def test_a_board_is_told_with_what_its_nets_do(at_work):
    """Counts, parts and nets with role and words."""
    document = at_work.client.get(f"/api/boards/{at_work.board}").json()
    kept = at_work.client.get("/api/boards").json()["boards"]

    assert document["counts"]["parts"] == len(document["parts"]) == len(at_work.job.board.parts)
    assert any(net["role"] == "address" and net["does"] for net in document["nets"])
    assert [board["sha256"] for board in kept] == [at_work.board]
