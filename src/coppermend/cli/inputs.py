"""Files named on the command line: read once, with errors that name the file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary, parse_part_types, standard_library
from coppermend.errors import InputError
from coppermend.job.files import load_board

BoardArgument = Annotated[
    Path, typer.Argument(metavar="BOARD", help="Board folder (board.toml, parts.csv, ...).")
]
AreaOption = Annotated[
    Path,
    typer.Option("--area", metavar="FILE", help="Damaged area: WKT, GeoJSON (board mm) or a damage map PNG."),
]
TypesOption = Annotated[
    list[Path] | None,
    typer.Option(
        "--types", metavar="FILE", help="Part types of your own (TOML), in addition to the library."
    ),
]


def read_bytes(path: Path) -> bytes:
    """The bytes of a file.

    Raises:
        InputError: If it cannot be read; names the file and why.
    """
    try:
        return path.read_bytes()
    except OSError as error:
        raise InputError((error.strerror or "cannot be read").lower(), where=str(path)) from None


def library_with(types: list[Path] | None) -> PartLibrary:
    """The standard part-type library with the given TOML files added."""
    library = standard_library()
    for path in types or ():
        more = parse_part_types(read_bytes(path).decode("utf-8", "replace"), str(path))
        library = library.extended(more.values())
    return library


def board_at(path: Path) -> Board:
    """The board in a folder."""
    return load_board(path)
