"""Opening the record's database: SQLite in the record's folder, or a PostgreSQL server. Knows no tables.

Every acknowledged commit is on the disk: SQLite runs in WAL mode with full synchronisation, PostgreSQL with
synchronous commits.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError

from coppermend.errors import InputError
from coppermend.job.plain import from_json_text, to_json_text

BUSY_TIMEOUT_S = 30
_POSTGRESQL = ("postgresql", "postgresql+psycopg")


def open_engine(place: Path | str) -> Engine:
    """An engine on the SQLite file at a path, or on the PostgreSQL database of a URL; creates nothing.

    Raises:
        InputError: If a URL is malformed or of another kind of database.
    """
    return _sqlite(place) if isinstance(place, Path) else _postgresql(place)


def _sqlite(path: Path) -> Engine:
    engine = create_engine(
        URL.create("sqlite", database=str(path)),
        json_serializer=to_json_text,
        json_deserializer=from_json_text,
        connect_args={"timeout": BUSY_TIMEOUT_S},
    )
    event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(connection: Any, _: object) -> None:
    # The driver's own transactions start too late for BEGIN IMMEDIATE: we begin them in _begin_sqlite.
    connection.isolation_level = None
    # secure_delete: what is erased on request is overwritten in the file, not only forgotten.
    for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON", "secure_delete = ON"):
        connection.execute(f"PRAGMA {pragma}").close()


def _begin_sqlite(connection: Connection) -> None:
    # A writer takes its lock first: reading first and writing then fails at once when another one wrote.
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _postgresql(address: str) -> Engine:
    expected = "postgresql://USER@HOST/DATABASE"
    try:
        url = make_url(address)
    except ArgumentError:
        raise InputError("the database's address is no URL", expected=expected) from None
    if url.drivername not in _POSTGRESQL:
        raise InputError(f"a record cannot be kept in {url.drivername}", expected=expected)
    engine = create_engine(
        url.set(drivername="postgresql+psycopg"),
        json_serializer=to_json_text,
        json_deserializer=from_json_text,
        pool_pre_ping=True,  # a server that was restarted costs no request
        connect_args={"connect_timeout": BUSY_TIMEOUT_S},
    )
    event.listen(engine, "connect", _prepare_postgresql)
    return engine


def _prepare_postgresql(connection: Any, _: object) -> None:
    with connection.cursor() as cursor:
        # A server may be set up to acknowledge before the disk has it; a record never is.
        cursor.execute(
            "SELECT set_config('synchronous_commit', 'on', false) "
            "WHERE current_setting('synchronous_commit') IN ('off', 'local')"
        )
        cursor.execute(
            "SELECT set_config('timezone', 'UTC', false), "
            f"set_config('lock_timeout', '{BUSY_TIMEOUT_S}s', false)"
        )
    connection.commit()
