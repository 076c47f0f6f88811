"""Bytes of a CAD file to text and text to lines, the same way for every reader. Opens no file."""

from __future__ import annotations

from coppermend.errors import InputError


def decode_text(data: bytes, where: str = "") -> str:
    """Text of a file: UTF-8 (a byte order mark is dropped), else Latin-1, which cannot fail.

    Raises:
        InputError: If the data holds a NUL byte, which no text format here allows (UTF-16 does hold them).
    """
    nul = data.find(0)
    if nul >= 0:
        line = data.count(b"\n", 0, nul) + 1
        raise InputError("a NUL byte: binary data or UTF-16", expected="plain text", where=where, line=line)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def split_lines(text: str) -> list[str]:
    """Lines without their ends, which may be LF, CRLF or a lone CR; always at least one, possibly empty.

    ``str.splitlines`` would also split at form feeds and at U+0085, which Latin-1 names may contain.
    """
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
