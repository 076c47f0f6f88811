"""``coppermend prove drive``: which driver, latch, decoder or contact explains the outputs that did not follow."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Annotated

import typer

from coppermend.board.cautions import cautions_called
from coppermend.board.finding import listed
from coppermend.cli.inputs import BoardArgument, TypesOption, board_at, library_with, read_text
from coppermend.cli.output import JsonFlag, emit, say, say_cautions, table
from coppermend.cli.tree import examples
from coppermend.errors import InputError
from coppermend.proving.drive import PULSE_MS, DriveResult, Outputs, explain_drive

_EXPECTED = 'commanded,seen, each a ";"-separated list of output nets'
_SHOWN, _OUTPUTS = 12, 4


def _results(text: str, where: str, known: frozenset[str]) -> list[DriveResult]:
    found: list[DriveResult] = []
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        for row in reader:
            cells = [cell.strip() for cell in row]
            if len(cells) < 2 and not any(cells):
                continue
            if [cell.lower() for cell in cells[:2]] == ["commanded", "seen"] and not found:
                continue
            if len(cells) < 2:
                raise InputError(
                    f"{row[0]!r:.60} is no result", expected=_EXPECTED, where=where, line=reader.line_num
                )
            lists = [
                frozenset(name.strip() for name in cell.split(";") if name.strip()) for cell in cells[:2]
            ]
            if unknown := sorted((lists[0] | lists[1]) - known):
                hint = f"one of its outputs: {listed(sorted(known), 6) or 'it has none'}"
                raise InputError(
                    f"this board has no output {unknown[0]!r:.60}",
                    expected=hint,
                    where=where,
                    line=reader.line_num,
                )
            found.append(DriveResult(*lists))
    except csv.Error as error:
        raise InputError(
            f"broken CSV: {error}", expected=_EXPECTED, where=where, line=reader.line_num
        ) from None
    return found


@examples("coppermend prove drive boards/control --observations lit.csv")
def drive(
    board: BoardArgument,
    observations: Annotated[
        Path, typer.Option("--observations", metavar="FILE", help=f"What was switched on and what came on: CSV {_EXPECTED}.")
    ],
    types: TypesOption = None,
    as_json: JsonFlag = False,
) -> int:  # fmt: skip
    """Name what explains lamps, solenoids, displays and sound lines that did not do as commanded.

    A row with nothing commanded counts too: look for outputs that are on at rest. Exit status 1 when anything did
    not follow.
    """
    loaded, library = board_at(board), library_with(types)
    known = frozenset(Outputs.of(loaded, library).contacts)
    seen = _results(read_text(observations, f"results (CSV {_EXPECTED})"), str(observations), known)
    found = explain_drive(loaded, library, seen)
    document = {"faults": [one.to_json() for one in found], "outputs": sorted(known), "pulse_ms": PULSE_MS}

    def show_text() -> None:
        say_cautions(cautions_called("solenoid", "moving parts", "mains"))
        say(f"Pulse a coil for {PULSE_MS} ms at most; one that stays on: power off at once.", "")
        rows = [
            (f"{f.probability:.1%}", f.kind, f.words, listed(f.outputs, _OUTPUTS)) for f in found[:_SHOWN]
        ]
        table("what explains it", ("share", "fault", "where", "outputs"), rows)
        say("" if found else "every output did as commanded")

    emit(document, as_json, show_text)
    return 1 if found else 0
