"""What learning needs of finished jobs, kept in step with their entries inside the transaction that writes them.

A finished job is one that stands at return. With these tables a shop of a hundred thousand jobs need fold none of them to
know how often boards come back and how long work takes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Column, Connection, Table, func, insert, select

from coppermend.job import tables
from coppermend.job.entry import Entry
from coppermend.job.state import JobState, fold
from coppermend.job.sums import Sums

# Kinds of entries that change what is learnt from a finished job.
TELLING = frozenset(("board", "remedy", "stage", "timer", "paper", "void"))
_ALWAYS = frozenset(("stage", "void"))  # those by which a job is finished, or no longer
_TABLES = (tables.lesson, tables.lesson_remedy, tables.lesson_stage)
_AT_ONCE = 500


@dataclass(frozen=True, slots=True)
class Group:
    """Finished jobs of one kind: how many, and how many of them came back."""

    name: str
    jobs: int
    came_back: int


def keep_in_step(connection: Connection, new: Entry) -> None:
    """Bring what is learnt from a job up to date with an entry that has just been written."""
    if new.kind not in TELLING:
        return
    known = select(tables.lesson.c.job).where(tables.lesson.c.job == new.job)
    if new.kind in _ALWAYS or connection.scalar(known) is not None:
        _rewrite(connection, [new.job])


def rebuild(connection: Connection) -> None:
    """Make it all anew, from the jobs whose cards say that they stand at return."""
    for table in _TABLES:
        connection.execute(table.delete())
    card = tables.card.c
    numbers = list(connection.scalars(select(card.number).where(card.stage == "return").order_by(card.key)))
    for start in range(0, len(numbers), _AT_ONCE):
        _rewrite(connection, numbers[start : start + _AT_ONCE])


def _rewrite(connection: Connection, numbers: list[str]) -> None:
    entry = tables.entry.c
    query = select(tables.entry).where(entry.job.in_(numbers), entry.kind.in_(TELLING))
    records: dict[str, list[Entry]] = {}
    for r in connection.execute(query.order_by(entry.job, entry.seq)).mappings():
        records.setdefault(r["job"], []).append(tables.entry_from_row(r))
    for table in _TABLES:
        connection.execute(table.delete().where(table.c.job.in_(numbers)))
    done = [state for state in map(fold, records.values()) if state.stage == "return"]
    rows: dict[Table, list[dict[str, Any]]] = {
        tables.lesson: [_lesson(state) for state in done],
        tables.lesson_remedy: [
            {"remedy": r, "job": s.number} for s in done for r in dict.fromkeys(s.remedies)
        ],
        tables.lesson_stage: [
            {"stage": stage, "minutes": seconds / 60, "job": state.number}
            for state in done
            for stage, seconds in state.time.seconds.items()
            if seconds > 0
        ],
    }
    for table, values in rows.items():
        if values:
            connection.execute(insert(table), values)


def _lesson(state: JobState) -> dict[str, Any]:
    minutes, quoted = state.time.minutes, state.quoted_minutes
    spent = math.log(minutes) if minutes > 0 else None
    ratio = spent - math.log(quoted) if spent is not None and quoted and quoted > 0 else None
    board = state.board.name if state.board else ""
    return {"job": state.number, "board": board, "log_minutes": spent, "log_ratio": ratio}


def groups_by_board(connection: Connection) -> tuple[Group, ...]:
    """Finished jobs by board; most jobs first, then by name."""
    return _groups(connection, tables.lesson.c.board, tables.lesson.c.job)


def groups_by_remedy(connection: Connection) -> tuple[Group, ...]:
    """Finished jobs by remedy, a job counting for each of its own; most jobs first, then by name."""
    return _groups(connection, tables.lesson_remedy.c.remedy, tables.lesson_remedy.c.job)


def _groups(connection: Connection, name: Column[str], job: Column[str]) -> tuple[Group, ...]:
    back = select(tables.comeback.c.earlier).distinct().subquery()
    query = (
        select(name, func.count(), func.count(back.c.earlier))
        .select_from(job.table.outerjoin(back, back.c.earlier == job))
        .group_by(name)
    )
    found = [Group(*row) for row in connection.execute(query)]
    return tuple(sorted(found, key=lambda group: (-group.jobs, group.name)))


def times_by_board(connection: Connection) -> dict[str, Sums]:
    """Logarithms of bench time [ln min], summed by board; "" for all boards together is not among them."""
    lesson = tables.lesson.c
    query = _sums(lesson.log_minutes).add_columns(lesson.board).group_by(lesson.board)
    return {row[3]: Sums(*row[:3]) for row in connection.execute(query)}


def times_of_board(connection: Connection, board: str) -> Sums:
    """As ``times_by_board``, of one board."""
    lesson = tables.lesson.c
    return Sums(*connection.execute(_sums(lesson.log_minutes).where(lesson.board == board)).one())


def ratios(connection: Connection) -> Sums:
    """Logarithms of actual over quoted time, summed over jobs with both."""
    return Sums(*connection.execute(_sums(tables.lesson.c.log_ratio)).one())


def _sums(column: Column[float]) -> Any:
    return select(
        func.count(column),
        func.coalesce(func.sum(column), 0.0),
        func.coalesce(func.sum(column * column), 0.0),
    )


def median_minutes(connection: Connection, stage: str) -> tuple[int, float] | None:
    """How many finished jobs have time noted for a stage, and its median [min]; None without any."""
    table = tables.lesson_stage.c
    count = connection.scalar(select(func.count()).where(table.stage == stage)) or 0
    if not count:
        return None
    middle = (
        select(table.minutes).where(table.stage == stage).order_by(table.minutes, table.job)
        .offset((count - 1) // 2).limit(2 - count % 2)
    )  # fmt: skip
    values = list(connection.scalars(middle))
    return count, sum(values) / len(values)
