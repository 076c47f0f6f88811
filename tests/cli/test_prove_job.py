"""``prove plan|gate JOB`` and ``prove waive``: the same answers from a job's record."""

from __future__ import annotations

from pathlib import Path
from typing import Any


def test_gate_of_a_job_uses_its_record(job: str, call: Any) -> None:
    """Open at first, with the same items as the board with its area; a result counts."""
    before = call("prove", "gate", job, "--json")
    proofs = call("prove", "plan", job, "--json").document["to_do"]
    assert before.status == 1 and not before.document["pass"] and before.document["unproven"]
    assert before.document["release"] == {
        "allowed": False, "waiver": None, "left": [i["item"] for i in before.document["unproven"]],
    }  # fmt: skip

    for name in proofs:
        call("job", "log", job, "evidence", f"proof={name}", "passed=yes")
    after = call("prove", "gate", job, "--json").document
    assert len(after["proven"]) > len(before.document["proven"])


def test_plan_of_a_job_shrinks_as_evidence_arrives(job: str, call: Any) -> None:
    """What has passed is asked for no more, and the text says how to note a result."""
    first = call("prove", "plan", job, "--json").document
    call("job", "log", job, "evidence", f"proof={first['to_do'][0]}", "passed=yes")
    then = call("prove", "plan", job, "--json").document

    assert first["to_do"][0] not in then["to_do"]
    assert [s["proof"] for s in then["plan"]["steps"]] == then["to_do"]
    assert "coppermend job log" in call("prove", "plan", job).out


def test_waiver_names_what_is_open_and_is_told(job: str, call: Any) -> None:
    """The gate stays shut, status 1, but the job may go; the reason is shown."""
    made = call("prove", "waive", job, "--reason", "no lamps here", "--who", "Bo", "--json").document

    answer = call("prove", "gate", job, "--json")
    assert answer.status == 1 and answer.document["release"]["allowed"]
    assert answer.document["release"]["waiver"]["items"] == made["items"] != []
    assert "waived by Bo: no lamps here" in call("prove", "gate", job).out
    assert "go back unproven" in call("prove", "waive", job, "--reason", "again").out


def test_nothing_open_needs_no_waiver(small: Path, call: Any) -> None:
    """A job without damage has nothing to waive."""
    number = call("job", "new", "--customer", "Ana", "--board", small, "--json").document["number"]

    assert "has nothing open" in call("prove", "waive", number, "--reason", "x").err


def test_a_board_needs_its_area_and_a_job_brings_its_own(
    small: Path, job: str, tmp_path: Path, call: Any
) -> None:
    """Either way round is refused with what was expected."""
    readings = tmp_path / "readings.csv"
    readings.write_text("a,b,ohms\n")

    assert "expected --area" in call("prove", "gate", small).err
    assert "come from a job's record" in call("prove", "gate", job, "--readings", readings).err
    assert call("prove", "gate", "26-9999-X").status == 2


def test_a_job_stands_at_return_only_through_its_gate_or_a_waiver(job: str, call: Any) -> None:
    """Refused with what is open and what would do; after a waiver the same command is taken."""
    refused = call("job", "log", job, "stage", "stage=return")
    call("prove", "waive", job, "--reason", "no lamps here")

    assert (
        refused.status == 2 and "the gate is open" in refused.err and "coppermend prove waive" in refused.err
    )
    assert call("job", "log", job, "stage", "stage=return").status == 0


def test_hold_up_from_a_jobs_own_readings(job: str, call: Any) -> None:
    """The readings on record of one cell; which one must be told when there are several."""
    none = call("prove", "holdup", "--job", job)
    for refdes, hours, volts in (("BT1", 0, 4.7), ("BT1", 10, 4.6), ("C9", 0, 4.7)):
        call("job", "log", job, "decay", f"refdes={refdes}", f"hours={hours}", f"volts={volts}")

    found = call("prove", "holdup", "--job", job, "--cell", "BT1", "--json")
    assert found.status == 0 and found.document["verdict"] == "long enough"
    assert "no voltage" in none.err and none.status == 2
    assert "--cell with one of BT1, C9" in call("prove", "holdup", "--job", job).err
    assert "either" in call("prove", "holdup", "0:4.7", "--job", job).err


def test_a_self_test_described_on_the_command_line_is_offered(job: str, call: Any) -> None:
    """Its proof is listed with what it shows; one that shows nothing of this board is refused."""
    words = ["id=book-3", "title=Lamp test", "watched=together", "offered=yes"]
    first = call("prove", "plan", job, "--json").document["proofs"][1]
    made = call("job", "log", job, "proof", *words, f'shows=["{first["id"]}"]')
    refused = call("job", "log", job, "proof", *words, 'shows=["trumpets"]')

    proofs = {p["id"]: p for p in call("prove", "plan", job, "--json").document["proofs"]}
    assert made.status == 0 and proofs["selftest:book-3"]["exercises"] == first["exercises"]
    assert refused.status == 2 and "'trumpets'" in refused.err
