"""Readings given as a file, checked against the board that they were made on."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from coppermend.board.model import Board
from coppermend.board.packages import with_package_pads
from coppermend.cli.inputs import read_text
from coppermend.copper.readings import Reading, parse_readings
from coppermend.errors import InputError, UnknownName

ReadingsOption = Annotated[
    Path | None,
    typer.Option("--readings", metavar="FILE", help="Readings so far: CSV a,b,ohms (OL = open)."),
]


def readings_at(path: Path | None, board: Board) -> tuple[Reading, ...]:
    """The readings in a file, () without one.

    Raises:
        InputError: If a row is no reading, or names a point that the board does not have; names file and line.
    """
    if path is None:
        return ()
    readings = parse_readings(read_text(path, "readings (CSV a,b,ohms)"), str(path))
    index = with_package_pads(board).index
    for reading in readings:
        for point in (reading.a, reading.b):
            try:
                index.place(point)
            except UnknownName:
                raise InputError(
                    f"{board.name} has no point {point!r:.60}",
                    expected="a pin with a pad such as U3.9, or a via such as V17",
                    where=str(path),
                    line=reading.line,
                ) from None
    return readings
