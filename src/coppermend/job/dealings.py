"""What passes between shop, customer and suppliers during a job, and the time it takes. Pure; folds entries."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from coppermend.job.entry import STAGES, Entry, Stage

LONGEST_RUN = timedelta(hours=12)


@dataclass(frozen=True, slots=True)
class ApprovalLine:
    """What was put to the customer, and whether it was approved."""

    what: str
    approved: bool
    by: str
    note: str
    at: datetime
    seq: int


@dataclass(frozen=True, slots=True)
class ShippingLine:
    """The board on its way: ``direction`` is in or out; a board handed over the counter has the carrier "by hand"."""

    direction: str
    carrier: str
    tracking: str
    note: str
    at: datetime
    seq: int


@dataclass(frozen=True, slots=True)
class PaymentLine:
    """Where payment stands: quoted, invoiced, part-paid, paid, refunded or waived; ``amount`` as written."""

    state: str
    amount: str
    note: str
    at: datetime
    seq: int


@dataclass(frozen=True, slots=True)
class VideoLine:
    """A video: its address elsewhere, or the file kept with the record; and what it shows."""

    url: str
    caption: str
    stage: Stage
    seq: int
    sha256: str = ""
    name: str = ""


@dataclass(frozen=True, slots=True)
class ComebackLine:
    """An earlier job on the same board, and what tells that it is the same."""

    job: str
    why: str
    seq: int


@dataclass(frozen=True, slots=True)
class WaitingLine:
    """Parts that the job waits for, or waited for; ``until`` is a date or empty."""

    parts: str
    arrived: bool
    until: str
    seq: int


@dataclass(frozen=True, slots=True)
class RunningLine:
    """A timer that runs: whose, at which stage, since when."""

    who: str
    stage: Stage
    since: datetime
    seq: int


@dataclass(frozen=True, slots=True)
class TimeSpent:
    """Time at the bench: seconds [s] per stage, what runs now, and starts whose end nobody noted.

    A run without an end, or longer than 12 hours, is no time spent: it counts nothing until its minutes are added
    by hand.
    """

    seconds: Mapping[str, float]
    running: tuple[RunningLine, ...] = ()
    unclosed: tuple[int, ...] = ()

    @property
    def minutes(self) -> float:
        """All that was noted, of every stage [min]; what runs now is not in it."""
        return sum(self.seconds.values()) / 60


def approvals(entries: Iterable[Entry]) -> tuple[ApprovalLine, ...]:
    """Every approval asked for, in order."""
    return tuple(
        ApprovalLine(b["what"], b["approved"], b.get("by", ""), b.get("note", ""), e.at, e.seq)
        for e, b in _bodies(entries)
    )


def shipping(entries: Iterable[Entry]) -> tuple[ShippingLine, ...]:
    """Every way of the board, in order."""
    return tuple(
        ShippingLine(
            b["direction"], b.get("carrier", ""), b.get("tracking", ""), b.get("note", ""), e.at, e.seq
        )
        for e, b in _bodies(entries)
    )


def payment(entries: Sequence[Entry]) -> PaymentLine | None:
    """Where payment stands: the last entry counts."""
    if not entries:
        return None
    last = entries[-1]
    body = last.body
    return PaymentLine(body["state"], body.get("amount", ""), body.get("note", ""), last.at, last.seq)


def videos(entries: Iterable[Entry]) -> tuple[VideoLine, ...]:
    """Every video, in order."""
    return tuple(
        VideoLine(
            b.get("url", ""), b.get("caption", ""), e.stage, e.seq, b.get("sha256", ""), b.get("name", "")
        )
        for e, b in _bodies(entries)
    )


def comebacks(entries: Iterable[Entry]) -> tuple[ComebackLine, ...]:
    """Earlier jobs on the same board, the last word on each."""
    last: dict[str, ComebackLine] = {}
    for e, b in _bodies(entries):
        last[b["job"]] = ComebackLine(b["job"], b.get("why", ""), e.seq)
    return tuple(last.values())


def waiting(entries: Iterable[Entry]) -> tuple[WaitingLine, ...]:
    """The last word on each lot of parts."""
    last: dict[str, WaitingLine] = {}
    for e, b in _bodies(entries):
        last[b["parts"]] = WaitingLine(b["parts"], b.get("arrived", False), b.get("until", ""), e.seq)
    return tuple(last.values())


def fingerprint(entries: Iterable[Entry]) -> dict[str, str]:
    """Codes read off the board's parts, the last per part."""
    read: dict[str, str] = {}
    for entry in entries:
        read |= entry.body["codes"]
    return read


def quoted_minutes(entries: Iterable[Entry]) -> float | None:
    """Bench time of the last quote among ``paper`` entries [min]; None without one."""
    told = [b.get("minutes") for _, b in _bodies(entries) if b["what"] == "quote"]
    return float(told[-1]) if told and isinstance(told[-1], int | float) else None


def is_gone(lines: Sequence[ShippingLine]) -> bool:
    """Whether the board has left the shop."""
    return bool(lines) and lines[-1].direction == "out"


def time_spent(entries: Iterable[Entry]) -> TimeSpent:
    """Time per stage from ``timer`` entries in the order of their numbers.

    Each author has one timer per job: a start while it runs ends the run before, at that moment; pause and stop end it.
    """
    seconds: dict[str, float] = {}
    running: dict[str, RunningLine] = {}
    unclosed: list[int] = []
    for entry in entries:
        does, began = entry.body["does"], running.get(entry.who)
        if does == "add":
            seconds[entry.stage] = seconds.get(entry.stage, 0.0) + 60.0 * entry.body["minutes"]
            continue
        if began is not None:
            del running[entry.who]
            run = entry.at - began.since
            if timedelta() <= run <= LONGEST_RUN:
                seconds[began.stage] = seconds.get(began.stage, 0.0) + run.total_seconds()
            else:
                unclosed.append(began.seq)
        if does == "start":
            running[entry.who] = RunningLine(entry.who, entry.stage, entry.at, entry.seq)
    return TimeSpent(
        {stage: max(0.0, s) for stage, s in seconds.items()}, tuple(running.values()), tuple(unclosed)
    )


def minutes_noted(time: TimeSpent) -> dict[str, int]:
    """Whole minutes per stage, in the order of the stages; those without any are left out."""
    return {stage: round(time.seconds[stage] / 60) for stage in STAGES if time.seconds.get(stage)}


def _bodies(entries: Iterable[Entry]) -> Iterable[tuple[Entry, Mapping[str, Any]]]:
    return ((entry, entry.body) for entry in entries)
