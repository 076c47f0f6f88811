"""Erasing a customer's personal data on request while the technical record stays.

The one thing that a record forgets. The database lets a body change only where an ``erasure`` row names its entry; the
row, and an ``erased`` entry, say for good that something was taken out, what sort of thing, when, by whom and why. What
was erased is also gone from cards, words and, on SQLite, from the file's free pages.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, delete, func, insert, select, update

from coppermend.errors import InputError
from coppermend.job import cards, tables
from coppermend.job.entry import Entry
from coppermend.job.number import check_number
from coppermend.job.search import find_words
from coppermend.job.store import Store, moment
from coppermend.job.validate import check_body, check_who

# What of a kind of entry is about a person. Texts that were written by hand are erased when their entry is named.
PERSONAL: Mapping[str, tuple[str, ...]] = {
    "job": ("customer", "contact"), "shipping": ("carrier", "tracking", "note"), "approval": ("by", "note"),
    "payment": ("note",),
}  # fmt: skip
FREE_TEXT: Mapping[str, str] = {"note": "text"}
ERASED = "(erased on request)"


@dataclass(frozen=True, slots=True)
class Erased:
    """What was erased: numbers of entries. ``papers`` are entries with papers that may still carry the name."""

    job: str
    entries: tuple[int, ...]
    papers: tuple[int, ...]

    def to_json(self) -> dict[str, Any]:
        """The fields by name."""
        return {"job": self.job, "entries": list(self.entries), "papers": list(self.papers)}


def erase_personal(
    store: Store, job: str, *, why: str, who: str, notes: Collection[int] = (), at: datetime | None = None,
    clear: bool = True,
) -> Erased:  # fmt: skip
    """Take customer, contact, and names in shipping, approvals and payment out of a job's record; and named notes.

    Backups made before still hold what was erased; make a new one and delete those. Papers and photos stay. Without
    ``clear`` the caller ends with ``clear_leftovers``, once for many jobs.

    Raises:
        InputError: If no reason is given, there is nothing to erase, or a number in ``notes`` is no note.
        UnknownName: If there is no such job.
    """
    number, who, at = check_number(job), check_who(who), moment(at)
    if not why.strip():
        raise InputError("erasing needs a reason", expected="why, such as: asked for by letter of 3 March")
    record = store.entries(number)
    if wrong := sorted(set(notes) - {e.seq for e in record if e.kind in FREE_TEXT}):
        raise InputError(f"entry {wrong[0]} of job {number} is no note", expected="numbers of notes")
    changed = {e.seq: body for e in record if (body := _without(e, e.seq in notes)) != dict(e.body)}
    if not changed:
        raise InputError(
            f"job {number} holds nothing personal", expected="customer, contact, or notes by number"
        )
    body = check_body("erased", {"entries": sorted(changed), "why": why.strip()})
    with tables.writing(store.engine) as connection:
        key = _erase(connection, number, changed, record, {"at": at, "who": who, "why": why.strip()})
        last = (
            connection.scalar(select(func.max(tables.entry.c.seq)).where(tables.entry.c.job == number)) or 0
        )
        row = {
            "job": number,
            "seq": last + 1,
            "at": at,
            "who": who,
            "stage": "return",
            "kind": "erased",
            "body": body,
        }
        connection.execute(insert(tables.entry).values(row))
        before = _words(connection, key)
        cards.rebuild(connection, [number])
        _forget(connection, before - _words(connection, key))
    if clear:
        clear_leftovers(store)
    return Erased(number, tuple(sorted(changed)), tuple(e.seq for e in record if e.kind == "paper"))


def _without(entry: Entry, named: bool) -> dict[str, Any]:
    body = {k: v for k, v in entry.body.items() if k not in PERSONAL.get(entry.kind, ())}
    if named:
        body[FREE_TEXT[entry.kind]] = ERASED
    return body


def _erase(
    connection: Connection, number: str, changed: Mapping[int, dict[str, Any]], record: Collection[Entry],
    told: Mapping[str, Any],
) -> int:  # fmt: skip
    job, entry = tables.job.c, tables.entry
    row = connection.execute(
        select(job.year, job.counter).where(job.number == number).with_for_update()
    ).one()
    for old in record:
        if old.seq in changed:
            gone = sorted(k for k, v in old.body.items() if changed[old.seq].get(k) != v)
            connection.execute(insert(tables.erasure).values(job=number, seq=old.seq, keys=gone, **told))
            connection.execute(
                update(entry)
                .where(entry.c.job == number, entry.c.seq == old.seq)
                .values(body=changed[old.seq])
            )
    return cards.job_key(row.year, row.counter)


def _words(connection: Connection, key: int) -> set[str]:
    kept = connection.scalar(select(tables.job_words.c.words).where(tables.job_words.c.key == key))
    return set(kept.split()) if kept else set()


def _forget(connection: Connection, words: Collection[str]) -> None:
    """Take words that no job has any longer out of the list that typing errors are compared with."""
    for word in sorted(words):
        if not any(True for _ in find_words(connection, [word], 1)):
            connection.execute(delete(tables.gram).where(tables.gram.c.word == word))
            connection.execute(delete(tables.word).where(tables.word.c.word == word))


def clear_leftovers(store: Store) -> None:
    """Have SQLite merge its index and empty its log, so that the file keeps no trace."""
    if tables.is_postgresql(store.engine):
        return
    with tables.writing(store.engine) as connection:
        connection.exec_driver_sql("INSERT INTO words_index(words_index) VALUES ('optimize')")
    with store.engine.connect() as connection:
        raw = connection.connection.driver_connection
        assert raw is not None
        connection.rollback()
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)").close()
