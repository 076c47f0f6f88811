"""The whole record as one file or folder of open formats, and back again: backup, restore, export, import.

A backup is a zip, an export the same laid out in a folder: ``manifest.json``, one ``tables/NAME.jsonl`` per table (one
JSON object a row, in the order of its key), ``attachments/ab/abcd...``. It does not matter which database it came from.
"""

from __future__ import annotations

import hashlib
import json
import os
import zipfile
import zlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Protocol

from sqlalchemy import Connection, DateTime, MetaData, Table, func, insert, select, text

from coppermend.errors import InputError, RecordError
from coppermend.job import cards, comebacks, learnt, tables
from coppermend.job.atomic import clear_disk_errors, sync_folder, temporary_sibling
from coppermend.job.attachments import sha256_of
from coppermend.job.export_csv import csv_of_lines, lines_of_csv
from coppermend.job.migrate import REVISIONS
from coppermend.job.plain import to_json_text
from coppermend.job.store import Store, now

FORMAT, FORMAT_VERSION = "coppermend record", 1
MANIFEST, LAST_BACKUP = "manifest.json", "backup"
# Derived from entries, about this database alone, or of no use elsewhere.
_LEFT_OUT = frozenset(
    (
        "meta",
        "alembic_version",
        "card",
        "job_words",
        "word",
        "gram",
        "feature",
        "signed_in",
        "comeback",
        "lesson",
        "lesson_remedy",
        "lesson_stage",
    )
)
_AT_ONCE = 1000
_UNREADABLE = (zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError, NotImplementedError)


@dataclass(frozen=True, slots=True)
class Kept:
    """What a backup or an export holds; ``digest`` is the same for equal records, wherever they are kept."""

    digest: str
    jobs: int
    entries: int
    attachments: int

    def to_json(self) -> dict[str, Any]:
        """The fields by name."""
        return {
            "digest": self.digest, "jobs": self.jobs, "entries": self.entries, "attachments": self.attachments,
        }  # fmt: skip


class _Target(Protocol):
    def add(self, name: str, pieces: Iterable[bytes]) -> str:
        """Write a member and return its SHA-256."""


class _Nowhere:
    def add(self, name: str, pieces: Iterable[bytes]) -> str:
        digest = hashlib.sha256()
        for piece in pieces:
            digest.update(piece)
        return digest.hexdigest()


class _Zip:
    def __init__(self, archive: zipfile.ZipFile) -> None:
        self.archive = archive

    def add(self, name: str, pieces: Iterable[bytes]) -> str:
        digest = hashlib.sha256()
        # Attachments are mostly pictures, which deflate would only slow down.
        method = zipfile.ZIP_STORED if name.startswith("attachments/") else zipfile.ZIP_DEFLATED
        info = zipfile.ZipInfo(name)
        info.compress_type = method
        with self.archive.open(info, "w", force_zip64=True) as member:
            for piece in pieces:
                digest.update(piece)
                member.write(piece)
        return digest.hexdigest()


class _Folder:
    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def add(self, name: str, pieces: Iterable[bytes]) -> str:
        digest, path = hashlib.sha256(), self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("xb") as file:
            for piece in pieces:
                digest.update(piece)
                file.write(piece)
        return digest.hexdigest()


def record_digest(store: Store) -> Kept:
    """The digest of the whole record as it is now, attachments read back.

    Raises:
        RecordError: If an attachment is missing or damaged.
    """
    return _write(store, _Nowhere())


def backup(store: Store, path: Path) -> Kept:
    """Write the whole record to one new file, consistent while others write, and read it back before it counts.

    Raises:
        InputError: If there is a file of that name already.
        RecordError: If the disk refuses, or an attachment is damaged.
    """
    if path.exists():
        raise InputError(
            "there is a file of that name already", expected="a new name for the backup", where=str(path)
        )
    scratch = temporary_sibling(path)
    try:
        with clear_disk_errors(f"write the backup {path}"), scratch.open("xb") as file:
            with zipfile.ZipFile(file, "w") as archive:
                kept = _write(store, _Zip(archive))
            file.flush()
            os.fsync(file.fileno())
        with _reader(scratch) as read:
            checked = _check(read, str(path))
        if checked != kept:
            raise RecordError(f"the backup {path} read back is not what was written; nothing is kept of it")
        with clear_disk_errors(f"write the backup {path}"):
            scratch.rename(path)
            sync_folder(path.parent)
    finally:
        scratch.unlink(missing_ok=True)
    _note_backup(store)
    return kept


def export(store: Store, folder: Path) -> Kept:
    """Lay the whole record out in a new folder, each job as one JSON document, tables as JSON lines and as CSV beside.

    It can be restored from, with the JSON lines or, where those are missing, from the CSV.

    Raises:
        InputError: If the folder is there already and not empty.
        RecordError: If the disk refuses, or an attachment is damaged.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError("is there already and not empty", expected="a new folder", where=str(folder))
    with clear_disk_errors(f"write the export {folder}"):
        folder.mkdir(parents=True, exist_ok=True)
        kept = _write(store, _Folder(folder))
        for name, columns in _columns(store).items():
            lines = folder / "tables" / f"{name}.jsonl"
            with lines.open("rb") as source, (folder / "tables" / f"{name}.csv").open("xb") as target:
                target.writelines(csv_of_lines(source, columns))
        (folder / "jobs").mkdir()
        for job in store.jobs():
            document = json.dumps(store.export_job(job.number), ensure_ascii=False, indent=2)
            (folder / "jobs" / f"{job.number}.json").write_text(document, encoding="utf-8")
    return kept


def check_backup(path: Path) -> Kept:
    """Read a backup or an export back whole.

    Raises:
        InputError: If it is none, or any byte of it is not what was written; the damaged part is named.
    """
    with _reader(path) as read:
        return _check(read, str(path))


def restore(path: Path, folder: Path, database: str | None = None) -> Kept:
    """Make the record in ``folder`` from a backup or an export; only where there is none yet.

    Raises:
        InputError: If the backup is damaged or of a newer version.
        RecordError: If there is a record already, or the disk refuses.
    """
    with _reader(path) as read:
        checked = _check(read, str(path))
        with Store.open(folder, database) as store:
            _refuse_existing(store, folder)
            for name in read.names():
                if name.startswith("attachments/"):
                    store.files.put(read.whole(name))
            with tables.writing(store.engine) as connection:
                _fill(connection, read)
                cards.rebuild(connection)
                comebacks.rebuild(connection)
                learnt.rebuild(connection)
            restored = record_digest(store)
    if restored != checked:
        raise RecordError(f"the record in {folder} is not what the backup {path} holds; use another disk")
    return restored


def last_backup(store: Store) -> datetime | None:
    """When a backup was last made; None for never."""
    query = select(tables.meta.c.value).where(tables.meta.c.key == LAST_BACKUP)
    with tables.reading(store.engine) as connection:
        noted = connection.scalar(query)
    return datetime.fromisoformat(noted) if noted else None


def backup_is_due(store: Store, days: int) -> bool:
    """Whether there is something to lose and the last backup is older than ``days`` days."""
    if not store.jobs(1):
        return False
    last = last_backup(store)
    return last is None or (now() - last).days >= days


def _note_backup(store: Store) -> None:
    meta = tables.meta
    with tables.writing(store.engine) as connection:
        connection.execute(meta.delete().where(meta.c.key == LAST_BACKUP))
        connection.execute(insert(meta).values(key=LAST_BACKUP, value=now().isoformat()))


def _refuse_existing(store: Store, folder: Path) -> None:
    with tables.reading(store.engine) as connection:
        found = connection.scalar(select(func.count()).select_from(tables.attachment))
        found = found or connection.scalar(select(func.count()).select_from(tables.job))
    if found:
        raise RecordError(
            f"there is a record in {folder} already, and nothing is ever restored over one; "
            "give a new folder with --data, or move that one away first"
        )


def _all_tables(connection: Connection) -> list[Table]:
    """Every table of the record that belongs in a backup, those that others refer to first."""
    found = MetaData()
    found.reflect(
        connection,
        only=lambda name, _: name not in _LEFT_OUT and not name.startswith(("words_index", "sqlite_")),
    )
    return list(found.sorted_tables)


def _columns(store: Store) -> dict[str, list[str]]:
    """Names of every table's columns."""
    with tables.reading(store.engine) as connection:
        return {table.name: list(table.columns.keys()) for table in _all_tables(connection)}


def _write(store: Store, target: _Target) -> Kept:
    sums: dict[str, str] = {}
    with tables.reading(store.engine) as connection:
        counts = {}
        for table in _all_tables(connection):
            name = f"tables/{table.name}.jsonl"
            sums[name] = target.add(name, _lines(connection, table))
            counts[table.name] = connection.scalar(select(func.count()).select_from(table)) or 0
        shas = connection.scalars(
            select(tables.attachment.c.sha256).order_by(tables.attachment.c.sha256)
        ).all()
    for sha256 in shas:  # files never change, so they need no open transaction
        name = f"attachments/{sha256[:2]}/{sha256}"
        sums[name] = target.add(name, (store.files.get(sha256),))
    kept = Kept(_digest(sums), counts["job"], counts["entry"], len(shas))
    manifest = {
        "format": FORMAT, "version": FORMAT_VERSION, "schema": REVISIONS[-1], "made": now().isoformat(),
        **kept.to_json(), "sha256": sums,
    }  # fmt: skip
    target.add(MANIFEST, (json.dumps(manifest, indent=1).encode(),))
    return kept


def _digest(sums: Mapping[str, str]) -> str:
    return sha256_of("".join(f"{sums[name]}  {name}\n" for name in sorted(sums)).encode())


def _lines(connection: Connection, table: Table) -> Iterator[bytes]:
    query = select(table).order_by(*table.primary_key.columns).execution_options(yield_per=_AT_ONCE)
    for row in connection.execute(query).mappings():
        yield to_json_text({key: _out(value) for key, value in row.items()}).encode() + b"\n"


def _out(value: Any) -> Any:
    if isinstance(value, datetime):
        aware = value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)
        return aware.isoformat()
    return value


class _Read(Protocol):
    def __enter__(self) -> _Read: ...
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


def _reader(path: Path) -> _Read:
    if path.is_dir():
        return _ReadFolder(path)
    if not path.is_file():
        raise InputError("no such file", expected="a backup or a folder of an export", where=str(path))
    try:
        return _ReadZip(zipfile.ZipFile(path))
    except _UNREADABLE as error:
        raise InputError(f"is no backup, or damaged: {error}", where=str(path)) from None


def _check(read: _Read, where: str) -> Kept:
    """Hold every member against the manifest, and the manifest against itself."""
    manifest = _manifest(read, where)
    expected: dict[str, str] = manifest["sha256"]
    missing = sorted(set(expected) - set(read.names()))
    if missing:
        raise InputError(f"lacks {missing[0]}", expected="all that its manifest names", where=where)
    for name, sha256 in expected.items():
        digest = hashlib.sha256()
        try:
            for piece in read.pieces(name):
                digest.update(piece)
        except _UNREADABLE as error:
            raise InputError(f"{name} is damaged: {error}", where=where) from None
        if digest.hexdigest() != sha256:
            raise InputError(f"{name} is damaged: it is not what was written", where=where)
    if _digest(expected) != manifest["digest"]:
        raise InputError(f"{MANIFEST} is damaged: its sums do not fit its digest", where=where)
    return Kept(*(manifest[name] for name in ("digest", "jobs", "entries", "attachments")))


def _manifest(read: _Read, where: str) -> dict[str, Any]:
    try:
        made = json.loads(read.whole(MANIFEST))
        form, version, schema = made["format"], made["version"], made["schema"]
        well_made = isinstance(made["sha256"], dict) and all(
            isinstance(made[name], kind)
            for name, kind in (("digest", str), ("jobs", int), ("entries", int), ("attachments", int))
        )
    except (*_UNREADABLE, ValueError, KeyError, TypeError) as error:
        raise InputError(f"{MANIFEST} cannot be read: {error}", expected="a backup", where=where) from None
    if form != FORMAT or not well_made:
        raise InputError(f"{MANIFEST} is not that of a record", expected="a backup", where=where)
    if version != FORMAT_VERSION or schema not in REVISIONS:
        raise InputError(
            f"was made by a newer version (format {version}, schema {schema})",
            expected=f"at most schema {REVISIONS[-1]}: use a newer version", where=where,
        )  # fmt: skip
    return made  # type: ignore[no-any-return]


def _fill(connection: Connection, read: _Read) -> None:
    names = set(read.names())
    for table in _all_tables(connection):
        name = f"tables/{table.name}.jsonl"
        if name not in names:
            continue  # of a version before there was this table
        moments = [column.name for column in table.columns if isinstance(column.type, DateTime)]
        batch: list[dict[str, Any]] = []
        for line in read.pieces(name):
            row = json.loads(line)
            row |= {key: datetime.fromisoformat(row[key]) for key in moments if row.get(key)}
            batch.append(row)
            if len(batch) == _AT_ONCE:
                connection.execute(insert(table), batch)
                batch = []
        if batch:
            connection.execute(insert(table), batch)
        if tables.is_postgresql(connection) and "id" in table.columns:
            connection.execute(
                text(
                    f"SELECT setval(pg_get_serial_sequence('{table.name}', 'id'), "
                    f"GREATEST((SELECT max(id) FROM {table.name}), 1)) "
                    f"WHERE pg_get_serial_sequence('{table.name}', 'id') IS NOT NULL"
                )
            )
