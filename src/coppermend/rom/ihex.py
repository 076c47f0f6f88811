"""Intel HEX, all record types (00 data to 05 start linear address), read and written. Holds no other format.

Source: the Hexadecimal Object File Format Specification, revision A, 1988: record layout, checksum, and the
wrap of an offset within its segment (type 02) or within 4 GiB (type 04).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from coppermend.board.readers.text import split_lines
from coppermend.errors import InputError
from coppermend.rom.image import Chunk, RomImage, Trouble, assemble

Extended = Literal["linear", "segment"]
_DATA, _END, _SEGMENT, _START_SEGMENT, _LINEAR, _START_LINEAR = range(6)
_LENGTHS = {_END: 0, _SEGMENT: 2, _START_SEGMENT: 4, _LINEAR: 2, _START_LINEAR: 4}
_SMALLEST = 5  # length, two of address, type, checksum


def parse_intel_hex(text: str, where: str = "", *, tolerant: bool = False) -> RomImage:
    """Read Intel HEX.

    Args:
        text: The file; LF, CRLF or CR ends, blank lines allowed.
        where: Its name, for errors.
        tolerant: Read what is readable and list the rest in ``defects``.

    Raises:
        InputError: Strictly, at the first line that is no sound record, that overlaps, or that follows the
            end record; and when the end record is missing.
    """
    reader = _Reader(Trouble(where, tolerant))
    lines = split_lines(text)
    for number, line in enumerate(lines, 1):
        if line.strip():
            reader.line(line.strip(), number)
    if not reader.ended:
        reader.trouble.found(
            "the file ends without an end record", len(lines), "a last line :00000001FF (is it whole?)"
        )
    segments = assemble(reader.chunks, reader.trouble)
    return RomImage(segments, reader.execution_start, b"", tuple(reader.trouble.defects))


class _Reader:
    def __init__(self, trouble: Trouble) -> None:
        self.trouble = trouble
        self.chunks: list[Chunk] = []
        self.base, self.wrap = 0, 1 << 32
        self.execution_start: int | None = None
        self.ended = False

    def line(self, line: str, number: int) -> None:
        if self.ended:
            self.trouble.found("a line after the end record", number, "nothing")
        record = _record(line, number, self.trouble)
        if record is None:
            return
        if record.kind == _DATA:
            self._data(record, number)
        elif record.kind not in _LENGTHS:
            self.trouble.found(f"record type {record.kind:02X}", number, "a type from 00 to 05")
        elif len(record.data) != _LENGTHS[record.kind]:
            self.trouble.found(
                f"record type {record.kind:02X} with {len(record.data)} bytes", number,
                f"{_LENGTHS[record.kind]} bytes",
            )  # fmt: skip
        else:
            self._special(record, number)

    def _special(self, record: _Record, number: int) -> None:
        value = int.from_bytes(record.data, "big")
        match record.kind:
            case 1:
                self.ended = True
            case 2:
                self.base, self.wrap = value << 4, 1 << 16
            case 4:
                self.base, self.wrap = value << 16, 1 << 32
            case _:
                if self.execution_start is not None:
                    self.trouble.found("a second start address", number, "one at most")
                # CS:IP is kept as the address it means, as writers of type 05 would give it.
                self.execution_start = (
                    value if record.kind == _START_LINEAR else ((value >> 16) << 4) + (value & 0xFFFF)
                )

    def _data(self, record: _Record, number: int) -> None:
        offset, data = record.offset, record.data
        if self.wrap == 1 << 32:
            # The offset counts within 4 GiB, so it runs on from one 64 KiB block into the next.
            start = (self.base + offset) % self.wrap
            room = self.wrap - start
            self.chunks.append(Chunk(start, data[:room], number))
            self.chunks.append(Chunk(0, data[room:], number))
        else:
            room = self.wrap - offset
            self.chunks.append(Chunk(self.base + offset, data[:room], number))
            self.chunks.append(Chunk(self.base, data[room:], number))


@dataclass(frozen=True, slots=True)
class _Record:
    kind: int
    offset: int
    data: bytes


def _record(line: str, number: int, trouble: Trouble) -> _Record | None:
    if not line.startswith(":"):
        trouble.found(f"line starts with {line[0]!r}", number, "':' of an Intel HEX record")
        return None
    try:
        raw = bytes.fromhex(line[1:])
        if " " in line:
            raise ValueError  # fromhex skips blanks; the format has none
    except ValueError:
        trouble.found("no pairs of hexadecimal digits after ':'", number, "such as :0300300002337A1E")
        return None
    if len(raw) < _SMALLEST:
        trouble.found(f"a record of {len(raw)} bytes is cut short", number, "at least 5 bytes")
        return None
    length = raw[0]
    if len(raw) != length + _SMALLEST:
        trouble.found(
            f"the record says {length} data bytes and holds {len(raw) - _SMALLEST}", number,
            "as many as it says (is the line whole?)",
        )  # fmt: skip
        # What is there of a data record is still readable; anything else would move what follows.
        return _Record(_DATA, int.from_bytes(raw[1:3], "big"), raw[4 : 4 + length]) if raw[3] == 0 else None
    if sum(raw) & 0xFF:
        trouble.found(f"checksum {raw[-1]:02X}", number, f"{-sum(raw[:-1]) & 0xFF:02X}")
    return _Record(raw[3], int.from_bytes(raw[1:3], "big"), raw[4:-1])


def format_intel_hex(image: RomImage, *, record_bytes: int = 16, extended: Extended = "linear") -> str:
    """Write Intel HEX with LF line ends.

    Args:
        image: What to write.
        record_bytes: Data bytes in a record, 1 to 255.
        extended: How to reach beyond 64 KiB: type 04, or type 02 (up to 1 MiB).

    Raises:
        InputError: If an address is beyond the reach of ``extended``, or ``record_bytes`` is out of range.
    """
    if not 1 <= record_bytes <= 255:
        raise InputError(f"{record_bytes} bytes in a record", expected="1 to 255")
    reach = 1 << (32 if extended == "linear" else 20)
    if image.end > reach:
        raise InputError(f"address {image.end - 1:#x}", expected=f"below {reach:#x} for {extended} addresses")
    return "\n".join((*_lines(image, record_bytes, extended), ""))


def _lines(image: RomImage, record_bytes: int, extended: Extended) -> Iterator[str]:
    block = 0
    for segment in image.segments:
        at = segment.start
        while at < segment.end:
            if at >> 16 != block:
                block = at >> 16
                kind, value = (_LINEAR, block) if extended == "linear" else (_SEGMENT, block << 12)
                yield _line(kind, 0, value.to_bytes(2, "big"))
            size = min(record_bytes, segment.end - at, ((block + 1) << 16) - at)
            yield _line(_DATA, at & 0xFFFF, segment.data[at - segment.start : at - segment.start + size])
            at += size
    if image.execution_start is not None:
        yield _line(*_start(image.execution_start, extended))
    yield _line(_END, 0, b"")


def _start(address: int, extended: Extended) -> tuple[int, int, bytes]:
    if extended == "linear" or address >= 1 << 20:
        return _START_LINEAR, 0, address.to_bytes(4, "big")
    return (
        _START_SEGMENT,
        0,
        ((address & 0xF0000) >> 4).to_bytes(2, "big") + (address & 0xFFFF).to_bytes(2, "big"),
    )


def _line(kind: int, offset: int, data: bytes) -> str:
    raw = bytes((len(data), *offset.to_bytes(2, "big"), kind)) + data
    return f":{raw.hex().upper()}{-sum(raw) & 0xFF:02X}"
