"""A board folder as one file: a zip that is the same, byte for byte, wherever it is made. Touches no disk."""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Mapping
from pathlib import PurePosixPath

from coppermend.board.folder import parse_board_folder
from coppermend.board.model import Board
from coppermend.errors import InputError

BOARD_FILES = ("board.toml", "parts.csv", "nets.csv", "pads.csv", "vias.csv", "tracks.csv", "areas.csv")
LARGEST_FILE_BYTES = 32_000_000
_MOST_MEMBERS = 1000
_EPOCH = (1980, 1, 1, 0, 0, 0)  # the earliest moment a zip can tell
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_UNREADABLE = (
    zipfile.BadZipFile,
    zlib.error,
    EOFError,
    ValueError,
    NotImplementedError,
    RuntimeError,
    OSError,
)


def board_archive(files: Mapping[str, bytes]) -> bytes:
    """The board folder's files as a zip: sorted, stored uncompressed, without times; other files are left out.

    Uncompressed, because compressors differ between computers and the archive's SHA-256 names the board.
    """
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_STORED) as archive:
        for name in sorted(set(files) & set(BOARD_FILES)):
            member = zipfile.ZipInfo(name, _EPOCH)
            member.create_system, member.external_attr = 3, 0o644 << 16
            archive.writestr(member, files[name])
    return made.getvalue()


def read_board_archive(data: bytes, where: str = "board archive") -> Board:
    """The board in a zip of a board folder, made by us or packed by hand (perhaps inside one folder).

    Raises:
        InputError: If it is no zip, holds no board.toml, is encrypted, or would unpack to a file of more than
            32 MB (a zip bomb); or if the board folder inside cannot be read.
    """
    return parse_board_folder(archive_files(data, where), where)


def archive_files(data: bytes, where: str = "board archive") -> dict[str, bytes]:
    """The board folder's files in a zip, by name.

    Raises:
        InputError: As ``read_board_archive``, except for the content of the files.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return {name: _content(archive, info, where) for name, info in _members(archive, where).items()}
    except InputError:
        raise
    except _UNREADABLE as error:
        raise InputError(
            f"cannot be unpacked ({error})", expected="a zip of a board folder", where=where
        ) from None


def _members(archive: zipfile.ZipFile, where: str) -> dict[str, zipfile.ZipInfo]:
    listed = archive.infolist()
    if len(listed) > _MOST_MEMBERS:
        raise InputError(f"holds {len(listed)} files", expected=f"at most {_MOST_MEMBERS}", where=where)
    homes = {
        PurePosixPath(i.filename).parent for i in listed if PurePosixPath(i.filename).name == "board.toml"
    }
    if len(homes) != 1:
        raise InputError(f"holds {len(homes)} boards", expected="one board.toml", where=where)
    home = homes.pop()
    wanted = {str(home / name): name for name in BOARD_FILES}
    return {wanted[i.filename]: i for i in listed if i.filename in wanted}


def _content(archive: zipfile.ZipFile, info: zipfile.ZipInfo, where: str) -> bytes:
    if info.compress_type not in _METHODS or info.flag_bits & 1:
        raise InputError(f"{info.filename} is encrypted or packed in an unusual way", where=where)
    # The size in the directory may lie: what counts is how much really comes out.
    with archive.open(info) as member:
        content = member.read(LARGEST_FILE_BYTES + 1)
    if len(content) > LARGEST_FILE_BYTES:
        raise InputError(f"{info.filename} is larger than {LARGEST_FILE_BYTES:,} bytes unpacked", where=where)
    return content
