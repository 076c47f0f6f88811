"""Killing a writer at any moment loses nothing that it had acknowledged."""

from __future__ import annotations

import importlib.util
import sys
from collections import Counter
from pathlib import Path

import pytest

from coppermend.job.state import fold
from coppermend.job.store import Store

HERE = Path(__file__).resolve().parent
SEED = 20260304


def load(name: str):
    """A module beside this file (tests are no package)."""
    spec = importlib.util.spec_from_file_location(name, HERE / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


killing = load("killing")


def lost(record: Path, lines: tuple[str, ...]) -> list[str]:
    """The acknowledged lines that the record does not bear out; also proves that it is readable and whole."""
    if not lines and not (record / "record.sqlite").exists():
        return []
    with Store.open(record) as store:
        assert store.verify() == ()
        entries = {job.number: store.entries(job.number) for job in store.jobs()}
        assert all(fold(lines).unread == 0 for lines in entries.values())
        return [line for line in lines if not kept(store, entries, line.split())]


def kept(store: Store, entries: dict, words: list[str]) -> bool:
    """Whether one acknowledged line is borne out by the record."""
    match words:
        case ["job", number]:
            return number in entries
        case ["attachment", sha256, size]:
            return len(store.attachment(sha256)) == int(size)
        case ["entry", number, seq, text]:
            found = [
                (e.seq, text) for e in entries[number] if text in (e.body.get("text"), e.body.get("name"))
            ]
            return found == [(int(seq), text)]
    raise AssertionError(words)


@pytest.mark.slow
def test_killing_a_writer_loses_nothing_acknowledged(tmp_path: Path):
    """SIGKILL at 10 random moments, from start-up to the midst of writing: all acknowledged is there, all is whole.

    For 500 moments, with four writers: python tools/measure_record.py kill
    """
    record, acknowledged = tmp_path / "record", []
    whiles = Counter()

    for i, moment in enumerate(killing.random_moments(10, 0.3, SEED)):
        # Every fifth run is killed while it starts, and begins a record of its own.
        starting = i % 5 == 0
        place = tmp_path / f"fresh{i}" if starting else record
        command = [sys.executable, HERE / "writer.py", place, str(i)]
        run = killing.run_and_kill(command, moment + 0.3 * starting, from_line=0 if starting else 2 * i)
        assert (run.ended, run.stderr) == (False, "")
        whiles["starting" if not run.acknowledged else "writing"] += 1
        if starting:
            assert lost(place, run.acknowledged) == []
        else:
            acknowledged += run.acknowledged
            assert lost(record, run.acknowledged) == []

    assert lost(record, tuple(acknowledged)) == []
    assert whiles["writing"] >= 8
    assert sum(line.startswith("entry") for line in acknowledged) > 30
    assert sum(line.startswith("attachment") for line in acknowledged) > 10


def test_a_lost_entry_would_be_noticed(tmp_path: Path):
    """The check itself can fail: an acknowledgement of what was never written is reported as lost."""
    acknowledged = killing.run_together([[sys.executable, HERE / "writer.py", tmp_path, "0", "20"]])
    invented = f"entry {acknowledged[0].split()[1]} 1 never-written"

    assert lost(tmp_path, (*acknowledged, invented)) == [invented]


def test_several_writers_at_once_are_all_kept(tmp_path: Path):
    """Four programs that open a new record and start at the same moment keep everything, in gapless order."""
    commands = [[sys.executable, HERE / "writer.py", tmp_path / "record", str(i), "40"] for i in range(4)]

    outputs = killing.run_together(commands)

    assert lost(tmp_path / "record", outputs) == []
    assert sum(line.startswith("job") for line in outputs) == 4


def test_two_programs_append_to_one_job(tmp_path: Path):
    """Two programs that append to the same job at the same time are both kept, every number used once."""
    with Store.open(tmp_path) as store:
        job = store.new_job({"customer": "Ana"}, who="Bo")
    script = (
        "import sys; from pathlib import Path; from coppermend.job.store import Store\n"
        "with Store.open(Path(sys.argv[1])) as store:\n"
        "    for i in range(100):\n"
        "        print(store.append(sys.argv[2], 'note', 'copper', {'text': str(i)}, who=sys.argv[3]).seq)\n"
    )

    seqs = killing.run_together([[sys.executable, "-c", script, tmp_path, job, who] for who in ("Bo", "Eve")])

    with Store.open(tmp_path) as store:
        entries = store.entries(job)
    assert sorted(map(int, seqs)) == list(range(2, 202))
    assert [entry.seq for entry in entries] == list(range(1, 202))
    assert Counter(entry.who for entry in entries[1:]) == {"Bo": 100, "Eve": 100}
    for who in ("Bo", "Eve"):
        assert [e.body["text"] for e in entries[1:] if e.who == who] == [str(i) for i in range(100)]
