"""``coppermend prove plan`` and ``prove gate``: the proofs of a board, and whether anything is left unproven."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from coppermend.board.cautions import merged
from coppermend.board.finding import listed
from coppermend.board.model import Board
from coppermend.cli.evidence import parse_evidence
from coppermend.cli.inputs import (
    TypesOption,
    board_at,
    library_with,
    read_area,
    read_bytes,
)
from coppermend.cli.output import JsonFlag, counted, emit, say, say_cautions, say_next, table
from coppermend.cli.readings import ReadingsOption, readings_at
from coppermend.cli.record import DataOption, assessment_of, state_of
from coppermend.cli.rework import RemedyOption
from coppermend.cli.tree import examples
from coppermend.copper.readings import Reading
from coppermend.damage.area import area_to_geojson, parse_area
from coppermend.damage.touch import touch
from coppermend.errors import InputError
from coppermend.job.assess import Assessment, assess
from coppermend.job.remedying import offered_remedies, required_proofs
from coppermend.job.state import JobState, JumperLine, ReadingLine
from coppermend.job.store import Store
from coppermend.proving.leastplan import PlanStep
from coppermend.proving.proofs import proofs_for
from coppermend.proving.records import Gate, OpenItem, Proof
from coppermend.rework.remedies import choose
from coppermend.rework.strip import strip_list

_MANY_PROOFS = 4


def _assessed(
    board: Path, area: Path, types: Sequence[Path] | None, readings: Path | None, evidence: Path | None,
    remedy: Sequence[str] | None,
) -> Assessment:  # fmt: skip
    """A job as it would stand with this area, these readings and results, everything on its strip list off."""
    loaded, library = board_at(board), library_with(types)
    damaged = parse_area(read_area(area), loaded, str(area))
    touched = touch(loaded, library, damaged)
    chosen = choose(offered_remedies(loaded, library, touched), remedy or ())
    measured = readings_at(readings, loaded)
    every = (*proofs_for(loaded, library), *required_proofs(chosen)) if evidence else ()
    known = {proof.id for proof in every}
    results = (
        parse_evidence(read_bytes(evidence, "results (CSV proof,passed,note)"), str(evidence), known)
        if evidence
        else {}
    )
    state = JobState(
        damage=area_to_geojson(damaged),
        strip={item.refdes: item.fate for item in strip_list(loaded, library, touched, chosen)},
        readings=tuple(
            ReadingLine(r.a, r.b, r.ohms, "", seq) for seq, r in enumerate(measured, 1) if not r.jumper
        ),
        jumpers=_jumpers(measured, loaded),
        evidence=results,
        remedies=tuple(one.id for one in chosen),
    )
    return assess(loaded, library, state)


BoardOrJob = Annotated[
    Path, typer.Argument(metavar="BOARD|JOB", help="Board folder or zip (with --area), or a job's number.")
]
AreaOfBoard = Annotated[
    Path | None, typer.Option("--area", metavar="FILE", help="Damaged area; needed with BOARD, not with JOB.")
]


def _of_job(job: Path, data: Path, given: Sequence[object]) -> Assessment:
    """What follows from a job's own record.

    Raises:
        InputError: If it is a board rather than a job, or comes with what the record holds itself.
    """
    if job.exists():
        raise InputError("is a board", expected="--area with its damaged area", where=str(job))
    if any(given):
        raise InputError(
            "readings, results, remedies and part types come from a job's record",
            expected="--area with a board, or a job alone",
        )
    with Store.open(data) as store:
        return assessment_of(store, state_of(store, str(job)))


def _jumpers(measured: Sequence[Reading], board: Board) -> tuple[JumperLine, ...]:
    fitted = [(seq, reading) for seq, reading in enumerate(measured, 1) if reading.jumper]
    return tuple(JumperLine(board.index.place(r.a).net, r.a, r.b, "", seq) for seq, r in fitted)


@examples("coppermend prove plan boards/control --area leak.geojson", "coppermend prove plan 26-0042-U")
def plan(
    board: BoardOrJob,
    data: DataOption,
    area: AreaOfBoard = None,
    readings: ReadingsOption = None,
    remedy: RemedyOption = None,
    every: Annotated[bool, typer.Option("--all", help="List every proof of the board, not only those needed.")] = False,
    types: TypesOption = None,
    as_json: JsonFlag = False,
) -> int:  # fmt: skip
    """List the proofs that are still needed: the cheapest that show everything touched to work, and how to do each.

    Cheapest in attended time, each set-up counted once, with what the weakness of a proof leaves in doubt; bench
    before machine, what can hurt last.
    """
    found = (
        _assessed(board, area, types, readings, None, remedy)
        if area
        else _of_job(board, data, (readings, remedy, types))
    )
    useful = {proof for item in found.gate.open for proof in item.covered_by}
    needed = [proof.id for proof in found.proofs_to_do]
    document = {
        "proofs": [{**proof.to_json(), "needed": proof.id in useful} for proof in found.proofs],
        "to_do": needed,
        "plan": found.plan.to_json(),
        "gate": found.gate.to_json(),
    }
    listed = found.proofs if every else found.proofs_to_do

    def show_text() -> None:
        say_cautions(merged(*(proof.cautions for proof in listed)))
        adds = {step.proof.id: step for step in found.plan.steps}
        for proof in listed:
            _show_proof(proof, every and proof.id in needed, adds.get(proof.id))
        say(*(f"nothing covers {item.subject}: {item.reason}" for item in found.plan.uncoverable))
        say(
            f"{len(needed)} of {counted(len(found.proofs), 'proof')} of this board are needed, "
            f"about {found.plan.minutes:.0f} minutes with set-up"
        )
        say(*(f"note: {note}" for note in (*found.gate.notes, *found.notes)))
        if area:
            say("Do them and write rows proof,passed,note to a CSV file, such as results.csv.")
            say_next("prove", "gate", board, "--area", area, "--evidence", "results.csv")
        else:
            say(f"next: coppermend job log {board} evidence proof=ID passed=yes")

    emit(document, as_json, show_text)
    return 0


def _show_proof(proof: Proof, needed: bool, step: PlanStep | None) -> None:
    say(f"{proof.id} ({proof.setup}{', needed' if needed else ''}): {proof.title}")
    say(proof.how, indent=4)
    if step:
        for word, subjects in (("proves", step.closes), ("helps with", step.helps)):
            if subjects:
                say(f"{word} {listed([str(subject) for subject in subjects], _MANY_PROOFS)}", indent=4)


@examples(
    "coppermend prove gate boards/control --area leak.geojson --readings readings.csv --evidence results.csv",
    "coppermend prove gate 26-0042-U",
)
def gate_(
    board: BoardOrJob,
    data: DataOption,
    area: AreaOfBoard = None,
    readings: ReadingsOption = None,
    evidence: Annotated[
        Path | None, typer.Option("--evidence", metavar="FILE", help="Results so far: CSV proof,passed,note.")
    ] = None,
    remedy: RemedyOption = None,
    types: TypesOption = None,
    as_json: JsonFlag = False,
) -> int:
    """Ask whether anything that was touched is left unproven.

    Of a job, its record counts. Of a board, everything on the strip list is taken as off. Exit status 1 while the
    gate has not passed, waived or not.
    """
    found = (
        _assessed(board, area, types, readings, evidence, remedy)
        if area
        else _of_job(board, data, (readings, evidence, remedy, types))
    )
    document = {**found.gate.to_json(), "release": found.release.to_json()}

    def show_text() -> None:
        _show_gate(found.gate)
        say(*(f"note: {note}" for note in (*found.gate.notes, *found.notes)))
        if waiver := found.release.waiver:
            say(f"waived by {waiver.who}: {waiver.reason}")
        say(_verdict(found))

    emit(document, as_json, show_text)
    return 0 if found.gate.passed else 1


def _show_gate(gate: Gate) -> None:
    rows = [
        (str(i.subject), "; ".join(c.note or c.why for c in i.concerns), _what_would_prove(i))
        for i in gate.open
    ]
    table("not proven", ("what", "why it matters", "what would prove it"), rows)
    if gate.failed:
        say(f"failed: {', '.join(gate.failed)}; find the fault, then do them again")


def _what_would_prove(item: OpenItem) -> str:
    names = [*(["copper probes"] if item.copper else []), *item.covered_by]
    more = len(names) - _MANY_PROOFS
    return ", ".join(names[:_MANY_PROOFS]) + (f" and {more} more" if more > 0 else "") or item.reason


def _verdict(found: Assessment) -> str:
    gate = found.gate
    if gate.passed:
        return f"passed: nothing touched is left unproven ({counted(len(gate.proven), 'thing')} proven)"
    return (
        f"not passed: {counted(len(gate.open), 'thing')} unproven, {len(gate.proven)} proven; "
        f"{counted(len(found.copper.probes), 'probe')} and {counted(len(found.proofs_to_do), 'proof')} to do"
    )
