"""What the gate leaves open, as it is printed; which tests of many lines a job's board has, and what its program may show of itself. Judges nothing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from coppermend.proving.described import SHOWS
from coppermend.proving.records import OpenItem
from coppermend.web.desk import Job

_NAMED = 3  # proofs named for one open item


class OpenLine(NamedTuple):
    """An open item as the gate lists it: ``by`` are (id, title) of the first proofs that would do, ``more`` how many others."""

    subject: str
    concerns: tuple[tuple[str, str], ...]  # why, note
    by: tuple[tuple[str, str], ...]
    more: int
    copper: bool
    reason: str


def open_line(item: OpenItem, titles: Mapping[str, str]) -> OpenLine:
    """An open item with the ``titles`` of its proofs."""
    return OpenLine(
        str(item.subject),
        tuple((concern.why, concern.note) for concern in item.concerns),
        tuple((proof, titles.get(proof, proof)) for proof in item.covered_by[:_NAMED]),
        max(0, len(item.covered_by) - _NAMED),
        item.copper,
        item.reason,
    )


def tests_here(job: Job) -> dict[str, Any]:
    """What the prove page offers besides the list of proofs; nothing without a board."""
    kinds = {proof.id.partition(":")[0] for proof in job.found.proofs} if job.found else set()
    return {
        "matrix_here": bool(job.board and job.board.matrix.strobes and job.board.matrix.returns),
        "outputs_here": bool(kinds & {"lamp", "solenoid", "sound", "display"}),
        "memory_here": "retention" in kinds,
        "shows_here": tuple(word for word, proofs in SHOWS.items() if kinds & set(proofs)),
    }
