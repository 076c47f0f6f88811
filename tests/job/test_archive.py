"""A board folder as one zip, the same everywhere, and zips that are something else."""

from __future__ import annotations

import io
import zipfile

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.board.folder import format_board_folder
from coppermend.board.model import Board
from coppermend.errors import InputError
from coppermend.job import archive
from coppermend.job.archive import archive_files, board_archive, read_board_archive

SMALL = {
    "board.toml": b'name = "Tiny"\nwidth_mm = 40\nheight_mm = 30\n',
    "parts.csv": b"refdes\nR1\n",
    "nets.csv": b"net,refdes,pin\nN1,R1,1\n",
}


def packed(files: dict[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    """A zip made by hand."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", method) as opened:
        for name, data in files.items():
            opened.writestr(name, data)
    return made.getvalue()


def test_board_survives_its_archive(board: Board):
    """The board read from its archive is the same board."""
    files = {name: text.encode() for name, text in format_board_folder(board).items()}

    assert read_board_archive(board_archive(files)) == board


def test_archive_depends_on_content_only():
    """Order of the files, other files beside them and the time of day change no byte of the archive."""
    backwards = dict(reversed(SMALL.items()))

    assert board_archive(SMALL) == board_archive({**backwards, "notes.txt": b"x"})


def test_archive_is_plain_zip():
    """Any unpacking program can open the archive: members sorted, stored, dated 1980."""
    with zipfile.ZipFile(io.BytesIO(board_archive(SMALL))) as opened:
        members = opened.infolist()

        assert opened.testzip() is None
    assert [m.filename for m in members] == ["board.toml", "nets.csv", "parts.csv"]
    assert {(m.compress_type, m.date_time[0]) for m in members} == {(zipfile.ZIP_STORED, 1980)}


def test_folder_packed_by_hand_is_read():
    """A zip with the board inside a folder, compressed, with other files around, is read too."""
    files = {f"tiny/{name}": data for name, data in SMALL.items()}

    assert read_board_archive(packed({**files, "tiny/photo.jpg": b"x", "README": b"y"})).name == "Tiny"


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (b"", "cannot be unpacked"),
        (b"refdes,type\n", "cannot be unpacked"),
        (board_archive(SMALL)[:100], "cannot be unpacked"),
        (packed({}), "holds 0 boards"),
        (packed({"parts.csv": b"x"}), "holds 0 boards"),
        (packed({f"{home}/board.toml": b"" for home in "ab"}), "holds 2 boards"),
        (packed({str(i): b"" for i in range(1001)}), "holds 1001 files"),
        (packed(SMALL, zipfile.ZIP_LZMA), "unusual way"),
        (packed({"board.toml": b"nonsense", "parts.csv": b"", "nets.csv": b""}), ""),
    ],
)
def test_other_files_are_refused(data: bytes, found: str):
    """What is no archive of one board gives one clear error that names it."""
    with pytest.raises(InputError) as caught:
        read_board_archive(data, "upload.zip")

    assert found in caught.value.found
    assert caught.value.where.startswith("upload.zip")


def test_encrypted_archive_is_refused():
    """An encrypted member is refused, not asked a password for."""
    data = bytearray(board_archive(SMALL))
    for signature, flags in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        data[data.index(signature) + flags] |= 1

    with pytest.raises(InputError) as caught:
        read_board_archive(bytes(data))

    assert "encrypted" in caught.value.found


def test_bomb_is_not_unpacked(monkeypatch: pytest.MonkeyPatch):
    """A small zip that unpacks to very much is refused after the limit."""
    monkeypatch.setattr(archive, "LARGEST_FILE_BYTES", 100_000)
    bomb = packed({**SMALL, "tracks.csv": bytes(10_000_000)})

    with pytest.raises(InputError) as caught:
        archive_files(bomb)

    assert len(bomb) < 100_000
    assert "tracks.csv is larger than 100,000 bytes" in caught.value.found


@settings(max_examples=300)
@given(st.integers(0, len(board_archive(SMALL)) - 1), st.integers(0, 255), st.sampled_from([False, True]))
def test_damaged_archive_is_read_or_refused(place: int, byte: int, compressed: bool):
    """Any byte changed: the archive is read or gives one clear error, never anything else."""
    data = bytearray(packed(SMALL) if compressed else board_archive(SMALL))
    data[place % len(data)] = byte

    try:
        files = archive_files(bytes(data))
    except InputError as error:
        assert "\n" not in str(error)
    else:
        assert "board.toml" in files


@given(st.binary(max_size=300))
def test_any_bytes_are_read_or_refused(data: bytes):
    """Bytes that are no zip give one clear error."""
    with pytest.raises(InputError) as caught:
        archive_files(data, "upload.zip")

    assert caught.value.where == "upload.zip"
