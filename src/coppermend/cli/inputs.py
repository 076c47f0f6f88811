"""Files named on the command line: read once, with errors that name the file and what was expected."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Annotated

import typer

from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary, parse_part_types, standard_library
from coppermend.board.readers.text import decode_text
from coppermend.errors import InputError
from coppermend.job.files import load_board, read_file, write_atomically

_AREA = "WKT, GeoJSON (board mm) or a damage map (PNG)"

BoardArgument = Annotated[
    Path, typer.Argument(metavar="BOARD", help="Board folder (board.toml, parts.csv, ...), or a zip of one.")
]
AreaOption = Annotated[Path, typer.Option("--area", metavar="FILE", help=f"Damaged area: {_AREA}.")]
TypesOption = Annotated[
    list[Path] | None,
    typer.Option(
        "--types", metavar="FILE", help="Part types of your own (TOML), besides the library; may repeat."
    ),
]


def read_bytes(path: Path, expected: str) -> bytes:
    """The bytes of a file.

    Raises:
        InputError: If it cannot be read; names the file, why, and what was expected.
    """
    if path.is_dir():
        raise InputError("is a folder", expected=expected, where=str(path))
    try:
        return read_file(path)
    except InputError as error:
        raise InputError(error.found, expected=expected, where=str(path)) from None


def read_text(path: Path, expected: str) -> str:
    """The text of a file; as ``read_bytes``, and no binary data."""
    return decode_text(read_bytes(path, expected), str(path))


def read_area(path: Path) -> bytes:
    """The bytes of a damaged area."""
    return read_bytes(path, f"a damaged area: {_AREA}")


def library_with(types: Iterable[Path] | None) -> PartLibrary:
    """The standard part-type library with the given TOML files added."""
    library = standard_library()
    for path in types or ():
        more = parse_part_types(read_text(path, "part types (TOML)"), str(path))
        library = library.extended(more.values())
    return library


def board_at(path: Path) -> Board:
    """The board in a folder or zip."""
    return load_board(path)


def write_new(path: Path, make: Callable[[], bytes]) -> bytes:
    """Write what ``make`` returns, whole or not at all; a place that cannot be written is told before the work.

    Raises:
        InputError: If ``path`` is a folder, or lies in none.
        RecordError: If the disk refuses.
    """
    refuse_unwritable(path)
    data = make()
    write_atomically(path, data)
    return data


def refuse_unwritable(path: Path) -> None:
    """Refuse a folder, or a place in no folder, before any work is done.

    Raises:
        InputError: Names the path and what was expected.
    """
    if path.is_dir():
        raise InputError("is a folder", expected="the name of a file to write", where=str(path))
    if not path.parent.is_dir():
        raise InputError(f"there is no folder {path.parent} to write it in", where=str(path))
