"""One test at a time: safety first, then the plan; each answer is kept and leads to the next; and the waiver form."""

from __future__ import annotations

import re

from .conftest import Bench


def shown(bench: Bench, **query: str) -> str:
    """The proof that the page asks for."""
    found = re.search(
        r'name="proof" value="([^"]+)"',
        bench.client.get(f"/jobs/{bench.number}/prove/one", params=query).text,
    )
    assert found is not None
    return found[1]


def answer(bench: Bench, **form: str):
    return bench.client.post(f"/jobs/{bench.number}/prove/one", data=form, follow_redirects=False)


def test_what_comes_before_power_comes_first(damaged: Bench):
    """The discharge, then each rail's resistance, for which ohms are asked; then the plan in its order."""
    order = []
    while (proof := shown(damaged)).partition(":")[0] in ("discharge", "resistance"):
        order.append(proof)
        ohms = {"ohms": "180"} if proof.startswith("resistance") else {}
        assert answer(damaged, proof=proof, passed="1", **ohms).status_code == 303

    assert order[0] == "discharge" and len(order) > 1
    assert proof == damaged.job.found.plan.steps[0].proof.id
    assert damaged.job.state.evidence[order[1]].values == {"ohms": 180}


def test_a_result_leads_to_the_next_test_with_undo_at_hand(damaged: Bench):
    """The redirect tells which entry was kept; the page offers to take it back."""
    went = answer(damaged, proof="discharge", passed="1", note="0.2 V")

    text = damaged.client.get(went.headers["location"]).text
    assert "Kept as entry" in text and "Undo" in text
    assert damaged.job.state.evidence["discharge"].note == "0.2 V"
    assert shown(damaged) != "discharge"


def test_the_page_says_what_the_test_proves_and_draws_it(damaged: Bench):
    """What it closes, what to set up, and layers for this test and for what is left."""
    step = damaged.job.found.plan.steps[0]

    text = damaged.client.get(f"/jobs/{damaged.number}/prove/one", params={"proof": step.proof.id}).text

    assert f"<h1>{step.proof.title}</h1>" in text.replace("&#39;", "'")
    assert step.rigs[0] in text and str(step.closes[0]) in text
    assert "left to prove" in text and "parts of this test" in text
    left = damaged.job.found.gate.open
    assert (
        f'Left to prove besides <span class="count">{len(left) - len({*step.closes, *step.helps})}<' in text
    )
    assert "Power is not allowed yet" in text and 'href="/static/prove_one.css"' in text


def test_another_test_may_go_first(damaged: Bench):
    """Later leads to the one after; an unknown id shows the first."""
    first = shown(damaged)
    text = damaged.client.get(f"/jobs/{damaged.number}/prove/one").text
    later = re.search(r"one\?proof=([^\"]+)\"", text)

    assert (
        later is not None and shown(damaged, proof=later[1].replace("%3A", ":").replace("%2B", "+")) != first
    )
    assert shown(damaged, proof="nothing") == first


def test_what_cannot_be_kept_is_told_with_what_was_typed(damaged: Bench):
    """An unknown proof, a resistance without ohms, ohms that are none: status 400 and the note still there."""
    rail = next(p.id for p in damaged.job.found.proofs if p.id.startswith("resistance:"))

    assert answer(damaged, proof="ghost", passed="1").status_code == 400
    assert "no resistance was given" in answer(damaged, proof=rail, passed="1").text
    again = answer(damaged, proof=rail, passed="1", ohms="many", note="blue lead")
    assert again.status_code == 400 and 'value="blue lead"' in again.text


def test_when_nothing_is_left_the_page_says_so(at_work: Bench):
    """Without damage, once power is safe, nothing is left to prove; a board is asked for where there is none."""
    for proof in at_work.job.found.plan.before_power:
        answer(at_work, proof=proof.id, passed="1", ohms="180")

    assert "Nothing that was touched is left unproven" in at_work.get("/prove/one").text
    bare = at_work.desk.store.new_job({"customer": "A. Nobody"}, who="R. Tansy")
    assert "has no board yet" in at_work.client.get(f"/jobs/{bare}/prove/one").text
    assert at_work.client.get("/jobs/26-9999-X/prove/one").status_code in (400, 404)


def test_what_waits_for_probes_is_told(damaged: Bench):
    """All proofs done, but no copper probed: the page says what is still open."""
    for _ in range(200):
        plan = damaged.job.found.plan
        todo = [*plan.before_power, *plan.proofs]
        if not todo:
            break
        for proof in todo:
            answer(damaged, proof=proof.id, passed="1", ohms="180")

    assert "waits for copper probes" in damaged.get("/prove/one").text


def test_a_waiver_is_asked_for_with_a_reason_and_shown(damaged: Bench):
    """The return page says what holds the job; the waiver is kept with all of it, and shown with its reason."""
    before = damaged.get("/return").text
    assert "Going back unproven" in before

    damaged.kept("waive", reason="spare board")
    after = damaged.get("/return").text
    assert damaged.job.found.release.allowed and "By waiver of R. Tansy" in after and "spare board" in after
    assert damaged.post("waive", reason=" ").status_code == 400


def test_nothing_open_cannot_be_waived(at_work: Bench):
    """A passed gate shows no such form and takes none."""
    assert "Going back unproven" not in at_work.get("/return").text
    assert at_work.post("waive", reason="x").status_code == 400


def test_a_job_goes_on_to_return_only_through_its_gate_or_a_waiver(damaged: Bench):
    """The page and the JSON refuse with what is open; after a waiver with its reason both take it."""
    sent = {"kind": "stage", "stage": "return", "who": "R. Tansy", "body": {"stage": "return"}}
    refused = damaged.post("stage", stage="return", here="prove")
    by_script = damaged.client.post(f"/api/jobs/{damaged.number}/entries", json=sent)
    damaged.kept("waive", reason="the customer tests it at home")

    assert refused.status_code == 400 and "the gate is open" in refused.text
    assert by_script.status_code == 400 and "not proven" in by_script.json()["error"]
    damaged.kept("stage", stage="return", here="prove")
    assert damaged.job.state.stage == "return" and damaged.job.found.release.allowed
