"""Keeping a job's card and words in step with its entries, inside the transaction that writes them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import Connection, Table, case, delete, func, insert, select, update
from sqlalchemy.dialects import postgresql, sqlite

from coppermend.job import tables
from coppermend.job.entry import Entry
from coppermend.job.state import JobState, fold
from coppermend.job.words import grams, is_fuzzy, plain_text, words_of, words_of_body

TELLING = frozenset(("job", "board", "stage", "void", "waiting", "shipping", "fingerprint", "erased"))
_AT_ONCE = 500


def job_key(year: int, counter: int) -> int:
    """The number that orders jobs as their numbers do."""
    return year * 10**9 + counter


def squeezed(text: str) -> str:
    """Letters and digits only, without case or accents: how names and serials are compared.

    >>> squeezed("Gérard's  No. 12-A")
    'gerardsno12a'
    """
    return "".join(c for c in plain_text(text) if c.isalnum())


def features_of(state: JobState) -> frozenset[str]:
    """What was read off the parts of a board, comparable: ``u5:8142``."""
    read = {(squeezed(refdes), squeezed(code)) for refdes, code in state.fingerprint.items()}
    return frozenset(f"{refdes}:{code}" for refdes, code in read if refdes and code)


def add_to_card(connection: Connection, key: int, new: Entry) -> None:
    """Bring card and words of a job up to date with an entry that has just been written."""
    if new.kind in TELLING:
        _rewrite_card(connection, key, new.job)
    else:
        card = tables.card
        connection.execute(
            update(card)
            .where(card.c.key == key)
            .values(
                changed=case((card.c.changed < new.at, new.at), else_=card.c.changed),
                entries=card.c.entries + 1,
            )
        )
    words = words_of_body(new.body) | words_of(new.who)
    if new.seq == 1:
        words = words_of(new.job) | words
    _add_words(connection, key, words)


def rebuild(connection: Connection, jobs: Iterable[str] | None = None) -> None:
    """Make cards and words anew, of the given jobs or of all."""
    job = tables.job.c
    query = select(job.number, job.year, job.counter)
    for number, year, counter in connection.execute(
        query if jobs is None else query.where(job.number.in_(list(jobs)))
    ).all():
        key = job_key(year, counter)
        entry = tables.entry.c
        rows = connection.execute(
            select(entry.body, entry.who).where(entry.job == number).order_by(entry.seq)
        )
        words = words_of(number)
        for body, who in rows:
            words |= words_of_body(body) | words_of(who)
        connection.execute(delete(tables.job_words).where(tables.job_words.c.key == key))
        _rewrite_card(connection, key, number)
        _add_words(connection, key, words)


def _rewrite_card(connection: Connection, key: int, number: str) -> None:
    entry = tables.entry.c
    query = select(tables.entry).where(entry.job == number, entry.kind.in_(TELLING)).order_by(entry.seq)
    state = fold(
        Entry(r.job, r.seq, r.at, r.who, r.stage, r.kind, r.body)
        for r in connection.execute(query).mappings()
    )
    count, changed = connection.execute(
        select(func.count(), func.max(entry.at, type_=tables.Utc)).where(entry.job == number)
    ).one()
    if not count:  # damaged: verify() names it
        return
    values = {"number": number, "entries": count, "changed": changed, **card_values(state)}
    card = tables.card
    if not connection.execute(update(card).where(card.c.key == key).values(values)).rowcount:
        connection.execute(insert(card).values(key=key, **values))
    feature = tables.feature
    connection.execute(delete(feature).where(feature.c.job == number))
    if found := features_of(state):
        connection.execute(insert(feature), [{"feature": f, "job": number} for f in sorted(found)])


def card_values(state: JobState) -> dict[str, Any]:
    """What a card says of a job, besides its number, its entries and its last change."""
    return {
        "created": state.opened, "stage": state.stage, "customer": state.customer, "contact": state.contact,
        "machine": state.machine, "serial": state.serial, "marks": state.marks, "complaint": state.complaint,
        "board": state.board.name if state.board else "", "promised": state.promised,
        "waiting": sum(1 for line in state.waiting if not line.arrived), "gone": state.gone,
        "owner_key": squeezed(state.customer), "serial_key": squeezed(state.serial),
        "marks_key": squeezed(state.marks)[:2000],
    }  # fmt: skip


def _add_words(connection: Connection, key: int, words: Mapping[str, None]) -> None:
    table = tables.job_words
    kept = connection.scalar(select(table.c.words).where(table.c.key == key))
    known = dict.fromkeys(kept.split()) if kept else {}
    fresh = [word for word in words if word not in known]
    if not fresh:
        return
    together = " ".join((*known, *fresh))
    if kept is None:
        connection.execute(insert(table).values(key=key, words=together))
    else:
        connection.execute(update(table).where(table.c.key == key).values(words=together))
    _learn(connection, [word for word in fresh if is_fuzzy(word)])


def _learn(connection: Connection, words: list[str]) -> None:
    """Note words that no job had before, with their runs of three characters."""
    known: set[str] = set()
    for start in range(0, len(words), _AT_ONCE):
        part = words[start : start + _AT_ONCE]
        known |= set(connection.scalars(select(tables.word.c.word).where(tables.word.c.word.in_(part))))
    # In order, so that two writers on PostgreSQL never wait for each other crosswise.
    fresh = sorted(set(words) - known)
    if fresh:
        _add_missing(connection, tables.word, [{"word": word} for word in fresh])
        rows = [
            {"gram": gram, "length": len(word), "word": word}
            for word in fresh
            for gram in sorted(grams(word))
        ]
        _add_missing(connection, tables.gram, rows)


def _add_missing(connection: Connection, table: Table, rows: list[dict[str, Any]]) -> None:
    dialect = postgresql if tables.is_postgresql(connection) else sqlite
    connection.execute(dialect.insert(table).on_conflict_do_nothing(), rows)
