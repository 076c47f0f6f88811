"""Reading the whole record back to see whether it is still what was written. Repairs nothing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

from sqlalchemy import Connection, Engine, func, select

from coppermend.errors import CoppermendError, RecordError
from coppermend.job import tables
from coppermend.job.attachments import AttachmentFiles
from coppermend.underway import tell, told

Code = Literal["database", "sequence", "missing", "damaged", "size", "unknown attachment"]


@dataclass(frozen=True, slots=True)
class Trouble:
    """One thing that is wrong: a code, what it is about (job number or SHA-256), and one line of words."""

    code: Code
    subject: str
    message: str

    def to_json(self) -> dict[str, Any]:
        """Keys code, subject, message."""
        return {"code": self.code, "subject": self.subject, "message": self.message}


def verify(engine: Engine, files: AttachmentFiles) -> tuple[Trouble, ...]:
    """Check the database's own structure, gapless entries, and every attachment's content against its name.

    A file that no row names is no trouble: it is an attachment whose writer was stopped before it was
    acknowledged.
    """
    troubles: list[Trouble] = []
    try:
        with tables.reading(engine) as connection:
            for number, look in enumerate((_database, _sequences, _references)):
                tell(number, 3, "Reading the record back")
                troubles += look(connection)
            troubles += _attachments(connection, files)
    except RecordError as error:  # too damaged to be read on
        troubles.append(Trouble("database", "", str(error)))
    return tuple(troubles)


def _database(connection: Connection) -> Iterator[Trouble]:
    if tables.is_postgresql(connection):
        for setting in ("fsync", "full_page_writes"):
            if connection.exec_driver_sql(f"SHOW {setting}").scalar() != "on":
                message = f"the server runs without {setting}: a power cut may lose what was acknowledged"
                yield Trouble("database", "", message)
    if connection.dialect.name == "sqlite":
        for (line,) in connection.exec_driver_sql("PRAGMA integrity_check"):
            if line != "ok":
                yield Trouble("database", "", str(line))
        for table, row, parent, _ in connection.exec_driver_sql("PRAGMA foreign_key_check"):
            yield Trouble("database", str(table), f"row {row} of {table} names a missing {parent}")


def _sequences(connection: Connection) -> Iterator[Trouble]:
    entry = tables.entry.c
    query = (
        select(tables.job.c.number, func.count(entry.id), func.min(entry.seq), func.max(entry.seq))
        .outerjoin(tables.entry, entry.job == tables.job.c.number)
        .group_by(tables.job.c.number)
    )
    for number, count, first, last in connection.execute(query):
        if not count or first != 1 or last != count:
            message = f"job {number} has {count} entries, numbered {first} to {last}"
            yield Trouble("sequence", number, message)


def _references(connection: Connection) -> Iterator[Trouble]:
    known = set(connection.scalars(select(tables.attachment.c.sha256)))
    query = select(tables.entry.c.job, tables.entry.c.seq, tables.entry.c.body["sha256"].as_string())
    for number, seq, sha256 in connection.execute(query.order_by(tables.entry.c.id)):
        if sha256 and sha256 not in known:
            message = f"entry {seq} of job {number} names attachment {sha256}, which is not kept"
            yield Trouble("unknown attachment", sha256, message)


def _attachments(connection: Connection, files: AttachmentFiles) -> Iterator[Trouble]:
    table = tables.attachment.c
    rows = connection.execute(select(table.sha256, table.size, table.name)).all()
    for sha256, size, name in told(rows, len(rows), "Reading photos and papers back"):
        if not files.path(sha256).is_file():
            yield Trouble("missing", sha256, f"attachment {sha256} ({name}) is missing on disk")
            continue
        try:
            data = files.get(sha256)
        except CoppermendError as error:
            yield Trouble("damaged", sha256, f"{error} ({name})")
            continue
        if len(data) != size:
            yield Trouble("size", sha256, f"attachment {sha256} ({name}) is recorded with {size} bytes")
