"""One file that holds the whole record, and comes back equal; the same on SQLite and PostgreSQL."""

from __future__ import annotations

import csv
import threading
import zipfile
from pathlib import Path

import pytest

from coppermend.board.model import Board
from coppermend.errors import InputError, RecordError
from coppermend.job import backup as keeping
from coppermend.job import people, shop
from coppermend.job.store import Store, now

BOTH = True


@pytest.fixture
def filled(store: Store, job: str, board: Board) -> Store:
    """A record with entries, a photo and a board."""
    sha256 = store.attach(b"picture" * 100, "front.jpg", "image/jpeg")
    store.append(job, "photo", "inspect", {"sha256": sha256, "name": "front.jpg"}, who="Bo")
    store.append(job, "note", "copper", {"text": "Übergang Ω", "more": [1, 2.5, None, 1e-300]}, who="Bo")
    store.add_board(board)
    return store


def test_backup_comes_back_equal(filled: Store, job: str, tmp_path: Path):
    """A backup restores on SQLite, whatever it came from, to the same digest, entries, search and boards."""
    kept = keeping.backup(filled, tmp_path / "record.zip")

    assert keeping.restore(tmp_path / "record.zip", tmp_path / "new", "") == kept
    assert keeping.last_backup(filled) is not None
    with Store.open(tmp_path / "new", "") as again:
        assert again.entries(job) == filled.entries(job)
        assert again.jobs() == filled.jobs() == again.find("ubergang")
        assert again.verify() == ()
        assert (
            again.new_job({"customer": "Cy"}, who="Bo").startswith("26-0002") or again.jobs()[0].number > job
        )
        assert again.append(job, "note", "copper", {"text": "goes on"}, who="Bo").seq == 4


@pytest.mark.debian
@pytest.mark.sqlite
def test_record_moves_to_postgresql(filled: Store, job: str, tmp_path: Path, database: str):
    """A backup restores into an empty PostgreSQL database, and its numbers go on."""
    kept = keeping.backup(filled, tmp_path / "record.zip")

    assert keeping.restore(tmp_path / "record.zip", tmp_path / "new", database) == kept
    with Store.open(tmp_path / "new", database) as again:
        assert again.append(job, "note", "copper", {"text": "goes on"}, who="Bo").seq == 4


def test_export_is_open_and_comes_back_equal(filled: Store, job: str, tmp_path: Path):
    """An export is a folder of JSON and files, and makes an equal record."""
    kept = keeping.export(filled, tmp_path / "out")

    assert keeping.restore(tmp_path / "out", tmp_path / "new", "") == kept == keeping.record_digest(filled)
    assert '"seq": 3' in (tmp_path / "out" / "jobs" / f"{job}.json").read_text()
    with pytest.raises(InputError, match="not empty"):
        keeping.export(filled, tmp_path / "out")


HOSTILE = (
    "=1+1",
    "'",
    "''",
    "",
    " x ",
    'a,b"c"',
    "line\r\nline\rline\n",
    "-5 V",
    "@",
    "'=x",
    "Zoë\u2028",
    "\t",
)


def test_export_comes_back_from_its_csv_alone(filled: Store, job: str, tmp_path: Path):
    """With every JSON table gone the CSV makes a record with the same digest, whatever stands in its cells."""
    for text in HOSTILE:
        filled.append(job, "job", "receive", {"machine": text, "serial": text[:3]}, who="Bo")
    shop.set_shop(filled, {"terms": "=HYPERLINK(1)\nend"}, who="=Bo")
    people.People(filled.engine).add("=Eve", "a long enough phrase", filled.entries(job)[0].at)
    kept = keeping.export(filled, tmp_path / "out")
    tables_folder = tmp_path / "out" / "tables"
    for lines in tables_folder.glob("*.jsonl"):
        assert lines.with_suffix(".csv").is_file()
        lines.unlink()

    with (tables_folder / "entry.csv").open(newline="", encoding="utf-8") as text:
        cells = [cell for row in csv.reader(text) for cell in row]
    assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@", "\t", "\r"))]
    assert keeping.restore(tmp_path / "out", tmp_path / "new", "") == kept
    with Store.open(tmp_path / "new", "") as restored:
        assert restored.entries(job) == filled.entries(job)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("receive", "reseive", "is damaged"), (",1,", ",x,", "entry.csv:2: cannot be read"),
        ("id,", "nonsense,", "no table of a record"), ("\r\n", ",more\r\n", "is no table|cells"),
    ],
)  # fmt: skip
def test_changed_csv_is_refused(filled: Store, tmp_path: Path, old: str, new: str, words: str):
    """The file is named, and nothing is restored."""
    keeping.export(filled, tmp_path / "out")
    (tmp_path / "out" / "tables" / "entry.jsonl").unlink()
    changed = tmp_path / "out" / "tables" / "entry.csv"
    changed.write_bytes(changed.read_bytes().replace(old.encode(), new.encode(), 1))

    with pytest.raises(InputError, match=words) as caught:
        keeping.restore(tmp_path / "out", tmp_path / "new", "")
    assert "entry" in str(caught.value) and not (tmp_path / "new").exists()


def test_backup_while_others_write_is_one_moment(filled: Store, job: str, tmp_path: Path):
    """While four writers go on, a backup holds a gapless beginning of every record and restores to its own digest."""
    stop = threading.Event()

    def write(who: str) -> None:
        for i in range(10_000):
            if stop.is_set():
                return
            sha256 = filled.attach(f"{who}{i}".encode(), "x.bin")
            filled.append(job, "photo", "inspect", {"sha256": sha256, "name": "x"}, who=who)

    writers = [threading.Thread(target=write, args=(who,)) for who in ("Bo", "Eve", "Ida", "Tom")]
    for writer in writers:
        writer.start()
    try:
        kept = keeping.backup(filled, tmp_path / "record.zip")
    finally:
        stop.set()
        for writer in writers:
            writer.join()

    assert keeping.restore(tmp_path / "record.zip", tmp_path / "new", "") == kept
    with Store.open(tmp_path / "new", "") as again:
        held = again.entries(job)
        assert again.verify() == ()
    assert held == filled.entries(job)[: len(held)]


@pytest.mark.sqlite
def test_every_flipped_byte_is_found_and_named(filled: Store, tmp_path: Path):
    """A flipped bit anywhere in a member's content is reported with the member's name, and nothing is restored."""
    path = tmp_path / "record.zip"
    keeping.backup(filled, path)
    sound = path.read_bytes()
    with zipfile.ZipFile(path) as archive:
        members = [(info.filename, info.header_offset, info.compress_size) for info in archive.infolist()]

    for name, offset, size in members:
        if not size:
            continue
        start = offset + 30 + int.from_bytes(sound[offset + 26 : offset + 28], "little")
        start += int.from_bytes(sound[offset + 28 : offset + 30], "little")
        damaged = bytearray(sound)
        damaged[start + size // 2] ^= 1
        path.write_bytes(damaged)
        with pytest.raises(InputError) as caught:
            keeping.restore(path, tmp_path / "new", "")
        assert name.removesuffix(".jsonl") in str(caught.value)
    assert not (tmp_path / "new").exists()


@pytest.mark.sqlite
def test_damaged_attachment_stops_the_backup(filled: Store, tmp_path: Path):
    """A backup of a damaged record is refused, naming the attachment, and leaves no file."""
    sha256 = next(iter(filled.files.names()))
    filled.files.path(sha256).write_bytes(b"x")

    with pytest.raises(RecordError, match=sha256):
        keeping.backup(filled, tmp_path / "record.zip")

    assert list(tmp_path.glob("*.zip*")) == []


@pytest.mark.sqlite
def test_nothing_is_restored_over_a_record(filled: Store, tmp_path: Path):
    """Neither a record nor a file that is there already is ever written over."""
    keeping.backup(filled, tmp_path / "record.zip")

    with pytest.raises(RecordError, match="already"):
        keeping.restore(tmp_path / "record.zip", tmp_path / "record", "")
    with pytest.raises(InputError, match="already"):
        keeping.backup(filled, tmp_path / "record.zip")


@pytest.mark.sqlite
def test_nothing_is_restored_where_people_may_sign_in(filled: Store, tmp_path: Path):
    """A bench with people but no job is no empty one: their names might clash with those of the backup."""
    keeping.backup(filled, tmp_path / "record.zip")
    with Store.open(tmp_path / "shared", "") as shared:
        people.People(shared.engine).add("R. Tansy", "a long enough passphrase", now())

    with pytest.raises(RecordError, match="its table person is not empty"):
        keeping.restore(tmp_path / "record.zip", tmp_path / "shared", "")


@pytest.mark.parametrize("content", [b"", b"shopping list", b"PK\x05\x06" + b"\0" * 18])
def test_other_files_are_no_backup(tmp_path: Path, content: bytes):
    """What is no backup gives one clear line."""
    (tmp_path / "x.zip").write_bytes(content)

    with pytest.raises(InputError, match=r"backup|manifest"):
        keeping.check_backup(tmp_path / "x.zip")


@pytest.mark.sqlite
def test_reminder_comes_when_it_is_due(store: Store, tmp_path: Path):
    """An empty record needs no backup; one with a job does, until one is made."""
    assert not keeping.backup_is_due(store, 7)
    store.new_job({"customer": "Ana"}, who="Bo")
    assert keeping.backup_is_due(store, 7)
    keeping.backup(store, tmp_path / "record.zip")
    assert not keeping.backup_is_due(store, 7)
    assert keeping.backup_is_due(store, 0)
