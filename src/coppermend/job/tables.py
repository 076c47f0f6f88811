"""The tables of the record and the engine that opens them durably. Knows no rules about jobs.

Every acknowledged commit is on the disk: SQLite runs in WAL mode with full synchronisation. Entries can
only be added: triggers refuse to change or delete them.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import (
    DDL,
    JSON,
    Column,
    Connection,
    DateTime,
    Dialect,
    Engine,
    ForeignKey,
    Integer,
    MetaData,
    String,
    Table,
    TypeDecorator,
    UniqueConstraint,
    create_engine,
    event,
    insert,
    select,
)
from sqlalchemy.engine import URL
from sqlalchemy.exc import DBAPIError, IntegrityError

from coppermend.errors import RecordError
from coppermend.job.plain import from_json_text, to_json_text

SCHEMA = 1
BUSY_TIMEOUT_S = 30


class Utc(TypeDecorator[datetime]):
    """A moment with its time zone, kept in UTC; SQLite itself would forget the zone."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Into the database: UTC."""
        return value.astimezone(UTC) if value is not None else None

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Out of the database: aware."""
        return value and (value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC))


metadata = MetaData()

meta = Table(
    "meta", metadata, Column("key", String, primary_key=True), Column("value", String, nullable=False)
)

job = Table(
    "job",
    metadata,
    Column("number", String, primary_key=True),
    Column("year", Integer, nullable=False),
    Column("counter", Integer, nullable=False),
    Column("created", Utc, nullable=False),
    UniqueConstraint("year", "counter"),
)

entry = Table(
    "entry",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("job", ForeignKey("job.number"), nullable=False),
    Column("seq", Integer, nullable=False),
    Column("at", Utc, nullable=False),
    Column("who", String, nullable=False),
    Column("stage", String, nullable=False),
    Column("kind", String, nullable=False, index=True),
    Column("body", JSON, nullable=False),
    UniqueConstraint("job", "seq"),
)

attachment = Table(
    "attachment",
    metadata,
    Column("sha256", String, primary_key=True),
    Column("size", Integer, nullable=False),
    Column("media_type", String, nullable=False),
    Column("name", String, nullable=False),
    Column("added", Utc, nullable=False),
)

board = Table(
    "board",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String, nullable=False, index=True),
    Column("sha256", ForeignKey("attachment.sha256"), nullable=False),
    Column("added", Utc, nullable=False),
)

reference_image = Table(
    "reference_image",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String, nullable=False),
    Column("sums", JSON, nullable=False),
    Column("note", String, nullable=False),
    Column("who", String, nullable=False),
    Column("added", Utc, nullable=False),
)

for _verb in ("UPDATE", "DELETE"):
    _trigger = DDL(  # type: ignore[no-untyped-call]
        f"CREATE TRIGGER entry_no_{_verb.lower()} BEFORE {_verb} ON entry "
        "BEGIN SELECT RAISE(ABORT, 'entries are only ever added'); END"
    )
    event.listen(entry, "after_create", _trigger.execute_if(dialect="sqlite"))


def open_engine(path: Path) -> Engine:
    """An engine on the SQLite file at ``path``; nothing is created before ``create_tables``."""
    engine = create_engine(
        URL.create("sqlite", database=str(path)),
        json_serializer=to_json_text,
        json_deserializer=from_json_text,
        connect_args={"timeout": BUSY_TIMEOUT_S},
    )
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    return engine


def _prepare(connection: Any, _: object) -> None:
    # The driver's own transactions start too late for BEGIN IMMEDIATE: we begin them in _begin.
    connection.isolation_level = None
    for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON"):
        connection.execute(f"PRAGMA {pragma}").close()


def _begin(connection: Connection) -> None:
    # A writer takes its lock first: reading first and writing then fails at once when another one wrote.
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """A connection that sees one moment of the record.

    Raises:
        RecordError: If the database cannot be read.
    """
    with _clear_database_errors(engine), engine.connect() as connection:
        yield connection


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """A transaction that is on the disk when the block ends without an error.

    Raises:
        RecordError: If the database cannot be written: locked for long, disk full, read-only, damaged.
        IntegrityError: If a constraint is violated (the caller's affair).
    """
    writer = engine.execution_options(writes=True)
    with _clear_database_errors(engine), writer.begin() as connection:
        yield connection


@contextmanager
def _clear_database_errors(engine: Engine) -> Iterator[None]:
    try:
        yield
    except IntegrityError:
        raise
    except DBAPIError as error:
        raise RecordError(f"the record's database refuses: {error.orig} ({engine.url.database})") from error


def create_tables(engine: Engine) -> None:
    """Create what is missing, safely when several programs start at once.

    Raises:
        RecordError: If the database belongs to a newer version of the program, or cannot be written.
    """
    with writing(engine) as connection:
        metadata.create_all(connection)
        found = connection.execute(select(meta.c.value).where(meta.c.key == "schema")).scalar()
        if found is None:
            connection.execute(insert(meta).values(key="schema", value=str(SCHEMA)))
        elif found != str(SCHEMA):
            raise RecordError(
                f"the record has schema {found}, this program knows {SCHEMA}; use a newer version"
            )
