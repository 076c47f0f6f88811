"""``coppermend prove plan`` and ``prove gate``: the proofs of a board, and whether anything is left unproven."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from coppermend.board.cautions import merged
from coppermend.board.model import Board
from coppermend.cli.evidence import parse_evidence
from coppermend.cli.inputs import (
    AreaOption,
    BoardArgument,
    TypesOption,
    board_at,
    library_with,
    read_area,
    read_bytes,
)
from coppermend.cli.output import JsonFlag, counted, emit, say, say_cautions, say_next, table
from coppermend.cli.readings import ReadingsOption, readings_at
from coppermend.cli.rework import RemedyOption
from coppermend.cli.tree import examples
from coppermend.copper.readings import Reading
from coppermend.damage.area import area_to_geojson, parse_area
from coppermend.damage.touch import touch
from coppermend.job.assess import Assessment, assess
from coppermend.job.state import JobState, JumperLine, ReadingLine
from coppermend.proving.proofs import proofs_for
from coppermend.proving.records import Gate, OpenItem, Proof
from coppermend.rework.remedies import choose, remedies
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
    chosen = choose(remedies(loaded, library, touched), remedy or ())
    measured = readings_at(readings, loaded)
    known = {proof.id for proof in proofs_for(loaded, library)} if evidence else set()
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


def _jumpers(measured: Sequence[Reading], board: Board) -> tuple[JumperLine, ...]:
    fitted = [(seq, reading) for seq, reading in enumerate(measured, 1) if reading.jumper]
    return tuple(JumperLine(board.index.place(r.a).net, r.a, r.b, "", seq) for seq, r in fitted)


@examples("coppermend prove plan boards/control --area leak.geojson")
def plan(
    board: BoardArgument,
    area: AreaOption,
    readings: ReadingsOption = None,
    remedy: RemedyOption = None,
    every: Annotated[bool, typer.Option("--all", help="List every proof of the board, not only those needed.")] = False,
    types: TypesOption = None,
    as_json: JsonFlag = False,
) -> int:  # fmt: skip
    """List the proofs that are still needed: the fewest that show everything touched to work, and how to do each."""
    found = _assessed(board, area, types, readings, None, remedy)
    useful = {proof for item in found.gate.open for proof in item.covered_by}
    needed = [proof.id for proof in found.proofs_to_do]
    document = {
        "proofs": [{**proof.to_json(), "needed": proof.id in useful} for proof in found.proofs],
        "to_do": needed,
        "gate": found.gate.to_json(),
    }
    listed = found.proofs if every else found.proofs_to_do

    def show_text() -> None:
        say_cautions(merged(*(proof.cautions for proof in listed)))
        for proof in listed:
            _show_proof(proof, every and proof.id in needed)
        say(f"{len(needed)} of {counted(len(found.proofs), 'proof')} of this board are needed")
        say(*(f"note: {note}" for note in (*found.gate.notes, *found.notes)))
        say("Do them and write rows proof,passed,note to a CSV file, such as results.csv.")
        say_next("prove", "gate", board, "--area", area, "--evidence", "results.csv")

    emit(document, as_json, show_text)
    return 0


def _show_proof(proof: Proof, needed: bool) -> None:
    say(f"{proof.id} ({proof.setup}{', needed' if needed else ''}): {proof.title}")
    say(proof.how, indent=4)


@examples(
    "coppermend prove gate boards/control --area leak.geojson --readings readings.csv --evidence results.csv"
)
def gate_(
    board: BoardArgument,
    area: AreaOption,
    readings: ReadingsOption = None,
    evidence: Annotated[
        Path | None, typer.Option("--evidence", metavar="FILE", help="Results so far: CSV proof,passed,note.")
    ] = None,
    remedy: RemedyOption = None,
    types: TypesOption = None,
    as_json: JsonFlag = False,
) -> int:
    """Ask whether anything that was touched is left unproven.

    Everything on the strip list is taken as off. Exit status 1 while the gate has not passed.
    """
    found = _assessed(board, area, types, readings, evidence, remedy)

    def show_text() -> None:
        _show_gate(found.gate)
        say(*(f"note: {note}" for note in (*found.gate.notes, *found.notes)))
        say(_verdict(found))

    emit(found.gate.to_json(), as_json, show_text)
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
