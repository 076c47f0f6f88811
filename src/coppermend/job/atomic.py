"""Writing files so that a reader, a power cut or a kill never sees half of one. Knows no formats."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from coppermend.errors import RecordError

TEMPORARY = ".tmp"


@contextmanager
def clear_disk_errors(doing: str) -> Iterator[None]:
    """Turn an error of the operating system into one clear line: a full disk, a read-only folder.

    Raises:
        RecordError: In place of any OSError inside.
    """
    try:
        yield
    except OSError as error:
        raise RecordError(f"cannot {doing}: {error.strerror or error}") from error


def sync_folder(folder: Path) -> None:
    """Make the folder's list of names durable (a rename is only safe after this)."""
    if not hasattr(os, "O_DIRECTORY"):  # pragma: no cover  (Windows keeps names durable by itself)
        return
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def write_durably(path: Path, data: bytes) -> None:
    """Write a new file and wait until the disk has it; fails when the file exists."""
    with path.open("xb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def temporary_sibling(path: Path) -> Path:
    """A name beside ``path`` that nobody else uses, hidden, ending in ``.tmp``."""
    return path.with_name(f".{path.name}.{secrets.token_hex(6)}{TEMPORARY}")


def write_atomically(path: Path, data: bytes) -> None:
    """Replace the file at ``path`` by ``data``: afterwards it is whole and durable, before it was untouched.

    Raises:
        RecordError: If the disk refuses; the old file is then unchanged.
    """
    scratch = temporary_sibling(path)
    with clear_disk_errors(f"write {path}"):
        try:
            write_durably(scratch, data)
            scratch.replace(path)
        except BaseException:
            scratch.unlink(missing_ok=True)
            raise
        sync_folder(path.parent)
