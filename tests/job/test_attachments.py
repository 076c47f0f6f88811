"""Files that are written whole, and attachments named by their content."""

from __future__ import annotations

import hashlib
import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coppermend.errors import RecordError, UnknownName
from coppermend.job import atomic
from coppermend.job.atomic import write_atomically
from coppermend.job.attachments import AttachmentFiles, sha256_of
from coppermend.job.store import Store


@pytest.fixture
def kept(tmp_path: Path) -> AttachmentFiles:
    """An empty folder of attachments."""
    (tmp_path / "attachments").mkdir()
    return AttachmentFiles(tmp_path / "attachments")


def test_names_are_standard_sha256():
    """Names follow FIPS 180-4: its published example for the message abc."""
    assert sha256_of(b"abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


@given(st.binary(max_size=2000))
def test_content_comes_back(tmp_path_factory: pytest.TempPathFactory, data: bytes):
    """Whatever is put comes back under the SHA-256 of its content, in a folder of the first two digits."""
    files = AttachmentFiles(tmp_path_factory.mktemp("attachments"))

    name = files.put(data)

    assert files.get(name) == data
    assert files.path(name) == files.folder / name[:2] / hashlib.sha256(data).hexdigest()


def test_damaged_file_is_noticed_and_mended_by_putting_it_again(kept: AttachmentFiles):
    """A flipped byte is never handed out; attaching the sound content again repairs it."""
    name = kept.put(b"picture")
    kept.path(name).write_bytes(b"pictuse")

    with pytest.raises(RecordError) as caught:
        kept.get(name)
    kept.put(b"picture")

    assert name in str(caught.value)
    assert kept.get(name) == b"picture"


def test_missing_file_is_unknown(kept: AttachmentFiles):
    """What was never put is unknown."""
    with pytest.raises(UnknownName) as caught:
        kept.get("0" * 64)

    assert caught.value.name == "0" * 64


def test_unreadable_file_gives_one_line(kept: AttachmentFiles):
    """A folder where the file should be gives a clear error."""
    kept.path("0" * 64).mkdir(parents=True)

    with pytest.raises(RecordError) as caught:
        kept.get("0" * 64)

    assert "cannot read attachment" in str(caught.value)


def test_sweep_removes_old_leftovers_only(kept: AttachmentFiles):
    """What an interrupted write left is removed when old; fresh leftovers and attachments stay."""
    name = kept.put(b"picture")
    old, fresh = (kept.path(name).parent / f".{name}.{i}.tmp" for i in "ab")
    old.write_bytes(b"pic")
    fresh.write_bytes(b"pic")
    os.utime(old, (1000, 1000))

    swept = kept.sweep(60.0, fresh.stat().st_mtime + 1)

    assert swept == 1
    assert (old.exists(), fresh.exists(), list(kept.names())) == (False, True, [name])


def test_atomic_write_replaces_whole_file(tmp_path: Path):
    """The new content takes the old one's place and nothing is left beside it."""
    write_atomically(tmp_path / "a", b"old")
    write_atomically(tmp_path / "a", b"new")

    assert (tmp_path / "a").read_bytes() == b"new"
    assert [path.name for path in tmp_path.iterdir()] == ["a"]


def test_failed_write_keeps_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """When the disk fails before the new content is safe, the old file stays and the scratch file goes."""
    write_atomically(tmp_path / "a", b"old")

    def fail(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(atomic.os, "fsync", fail)
    with pytest.raises(RecordError) as caught:
        write_atomically(tmp_path / "a", b"new")

    assert "No space left on device" in str(caught.value)
    assert (tmp_path / "a").read_bytes() == b"old"
    assert [path.name for path in tmp_path.iterdir()] == ["a"]


def test_content_is_synchronised_before_it_gets_its_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """The order is write, fsync, rename, fsync of the folder: a power cut never names unwritten content."""
    steps = []
    real_fsync, real_replace = os.fsync, Path.replace
    monkeypatch.setattr(
        atomic.os,
        "fsync",
        lambda fd: (
            steps.append("sync folder" if stat.S_ISDIR(os.fstat(fd).st_mode) else "sync") or real_fsync(fd)
        ),
    )
    monkeypatch.setattr(Path, "replace", lambda *args: steps.append("rename") or real_replace(*args))

    write_atomically(tmp_path / "a", b"new")

    assert steps == ["sync", "rename", "sync folder"]


FULL_DISK = """
import resource, signal, sys
from pathlib import Path
from coppermend.errors import RecordError
from coppermend.job.store import Store

signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
store = Store.open(Path(sys.argv[1]))
job = store.new_job({"customer": "Ana"}, who="Bo")
resource.setrlimit(resource.RLIMIT_FSIZE, (600_000, 600_000))
try:
    store.attach(bytes(700_000), "big.bin")
except RecordError as error:
    print("attachment refused:", error)
try:
    for i in range(1000):
        print(store.append(job, "note", "copper", {"text": "x" * 15_000}, who="Bo").seq, flush=True)
except RecordError as error:
    print("entry refused:", error)
"""


def test_disk_that_takes_no_more_gives_clear_errors_and_no_damage(tmp_path: Path):
    """When the disk takes no more: attachment and entry are refused in one line each, the record stays whole."""
    run = subprocess.run(
        [sys.executable, "-c", FULL_DISK, tmp_path], capture_output=True, text=True, check=True
    )
    *seqs, refused = [line for line in run.stdout.splitlines() if not line.startswith("attachment refused")]

    assert "attachment refused: cannot write" in run.stdout
    assert refused.startswith("entry refused: the record's database refuses")
    with Store.open(tmp_path) as store:
        assert store.verify() == ()
        assert len(store.entries(store.jobs()[0].number)) == len(seqs) + 1
        assert store.jobs()[0].entries > 5
