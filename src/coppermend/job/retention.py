"""How long a customer's personal data is kept: which finished jobs are past the shop's period, and erasing those."""

from __future__ import annotations

from collections.abc import Collection
from datetime import UTC, datetime

from sqlalchemy import or_, select

from coppermend.errors import InputError
from coppermend.job import tables
from coppermend.job.erase import Erased, clear_leftovers, erase_personal
from coppermend.job.search import JobSummary, summary_of
from coppermend.job.store import Store, now


def years_before(at: datetime, years: int) -> datetime:
    """The same day ``years`` years earlier; 28 February when that year has no 29th.

    >>> years_before(datetime(2024, 2, 29, tzinfo=UTC), 3).date().isoformat()
    '2021-02-28'
    """
    try:
        return at.replace(year=at.year - years)
    except ValueError:
        return at.replace(year=at.year - years, day=28)


def due_jobs(store: Store, years: int | None, at: datetime | None = None) -> tuple[JobSummary, ...]:
    """Finished jobs that name a customer and whose last entry is ``years`` years old by ``at``, oldest first.

    A job is finished when its board has left the shop or it stands at return. Without a period nothing is ever due.

    Raises:
        RecordError: If the record cannot be read.
    """
    if years is None:
        return ()
    card = tables.card.c
    query = (
        select(tables.card)
        .where(card.changed < years_before((at or now()).astimezone(UTC), years))
        .where(or_(card.gone.is_(True), card.stage == "return"), or_(card.customer != "", card.contact != ""))
        .order_by(card.key)
    )
    with tables.reading(store.engine) as connection:
        return tuple(summary_of(row) for row in connection.execute(query).mappings())


def erase_due(
    store: Store, years: int | None, numbers: Collection[str], *, who: str, at: datetime | None = None
) -> tuple[Erased, ...]:
    """Erase the personal data of the jobs named by ``numbers``, all of which must be due; each is kept when it is done.

    Raises:
        InputError: If a job is not due (any more), or no period is set.
    """
    due = {job.number for job in due_jobs(store, years, at)}
    if wrong := sorted(set(numbers) - due):
        raise InputError(
            f"personal data of job {wrong[0]} is not due", expected="jobs that are listed as due"
        )
    why = f"kept for {years} years, the shop's period"
    try:
        return tuple(
            erase_personal(store, number, why=why, who=who, at=at, clear=False)
            for number in sorted(set(numbers))
        )
    finally:
        if numbers:
            clear_leftovers(store)
