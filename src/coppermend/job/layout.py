"""Laying a record out in members: one of JSON lines for every table, every attachment, the manifest."""

from __future__ import annotations

import hashlib
import zipfile
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Protocol

from sqlalchemy import Connection, MetaData, Table, func, inspect, select

from coppermend.job import tables
from coppermend.job.manifest import MANIFEST, Kept, digest_of, manifest_of
from coppermend.job.plain import to_json_text
from coppermend.job.store import Store, now
from coppermend.underway import told

AT_ONCE = 1000  # rows held in memory
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


class Target(Protocol):
    def add(self, name: str, pieces: Iterable[bytes]) -> str:
        """Write a member and return its SHA-256."""


class Nowhere:
    """Keeps nothing: for the digest alone."""

    def add(self, name: str, pieces: Iterable[bytes]) -> str:
        """Write a member and return its SHA-256."""
        digest = hashlib.sha256()
        for piece in pieces:
            digest.update(piece)
        return digest.hexdigest()


class ZipTarget:
    """Members of a zip archive."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self.archive = archive

    def add(self, name: str, pieces: Iterable[bytes]) -> str:
        """Write a member and return its SHA-256."""
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


class FolderTarget:
    """Files of a folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def add(self, name: str, pieces: Iterable[bytes]) -> str:
        """Write a member and return its SHA-256."""
        digest, path = hashlib.sha256(), self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("xb") as file:
            for piece in pieces:
                digest.update(piece)
                file.write(piece)
        return digest.hexdigest()


def all_tables(connection: Connection) -> list[Table]:
    """Every table of the record that belongs in a backup, those that others refer to first."""
    found = MetaData()
    found.reflect(connection, only=lambda name, _: _is_kept(name))
    return list(found.sorted_tables)


def table_names(connection: Connection) -> list[str]:
    """Names of the same tables in the order of the alphabet, without looking at their columns."""
    return sorted(filter(_is_kept, inspect(connection).get_table_names()))


def _is_kept(name: str) -> bool:
    return name not in _LEFT_OUT and not name.startswith(("words_index", "sqlite_"))


def columns_of(store: Store) -> dict[str, list[str]]:
    """Names of every table's columns."""
    with tables.reading(store.engine) as connection:
        return {table.name: list(table.columns.keys()) for table in all_tables(connection)}


def lay_out(store: Store, target: Target) -> Kept:
    """Write every member of the record as it is at one moment, while others may write on.

    Raises:
        RecordError: If an attachment is missing or damaged.
    """
    sums: dict[str, str] = {}
    with tables.reading(store.engine) as connection:
        counts = {}
        for table in all_tables(connection):
            name = f"tables/{table.name}.jsonl"
            counts[table.name] = connection.scalar(select(func.count()).select_from(table)) or 0
            lines = told(_lines(connection, table), counts[table.name], "Writing the tables", every=AT_ONCE)
            sums[name] = target.add(name, lines)
        shas = connection.scalars(
            select(tables.attachment.c.sha256).order_by(tables.attachment.c.sha256)
        ).all()
    # Files never change, so they need no open transaction.
    for sha256 in told(shas, len(shas), "Writing photos and papers"):
        name = f"attachments/{sha256[:2]}/{sha256}"
        sums[name] = target.add(name, (store.files.get(sha256),))
    kept = Kept(digest_of(sums), counts["job"], counts["entry"], len(shas))
    target.add(MANIFEST, (manifest_of(kept, sums, now()),))
    return kept


def _lines(connection: Connection, table: Table) -> Iterator[bytes]:
    query = select(table).order_by(*table.primary_key.columns).execution_options(yield_per=AT_ONCE)
    for row in connection.execute(query).mappings():
        yield to_json_text({key: _out(value) for key, value in row.items()}).encode() + b"\n"


def _out(value: Any) -> Any:
    if isinstance(value, datetime):
        aware = value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)
        return aware.isoformat()
    return value
