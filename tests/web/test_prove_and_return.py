"""Proofs, papers, and one whole job from arrival to return tag."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from coppermend.job.entry import STAGES

PNG = cv2.imencode(".png", np.full((30, 40, 3), 90, np.uint8))[1].tobytes()


def test_proofs_of_other_boards_are_refused(damaged):
    """Evidence names a proof of this board."""
    assert damaged.post("evidence", proof="clock:moon", passed="1").status_code == 400


def test_a_failed_proof_is_kept_with_its_note(damaged):
    """A failure stands in the record and on the page, and holds the gate."""
    proof = damaged.job.found.proofs[0]

    damaged.kept("evidence", proof=proof.id, passed="0", note="2.4 V left")

    text = damaged.get("/prove").text
    assert "✗ failed" in text and "2.4 V left" in text
    assert proof.id in damaged.job.found.gate.failed


@pytest.mark.parametrize(("what", "paper"), [("", "a4"), ("receipt", "a4"), ("report", "foolscap")])
def test_papers_that_do_not_exist_are_refused(damaged, what, paper):
    """Only the papers that there are, on A4 or Letter."""
    assert damaged.post("paper", what=what, paper=paper).status_code == 400
    assert damaged.job.state.papers == ()


def test_papers_need_a_board(bench):
    """Without a board there is nothing to print."""
    number = bench.desk.store.new_job({"customer": "O. Penhallow"}, who="R. Tansy")

    assert bench.client.post(f"/jobs/{number}/paper", data={"what": "tag"}).status_code == 400


def test_one_board_goes_from_arrival_to_return_tag(bench, area):
    """Posts alone take the sample board through all nine stages until the gate passes and both papers are kept."""
    added = bench.client.post("/boards/sample", follow_redirects=False).headers["location"]
    sent = {"customer": "O. Penhallow", "complaint": "dark", "board": added.split("/")[2].split("?")[0]}
    opened = bench.client.post("/jobs/new", data=sent, follow_redirects=False).headers["location"]
    work = type(bench)(bench.client, bench.desk, opened.split("/")[2])
    work.kept("damage", area=area)

    for remedy in [r for r in work.job.found.remedies if r.id.startswith("supercapacitor")]:
        work.kept("remedy", id=remedy.id, chosen="1")
    for item in work.job.found.strip:
        work.kept("strip", refdes=item.refdes, done="1", fate=item.fate)
    while probes := work.job.found.copper.probes:
        work.kept("reading", a=probes[0].a, b=probes[0].b, answer="good")
    for item in work.job.found.refit:
        work.kept("refit", refdes=item.refdes, done="1")
    before_power = [p for p in work.job.found.proofs if p.id.partition(":")[0] in ("discharge", "resistance")]
    for proof in (*before_power, *work.job.found.proofs_to_do):
        work.kept("evidence", proof=proof.id, passed="1")
    work.kept("paper", what="tag")
    work.kept("paper", what="report", paper="us-letter")
    work.kept("stage", stage="return", here="prove")

    state = work.job.state
    assert work.job.found.gate.passed and work.job.found.power.allowed
    assert [paper.words for paper in state.papers] == ["tag", "report"]
    assert bench.client.get(f"/attachments/{state.papers[0].sha256}").content.startswith(b"%PDF-")
    assert ">passed<" in work.get("/return").text
    for stage in STAGES:
        assert work.get(f"/{stage}").status_code == 200


def test_a_report_carries_the_photos(damaged):
    """A report with a photo is larger than one without; a photo that cannot be decoded is left out."""
    plain = len(_report(damaged))
    damaged.client.post(
        f"/jobs/{damaged.number}/photo",
        data={"stage": "inspect"},
        files=[("photo", ("a.png", PNG, "image/png"))],
    )
    sha256 = damaged.desk.store.attach(b"\0\0\0\x18ftypheic....", "b.heic", "image/heic")
    damaged.desk.store.append(
        damaged.number, "photo", "inspect", {"sha256": sha256, "name": "b.heic"}, who="R. Tansy"
    )

    assert len(_report(damaged)) > plain


def _report(work) -> bytes:
    work.kept("paper", what="report")
    return work.client.get(f"/attachments/{work.job.state.papers[-1].sha256}").content
