"""The tables of the record, and reading and writing them. Knows no rules about jobs.

The tables as a program sees them; how a database gets them is the affair of ``migrate`` and its steps. Entries can
only be added: triggers refuse to change or delete them.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime

from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    Column,
    Connection,
    DateTime,
    Dialect,
    Engine,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    RowMapping,
    String,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
)
from sqlalchemy.exc import DBAPIError, IntegrityError

from coppermend.errors import RecordError
from coppermend.job.entry import Entry

_AGAIN = frozenset(("40001", "40P01"))  # serialization_failure, deadlock_detected (PostgreSQL, appendix A)


class BusyRecord(RecordError):
    """Two transactions stood in each other's way and this one was dropped whole; it can be repeated."""


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


_KEY = BigInteger().with_variant(Integer, "sqlite")  # year * 10^9 + counter: in the order of job numbers

# Everything from here on but ``erasure`` is derived from the entries, in the transaction that writes them.
card = Table(
    "card",
    metadata,
    Column("key", _KEY, primary_key=True, autoincrement=False),
    Column("number", ForeignKey("job.number"), nullable=False, unique=True),
    Column("created", Utc, nullable=False),
    Column("changed", Utc, nullable=False),
    *(
        Column(name, String, nullable=False)
        for name in (
            "stage",
            "customer",
            "contact",
            "machine",
            "serial",
            "marks",
            "complaint",
            "board",
            "promised",
        )
    ),
    Column("entries", Integer, nullable=False),
    Column("waiting", Integer, nullable=False),
    Column("gone", Boolean, nullable=False),
    *(Column(name, String, nullable=False, index=True) for name in ("owner_key", "serial_key", "marks_key")),
    Index("ix_card_queue", "gone", "promised"),
)

job_words = Table(
    "job_words",
    metadata,
    Column("key", _KEY, primary_key=True, autoincrement=False),
    Column("words", Text, nullable=False),
)

word = Table("word", metadata, Column("word", String, primary_key=True), sqlite_with_rowid=False)

gram = Table(
    "gram",
    metadata,
    Column("gram", String, primary_key=True),
    Column("length", Integer, primary_key=True, autoincrement=False),
    Column("word", String, primary_key=True),
    sqlite_with_rowid=False,
)

feature = Table(
    "feature",
    metadata,
    Column("feature", String, primary_key=True),
    Column("job", String, primary_key=True),
    sqlite_with_rowid=False,
)

# Which job is a later one on the same board.
comeback = Table(
    "comeback",
    metadata,
    Column("earlier", String, primary_key=True),
    Column("job", String, primary_key=True),
    Index("ix_comeback_job", "job"),
    sqlite_with_rowid=False,
)

# What learning needs of every job that stands at return; logarithms are natural, of minutes and of actual over quoted.
lesson = Table(
    "lesson",
    metadata,
    Column("job", String, primary_key=True),
    Column("board", String, nullable=False, index=True),
    Column("log_minutes", Float),
    Column("log_ratio", Float),
    sqlite_with_rowid=False,
)

lesson_remedy = Table(
    "lesson_remedy",
    metadata,
    Column("remedy", String, primary_key=True),
    Column("job", String, primary_key=True),
    Index("ix_lesson_remedy_job", "job"),
    sqlite_with_rowid=False,
)

# In the order of minutes, so that a median is found by its place.
lesson_stage = Table(
    "lesson_stage",
    metadata,
    Column("stage", String, primary_key=True),
    Column("minutes", Float, primary_key=True),
    Column("job", String, primary_key=True),
    Index("ix_lesson_stage_job", "job"),
    sqlite_with_rowid=False,
)

erasure = Table(
    "erasure",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("job", String, nullable=False),
    Column("seq", Integer, nullable=False),
    Column("keys", JSON, nullable=False),
    Column("at", Utc, nullable=False),
    Column("who", String, nullable=False),
    Column("why", String, nullable=False),
    Index("ix_erasure_job", "job", "seq"),
)


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """A connection that sees one moment of the record.

    Raises:
        RecordError: If the database cannot be read.
    """
    # One moment, however many questions are asked: SQLite does so by itself, PostgreSQL when told.
    reader = engine.execution_options(isolation_level="REPEATABLE READ") if is_postgresql(engine) else engine
    with _clear_database_errors(engine), reader.connect() as connection:
        yield connection


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """A transaction that is on the disk when the block ends without an error.

    Raises:
        RecordError: If the database cannot be written: locked for long, disk full, read-only, damaged.
        BusyRecord: If another writer's transaction got in the way of this one, which can simply be repeated.
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
        if getattr(error.orig, "sqlstate", None) in _AGAIN:
            raise BusyRecord("two writers stood in each other's way; try again") from error
        said = " ".join(str(error.orig).split())
        raise RecordError(f"the record's database refuses: {said} ({engine.url.database})") from error


def is_postgresql(engine: Engine | Connection) -> bool:
    """Whether the record is kept by PostgreSQL; else it is SQLite."""
    return engine.dialect.name == "postgresql"


def settle(engine: Engine) -> None:
    """After much was written at once: have PostgreSQL merge its index of words and count its rows anew.

    It does so by itself in time; until then a search would read every word (PostgreSQL manual, "GIN Fast Update Technique").
    """
    if is_postgresql(engine):
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.exec_driver_sql("VACUUM ANALYZE")


def entry_from_row(row: RowMapping) -> Entry:
    """An entry as it was stored."""
    return Entry(row["job"], row["seq"], row["at"], row["who"], row["stage"], row["kind"], row["body"])
