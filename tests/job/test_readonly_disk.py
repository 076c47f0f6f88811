"""A disk that can only be read gives one clear error and does no damage; what is there can be read back."""

from __future__ import annotations

import os
import sqlite3
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from coppermend.errors import RecordError
from coppermend.job import backup as keeping
from coppermend.job.store import Store


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """A small disk of its own, mounted at a folder; skipped where nobody may mount one."""
    place = tmp_path / "disk"
    place.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=16m", "tmpfs", place],
        capture_output=True,
        text=True,
        check=False,
    )
    if mounted.returncode:
        pytest.skip(f"no disk of its own can be mounted here: {mounted.stderr.strip()[:80]}")
    yield place
    subprocess.run(["umount", "-l", place], check=True)


def remount(disk: Path, how: str) -> None:
    """Make the disk read-only (``ro``), or writable again (``rw``)."""
    subprocess.run(["mount", "-o", f"remount,{how}", disk], check=True)


def test_read_only_disk_refuses_clearly_and_damages_nothing(disk: Path):
    """Adding, attaching and backing up each say so in one line; writable again, the record goes on whole."""
    with Store.open(disk / "record", "") as store:
        job = store.new_job({"customer": "Ana"}, who="Bo")
        sha256 = store.attach(b"picture", "front.jpg")
    remount(disk, "ro")

    for act in (
        lambda store: store.append(job, "note", "copper", {"text": "x"}, who="Bo"),
        lambda store: store.attach(b"another", "back.jpg"),
        lambda store: keeping.backup(store, disk / "record.zip"),
    ):
        with pytest.raises(RecordError) as refused, Store.open(disk / "record", "") as store:
            act(store)
        assert "\n" not in str(refused.value)
        assert "read" in str(refused.value).lower()  # "readonly database", "read-only file system"

    remount(disk, "rw")
    with Store.open(disk / "record", "") as store:
        assert [e.kind for e in store.entries(job)] == ["job"] and store.attachment(sha256) == b"picture"
        assert store.append(job, "note", "copper", {"text": "goes on"}, who="Bo").seq == 2
        assert store.verify() == ()
    assert list(disk.rglob("*.tmp")) == [] and not (disk / "record.zip").exists()


def test_full_disk_of_its_own(disk: Path):
    """Filled to the last byte: entries and attachments are refused in one line, and with room again all is whole."""
    with Store.open(disk / "record", "") as store:
        job = store.new_job({"customer": "Ana"}, who="Bo")
        ballast = disk / "ballast"
        with ballast.open("wb", buffering=0) as file, pytest.raises(OSError, match="No space"):
            while True:
                file.write(b"\0" * 65536)
        kept = 1
        with pytest.raises(RecordError, match=r"(?i)full|space") as refused:
            for _ in range(2000):
                kept = store.append(job, "note", "copper", {"text": "x" * 5000}, who="Bo").seq
        with pytest.raises(RecordError, match=r"(?i)full|space"):
            store.attach(os.urandom(200_000), "back.jpg")
        assert "\n" not in str(refused.value)
        ballast.unlink()

        assert store.last_seq(job) == kept
        assert store.append(job, "note", "copper", {"text": "room again"}, who="Bo").seq == kept + 1
        assert store.verify() == ()
    with sqlite3.connect(disk / "record" / "record.sqlite") as again:
        assert again.execute("PRAGMA integrity_check").fetchone() == ("ok",)
