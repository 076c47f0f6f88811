"""A board that comes back: the link to its earlier job, made by itself and kept as an entry of the later one."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Connection, delete, insert, select

from coppermend.job import tables
from coppermend.job.entry import Entry
from coppermend.job.history import alike_parts, earlier_among, nearby
from coppermend.job.number import numbers_in
from coppermend.job.state import fold

# Kinds of entries by which a board may be known again.
TELLING = frozenset(("job", "fingerprint"))
# "Same marks" alone ties no two jobs together: every other board has a blue dot.
_WHY = frozenset(
    (
        "its tag is on the board",
        "both carry the same earlier tag",
        "same serial",
        "same codes on its parts",
    )
)


def link_for(connection: Connection, new: Entry) -> Entry | None:
    """The entry that links the job of ``new`` to the latest earlier job on the same board; None when there is none.

    A link that was made before is not made again, and so one that was taken back stays so.
    """
    if new.kind not in TELLING:
        return None
    found = _latest_earlier(connection, new.job)
    if found is None:
        return None
    earlier, why = found
    linked = select(tables.entry.c.body).where(
        tables.entry.c.job == new.job, tables.entry.c.kind == "comeback"
    )
    if any(body["job"] == earlier for body in connection.scalars(linked)):
        return None
    body = {"job": earlier, "why": ", ".join(why)}
    return Entry(new.job, new.seq + 1, new.at, new.who, "receive", "comeback", body)


def _latest_earlier(connection: Connection, number: str) -> tuple[str, tuple[str, ...]] | None:
    card = tables.card.c
    own = connection.execute(select(card.serial, card.marks, card.key).where(card.number == number)).one()
    # A serial without a digit is a word such as "none" and tells nothing.
    serial = own.serial if any(c.isdigit() for c in own.serial) else ""
    alike = alike_parts(connection, number)
    before = select(card.number).where(card.key < own.key)
    near = nearby(connection, serial, own.marks, "", alike, number)
    older = set(connection.scalars(before.where(card.number.in_([job.number for job in near]))))
    for found in earlier_among(near, serial, own.marks, besides=number, alike=alike):
        why = tuple(words for words in found.why if words in _WHY)
        if why and found.job.number in older:
            return found.job.number, why
    return None


def keep_in_step(connection: Connection, new: Entry) -> None:
    """Bring the table of comebacks up to date with an entry that has just been written."""
    if new.kind in ("comeback", "void"):
        _rewrite(connection, new.job)


def rebuild(connection: Connection) -> None:
    """Make the table of comebacks anew: from entries, and for jobs of records that had none yet from tags and serials."""
    connection.execute(delete(tables.comeback))
    entry = tables.entry.c
    linked = list(connection.scalars(select(entry.job).where(entry.kind == "comeback").distinct()))
    for number in linked:
        _rewrite(connection, number)
    rows = [
        {"earlier": earlier, "job": job} for earlier, job in _by_rule(connection) if job not in set(linked)
    ]
    if rows:
        connection.execute(insert(tables.comeback), rows)


def _rewrite(connection: Connection, number: str) -> None:
    entry = tables.entry.c
    rows = connection.execute(
        select(tables.entry)
        .where(entry.job == number, entry.kind.in_(("comeback", "void")))
        .order_by(entry.seq)
    ).mappings()
    made = [tables.entry_from_row(row) for row in rows]
    if not any(e.kind == "comeback" for e in made):
        return
    connection.execute(delete(tables.comeback).where(tables.comeback.c.job == number))
    rows_now = [{"earlier": line.job, "job": number} for line in fold(made).comebacks]
    if rows_now:
        connection.execute(insert(tables.comeback), rows_now)


def _by_rule(connection: Connection) -> Iterator[tuple[str, str]]:
    """Earlier and later job of records from before links were kept: by serial, else by a tag in the marks."""
    card = tables.card.c
    last: dict[str, str] = {}
    seen: set[str] = set()
    for number, serial, marks in connection.execute(
        select(card.number, card.serial_key, card.marks).order_by(card.key)
    ):
        tags = [tag for tag in numbers_in(marks) if tag in seen] if marks else []
        known = last.get(serial) if any(c.isdigit() for c in serial) else None
        if found := known or (tags[-1] if tags else None):
            yield found, number
        last[serial] = number
        seen.add(number)
