"""TI-TXT and hex dump text, read and written. Holds no record format with checksums.

Source of TI-TXT: the maker's published description (``@ADDRESS``, up to 16 bytes a line, ``q``). A hex dump has
no standard: read are the layouts that the common Unix dump programs and the reference libraries print.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from coppermend.board.readers.text import split_lines
from coppermend.rom.image import LARGEST_ADDRESS, Chunk, RomImage, Trouble, assemble

_BYTE = re.compile(r"[0-9A-Fa-f]{2}")


def parse_ti_txt(text: str, where: str = "", *, tolerant: bool = False) -> RomImage:
    """Read TI-TXT.

    Raises:
        InputError: Strictly, at the first line that is no address, bytes or ``q``; at bytes before any
            address; when ``q`` is missing or followed by more.
    """
    trouble, chunks = Trouble(where, tolerant), list[Chunk]()
    lines = split_lines(text)
    at: int | None = None
    ended = False
    for number, raw in enumerate(lines, 1):
        line = raw.strip()
        if not line:
            continue
        if ended:
            trouble.found("a line after q", number, "nothing")
        if line in ("q", "Q"):
            ended = True
        elif line.startswith("@"):
            at = _at(line[1:], number, trouble)
        else:
            data = _bytes(line.split(), number, trouble)
            if at is None:
                trouble.found("bytes of an unknown address", number, "a line @ADDRESS before them")
                continue
            chunks.append(_within(Chunk(at, data, number), trouble))
            at += len(data)
    if not ended:
        trouble.found("the file ends without q", len(lines), "a last line q (is it whole?)")
    return RomImage(assemble(chunks, trouble), None, b"", tuple(trouble.defects))


def _at(digits: str, number: int, trouble: Trouble) -> int | None:
    if re.fullmatch(r"[0-9A-Fa-f]{1,8}", digits.strip()):
        return int(digits, 16)
    trouble.found(f"address {digits[:20]!r}", number, "1 to 8 hexadecimal digits after @")
    return None


def _bytes(words: list[str], number: int, trouble: Trouble) -> bytes:
    if (whole := _all_bytes(words)) is not None:
        return whole
    made = bytearray()
    for word in words:
        if not _BYTE.fullmatch(word):
            trouble.found(f"{word[:20]!r} is no byte", number, "two hexadecimal digits")
            break
        made.append(int(word, 16))
    return bytes(made)


def _all_bytes(words: list[str]) -> bytes | None:
    """The bytes of words that are all two hexadecimal digits; None when one is not."""
    digits = "".join(words)
    if len(digits) != 2 * len(words) or not all(len(word) == 2 for word in words):
        return None
    try:
        return bytes.fromhex(digits)
    except ValueError:
        return None


def _within(chunk: Chunk, trouble: Trouble) -> Chunk:
    room = LARGEST_ADDRESS + 1 - chunk.start
    if len(chunk.data) > room:
        trouble.found("bytes beyond address ffffffff", chunk.line, "32-bit addresses")
        return Chunk(chunk.start, chunk.data[: max(room, 0)], chunk.line)
    return chunk


def format_ti_txt(image: RomImage) -> str:
    """Write TI-TXT with LF line ends, 16 bytes a line."""
    return "\n".join((*_ti_lines(image), "q", ""))


def _ti_lines(image: RomImage) -> Iterator[str]:
    for segment in image.segments:
        yield f"@{segment.start:04X}"
        for at in range(0, len(segment.data), 16):
            yield segment.data[at : at + 16].hex(" ").upper()


_ADDRESS = re.compile(
    r"\s*(?:0[xX]|\$)?(?P<address>[0-9A-Fa-f]{1,16})(?P<colon>:?)(?P<rest>(?:\s.*)?)", re.DOTALL
)
_HASH_COLUMN = 50  # after an 8-digit address and colon: 16 times " xx", and two blanks
_COLUMN = re.compile(r"(?<!\S)[0-9A-Fa-f]{2}(?!\S)")


def parse_hex_dump(text: str, where: str = "", *, tolerant: bool = False) -> RomImage:
    """Read a hex dump: an address, then bytes, then perhaps the same as text after ``|``, ``#`` or two blanks.

    A line ``*`` repeats the line before it up to the next address. Where text follows ``|`` or ``#``, a byte
    belongs to the address that its column says, so that gaps stay gaps.

    Raises:
        InputError: Strictly, at the first line that is no such line, or that overlaps.
    """
    trouble, chunks = Trouble(where, tolerant), list[Chunk]()
    repeat = 0
    for number, line in enumerate(split_lines(text), 1):
        if line.strip() in ("", "..."):  # some mark a gap by dots
            continue
        if line.strip() == "*":
            repeat = number
            continue
        found = _ADDRESS.fullmatch(line)
        if not found or int(found["address"], 16) > LARGEST_ADDRESS:
            trouble.found("no line of a hex dump", number, "a 32-bit address and bytes, such as 0010: 4C 00")
            continue
        start = int(found["address"], 16)
        if repeat:
            chunks += _repeated(chunks, start, repeat, trouble)
            repeat = 0
        for offset, data in _dump_bytes(found["rest"], bool(found["colon"]), number, trouble):
            chunks.append(_within(Chunk(start + offset, data, number), trouble))
    if repeat:
        trouble.found("a * without an address after it", repeat, "the address where the repeat ends")
    if not chunks:
        trouble.found("no bytes", 1, "lines such as 0010: 4C 00 F0")
    return RomImage(assemble(chunks, trouble), None, b"", tuple(trouble.defects))


def _repeated(chunks: list[Chunk], end: int, number: int, trouble: Trouble) -> list[Chunk]:
    last = chunks[-1] if chunks else None
    at = last.start + len(last.data) if last else 0
    if last is None or not last.data or end < at or end - at > 1 << 24:
        trouble.found("* repeats nothing that can be repeated", number, "a line before, an address after")
        return []
    times = -(-(end - at) // len(last.data))
    return [Chunk(at, (last.data * times)[: end - at], number)]


def _dump_bytes(rest: str, colon: bool, number: int, trouble: Trouble) -> list[tuple[int, bytes]]:
    """(offset, bytes) runs of one line."""
    data, bar, _ = rest.partition("|")
    if colon:
        data, bar = rest[:_HASH_COLUMN], rest[_HASH_COLUMN:][:1]
        # In a dump of grouped bytes a "#" there is only a letter of the text.
        bar = "#" if bar == "#" and all(map(_BYTE.fullmatch, data.replace("-", " ").split())) else ""
    if bar:
        return _by_column(data, canonical=not colon, number=number, trouble=trouble)
    # Without a mark, text may follow after two blanks; a wider gap among the first bytes is layout.
    body = rest.strip() if not colon else re.split(r"\s{2,}", rest.strip(), maxsplit=1)[0]
    made = bytearray()
    for word in body.replace("-", " ").split():
        if len(word) % 2 or not re.fullmatch(r"[0-9A-Fa-f]+", word):
            trouble.found(f"{word[:20]!r} is no byte", number, "pairs of hexadecimal digits")
            break
        made += bytes.fromhex(word)
    return [(0, bytes(made))] if made else []


def _by_column(data: str, *, canonical: bool, number: int, trouble: Trouble) -> list[tuple[int, bytes]]:
    plain = data.replace("-", " ")
    words = plain.split()
    if len(words) == 16 and (whole := _all_bytes(words)) is not None:
        return [(0, whole)]
    if odd := [w for w in words if not _BYTE.fullmatch(w)]:
        trouble.found(f"{odd[0][:20]!r} is no byte", number, "two hexadecimal digits")
    runs: list[tuple[int, bytearray]] = []
    first = 2 if canonical else 1
    for byte in _COLUMN.finditer(plain):
        column = byte.start() - first
        offset = column // 3 if not canonical or column < 24 else (column - 1) // 3
        if runs and offset == runs[-1][0] + len(runs[-1][1]):
            runs[-1][1].append(int(byte[0], 16))
        else:
            runs.append((offset, bytearray([int(byte[0], 16)])))
    return [(offset, bytes(run)) for offset, run in runs]


def format_hex_dump(image: RomImage) -> str:
    """Write a hex dump, 16 bytes a line on multiples of 16, gaps left blank, the same as text beside it."""
    return "".join(
        line + "\n" for segment in image.segments for line in dump_lines(segment.data, segment.start)
    )


def dump_lines(data: bytes, start: int = 0) -> Iterator[str]:
    """Lines of a hex dump of ``data`` from address ``start`` on."""
    at = start
    while at < start + len(data):
        line_start = at & ~0xF
        size = min(line_start + 16, start + len(data)) - at
        piece = data[at - start : at - start + size]
        cells = ["  "] * 16
        letters = [" "] * 16
        for index, byte in enumerate(piece, at - line_start):
            cells[index] = f"{byte:02x}"
            letters[index] = chr(byte) if 32 <= byte < 127 else "."
        yield f"{line_start:08x}  {' '.join(cells[:8])}  {' '.join(cells[8:])}  |{''.join(letters)}|"
        at += size
