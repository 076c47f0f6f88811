"""Every job in short, finding jobs by words, and the queue. Reads cards, never whole records."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any, get_args

from sqlalchemy import Connection, RowMapping, Select, func, select, text

from coppermend.errors import InputError
from coppermend.job import tables
from coppermend.job.cards import squeezed
from coppermend.job.entry import Stage
from coppermend.job.number import check_number
from coppermend.job.words import grams, is_fuzzy, nearest, words_of

__all__ = ["Found", "JobSummary", "squeezed"]
_VECTOR = "array_to_tsvector(string_to_array(words, ' '))"
_CANDIDATES, _CONTAINING = 80, 20
_STAGES = get_args(Stage)


@dataclass(frozen=True, slots=True)
class JobSummary:
    """One job in short; ``board`` is the board's name, ``entries`` how many lines its record has.

    ``promised`` is a date or empty, ``waiting`` how many lots of parts have not come, ``gone`` whether it left.
    """

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
    promised: str = ""
    waiting: int = 0
    gone: bool = False

    def to_json(self) -> dict[str, Any]:
        """The fields by name; moments as ISO 8601 in UTC."""
        return {
            **asdict(self), "created": self.created.isoformat(), "changed": self.changed.isoformat(),
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Found:
    """What a search found, newest first; ``more`` when there are more than were asked for.

    ``read_as`` holds, for a search that found nothing as typed, the words that were probably meant.
    """

    jobs: tuple[JobSummary, ...]
    more: bool = False
    read_as: tuple[tuple[str, tuple[str, ...]], ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Keys jobs, more, read_as (typed word -> words)."""
        return {
            "jobs": [job.to_json() for job in self.jobs], "more": self.more,
            "read_as": {typed: list(meant) for typed, meant in self.read_as},
        }  # fmt: skip


def summaries(connection: Connection, limit: int | None = None) -> tuple[JobSummary, ...]:
    """Every job in short, newest first; at most ``limit`` of them."""
    return _cards(connection, _newest_first().limit(limit))


def queue(connection: Connection, limit: int | None = None) -> tuple[JobSummary, ...]:
    """What is in the shop: what can be worked on before what waits for parts, and by promised date within both.

    Jobs without a promise come after those with one, the oldest first; at most ``limit`` in all.
    """
    card = tables.card.c
    in_shop = select(tables.card).where(card.gone.is_(False)).order_by(card.promised, card.key)
    found: list[JobSummary] = []
    # One question for each group, in the order of the index: none of them has to sort all that is in the shop.
    for waits in (card.waiting == 0, card.waiting > 0):
        for promise in (card.promised > "", card.promised == ""):
            left = None if limit is None else limit - len(found)
            if left is None or left > 0:
                found += _cards(connection, in_shop.where(waits, promise).limit(left))
    return tuple(found)


def find(connection: Connection, typed: str, limit: int | None = None) -> Found:
    """The jobs that have every word of ``typed``, or a word that begins with it, anywhere in their records.

    Where more jobs than ``limit`` have the very words, only those are counted.

    A whole job number finds exactly its job. When no job has all words, words that contain what was typed or are
    a slip or two away count as well.
    """
    try:
        number = check_number(typed)
    except InputError:
        pass
    else:
        return Found(_cards(connection, _newest_first().where(tables.card.c.number == number)))
    words = list(words_of(typed))
    if not words:
        if typed.strip():  # only punctuation: nothing can be found by it
            return Found(())
        return _cut(summaries(connection, None if limit is None else limit + 1), limit)
    exact = _as_typed(connection, words, limit)
    if exact.jobs:
        return exact
    meant = [(word, similar(connection, word)) for word in words]
    if not any(others for _, others in meant):
        return exact
    wider = _matching(connection, meant, limit)
    read_as = tuple((word, others) for word, others in meant if others) if wider.jobs else ()
    return Found(wider.jobs, wider.more, read_as)


def _as_typed(connection: Connection, words: Sequence[str], limit: int | None) -> Found:
    """Jobs with words that are, or begin with, what was typed.

    Words as they stand come first: the index hands out their jobs newest first and need not gather all that a beginning
    may mean. Only where their jobs are too few for the list, beginnings count too.
    """
    groups = [(word, ()) for word in words]
    if limit is not None and (whole := _matching(connection, groups, limit, beginnings=False)).more:
        return whole
    return _matching(connection, groups, limit)


def find_words(connection: Connection, words: Sequence[str], limit: int) -> tuple[JobSummary, ...]:
    """The jobs that have words beginning with each of ``words``, as they stand."""
    return _matching(connection, [(word, ()) for word in words], limit).jobs


def similar(connection: Connection, typed: str) -> tuple[str, ...]:
    """Words in the record that contain ``typed`` or are a slip or two away from it; not those that begin with it."""
    if not is_fuzzy(typed):
        return ()
    table, runs = tables.gram.c, grams(typed)
    near = (
        select(table.word)
        .where(table.gram.in_(runs), table.length.between(len(typed) - 2, len(typed) + 2))
        .group_by(table.word)
        .having(func.count() >= max(1, len(runs) - 7))
        .order_by(func.count().desc(), table.word)
        .limit(_CANDIDATES)
    )
    inner = {run for run in runs if " " not in run}
    around = (
        select(table.word)
        .where(table.gram.in_(inner), table.length > len(typed))
        .group_by(table.word)
        .having(func.count() == len(inner))
        .limit(_CANDIDATES)
    )
    containing = [word for word in connection.scalars(around) if typed in word[1:]][:_CONTAINING]
    found = dict.fromkeys((*nearest(typed, list(connection.scalars(near))), *containing))
    return tuple(word for word in found if not word.startswith(typed))


def _matching(
    connection: Connection, groups: Sequence[tuple[str, Iterable[str]]], limit: int | None, *,
    beginnings: bool = True,
) -> Found:  # fmt: skip
    """Jobs with, for every group, a word that begins with its first (or is it), or one of its others."""
    pg_any, lite_any = (":*", "*") if beginnings else ("", "")
    most = -1 if limit is None else limit + 1
    if tables.is_postgresql(connection):
        asked = " & ".join(
            "(" + " | ".join([f"'{w}'{pg_any}", *(f"'{o}'" for o in others)]) + ")" for w, others in groups
        )
        statement = (
            f"SELECT key FROM job_words WHERE {_VECTOR} @@ CAST(:asked AS tsquery) ORDER BY key DESC"
            + ("" if limit is None else " LIMIT :most")
        )
    else:
        asked = " AND ".join(
            "(" + " OR ".join([f'"{w}"{lite_any}', *(f'"{o}"' for o in others)]) + ")" for w, others in groups
        )
        statement = (
            "SELECT rowid FROM words_index WHERE words_index MATCH :asked ORDER BY rowid DESC LIMIT :most"
        )
    keys = list(connection.scalars(text(statement), {"asked": asked, "most": most}))
    jobs: list[JobSummary] = []
    for start in range(0, len(keys), 1000):
        part = keys[start : start + 1000]
        jobs += _cards(connection, _newest_first().where(tables.card.c.key.in_(part)))
    return _cut(tuple(jobs), limit)


def _cut(jobs: tuple[JobSummary, ...], limit: int | None) -> Found:
    return Found(jobs[:limit], limit is not None and len(jobs) > limit)


def _newest_first() -> Select[Any]:
    return select(tables.card).order_by(tables.card.c.key.desc())


def _cards(connection: Connection, query: Select[Any]) -> tuple[JobSummary, ...]:
    return tuple(summary_of(row) for row in connection.execute(query).mappings())


def summary_of(row: RowMapping) -> JobSummary:
    """A job in short, from its card."""
    return JobSummary(**{name: row[name] for name in JobSummary.__dataclass_fields__})
