"""Bytes to text, and text to lines."""

from __future__ import annotations

import pytest

from coppermend.board.readers.text import decode_text, split_lines
from coppermend.errors import InputError


@pytest.mark.parametrize(
    ("data", "text"),
    [
        (b"", ""),
        (b"GND", "GND"),
        ("µC".encode(), "µC"),
        (b"\xef\xbb\xbfGND", "GND"),
        ("µC".encode("latin-1"), "µC"),
        (b"\xff\xfe", "ÿþ"),
    ],
)
def test_utf_8_then_latin_1(data, text):
    """Text is UTF-8, with or without byte order mark; what is not, is Latin-1."""
    assert decode_text(data) == text


@pytest.mark.parametrize("data", [b"P  JOB\n\x00", "P\n\nC".encode("utf-16-be")])
def test_nul_is_no_text(data):
    """NUL bytes mean binary data or UTF-16; the error says in which line of which file."""
    with pytest.raises(InputError) as caught:
        decode_text(data, "board.d356")

    assert caught.value.where == "board.d356"
    assert caught.value.line == data[: data.find(0)].count(b"\n") + 1


def test_lines_end_in_three_ways_only():
    """LF, CRLF and CR end a line; a form feed or U+0085 within a name does not."""
    assert split_lines("a\nb\r\nc\rd\x0ce\x85f\n") == ["a", "b", "c", "d\x0ce\x85f", ""]
