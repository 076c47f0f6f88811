"""Killing the sample job at any moment loses no acknowledged entry and leaves a readable record."""

from __future__ import annotations

import importlib.util
import random
import re
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from coppermend.board.parttypes import standard_library
from coppermend.job.assess import assess
from coppermend.job.state import fold
from coppermend.job.store import Store

_SPEC = importlib.util.spec_from_file_location(
    "killing", Path(__file__).resolve().parent.parent / "job" / "killing.py"
)
killing = importlib.util.module_from_spec(_SPEC)
sys.modules["killing"] = killing
_SPEC.loader.exec_module(killing)

MOMENTS, SEED, AT_ONCE = 16, 20261125, 2
LINE = re.compile(r"(\w+)\s+entry\s+(\d+)  (.*)")


def demo_command(out: Path) -> list[str | Path]:
    """The command as a user would run it, without a terminal."""
    return [sys.executable, "-m", "coppermend", "demo", "--out", out]


def acknowledged(lines: tuple[str, ...]) -> list[tuple[str, int]]:
    """Stage and number of every entry that the program told of."""
    found = [LINE.fullmatch(line.rstrip("\n")) for line in lines]
    return [(match[1], int(match[2])) for match in found if match]


def check_record(out: Path, told: list[tuple[str, int]]) -> int:
    """Everything told is in the record, which is whole and can be assessed; returns how many were told."""
    if not (out / "record" / "record.sqlite").exists():
        assert told == []
        return 0
    with Store.open(out / "record") as store:
        assert store.verify() == ()
        entries = [entry for job in store.jobs() for entry in store.entries(job.number)]
        assert told == [(entry.stage, entry.seq) for entry in entries[: len(told)]]
        state = fold(entries)
        if state.board:
            assess(store.board(state.board.sha256), standard_library(), state)
    return len(told)


@pytest.mark.slow
def test_killing_the_demo_loses_nothing_acknowledged(tmp_path: Path):
    """SIGKILL at 16 random moments: while the demo starts, and soon after random lines of what it says, the last among them."""
    whole = subprocess.run(demo_command(tmp_path / "whole"), capture_output=True, text=True, check=True)
    lines = whole.stdout.splitlines()
    assert check_record(tmp_path / "whole", acknowledged(tuple(lines))) > 80
    spoken = [0, 0, 0, len(lines), *sorted(random.Random(SEED).sample(range(1, len(lines)), MOMENTS - 4))]

    def kill_one(moment: tuple[int, float]) -> int:
        line, after_s = moment
        out = tmp_path / f"run{line}-{after_s}"
        run = killing.run_and_kill(demo_command(out), after_s if line else 10 * after_s, from_line=line)
        return check_record(out, acknowledged(run.acknowledged))

    with ThreadPoolExecutor(AT_ONCE) as pool:
        moments = zip(spoken, killing.random_moments(MOMENTS, 0.1, SEED), strict=True)
        counts = list(pool.map(kill_one, moments))

    assert len(counts) == MOMENTS
    assert len(set(counts)) > 5  # the moments really fell at many different places
