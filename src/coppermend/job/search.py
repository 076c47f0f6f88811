"""Every job in short, and finding jobs by words. Reads only the few entries that say what a job is about."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import datetime
from itertools import groupby
from typing import Any

from sqlalchemy import Connection, func, select

from coppermend.errors import InputError
from coppermend.job import tables
from coppermend.job.entry import Entry, Stage
from coppermend.job.number import check_number
from coppermend.job.state import JobState, fold

_TELLING = ("job", "board", "stage", "void")


@dataclass(frozen=True, slots=True)
class JobSummary:
    """One job in short; ``board`` is the board's name, ``entries`` how many lines its record has."""

    number: str
    created: datetime
    changed: datetime
    stage: Stage
    customer: str
    contact: str
    machine: str
    serial: str
    marks: str
    complaint: str
    board: str
    entries: int

    def to_json(self) -> dict[str, Any]:
        """The fields by name; moments as ISO 8601 in UTC."""
        return {
            **asdict(self), "created": self.created.isoformat(), "changed": self.changed.isoformat(),
        }  # fmt: skip


def summaries(connection: Connection) -> tuple[JobSummary, ...]:
    """Every job in short, newest first."""
    entry = tables.entry.c
    totals = select(entry.job, func.count(), func.max(entry.at, type_=tables.Utc)).group_by(entry.job)
    total = {number: (count, changed) for number, count, changed in connection.execute(totals)}
    telling = (
        select(tables.entry, tables.job.c.created)
        .join(tables.job, tables.job.c.number == entry.job)
        .where(entry.kind.in_(_TELLING))
        .order_by(
            tables.job.c.created.desc(), tables.job.c.year.desc(), tables.job.c.counter.desc(), entry.seq
        )
    )
    rows = connection.execute(telling).mappings()
    return tuple(
        _summary(
            fold(Entry(r.job, r.seq, r.at, r.who, r.stage, r.kind, r.body) for r in group), *total[number]
        )
        for number, group in groupby(rows, key=lambda row: row.job)
    )


def _summary(state: JobState, entries: int, changed: datetime) -> JobSummary:
    assert state.opened is not None
    return JobSummary(
        number=state.number, created=state.opened, changed=changed, stage=state.stage,
        customer=state.customer, contact=state.contact, machine=state.machine, serial=state.serial,
        marks=state.marks, complaint=state.complaint, board=state.board.name if state.board else "",
        entries=entries,
    )  # fmt: skip


def squeezed(text: str) -> str:
    """Letters and digits only, without case or accents: how names and serials are compared.

    >>> squeezed("Gérard's  No. 12-A")
    'gerardsno12a'
    """
    return re.sub(r"[\W_]", "", _plain(text))


def _plain(text: str) -> str:
    parts = unicodedata.normalize("NFKD", text.casefold())
    return "".join(c for c in parts if not unicodedata.combining(c))


def matching(jobs: Iterable[JobSummary], text: str) -> tuple[JobSummary, ...]:
    """The jobs that have every word of ``text`` somewhere; a job number finds exactly its job."""
    try:
        number = check_number(text)
    except InputError:
        words = [_plain(word) for word in text.split()]
        return tuple(job for job in jobs if all(word in _haystack(job) for word in words))
    return tuple(job for job in jobs if job.number == number)


def _haystack(job: JobSummary) -> str:
    told = (
        job.number,
        job.customer,
        job.contact,
        job.machine,
        job.serial,
        job.marks,
        job.complaint,
        job.board,
    )
    return _plain("\n".join((*told, squeezed(job.number), squeezed(job.serial))))
