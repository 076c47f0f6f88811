"""Records of every released version are brought up to date; newer ones are left alone."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory

from coppermend.errors import RecordError
from coppermend.job import migrate, people, shop, tables
from coppermend.job.store import Store

HERE = Path(__file__).resolve().parent
KNOWN_TO_TABLES = (tables, people, shop)


def test_steps_are_listed_and_form_one_line():
    """Every module in migrations/versions is listed, each following the one before."""
    config = Config()
    config.set_main_option("script_location", str(Path(migrate.__file__).parent / "migrations"))
    steps = list(ScriptDirectory.from_config(config).walk_revisions())[::-1]

    assert tuple(step.revision for step in steps) == migrate.REVISIONS
    assert [step.down_revision for step in steps] == [None, *migrate.REVISIONS[:-1]]


def differences(store: Store) -> list:
    """How the database differs from what the program believes about it."""
    with store.engine.connect() as connection:
        context = MigrationContext.configure(
            connection,
            opts={
                "include_object": lambda o, name, kind, *_: (
                    not (kind == "table" and name.startswith("words_index"))
                )
            },
        )
        return compare_metadata(context, tables.metadata)


def test_steps_lead_to_the_tables_of_the_program(store: Store):
    """What the steps make is what the program expects, column by column."""
    assert differences(store) == []


@pytest.mark.parametrize("name", ["first.sql", "before_people.sql"])
def test_released_records_are_adopted(tmp_path: Path, name: str):
    """A record from before there were steps keeps all it has, and is then as a new one."""
    with sqlite3.connect(tmp_path / "record.sqlite") as old:
        old.executescript((HERE / "released" / name).read_text())

    with Store.open(tmp_path, database="") as store:
        assert differences(store) == []
        assert store.verify() == ()
        (job,) = store.jobs()
        entries = store.entries(job.number)

    assert [(e.seq, e.kind) for e in entries] == [(1, "job"), (2, "note"), (3, "void")]
    assert dict(entries[0].body) == {
        "customer": "O. Penhallow",
        "contact": "o@example.org",
        "serial": "SR-00231",
    }
    with (
        sqlite3.connect(tmp_path / "record.sqlite") as other,
        pytest.raises(sqlite3.IntegrityError, match="only ever added"),
    ):
        other.execute("UPDATE entry SET who = 'x'")


def test_unknown_step_is_refused(tmp_path: Path):
    """A record that a later version has taken further is not touched, and the error says why."""
    Store.open(tmp_path, database="").close()
    with sqlite3.connect(tmp_path / "record.sqlite") as later:
        later.execute("UPDATE alembic_version SET version_num = '9999'")

    with pytest.raises(RecordError, match=r"schema 9999.*use a newer version"):
        Store.open(tmp_path, database="")


def test_failing_step_leaves_the_record_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """When a step fails midway, nothing of it stays."""
    with sqlite3.connect(tmp_path / "record.sqlite") as old:
        old.executescript((HERE / "released" / "first.sql").read_text())
    before = dump(tmp_path)
    monkeypatch.setattr(
        migrate, "_note_schema", lambda connection: connection.exec_driver_sql("SELECT nonsense")
    )

    with pytest.raises(RecordError, match="nonsense"):
        Store.open(tmp_path, database="")

    assert dump(tmp_path) == before


def dump(folder: Path) -> list[str]:
    """The database as SQL."""
    with sqlite3.connect(folder / "record.sqlite") as connection:
        return list(connection.iterdump())
