"""Damage to the record is found and named."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from sqlalchemy import update

from coppermend.errors import RecordError
from coppermend.job import tables
from coppermend.job.store import Store


def codes(store: Store) -> list[tuple[str, str]]:
    """Code and subject of every trouble."""
    return [(trouble.code, trouble.subject) for trouble in store.verify()]


def sql(store: Store, *statements: str) -> None:
    """Do to the database what no program of ours would."""
    with sqlite3.connect(str(store.engine.url.database)) as other:
        for statement in ("DROP TRIGGER entry_no_update", "DROP TRIGGER entry_no_delete", *statements):
            other.execute(statement)


@pytest.fixture
def picture(store: Store, job: str) -> str:
    """An attachment that entry 2 names."""
    sha256 = store.attach(b"picture", "front.jpg", "image/jpeg")
    store.append(job, "photo", "inspect", {"sha256": sha256, "name": "front.jpg"}, who="Bo")
    return sha256


def test_sound_record_has_no_trouble(store: Store, picture: str):
    """A record as it was written is whole; an attachment that nobody acknowledged is no trouble."""
    store.files.put(b"written, then killed before its row")

    assert store.verify() == ()


def test_flipped_byte_is_named(store: Store, picture: str):
    """A changed byte in an attachment is found, with its name for people."""
    store.files.path(picture).write_bytes(b"pictuse")

    (trouble,) = store.verify()

    assert (trouble.code, trouble.subject) == ("damaged", picture)
    assert "front.jpg" in trouble.message
    assert trouble.to_json() == {"code": "damaged", "subject": picture, "message": trouble.message}


def test_missing_file_is_named(store: Store, picture: str):
    """An attachment's file that has gone is found."""
    store.files.path(picture).unlink()

    assert codes(store) == [("missing", picture)]


def test_wrong_size_is_named(store: Store, picture: str):
    """A size that was recorded wrongly is found."""
    with tables.writing(store.engine) as connection:
        connection.execute(update(tables.attachment).values(size=8))

    assert codes(store) == [("size", picture)]


def test_gap_in_a_record_is_named(store: Store, job: str, picture: str):
    """An entry that was taken out leaves a gap that is found."""
    store.append(job, "note", "inspect", {"text": "x"}, who="Bo")
    sql(store, "DELETE FROM entry WHERE seq = 2")

    assert codes(store) == [("sequence", job)]


def test_job_without_entries_is_named(store: Store, job: str):
    """A job whose entries have all gone is found."""
    sql(store, "DELETE FROM entry")

    assert codes(store) == [("sequence", job)]


def test_reference_to_nothing_is_named(store: Store, job: str, picture: str):
    """An entry that names an attachment without a row is found."""
    sql(store, "DELETE FROM attachment")

    assert codes(store) == [("unknown attachment", picture)]


def test_entry_of_no_job_is_named(store: Store, job: str):
    """An entry whose job has gone is found by its foreign key."""
    sql(store, "DELETE FROM job")

    assert codes(store) == [("database", "card"), ("database", "entry")]


def test_rows_against_the_rules_are_named(store: Store, job: str):
    """What the database's own check finds is passed on."""
    sql(
        store,
        "PRAGMA writable_schema = 1",
        "UPDATE sqlite_schema SET sql = replace(sql, 'seq INTEGER', 'seq INTEGER CHECK (seq > 5)') WHERE name = 'entry'",
    )

    (trouble,) = store.verify()

    assert trouble.code == "database"
    assert "CHECK constraint failed" in trouble.message


def test_damaged_body_is_named(store: Store, job: str):
    """A body that is no JSON any more is reported by the check, and refused in one line when read."""
    sql(store, "UPDATE entry SET body = '{'")

    with pytest.raises(RecordError) as caught:
        store.entries(job)

    assert "damaged on disk" in str(caught.value)
    assert codes(store) == [("database", "")]


def test_damaged_database_is_named(tmp_path: Path):
    """A database file overwritten in part is reported as such, without a traceback."""
    with Store.open(tmp_path) as store:
        job = store.new_job({"customer": "Ana"}, who="Bo")
        for _ in range(200):
            store.append(job, "note", "copper", {"text": "x" * 500}, who="Bo")
    with (tmp_path / "record.sqlite").open("r+b") as file:
        pages = file.seek(0, 2) // 4096
        file.seek(4096 * (pages - 14))  # among the entries, past the tables that opening needs
        file.write(b"\xa5" * 4096 * 12)

    with Store.open(tmp_path) as store:
        troubles = store.verify()

    assert {trouble.code for trouble in troubles} >= {"database"}
