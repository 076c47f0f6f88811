"""Have we had this board before? Earlier jobs by the marks on it, its serial, and its owner."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, func, or_, select

from coppermend.job import tables
from coppermend.job.number import numbers_in
from coppermend.job.search import JobSummary, find_words, squeezed, summary_of

if TYPE_CHECKING:  # the store itself links comebacks with what stands here
    from coppermend.job.store import Store

_MOST = 200
_LEAST_ALIKE, _SHARE_ALIKE = 4, 0.75


@dataclass(frozen=True, slots=True)
class EarlierJob:
    """An earlier job and why it may concern the same board; ``same_board`` is False for a mere same customer."""

    job: JobSummary
    why: tuple[str, ...]
    same_board: bool

    def to_json(self) -> dict[str, Any]:
        """Keys job (the summary), why (list of words), same_board."""
        return {"job": self.job.to_json(), "why": list(self.why), "same_board": self.same_board}


def earlier_work(
    store: Store, serial: str = "", marks: str = "", customer: str = "", *, besides: str = ""
) -> tuple[EarlierJob, ...]:
    """Jobs on the same board first, then other jobs of the customer; newest first within both.

    Serial, marks and customer are compared without case, accents and punctuation. ``marks`` may carry the
    number of an earlier tag. ``besides`` is the number of the job that asks, left out of the answer; a job whose
    parts carry the same codes (its fingerprint) counts as the same board, and so does one that was opened later.
    """
    with tables.reading(store.engine) as connection:
        alike = alike_parts(connection, besides)
        near = nearby(connection, serial, marks, customer, alike, besides)
    return earlier_among(near, serial, marks, customer, besides=besides, alike=alike)


def nearby(  # noqa: PLR0917  (the words of one question)
    connection: Connection, serial: str, marks: str, customer: str, alike: Iterable[str], besides: str
) -> tuple[JobSummary, ...]:
    """Cards of the jobs that may have to do with a board, newest first; looked up by index, never by reading all."""
    card, tags = tables.card.c, sorted({*numbers_in(marks), *numbers_in(serial)})
    keys: set[int] = set()
    for column, key in (
        (card.serial_key, squeezed(serial)), (card.marks_key, squeezed(marks)[:2000]),
        (card.owner_key, squeezed(customer)),
    ):  # fmt: skip
        if key:
            query = select(card.key).where(column == key).order_by(card.key.desc()).limit(_MOST)
            keys |= set(connection.scalars(query))
    numbers = [
        *tags,
        *alike,
        *(job.number for tag in (*tags, besides) if tag for job in _naming(connection, tag)),
    ]
    query = select(tables.card).where(or_(card.key.in_(keys), card.number.in_(numbers)))
    rows = connection.execute(query.order_by(card.key.desc())).mappings()
    return tuple(summary_of(row) for row in rows)


def _naming(connection: Connection, tag: str) -> tuple[JobSummary, ...]:
    """Jobs that have the number of a tag somewhere in their record."""
    squeezed_tag = squeezed(tag)
    return find_words(connection, [squeezed_tag], _MOST)


def alike_parts(connection: Connection, number: str) -> frozenset[str]:
    """Jobs whose board has the same codes on its parts: at least 4 alike, and 3 of 4 of those read in both.

    Date codes vary from part to part and from board to board, and some parts are replaced between two visits
    (limits: common practice, no source).
    """
    feature = tables.feature.c
    own = set(connection.scalars(select(feature.feature).where(feature.job == number)))
    if len(own) < _LEAST_ALIKE:
        return frozenset()
    shared = (
        select(feature.job)
        .where(feature.feature.in_(own), feature.job != number)
        .group_by(feature.job)
        .having(func.count() >= _LEAST_ALIKE)
    )
    found = set()
    for other in connection.scalars(shared).all():
        theirs = set(connection.scalars(select(feature.feature).where(feature.job == other)))
        parts = {f.partition(":")[0] for f in own} & {f.partition(":")[0] for f in theirs}
        if len(own & theirs) >= _SHARE_ALIKE * len(parts):
            found.add(other)
    return frozenset(found)


def later_work(store: Store, number: str) -> tuple[JobSummary, ...]:
    """Later jobs on the board of this one, as they are linked to it; newest first."""
    link, card = tables.comeback.c, tables.card
    query = select(card).join(tables.comeback, link.job == card.c.number).where(link.earlier == number)
    with tables.reading(store.engine) as connection:
        return tuple(
            summary_of(row) for row in connection.execute(query.order_by(card.c.key.desc())).mappings()
        )


def earlier_among(
    jobs: Iterable[JobSummary], serial: str = "", marks: str = "", customer: str = "", *, besides: str = "",
    alike: Collection[str] = (),
) -> tuple[EarlierJob, ...]:  # fmt: skip
    """As ``earlier_work``, among the given jobs (newest first)."""
    tags = set(numbers_in(marks)) | set(numbers_in(serial))
    found = []
    for job in jobs:
        if job.number == besides:
            continue
        why = _same_board(job, tags, serial, marks)
        if besides and besides in {*numbers_in(job.marks), *numbers_in(job.serial)}:
            why = (*why, "it carries this job's tag")
        if job.number in alike:
            why = (*why, "same codes on its parts")
        same_owner = bool(squeezed(customer)) and squeezed(job.customer) == squeezed(customer)
        if why or same_owner:
            found.append(EarlierJob(job, (*why, *(("same customer",) if same_owner else ())), bool(why)))
    return tuple(sorted(found, key=lambda earlier: not earlier.same_board))


def _same_board(job: JobSummary, tags: set[str], serial: str, marks: str) -> tuple[str, ...]:
    why = []
    if job.number in tags:
        why.append("its tag is on the board")
    elif tags & set(numbers_in(job.marks)):
        why.append("both carry the same earlier tag")
    if squeezed(serial) and squeezed(job.serial) == squeezed(serial):
        why.append("same serial")
    if squeezed(marks) and squeezed(job.marks) == squeezed(marks):
        why.append("same marks")
    return tuple(why)
