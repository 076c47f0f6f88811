"""What the record keeps of trying things: trials of matrices and outputs, voltages kept, tests described. Judges nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from coppermend.job.entry import Entry
from coppermend.job.validate import FIELDS


@dataclass(frozen=True, slots=True)
class TrialLine:
    """What was switched on or closed in a test of many lines, and what was seen; names as written."""

    test: str
    commanded: tuple[str, ...]
    seen: tuple[str, ...]
    seq: int


@dataclass(frozen=True, slots=True)
class DecayLine:
    """A voltage kept by ``refdes`` [V], so many hours after power-off [h]."""

    refdes: str
    hours: float
    volts: float
    at: datetime
    seq: int


@dataclass(frozen=True, slots=True)
class DescribedLine:
    """A test of the program as the user describes it: what it shows, and how that is watched."""

    id: str
    title: str
    how: str
    shows: tuple[str, ...]
    watched: str
    seq: int


def trials_of(entries: Sequence[Entry]) -> tuple[TrialLine, ...]:
    """Trials, and results of proofs that carry one, in order; what was tried before a fresh start is left out."""
    found: list[TrialLine] = []
    for entry in sorted(entries, key=lambda entry: entry.seq):
        body = entry.body
        if entry.kind == "evidence" and not _carries_trial(body):
            continue
        if body.get("fresh") is True:
            found = [line for line in found if line.test != body["test"]]
        found.append(TrialLine(body["test"], tuple(body["commanded"]), tuple(body["seen"]), entry.seq))
    return tuple(found)


def _carries_trial(body: Mapping[str, Any]) -> bool:
    fields = FIELDS["trial"]
    return all(key in body and fields[key].fits(body[key]) for key in ("test", "commanded", "seen"))


def decays_of(entries: Sequence[Entry]) -> tuple[DecayLine, ...]:
    """Readings of each cell since it last began at hour 0."""
    found: list[DecayLine] = []
    for entry in entries:
        body = entry.body
        if body["hours"] == 0:
            found = [line for line in found if line.refdes != body["refdes"]]
        found.append(
            DecayLine(body["refdes"], float(body["hours"]), float(body["volts"]), entry.at, entry.seq)
        )
    return tuple(found)


def described_of(entry: Entry) -> DescribedLine:
    """What a ``proof`` entry describes."""
    body = entry.body
    return DescribedLine(
        body["id"], body["title"], body.get("how", ""), tuple(body["shows"]), body["watched"], entry.seq
    )
