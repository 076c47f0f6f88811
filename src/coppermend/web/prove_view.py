"""Which tests of many lines a job's board has, and what its program may show of itself. Judges nothing."""

from __future__ import annotations

from typing import Any

from coppermend.proving.described import SHOWS
from coppermend.web.desk import Job


def tests_here(job: Job) -> dict[str, Any]:
    """What the prove page offers besides the list of proofs; nothing without a board."""
    kinds = {proof.id.partition(":")[0] for proof in job.found.proofs} if job.found else set()
    return {
        "matrix_here": bool(job.board and job.board.matrix.strobes and job.board.matrix.returns),
        "outputs_here": bool(kinds & {"lamp", "solenoid", "sound", "display"}),
        "memory_here": "retention" in kinds,
        "shows_here": tuple(word for word, proofs in SHOWS.items() if kinds & set(proofs)),
    }
