"""Tests of many lines on their pages: matrix, outputs, hold-up, self-tests; with a job and without; what is kept."""

from __future__ import annotations

import re
from datetime import UTC, datetime

import pytest

from coppermend.job.trials import TrialLine

from .conftest import Bench

TOML = 'strobes = ["S1", "S2"]\nreturns = ["R1", "R2"]\ndiodes = false\n'


def field(text: str, name: str) -> str:
    """The value of a hidden field."""
    found = re.search(rf'name="{name}" value="([^"]*)"', text)
    assert found is not None, name
    return found[1].replace("&#34;", '"')


def carried(text: str) -> dict[str, str]:
    """What the page without a job sends along."""
    names = [
        name for name in ("board", "rows", "matrix", "closed", "commanded") if f'name="{name}" value=' in text
    ]
    return {name: field(text, name) for name in names}


def closed(bench: Bench) -> str:
    return field(bench.get("/prove/matrix").text, "closed")


def test_the_matrix_of_a_job_is_walked_and_every_closure_kept_as_evidence(at_work: Bench):
    """Nothing closed first; then each closure of the walk, passed when exactly it is reported; at the end all is proven."""
    assert closed(at_work) == ""
    at_work.kept("prove/matrix", closed="", answer="expected")
    steps = []
    while (one := re.search(r'name="closed" value="([^"]+)"', at_work.get("/prove/matrix").text)) and len(
        steps
    ) < 40:
        steps.append(one[1])
        at_work.kept("prove/matrix", closed=one[1], answer="expected")

    proofs = [line for name, line in at_work.job.state.evidence.items() if name.startswith("closure:")]
    assert len(steps) == len(proofs) >= len(at_work.job.board.matrix.strobes)
    assert all(line.passed for line in proofs)
    assert "Every line of the matrix is proven" in at_work.get("/prove/matrix").text
    assert at_work.job.state.trials[0].commanded == ()


def test_an_odd_report_is_a_failed_proof_and_is_explained(at_work: Bench):
    """Nothing reported where one was closed: its strobe or return is open, and the page asks to close another of them."""
    at_work.kept("prove/matrix", closed="", answer="expected")
    first = closed(at_work)
    at_work.kept("prove/matrix", closed=first, answer="nothing")

    text = at_work.get("/prove/matrix").text
    strobe, ret = first.split(":")
    line = at_work.job.state.evidence[f"closure:{strobe}/{ret}"]
    assert not line.passed and line.note == "reported: nothing"
    assert f"{strobe} never pulls" in text and f"{ret} is never read" in text
    assert "To tell the faults apart" in text and {strobe, ret} & set(field(text, "closed").split(":"))


def test_after_a_repair_the_matrix_begins_anew(at_work: Bench):
    """The reports from before are no longer weighed; the record keeps them."""
    at_work.kept("prove/matrix", closed="", answer="expected")
    at_work.kept("prove/matrix", closed=closed(at_work), answer="nothing")
    at_work.kept("prove/matrix", again="1")

    assert [(line.commanded, line.seen) for line in at_work.job.state.trials] == [((), ())]
    assert "What explains it" not in at_work.get("/prove/matrix").text


def test_a_button_in_use_shortens_the_walk(at_work: Bench):
    """Pressed and read: its lines are proven by it, and fewer closures are left."""
    before = int(re.search(r"of (\d+)</p>", at_work.get("/prove/matrix").text)[1])
    position = at_work.job.board.matrix.positions[-1]
    at_work.kept("prove/matrix", answer="use", used=f"{position.strobe}:{position.ret}")

    after = int(re.search(r"of (\d+)</p>", at_work.get("/prove/matrix").text)[1])
    assert f"closure:{position.strobe}/{position.ret}" in at_work.job.state.evidence
    assert after <= before


def test_what_is_ticked_is_what_was_reported(at_work: Bench):
    """A closure and something besides: kept as both."""
    at_work.kept("prove/matrix", closed="", answer="expected")
    one = closed(at_work)
    other = next(
        str(p.strobe) + ":" + p.ret
        for p in at_work.job.board.matrix.positions
        if f"{p.strobe}:{p.ret}" != one
    )
    at_work.kept("prove/matrix", closed=one, answer="ticked", **{f"seen-{one}": "1", f"seen-{other}": "1"})

    assert set(at_work.job.state.trials[-1].seen) == {one, other}


def test_a_matrix_written_down_is_tested_without_a_job(bench: Bench):
    """The page carries what was seen; without diodes the ghosts to be expected are told; the last row can be taken back."""
    text = bench.client.post("/prove/matrix", data={"matrix": TOML, "again": "1"}).text
    for answer in ("expected", "nothing"):
        text = bench.client.post("/prove/matrix", data={**carried(text), "answer": answer}).text

    assert "S1 never pulls" in text and "Seen so far" in text
    back = bench.client.post("/prove/matrix", data={**carried(text), "back": "1"}).text
    assert "S1 never pulls" not in back
    assert not bench.desk.store.jobs()


@pytest.mark.parametrize(
    ("data", "told"),
    [
        ({"matrix": "strobes = 7"}, "strobes is missing or no list"),
        ({"matrix": TOML, "rows": "S9:R1\tS1:R1"}, "no crossing of this matrix"),
        ({"matrix": TOML, "rows": "S1:R1"}, "came back damaged"),
        ({"matrix": TOML, "answer": "perhaps", "closed": "S1:R1"}, "expected, nothing or ticked"),
    ],
)
def test_what_cannot_be_read_is_refused_plainly(bench: Bench, data, told):
    """One clear line on the page, and status 400."""
    answer = bench.client.post("/prove/matrix", data=data)

    assert answer.status_code == 400 and told in answer.text.replace("&#39;", "'")


def test_the_outputs_of_a_job_are_tried_one_by_one(at_work: Bench):
    """At rest first, then lamp by lamp; it alone passes its proof, nothing fails it, and a driver is named."""
    at_work.kept("prove/drive", commanded="", answer="expected")
    nets = []
    for answer in ("expected", "nothing"):
        nets.append(field(at_work.get("/prove/drive").text, "commanded"))
        at_work.kept("prove/drive", commanded=nets[-1], answer=answer)

    evidence = at_work.job.state.evidence
    assert [evidence[f"lamp:{net}"].passed for net in nets] == [True, False]
    assert "What explains it" in at_work.get("/prove/drive").text
    assert at_work.job.state.trials[0] == TrialLine("drive", (), (), at_work.job.state.trials[0].seq)


def test_an_output_that_stays_on_is_told_at_rest_as_well(at_work: Bench):
    """Two entries: it came on, and it is on although nothing is commanded, which fails its proof."""
    at_work.kept("prove/drive", commanded="", answer="expected")
    net = field(at_work.get("/prove/drive").text, "commanded")
    at_work.kept("prove/drive", commanded=net, answer="stays")

    assert not at_work.job.state.evidence[f"lamp:{net}"].passed
    assert [line.commanded for line in at_work.job.state.trials[-2:]] == [(net,), ()]
    assert "stuck on" in at_work.get("/prove/drive").text


def test_coils_come_last_with_their_pulse_limit(at_work: Bench):
    """When all else was tried, the coil's page says how long a pulse may be, and to switch off what stays on."""
    for one in ["", *(n for n in at_work.job.board.nets if n.startswith(("LAMP", "DIGIT", "SEG", "SOUND")))]:
        at_work.post("prove/drive", commanded=one, answer="expected")
    text = at_work.get("/prove/drive").text
    while "One pulse" not in text and 'name="commanded"' in text:
        at_work.kept("prove/drive", commanded=field(text, "commanded"), answer="expected")
        text = at_work.get("/prove/drive").text

    assert "One pulse of at most 60 ms" in text and "power off at once" in text


def test_outputs_of_a_bare_board(at_work: Bench):
    """From the library, without a job; an output of another board is refused."""
    client, page = at_work.client, "/prove/drive"
    text = client.get(page, params={"board": at_work.board}).text
    text = client.post(page, data={**carried(text), "answer": "expected"}).text
    text = client.post(page, data={**carried(text), "answer": "nothing"}).text
    refused = client.post(page, data={**carried(text), "rows": "NOSUCH\t"})

    assert "What explains it" in text and at_work.job.state.trials == ()
    assert refused.status_code == 400 and "no output" in refused.text


def test_hold_up_from_readings_on_record(at_work: Bench):
    """Two readings decide; the pattern's fate is the result of the retention proof, with what was predicted."""
    for volts, hours in (("4.70", "0"), ("4,66", "1"), ("4.58 V", "3")):
        at_work.kept("prove/holdup", refdes="BT1", volts=volts, hours=hours, answer="reading", wanted="24")
    text = at_work.get("/prove/holdup").text
    at_work.kept("prove/holdup", refdes="BT1", answer="kept", wanted="24", least="2.0")

    line = at_work.job.state.evidence["retention:BT1"]
    assert "the wait can be cut short" in text
    assert line.passed and "the wait can be cut short" in line.note
    assert line.values["hold_up"]["verdict"] == "long enough"


def test_hours_left_empty_are_taken_from_the_clock(at_work: Bench):
    """Since the first reading on record; without one they must be told."""
    refused = at_work.post("prove/holdup", refdes="BT1", volts="4.7", hours="", answer="reading")
    at_work.kept("prove/holdup", refdes="BT1", volts="4.7", hours="2", answer="reading")
    at_work.kept("prove/holdup", refdes="BT1", volts="4.69", hours="", answer="reading")

    first, second = at_work.job.state.decays
    since = (datetime.now(UTC) - first.at).total_seconds() / 3600
    assert refused.status_code == 400 and "hours since power-off are missing" in refused.text
    assert 2 <= second.hours <= 2 + since + 0.01


@pytest.mark.parametrize(
    ("form", "told"),
    [
        ({"volts": "high", "hours": "1"}, "high"),
        ({"volts": "4.5", "hours": "-1"}, "a number from 0 up"),
        ({"volts": "0", "hours": "1"}, "volts above zero"),
        ({"volts": "4.5", "hours": "1", "refdes": "U1"}, "nothing that keeps a memory"),
    ],
)
def test_a_reading_that_is_none_is_refused(at_work: Bench, form, told):
    """What was typed stays on the page."""
    answer = at_work.post("prove/holdup", **{"refdes": "BT1", "answer": "reading", **form})

    assert answer.status_code == 400 and told in answer.text
    assert at_work.job.state.decays == ()


def test_hold_up_without_a_job(bench: Bench):
    """Readings travel with the page; capacitance gives the leakage."""
    text = ""
    for volts, hours in (("4.70", "0"), ("4.60", "10")):
        rows = field(text, "rows") if text else ""
        data = {
            "rows": rows,
            "volts": volts,
            "hours": hours,
            "answer": "reading",
            "farads": "0.47",
            "least": "2.0",
        }
        text = bench.client.post("/prove/holdup", data=data).text

    assert "the wait can be cut short" in text and "Leakage 1.31 µA" in text


def test_a_described_self_test_joins_the_proofs_and_can_be_withdrawn(at_work: Bench):
    """It stands among the proofs with its steps; what shows nothing is refused; withdrawn it is gone."""
    form = {"offered": "1", "selftest": "1", "title": "Book 3", "how": "Press twice.", "watched": "together"}
    refused = at_work.post("selftest", **form)
    at_work.kept("selftest", **form, **{"show-lamps": "1"})
    text = at_work.get("/prove").text
    at_work.kept("selftest", id="book-3", offered="0")

    assert refused.status_code == 400
    assert "selftest:book-3" in text and "Press twice." in text
    assert at_work.job.state.described == ()
    assert at_work.post("selftest", id="book-3", offered="0").status_code == 400


def test_tests_are_found_from_a_job_and_without(at_work: Bench, bench: Bench):
    """The prove page leads to those that the board has; a job without a board and an empty page lead on."""
    text = at_work.get("/prove").text
    number = bench.desk.store.new_job({"customer": "Ana"}, who="R. Tansy")

    assert all(f"/jobs/{at_work.number}/prove/{name}" in text for name in ("matrix", "drive", "holdup"))
    assert bench.client.get("/prove").text.count('href="/prove/') == 3
    for name in ("matrix", "drive", "holdup"):
        assert bench.client.get(f"/jobs/{number}/prove/{name}").status_code == 200
        assert bench.client.get(f"/prove/{name}").status_code == 200
    assert (
        bench.client.post(
            f"/jobs/{number}/prove/matrix", data={"closed": "", "answer": "expected"}
        ).status_code
        == 400
    )
    assert (
        bench.client.post(
            f"/jobs/{number}/prove/drive", data={"commanded": "", "answer": "expected"}
        ).status_code
        == 400
    )
