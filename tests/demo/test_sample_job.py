"""The sample job: it runs from arrival to return tag, and what it leaves behind is whole."""

from __future__ import annotations

import json
from pathlib import Path

import pypdfium2
import pytest

from coppermend.board.parttypes import standard_library
from coppermend.demo.job import SampleResult, run_sample
from coppermend.job.assess import assess
from coppermend.job.entry import STAGES
from coppermend.job.files import load_board
from coppermend.job.state import fold
from coppermend.job.store import Store


@pytest.fixture(scope="module")
def out(tmp_path_factory) -> Path:
    """Folder of one whole run."""
    return tmp_path_factory.mktemp("demo")


@pytest.fixture(scope="module")
def told() -> list[tuple[str, int, str]]:
    """What the run acknowledged, in order."""
    return []


@pytest.fixture(scope="module")
def result(out, told) -> SampleResult:
    """One whole run."""
    return run_sample(out, lambda stage, seq, words: told.append((stage, seq, words)))


def test_sample_visits_every_stage(result, told):
    """All nine stages have entries, in the house order."""
    assert tuple(dict.fromkeys(stage for stage, _, _ in told)) == STAGES


def test_every_entry_is_acknowledged_once_and_in_order(result, told, out):
    """What was told is what the record holds: numbers 1, 2, 3, ... without a gap."""
    with Store.open(out / "record") as store:
        kept = [entry.seq for entry in store.entries(result.number)]

    assert [seq for _, seq, _ in told] == kept == list(range(1, len(kept) + 1))


def test_sample_ends_with_a_passed_gate(result, out):
    """Assessed again from the record alone, nothing that was touched is left unproven."""
    with Store.open(out / "record") as store:
        state = fold(store.entries(result.number))
        found = assess(store.board(state.board.sha256), standard_library(), state)

    assert found.gate.passed
    assert found.copper.done
    assert len(found.gate.proven) > 30


def test_sample_finds_and_bridges_every_eaten_track(result):
    """The meter's three opens end as three jumpers, and the plan needs at most half of the pad-by-pad probes."""
    nets = {line.split(":")[0] for line in result.summary["jumpers"]}

    assert nets == {"VRAM", "RES_N", "RETURN2"}
    assert result.summary["readings"] <= result.summary["naive_probes"] / 2


def test_sample_keeps_a_failure_and_its_cure(result, out):
    """A proof that failed at first stands in the record twice, and the last result counts."""
    with Store.open(out / "record") as store:
        results = [e.body for e in store.entries(result.number) if e.kind == "evidence"]

    failed = [body["proof"] for body in results if not body["passed"]]
    assert len(failed) == 1
    assert [body["passed"] for body in results if body["proof"] == failed[0]] == [False, True]


def test_results_are_readable(result, out):
    """Papers are PDFs of the right length, the board folder loads, the JSON parses."""
    assert len(pypdfium2.PdfDocument(result.files["tag"])) == 1
    assert 2 <= len(pypdfium2.PdfDocument(result.files["report"])) <= 6
    assert load_board(result.files["board folder"]).counts() == load_board(out / "board").counts()
    assert json.loads(result.files["summary"].read_text("utf-8"))["open"] == 0
    assert json.loads(result.files["record as JSON"].read_text("utf-8"))["number"] == result.number


def test_second_run_is_another_job_that_knows_the_first(result, out):
    """The record of an earlier run is kept; the new job finds it by serial and marks."""
    from coppermend.job.history import earlier_work

    again = run_sample(out, lambda *_: None)

    with Store.open(out / "record") as store:
        earlier = earlier_work(store, "SR-00231", besides=again.number)
    assert again.number != result.number
    assert [e.job.number for e in earlier] == [result.number]
