"""The proofs of a job: what its board offers, what its remedies ask for, and what the record adds. Judges no result."""

from __future__ import annotations

from collections.abc import Sequence

from coppermend.errors import InputError
from coppermend.job.known import BoardFacts
from coppermend.job.remedying import required_proofs
from coppermend.job.state import JobState
from coppermend.job.trials import DescribedLine
from coppermend.proving.closures import further_closures
from coppermend.proving.coverage import Circuit
from coppermend.proving.described import SelfTestOf, described_proof
from coppermend.proving.records import Proof
from coppermend.rework.records import Remedy


def proofs_of_job(
    facts: BoardFacts, state: JobState, chosen: Sequence[Remedy]
) -> tuple[tuple[Proof, ...], tuple[str, ...]]:
    """(proofs, notes on what the record describes that this board has not).

    Beside the board's own: those that chosen remedies require, closures that were made though another would have done,
    and tests of the program that the user described.
    """
    known = [proof.id for proof in facts.proofs]
    closures: list[Proof] = []
    if any(name.startswith("closure:") for name in state.evidence.keys() - set(known)):
        closures = further_closures(Circuit.of(facts.board, facts.library), state.evidence, known)
    base = (*facts.proofs, *closures)
    described, notes = [], []
    for line in state.described:
        try:
            described.append(described_proof(base, _test(line)))
        except InputError as error:
            notes.append(f"entry {line.seq} is not used: {error}")
    return (*base, *described, *required_proofs(chosen)), tuple(notes)


def _test(line: DescribedLine) -> SelfTestOf:
    return SelfTestOf(line.id, line.title, line.shows, line.watched, line.how)  # type: ignore[arg-type]
