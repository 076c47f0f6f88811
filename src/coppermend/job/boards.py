"""The library of boards: archives of board folders, kept as attachments under the board's name, newest first."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any

from sqlalchemy import Connection, Select, func, insert, select

from coppermend.board.folder import format_board_folder, parse_board_folder
from coppermend.board.model import Board
from coppermend.errors import InputError
from coppermend.job import tables
from coppermend.job.archive import archive_files, board_archive

MEDIA_TYPE = "application/zip"
_LONGEST_NAME = 150


@dataclass(frozen=True, slots=True)
class BoardRecord:
    """One kept version of a board."""

    name: str
    sha256: str
    added: datetime

    def to_json(self) -> dict[str, Any]:
        """Keys name, sha256, added (ISO 8601, UTC)."""
        return {"name": self.name, "sha256": self.sha256, "added": self.added.isoformat()}


def packed(board: Board | Mapping[str, bytes]) -> tuple[str, bytes]:
    """A board, or a board folder's files, as its name and archive.

    Raises:
        InputError: If the files are no board folder, or the name is empty or longer than 150 characters.
    """
    if isinstance(board, Board):
        name = board.name
        files: Mapping[str, bytes] = {
            file: text.encode("utf-8") for file, text in format_board_folder(board).items()
        }
    else:
        files = board
        name = _board_of(tuple(sorted(files.items())), "board").name
    if not name.strip() or len(name) > _LONGEST_NAME:
        raise InputError(
            f"board is called {name[:40]!r}", expected=f"a name of 1 to {_LONGEST_NAME} characters"
        )
    return name, board_archive(files)


def file_name(name: str) -> str:
    """What the archive of the board called ``name`` is called as a file."""
    return "".join(c if c.isalnum() or c in " ._-" else "-" for c in name) + ".board.zip"


def unpacked(archive: bytes, where: str) -> Board:
    """The board of an archive from the library."""
    return _board_of(tuple(sorted(archive_files(archive, where).items())), where)


@lru_cache(maxsize=16)
def _board_of(files: tuple[tuple[str, bytes], ...], where: str) -> Board:
    """The board of these files; the same object for the same files, so that what is known of it stays known."""
    return parse_board_folder(dict(files), where)


def register(connection: Connection, name: str, sha256: str, added: datetime) -> None:
    """Make ``sha256`` the newest board called ``name``; nothing happens when it is already."""
    latest = history(connection, name)
    if not latest or latest[0].sha256 != sha256:
        connection.execute(insert(tables.board).values(name=name, sha256=sha256, added=added))


def newest(connection: Connection) -> tuple[BoardRecord, ...]:
    """The newest board of every name, by name."""
    last = select(func.max(tables.board.c.id)).group_by(tables.board.c.name)
    return _records(connection, _rows().where(tables.board.c.id.in_(last)).order_by(tables.board.c.name))


def history(connection: Connection, name: str) -> tuple[BoardRecord, ...]:
    """Every version of the board called ``name``, newest first."""
    return _records(connection, _rows().where(tables.board.c.name == name).order_by(tables.board.c.id.desc()))


def _rows() -> Select[Any]:
    return select(tables.board.c.name, tables.board.c.sha256, tables.board.c.added)


def _records(connection: Connection, query: Select[Any]) -> tuple[BoardRecord, ...]:
    return tuple(BoardRecord(*row) for row in connection.execute(query))
