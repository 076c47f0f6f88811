"""Reading a backup or an export member by member, and holding every byte of it against its manifest."""

from __future__ import annotations

import hashlib
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

from coppermend.errors import InputError
from coppermend.job.export_csv import lines_of_csv
from coppermend.job.manifest import MANIFEST, Kept, parse_manifest
from coppermend.underway import told

_UNREADABLE = (zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError, NotImplementedError)


class Reader(Protocol):
    """The members of a backup or of an export."""

    def __enter__(self) -> Reader: ...
    def __exit__(self, *_: object) -> None: ...
    def names(self) -> list[str]:
        """Every member but the documents for people."""

    def pieces(self, name: str) -> Iterator[bytes]:
        """A member, line by line."""

    def whole(self, name: str) -> bytes:
        """A member in one piece."""


class _ReadZip:
    def __init__(self, archive: zipfile.ZipFile) -> None:
        self.archive = archive

    def __enter__(self) -> _ReadZip:
        return self

    def __exit__(self, *_: object) -> None:
        self.archive.close()

    def names(self) -> list[str]:
        return self.archive.namelist()

    def pieces(self, name: str) -> Iterator[bytes]:
        with self.archive.open(name) as member:
            yield from member

    def whole(self, name: str) -> bytes:
        return b"".join(self.pieces(name))


class _ReadFolder:
    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def __enter__(self) -> _ReadFolder:
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def names(self) -> list[str]:
        found = (p.relative_to(self.folder).as_posix() for p in self.folder.rglob("*") if p.is_file())
        kept = {n for n in found if n == MANIFEST or n.startswith(("tables/", "attachments/"))}
        return sorted({_as_lines(n) for n in kept})

    def pieces(self, name: str) -> Iterator[bytes]:
        table = self.folder / name
        if name.startswith("tables/") and not table.is_file():
            path = table.with_suffix(".csv")
            with path.open(encoding="utf-8", newline="") as text:
                yield from lines_of_csv(text, table.stem, str(path))
            return
        with (self.folder / name).open("rb") as file:
            yield from file

    def whole(self, name: str) -> bytes:
        return (self.folder / name).read_bytes()


def _as_lines(name: str) -> str:
    """The member that a file of the folder stands for: a table's CSV for its JSON lines."""
    return f"{name.removesuffix('.csv').removesuffix('.jsonl')}.jsonl" if name.startswith("tables/") else name


def reader_of(path: Path) -> Reader:
    """The members of the zip archive or the folder at ``path``.

    Raises:
        InputError: If there is none.
    """
    if path.is_dir():
        return _ReadFolder(path)
    if not path.is_file():
        raise InputError("no such file", expected="a backup or a folder of an export", where=str(path))
    try:
        return _ReadZip(zipfile.ZipFile(path))
    except _UNREADABLE as error:
        raise InputError(f"is no backup, or damaged: {error}", where=str(path)) from None


def check(read: Reader, where: str) -> Kept:
    """Hold every member against the manifest, and the manifest against itself.

    Raises:
        InputError: If any byte is not what was written; the damaged member is named.
    """
    try:
        data = read.whole(MANIFEST)
    except (*_UNREADABLE, KeyError) as error:  # KeyError: the archive has no such member
        raise InputError(f"{MANIFEST} cannot be read: {error}", expected="a backup", where=where) from None
    kept, expected = parse_manifest(data, where)
    missing = sorted(set(expected) - set(read.names()))
    if missing:
        raise InputError(f"lacks {missing[0]}", expected="all that its manifest names", where=where)
    for name, sha256 in told(expected.items(), len(expected), "Reading it back"):
        digest = hashlib.sha256()
        try:
            for piece in read.pieces(name):
                digest.update(piece)
        except _UNREADABLE as error:
            raise InputError(f"{name} is damaged: {error}", where=where) from None
        if digest.hexdigest() != sha256:
            raise InputError(f"{name} is damaged: it is not what was written", where=where)
    return kept
