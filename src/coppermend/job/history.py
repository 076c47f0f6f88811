"""Have we had this board before? Earlier jobs by the marks on it, its serial, and its owner."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from coppermend.job.number import numbers_in
from coppermend.job.search import JobSummary, squeezed
from coppermend.job.store import Store


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
    number of an earlier tag. ``besides`` is the number of the job that asks, left out of the answer.
    """
    return earlier_among(store.jobs(), serial, marks, customer, besides=besides)


def earlier_among(
    jobs: Iterable[JobSummary], serial: str = "", marks: str = "", customer: str = "", *, besides: str = ""
) -> tuple[EarlierJob, ...]:
    """As ``earlier_work``, among the given jobs (newest first)."""
    tags = set(numbers_in(marks)) | set(numbers_in(serial))
    found = []
    for job in jobs:
        if job.number == besides:
            continue
        why = _same_board(job, tags, serial, marks)
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
