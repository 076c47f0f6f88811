"""Board folders and archives on disk: read whole or not at all, written whole or not at all."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from pathlib import Path

from coppermend.board.folder import format_board_folder, parse_board_folder
from coppermend.board.model import Board
from coppermend.errors import InputError, RecordError
from coppermend.job.archive import BOARD_FILES, LARGEST_FILE_BYTES, board_archive, read_board_archive
from coppermend.job.atomic import (
    clear_disk_errors,
    sync_folder,
    temporary_sibling,
    write_atomically,
    write_durably,
)

__all__ = [
    "board_archive",
    "load_board",
    "read_board_archive",
    "read_file",
    "read_folder",
    "save_board",
    "write_atomically",
]


def load_board(path: Path) -> Board:
    """The board in a board folder, or in a zip of one.

    Raises:
        InputError: If there is no such folder or file, it cannot be read, or it holds no valid board.
    """
    place = _set_aside(path) if not path.exists() and _set_aside(path).is_dir() else path
    if place.is_file():
        return read_board_archive(read_file(place), str(path))
    return parse_board_folder(read_folder(place, str(path)), str(path))


def read_folder(folder: Path, where: str = "") -> dict[str, bytes]:
    """The known files of a board folder, by name; optional ones may be absent.

    Raises:
        InputError: If the folder or its board.toml is missing, or a file cannot be read.
    """
    where = where or str(folder)
    if not folder.is_dir():
        raise InputError("no such board folder", expected="a folder with board.toml", where=where)
    found = {name: read_file(folder / name) for name in BOARD_FILES if (folder / name).exists()}
    if "board.toml" not in found:
        raise InputError("has no board.toml, so it is no board folder", where=where)
    return found


def read_file(path: Path, largest_bytes: int = LARGEST_FILE_BYTES) -> bytes:
    """The content of a plain file.

    Raises:
        InputError: If it is missing, no plain file (a pipe would hang), unreadable, or too large.
    """
    try:
        if not path.is_file():
            raise InputError("no such file" if not path.exists() else "is no plain file", where=str(path))
        with path.open("rb") as file:
            data = file.read(largest_bytes + 1)
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", where=str(path)) from None
    if len(data) > largest_bytes:
        raise InputError(f"is larger than {largest_bytes:,} bytes", where=str(path))
    return data


def save_board(board: Board, path: Path) -> None:
    """Write a board folder; at every moment ``path`` is the whole old or the whole new one.

    A folder that is replaced keeps its other files (pictures, notes).

    Raises:
        RecordError: If ``path`` is something else than a board folder or an empty folder, or the disk refuses.
    """
    files = {name: text.encode("utf-8") for name, text in format_board_folder(board).items()}
    with clear_disk_errors(f"write the board folder {path}"):
        path.parent.mkdir(parents=True, exist_ok=True)
        _finish_earlier_save(path)
        _refuse_foreign(path)
        scratch = temporary_sibling(path)
        try:
            _write_folder(scratch, files, path)
            _swap(scratch, path)
        finally:
            shutil.rmtree(scratch, ignore_errors=True)


def _set_aside(path: Path) -> Path:
    """Where the old folder waits during the swap; readers look here when ``path`` is missing."""
    return path.with_name(f".{path.name}.replaced")


def _finish_earlier_save(path: Path) -> None:
    aside = _set_aside(path)
    if aside.is_dir():
        if path.exists():
            shutil.rmtree(aside)
        else:
            aside.rename(path)


def _refuse_foreign(path: Path) -> None:
    if path.is_symlink() or (path.exists() and not path.is_dir()):
        raise RecordError(f"{path} is no folder, so it is not overwritten; choose another place")
    if path.is_dir() and any(path.iterdir()) and not (path / "board.toml").is_file():
        raise RecordError(
            f"{path} holds other things than a board, so it is not overwritten; choose another place"
        )


def _write_folder(scratch: Path, files: Mapping[str, bytes], path: Path) -> None:
    scratch.mkdir()
    for name, data in files.items():
        write_durably(scratch / name, data)
    if path.is_dir():
        for other in path.iterdir():
            if other.name not in BOARD_FILES:
                _copy(other, scratch / other.name)
    sync_folder(scratch)


def _copy(source: Path, target: Path) -> None:
    if source.is_dir() and not source.is_symlink():
        shutil.copytree(source, target, symlinks=True)
    else:
        shutil.copy2(source, target, follow_symlinks=False)


def _swap(scratch: Path, path: Path) -> None:
    aside = _set_aside(path)
    replaced = path.is_dir()
    if replaced:
        path.rename(aside)
    try:
        scratch.rename(path)
    except OSError:
        if replaced:
            aside.rename(path)
        raise
    sync_folder(path.parent)
    shutil.rmtree(aside, ignore_errors=True)
