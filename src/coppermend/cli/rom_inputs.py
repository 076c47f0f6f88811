"""What the rom commands take: images in files, addresses, devices, the shop's reference list. Computes nothing."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from coppermend.cli.inputs import read_bytes, read_text, refuse_unwritable
from coppermend.cli.output import say
from coppermend.errors import InputError
from coppermend.job.atomic import write_atomically
from coppermend.rom.formats import check_format, format_image, format_of_name, parse_image
from coppermend.rom.image import RomImage
from coppermend.rom.reference import KnownImage, parse_known_csv

_IMAGE = "an image: binary, Intel HEX, S-records, TI-TXT or hex dump"
FormatOption = Annotated[
    str,
    typer.Option("--format", metavar="FORMAT", help="binary, ihex, srec, titxt or hexdump; else found out."),
]
TolerantFlag = Annotated[bool, typer.Option("--tolerant", help="Read what is readable and list each defect.")]
KnownOption = Annotated[
    Path | None,
    typer.Option(
        "--known", metavar="CSV", help="The shop's reference list: name, sha256 or sha1 or crc32, note."
    ),
]


def image_at(path: Path, format: str = "", *, tolerant: bool = False) -> RomImage:
    """The image in a file; a missing, unreadable or wrong file is an InputError that names it."""
    known = check_format(format) if format else None
    return parse_image(read_bytes(path, _IMAGE), str(path), format=known, tolerant=tolerant)


def bytes_at(path: Path, format: str = "", *, tolerant: bool = False, fill: int = 0xFF) -> bytes:
    """The bytes of an image from its lowest address on, gaps filled."""
    image = image_at(path, format, tolerant=tolerant)
    if not image.byte_count:
        raise InputError("holds no bytes", expected=_IMAGE, where=str(path))
    return image.dense(fill=fill, where=str(path))


def say_defects(path: Path, image: RomImage) -> None:
    """List what was wrong in a file that was read tolerantly."""
    for defect in image.defects:
        say(f"defect: {path}{f':{defect.line}' if defect.line else ''}: {defect.found}")


def known_at(path: Path | None) -> tuple[KnownImage, ...]:
    """The shop's reference list; () without one."""
    if path is None:
        return ()
    return parse_known_csv(read_text(path, "rows name,sha256,note (CSV)"), str(path))


def parse_address(text: str) -> int:
    """A CPU address in hexadecimal: E000, $E000 or 0xE000.

    Raises:
        InputError: If it is none from 0 to FFFF.
    """
    digits = re.fullmatch(r"(?:0[xX]|\$)?([0-9A-Fa-f]{1,5})", text.strip())
    if not digits or int(digits[1], 16) > 0xFFFF:
        raise InputError(f"address {text!r}", expected="0000 to FFFF in hexadecimal, such as E000")
    return int(digits[1], 16)


def parse_byte(text: str) -> int:
    """A byte in hexadecimal, such as FF.

    Raises:
        InputError: If it is none.
    """
    if not re.fullmatch(r"(?:0[xX]|\$)?[0-9A-Fa-f]{1,2}", text.strip()):
        raise InputError(f"byte {text!r}", expected="00 to FF in hexadecimal")
    return int(text.strip().lstrip("$"), 16)


def at_address(word: str) -> tuple[Path, int]:
    """A word FILE@ADDRESS.

    Raises:
        InputError: If there is no address.
    """
    file, mark, address = word.rpartition("@")
    if not mark or not file:
        raise InputError(f"{word!r} has no address", expected="FILE@ADDRESS such as u2.bin@E000")
    return Path(file), parse_address(address)


def assigned(words: Sequence[str], expected: str) -> dict[str, str]:
    """Words KEY=VALUE as a dictionary.

    Raises:
        InputError: If one has no "=" with something on both sides, or a key comes twice.
    """
    made: dict[str, str] = {}
    for word in words:
        key, mark, value = word.partition("=")
        if not (mark and key and value) or key in made:
            raise InputError(f"{word!r}", expected=expected)
        made[key] = value
    return made


def write_image(path: Path, data: bytes, start: int, format: str = "") -> None:
    """Write an image in the format asked for, else in the one that the file's extension asks for."""
    refuse_unwritable(path)
    chosen = check_format(format) if format else format_of_name(path.name)
    write_atomically(path, format_image(RomImage.of(data, start), chosen))
