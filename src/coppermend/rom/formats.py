"""One door for all image formats: tells which a file is in, reads it, writes it. Opens no file."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Literal, get_args

from coppermend.board.readers.text import decode_text
from coppermend.errors import InputError
from coppermend.rom.dumptext import format_hex_dump, format_ti_txt, parse_hex_dump, parse_ti_txt
from coppermend.rom.ihex import format_intel_hex, parse_intel_hex
from coppermend.rom.image import LARGEST_IMAGE_BYTES, RomImage
from coppermend.rom.srec import format_srec, parse_srec

ImageFormat = Literal["binary", "ihex", "srec", "titxt", "hexdump"]
FORMATS: tuple[ImageFormat, ...] = get_args(ImageFormat)
EXTENSIONS: Mapping[ImageFormat, str] = {
    "binary": ".bin", "ihex": ".hex", "srec": ".s19", "titxt": ".txt", "hexdump": ".dump",
}  # fmt: skip
# Text takes about three characters a byte; a file beyond this holds no image we could use.
LARGEST_FILE_BYTES = 4 * LARGEST_IMAGE_BYTES

_READ: Mapping[ImageFormat, Callable[..., RomImage]] = {
    "ihex": parse_intel_hex, "srec": parse_srec, "titxt": parse_ti_txt, "hexdump": parse_hex_dump,
}  # fmt: skip
_WRITE: Mapping[ImageFormat, Callable[[RomImage], str]] = {
    "ihex": format_intel_hex, "srec": format_srec, "titxt": format_ti_txt, "hexdump": format_hex_dump,
}  # fmt: skip
_LOOKS: tuple[tuple[ImageFormat, re.Pattern[bytes]], ...] = (
    ("ihex", re.compile(rb":[0-9A-Fa-f]{10,}\s")),
    ("srec", re.compile(rb"[Ss][0-9][0-9A-Fa-f]{8,}\s")),
    ("titxt", re.compile(rb"@[0-9A-Fa-f]{1,8}\s+([0-9A-Fa-f]{2}\s|[qQ@])")),
    ("hexdump", re.compile(rb"(0[xX]|\$)?[0-9A-Fa-f]{4,8}:?\s+([0-9A-Fa-f]{2,4}\s+)+[^\n]*\n")),
)

# First bytes of files that are surely no image; each was published by the format's maker.
_FOREIGN: tuple[tuple[bytes, str], ...] = (
    (b"\x89PNG\r\n\x1a\n", "a PNG picture"), (b"GIF87a", "a GIF picture"), (b"GIF89a", "a GIF picture"),
    (b"\xff\xd8\xff\xe0\x00\x10JFIF", "a JPEG picture"), (b"%PDF-", "a PDF"), (b"PK\x03\x04", "a zip archive"),
    (b"\x1f\x8b\x08", "a gzip archive"), (b"7z\xbc\xaf\x27\x1c", "a 7z archive"), (b"\x7fELF", "an ELF program"),
    (b"SQLite format 3\x00", "an SQLite database"), (b"\xff\xfe:\x00", "UTF-16 text"), (b"\xfe\xff\x00:", "UTF-16 text"),
    (b"<!doctype html", "a web page"), (b"<html", "a web page"), (b"<?xml", "XML"), (b"<svg", "an SVG picture"),
)  # fmt: skip


def sniff_format(data: bytes) -> ImageFormat:
    """The format that the first line looks like; binary when it looks like none.

    >>> sniff_format(b":00000001FF"), sniff_format(bytes([0x4C, 0, 0xF0]))
    ('ihex', 'binary')
    """
    head = data[:4096].removeprefix(b"\xef\xbb\xbf").lstrip() + b"\n"
    if 0 in head:
        return "binary"
    return next((name for name, look in _LOOKS if look.match(head)), "binary")


def _found_out(data: bytes, where: str) -> ImageFormat:
    """The format by content; where that says nothing, by a name that promises a text format.

    Raises:
        InputError: If it is surely another kind of file.
    """
    head = data[:64]
    if kind := next((kind for start, kind in _FOREIGN if head.lower().startswith(start.lower())), ""):
        raise InputError(
            f"is {kind}", expected="a program image (say that its format is binary if it is one)", where=where
        )
    found = sniff_format(data)
    # A file called .hex whose first line is damaged must not pass as raw bytes.
    named = format_of_name(where)
    return named if found == "binary" and named in ("ihex", "srec", "titxt") else found


def parse_image(
    data: bytes, where: str = "", *, format: ImageFormat | None = None, tolerant: bool = False, start: int = 0
) -> RomImage:
    """Read an image in any format.

    Args:
        data: The file's bytes.
        where: Its name, for errors.
        format: Its format; found out from content, then name, when None.
        tolerant: Read what is readable and list each defect.
        start: The address of the first byte of a binary file.

    Raises:
        InputError: If it cannot be read, naming file and line; if it is empty, larger than 64 MiB, or surely
            another kind of file (a picture, an archive) and no format was given.
    """
    if not data:
        raise InputError("an empty file", expected="an image", where=where)
    if len(data) > LARGEST_FILE_BYTES:
        raise InputError(
            f"a file of {len(data):,} bytes", expected=f"at most {LARGEST_FILE_BYTES:,}", where=where
        )
    known = format or _found_out(data, where)
    if known == "binary":
        if len(data) > LARGEST_IMAGE_BYTES:
            raise InputError(
                f"{len(data):,} bytes of data", expected=f"at most {LARGEST_IMAGE_BYTES:,}", where=where
            )
        return RomImage.of(data, start)
    return _READ[known](decode_text(data, where), where, tolerant=tolerant)


def format_image(image: RomImage, format: ImageFormat, fill: int = 0xFF) -> bytes:
    """Write an image; in binary, gaps are filled and the first byte is that of the lowest address.

    Raises:
        InputError: If the format cannot hold it.
    """
    if format == "binary":
        return image.dense(fill=fill)
    return _WRITE[format](image).encode("ascii")


def check_format(name: str) -> ImageFormat:
    """The format called ``name``.

    Raises:
        InputError: If there is no such format.
    """
    if name not in FORMATS:
        raise InputError(f"unknown image format {name!r}", expected=f"one of {', '.join(FORMATS)}")
    return name


def format_of_name(name: str) -> ImageFormat:
    """The format that a file name's extension asks for; binary for any other.

    >>> format_of_name("u2.hex"), format_of_name("u2.s19"), format_of_name("u2.bin")
    ('ihex', 'srec', 'binary')
    """
    extension = name.lower().rpartition(".")[2]
    table: Mapping[str, ImageFormat] = {
        "hex": "ihex", "ihex": "ihex", "ihx": "ihex", "s19": "srec", "s28": "srec", "s37": "srec",
        "srec": "srec", "mot": "srec", "txt": "titxt", "dump": "hexdump",
    }  # fmt: skip
    return table.get(extension, "binary")
