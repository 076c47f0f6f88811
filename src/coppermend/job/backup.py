"""The whole record as one file or folder of open formats, and back again: backup, restore, export, import.

A backup is a zip, an export the same laid out in a folder: ``manifest.json``, one ``tables/NAME.jsonl`` per table (one
JSON object a row, in the order of its key), ``attachments/ab/abcd...``. It does not matter which database it came from.
"""

from __future__ import annotations

import json
import os
import shutil
import zipfile
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, DateTime, insert, literal, select, text
from sqlalchemy import table as named

from coppermend.errors import InputError, RecordError
from coppermend.job import cards, comebacks, learnt, tables
from coppermend.job.atomic import clear_disk_errors, sync_folder, temporary_sibling
from coppermend.job.export_csv import csv_of_lines
from coppermend.job.layout import (
    AT_ONCE,
    FolderTarget,
    Nowhere,
    ZipTarget,
    all_tables,
    columns_of,
    lay_out,
    table_names,
)
from coppermend.job.manifest import MANIFEST, Kept
from coppermend.job.readback import Reader, check, reader_of
from coppermend.job.store import Store, now
from coppermend.underway import tell, told, unheard

LAST_BACKUP = "backup"


def record_digest(store: Store) -> Kept:
    """The digest of the whole record as it is now, attachments read back.

    Raises:
        RecordError: If an attachment is missing or damaged.
    """
    return lay_out(store, Nowhere())


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
                kept = lay_out(store, ZipTarget(archive))
            file.flush()
            os.fsync(file.fileno())
        with reader_of(scratch) as read:
            checked = check(read, str(path))
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
    made = not folder.exists()
    scratch = temporary_sibling(
        folder / "export"
    )  # inside, since the folder may be the top of a disk of its own
    try:
        with clear_disk_errors(f"write the export {folder}"):
            scratch.mkdir(parents=True)
            kept = _lay_out_to_read(store, scratch)
            # The manifest comes last: without it the folder is no export yet.
            for path in sorted(scratch.iterdir(), key=lambda path: path.name == MANIFEST):
                path.rename(folder / path.name)
            scratch.rmdir()
    except BaseException:
        shutil.rmtree(folder if made else scratch, ignore_errors=True)
        raise
    return kept


def _lay_out_to_read(store: Store, folder: Path) -> Kept:
    kept = lay_out(store, FolderTarget(folder))
    for name, columns in columns_of(store).items():
        lines = folder / "tables" / f"{name}.jsonl"
        with lines.open("rb") as source, (folder / "tables" / f"{name}.csv").open("xb") as target:
            target.writelines(csv_of_lines(source, columns))
    (folder / "jobs").mkdir()
    jobs = store.jobs()
    for job in told(jobs, len(jobs), "Writing each job"):
        document = json.dumps(store.export_job(job.number), ensure_ascii=False, indent=2)
        (folder / "jobs" / f"{job.number}.json").write_text(document, encoding="utf-8")
    return kept


def check_backup(path: Path) -> Kept:
    """Read a backup or an export back whole.

    Raises:
        InputError: If it is none, or any byte of it is not what was written; the damaged part is named.
    """
    with reader_of(path) as read:
        return check(read, str(path))


def restore(path: Path, folder: Path, database: str | None = None) -> Kept:
    """Make the record in ``folder`` from a backup or an export; only where there is none yet.

    Raises:
        InputError: If the backup is damaged or of a newer version.
        RecordError: If there is a record already, or the disk refuses.
    """
    with reader_of(path) as read:
        checked = check(read, str(path))
        with Store.open(folder, database) as store:
            _refuse_existing(store, folder)
            put: list[str] = []
            try:
                files = [name for name in read.names() if name.startswith("attachments/")]
                for name in told(files, len(files), "Bringing photos and papers back"):
                    put.append(store.files.put(read.whole(name)))
                with tables.writing(store.engine) as connection:
                    _fill(connection, read, checked.entries)
                    tell(checked.entries, checked.entries, "Bringing the tables back")
                    cards.rebuild(connection)
                    comebacks.rebuild(connection)
                    learnt.rebuild(connection)
            except BaseException:
                for sha256 in put:  # no row names them, and the folder was free of others
                    store.files.path(sha256).unlink(missing_ok=True)
                raise
            with unheard():  # from here on it is kept
                tables.settle(store.engine)
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


def what_stands(store: Store) -> tuple[str, ...]:
    """The tables that hold anything, be it only people who may sign in or the shop's settings; () in a record to restore into."""
    with tables.reading(store.engine) as connection:
        return tuple(
            name
            for name in table_names(connection)
            if connection.execute(select(literal(1)).select_from(named(name)).limit(1)).first() is not None
        )


def _refuse_existing(store: Store, folder: Path) -> None:
    if standing := what_stands(store):
        raise RecordError(
            f"there is a record in {folder} already (its table {standing[0]} is not empty), and nothing is "
            "ever restored over one; give a new folder with --data, or move that one away first"
        )


def _fill(connection: Connection, read: Reader, most: int) -> None:
    names = set(read.names())
    for table in all_tables(connection):
        name = f"tables/{table.name}.jsonl"
        if name not in names:
            continue  # of a version before there was this table
        moments = [column.name for column in table.columns if isinstance(column.type, DateTime)]
        batch: list[dict[str, Any]] = []
        for line in told(read.pieces(name), most, "Bringing the tables back", every=AT_ONCE):
            row = json.loads(line)
            row |= {key: datetime.fromisoformat(row[key]) for key in moments if row.get(key)}
            batch.append(row)
            if len(batch) == AT_ONCE:
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
