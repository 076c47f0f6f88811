"""The record on disk: jobs, entries, attachments, boards."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from sqlalchemy import insert

from coppermend.board.folder import format_board_folder
from coppermend.board.model import Board
from coppermend.errors import InputError, RecordError, UnknownName
from coppermend.job import adding, database, tables
from coppermend.job.attachments import sha256_of
from coppermend.job.entry import Entry
from coppermend.job.store import Store

AT = datetime(2026, 3, 4, 9, 30, tzinfo=UTC)
HEADER = {"customer": "Ana", "machine": "Pebble Run"}
BOTH = True


def test_new_job_gets_the_next_number(store: Store):
    """Numbers count up within the year of the job and start anew in the next."""
    numbers = [store.new_job(HEADER, who="Bo", at=AT) for _ in range(3)]
    later = store.new_job(HEADER, who="Bo", at=AT.replace(year=2027))

    assert [number[:7] for number in numbers] == ["26-0001", "26-0002", "26-0003"]
    assert later.startswith("27-0001")


def test_new_job_is_its_first_entry(store: Store, job: str):
    """The header is entry 1, at stage receive."""
    (first,) = store.entries(job)

    assert (first.seq, first.kind, first.stage, first.who, first.at) == (1, "job", "receive", "Bo", AT)
    assert first.body["machine"] == "Pebble Run"


def test_refused_job_leaves_nothing(store: Store):
    """A job that is refused uses up no number."""
    with pytest.raises(InputError):
        store.new_job({}, who="Bo")

    assert store.jobs() == ()
    assert store.new_job(HEADER, who="Bo", at=AT).startswith("26-0001")


def test_append_returns_what_is_read_back(store: Store, job: str):
    """The entry returned equals the entry stored, texts, numbers and nesting included."""
    body = {"text": "Übergang: 0.47 Ω — „ok“ 🙂", "more": [1, 2.5, None, {"x": True}], "tiny": 1e-300}

    returned = store.append(job, "note", "copper", body, who=" Bo ", at=AT)

    assert returned == Entry(job, 2, AT, "Bo", "copper", "note", body)
    assert store.entries(job)[1] == returned


def test_moment_is_kept_in_utc(store: Store, job: str):
    """A moment given in another zone is the same moment in UTC; without one it is now."""
    east = AT.astimezone(timezone(timedelta(hours=9)))
    before = datetime.now(UTC)

    given = store.append(job, "note", "copper", {"text": "x"}, who="Bo", at=east)
    present = store.append(job, "note", "copper", {"text": "x"}, who="Bo")

    stored = store.entries(job)
    assert stored[1].at == given.at == AT
    assert stored[1].at.utcoffset() == timedelta(0)
    assert before <= stored[2].at == present.at <= datetime.now(UTC)


def test_moment_without_zone_is_refused(store: Store, job: str):
    """A moment that could mean two things is refused."""
    with pytest.raises(InputError) as caught:
        store.append(job, "note", "copper", {"text": "x"}, who="Bo", at=datetime(2026, 1, 1))

    assert "time zone" in caught.value.found


def test_number_as_typed_finds_the_job(store: Store, job: str):
    """Entries can be asked for with the number as a person types it."""
    assert store.entries(job.lower().replace("-", " ").replace("0", "o")) == store.entries(job)


def test_unknown_job_is_named(store: Store, job: str):
    """A valid number that nobody has been given is unknown, for reading and writing."""
    with pytest.raises(UnknownName) as reading:
        store.entries("26-0042-U")
    with pytest.raises(UnknownName) as writing:
        store.append("26-0042-U", "note", "copper", {"text": "x"}, who="Bo")

    assert reading.value.name == writing.value.name == "26-0042-U"


@pytest.mark.parametrize(
    ("kind", "stage", "body", "who"),
    [
        ("remark", "copper", {"text": "x"}, "Bo"),
        ("note", "wash", {"text": "x"}, "Bo"),
        ("note", "copper", {}, "Bo"),
        ("note", "copper", {"text": "x"}, ""),
    ],
)
def test_malformed_entries_are_refused(store: Store, job: str, kind: str, stage: str, body: dict, who: str):
    """Nothing malformed enters the record."""
    with pytest.raises(InputError):
        store.append(job, kind, stage, body, who=who)

    assert len(store.entries(job)) == 1


def test_expected_last_entry_guards_against_overwriting(store: Store, job: str):
    """Who has not seen the last entry is told, and may then repeat."""
    store.append(job, "note", "copper", {"text": "mine"}, who="Bo", expect_seq=1)

    with pytest.raises(RecordError) as caught:
        store.append(job, "note", "copper", {"text": "late"}, who="Eve", expect_seq=1)

    assert "up to entry 2" in str(caught.value)
    assert len(store.entries(job)) == 2
    assert store.append(job, "note", "copper", {"text": "late"}, who="Eve", expect_seq=2).seq == 3


def test_taken_sequence_number_is_tried_again(store: Store, job: str, monkeypatch: pytest.MonkeyPatch):
    """When another writer took the number first, the entry gets the next one."""
    real, stale = adding.last_seq, [0]
    monkeypatch.setattr(adding, "last_seq", lambda *args: stale.pop() if stale else real(*args))

    entry = store.append(job, "note", "copper", {"text": "x"}, who="Bo")

    assert (entry.seq, stale) == (2, [])


def test_endless_conflict_gives_up_clearly(store: Store, job: str, monkeypatch: pytest.MonkeyPatch):
    """A writer that never gets through ends with a clear error."""
    monkeypatch.setattr(adding, "last_seq", lambda *args: 0)

    with pytest.raises(RecordError) as caught:
        store.append(job, "note", "copper", {"text": "x"}, who="Bo")

    assert "too busy" in str(caught.value)


@pytest.mark.parametrize(("target", "words"), [(9, "no entry 9"), (1, "opens job"), (2, "void already")])
def test_void_must_name_what_counts(store: Store, job: str, target: int, words: str):
    """A void entry cannot name what does not exist, opens the job, or is void already."""
    store.append(job, "note", "copper", {"text": "x"}, who="Bo")
    store.append(job, "void", "copper", {"seq": 2}, who="Bo")

    with pytest.raises(RecordError) as caught:
        store.append(job, "void", "copper", {"seq": target}, who="Bo")

    assert words in str(caught.value)


def test_void_can_be_voided(store: Store, job: str):
    """Undoing an undo is allowed, and the entry can be undone again."""
    store.append(job, "note", "copper", {"text": "x"}, who="Bo")
    store.append(job, "void", "copper", {"seq": 2}, who="Bo")
    store.append(job, "void", "copper", {"seq": 3}, who="Bo")

    assert store.append(job, "void", "copper", {"seq": 2}, who="Bo").seq == 5


def test_entry_may_only_name_kept_attachments(store: Store, job: str):
    """An entry that names an attachment which is not there is refused."""
    body = {"sha256": "0" * 64, "name": "front.jpg"}

    with pytest.raises(UnknownName) as caught:
        store.append(job, "photo", "inspect", body, who="Bo")

    assert caught.value.kind == "attachment"


@pytest.mark.parametrize("sql", ["UPDATE entry SET who = 'Eve'", "DELETE FROM entry"])
def test_entries_cannot_be_changed_or_deleted(store: Store, job: str, sql: str):
    """The database itself refuses to change or delete an entry."""
    with pytest.raises(tables.IntegrityError) as caught, tables.writing(store.engine) as connection:
        connection.exec_driver_sql(sql)

    assert "only ever added" in str(caught.value)


@pytest.mark.sqlite
def test_durability_settings_are_on(store: Store):
    """Connections run in WAL mode with full synchronisation and foreign keys."""
    with tables.reading(store.engine) as connection:
        modes = [
            connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("journal_mode", "synchronous", "foreign_keys", "busy_timeout")
        ]

    assert modes == ["wal", 2, 1, 30_000]


def test_record_survives_closing(tmp_path: Path):
    """What was kept is there when the record is opened again."""
    with Store.open(tmp_path / "deep" / "record") as first:
        job = first.new_job(HEADER, who="Bo")
        sha256 = first.attach(b"picture", "front.jpg", "image/jpeg")

    with Store.open(tmp_path / "deep" / "record") as again:
        assert again.entries(job)[0].body == HEADER
        assert again.attachment(sha256) == b"picture"
        assert again.verify() == ()


def test_foreign_file_is_no_record(tmp_path: Path):
    """A file that is no database gives one clear error."""
    (tmp_path / "record.sqlite").write_bytes(b"shopping list\n" * 100)

    with pytest.raises(RecordError) as caught:
        Store.open(tmp_path)

    assert "not a database" in str(caught.value)


def test_place_of_the_record_must_be_a_folder(tmp_path: Path):
    """A file where the record's folder should be gives one clear error."""
    (tmp_path / "record").write_text("x")

    with pytest.raises(RecordError) as caught:
        Store.open(tmp_path / "record")

    assert "open the record" in str(caught.value)


def test_locked_record_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """A record that another program holds locked for too long can be read, and gives one clear error on writing."""
    Store.open(tmp_path).close()
    monkeypatch.setattr(database, "BUSY_TIMEOUT_S", 0.05)
    other = sqlite3.connect(tmp_path / "record.sqlite", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")

    with Store.open(tmp_path) as store, pytest.raises(RecordError) as caught:
        store.new_job(HEADER, who="Bo")

    other.close()
    assert "locked" in str(caught.value)


def test_same_data_is_kept_once(store: Store):
    """Attaching the same data again, under another name, gives the same attachment and keeps the first name."""
    first = store.attach(b"picture", "front.jpg", "image/jpeg")
    second = store.attach(b"picture", "copy.jpg", "image/png")

    info = store.attachment_info(second)
    assert first == second == sha256_of(b"picture")
    assert (info.name, info.media_type, info.size) == ("front.jpg", "image/jpeg", 7)
    assert list(store.files.names()) == [first]


def test_attachment_name_loses_its_path(store: Store):
    """Of a path sent as a name only the file's name is kept."""
    for path in ("C:\\photos\\front.jpg", "../../etc/front.jpg"):
        sha256 = store.attach(path.encode(), path)
        assert store.attachment_info(sha256).name == "front.jpg"


@pytest.mark.parametrize(
    ("name", "media_type"), [("", "x"), ("a/", "x"), ("a\nb", "x"), ("a", ""), ("a" * 201, "x")]
)
def test_attachment_needs_a_name_and_type(store: Store, name: str, media_type: str):
    """An attachment without a printable name or media type is refused and not kept."""
    with pytest.raises(InputError):
        store.attach(b"x", name, media_type)

    assert list(store.files.names()) == []


def test_unknown_attachment_is_named(store: Store):
    """An attachment that is not kept is unknown, whatever is asked for."""
    for asked in ("0" * 64, "../../record.sqlite", ""):
        with pytest.raises(UnknownName) as caught:
            store.attachment(asked)
        assert caught.value.kind == "attachment"


def test_board_goes_in_and_comes_out(store: Store, board: Board):
    """A board kept in the library is the same board when read back, and is read only once."""
    sha256 = store.add_board(board)

    assert store.board(sha256) == board
    assert store.board(sha256) is store.board(sha256)
    assert [(b.name, b.sha256) for b in store.boards()] == [("Tiny", sha256)]


def test_board_folder_files_and_board_are_one(store: Store, board: Board):
    """A board and the files of its folder are the same entry of the library."""
    files = {name: text.encode() for name, text in format_board_folder(board).items()}

    assert store.add_board({**files, "photo.jpg": b"x"}) == store.add_board(board)
    assert len(store.board_history("Tiny")) == 1


def test_newest_board_of_a_name_wins(store: Store, board: Board):
    """A changed board becomes the newest of its name; going back to the old one is a new version too."""
    wider = Board(**{**board.__dict__, "width_mm": 41.0})
    old, new = store.add_board(board), store.add_board(wider)
    assert [b.sha256 for b in store.boards()] == [new]

    store.add_board(board)

    assert [b.sha256 for b in store.boards()] == [old]
    assert [b.sha256 for b in store.board_history("Tiny")] == [old, new, old]
    assert store.board(new).width_mm == 41.0


def test_board_record_as_json(store: Store, board: Board):
    """A line of the library is plain JSON."""
    sha256 = store.add_board(board)

    document = store.boards()[0].to_json()

    assert (document["name"], document["sha256"]) == ("Tiny", sha256)
    assert datetime.fromisoformat(document["added"]).tzinfo is not None


@pytest.mark.parametrize("name", ["x" * 151])
def test_board_needs_a_usable_name(store: Store, board: Board, name: str):
    """A board whose name is too long for the library is refused."""
    with pytest.raises(InputError) as caught:
        store.add_board(Board(**{**board.__dict__, "name": name}))

    assert "board is called" in caught.value.found


def test_board_files_must_be_a_board(store: Store):
    """Files that are no board folder are refused and not kept."""
    with pytest.raises(InputError):
        store.add_board({"board.toml": b"nonsense"})

    assert list(store.files.names()) == []


def test_foreign_keys_hold(store: Store):
    """An entry of a job that does not exist cannot be written past the store either."""
    row = {
        "job": "26-0042-U", "seq": 1, "at": AT, "who": "Bo", "stage": "copper", "kind": "note", "body": {},
    }  # fmt: skip

    with pytest.raises(tables.IntegrityError), tables.writing(store.engine) as connection:
        connection.execute(insert(tables.entry).values(row))
