"""Bringing the database of any released version up to date, in one transaction: wholly or not at all.

How to add tables: docs/record.md, "Changing the schema".
"""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, Engine, insert, inspect, select, text, update

from coppermend.errors import RecordError
from coppermend.job import cards, comebacks, learnt, tables

# Every step there is, oldest first. A test holds this against the modules in migrations/versions.
REVISIONS = ("0001", "0002", "0003", "0004")
# Goes up when cards or words are made otherwise than before; they are then made anew.
DERIVED = "1"
# The same for comebacks and what is learnt from jobs.
LEARNT = "1"
_TURN = 7_370_627  # any number that our writers agree on


def bring_up_to_date(engine: Engine) -> None:
    """Create the tables of a new record, or take those of an older one through the steps that it lacks.

    Safe when several programs start at once. A record from before there were steps has no ``alembic_version``;
    the first step adopts it as it is.

    Raises:
        RecordError: If the database belongs to a newer version of the program, or cannot be written.
    """
    with tables.reading(engine) as connection:
        if _revision(connection) == REVISIONS[-1] and _made(connection) == (DERIVED, LEARNT):
            return
    with tables.writing(engine) as connection:
        wait_for_turn(connection)
        if _revision(connection) != REVISIONS[-1]:  # nobody was faster
            _run_steps(connection)
            _note_schema(connection)
        derived, learnt_as = _made(connection)
        if derived != DERIVED:
            cards.rebuild(connection)
            _note(connection, "derived", DERIVED)
        if learnt_as != LEARNT:
            comebacks.rebuild(connection)
            learnt.rebuild(connection)
            _note(connection, "learnt", LEARNT)


def wait_for_turn(connection: Connection) -> None:
    """Let one writer at a time past this point, until its transaction ends (SQLite does so anyway)."""
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(:turn)"), {"turn": _TURN})


def _revision(connection: Connection) -> str:
    """The step at which the database stands; empty for none.

    Raises:
        RecordError: If this program does not know the step.
    """
    inspector = inspect(connection)
    if not inspector.has_table("alembic_version"):
        found = ""
        if inspector.has_table("meta"):
            schema = connection.scalar(select(tables.meta.c.value).where(tables.meta.c.key == "schema"))
            _refuse_newer(schema in (None, "1"), f"schema {schema}")
        return found
    found = connection.scalar(text("SELECT version_num FROM alembic_version")) or ""
    _refuse_newer(found in REVISIONS, f"schema {found}")
    return found


def _refuse_newer(known: bool, found: str) -> None:
    if not known:
        raise RecordError(
            f"the record has {found}, this program knows up to {REVISIONS[-1]}; use a newer version"
        )


def _run_steps(connection: Connection) -> None:
    from alembic import command  # noqa: PLC0415  (slow to import, and needed once per schema)
    from alembic.config import Config  # noqa: PLC0415

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")


def _note_schema(connection: Connection) -> None:
    """Say the step in words that programs from before there were steps understand, so that they keep away."""
    _note(connection, "schema", str(int(REVISIONS[-1])))


def _note(connection: Connection, key: str, value: str) -> None:
    if not connection.execute(
        update(tables.meta).where(tables.meta.c.key == key).values(value=value)
    ).rowcount:
        connection.execute(insert(tables.meta).values(key=key, value=value))


def _made(connection: Connection) -> tuple[str | None, str | None]:
    """How cards, and what is learnt, were made."""
    values = {row.key: row.value for row in connection.execute(select(tables.meta))}
    return values.get("derived"), values.get("learnt")
