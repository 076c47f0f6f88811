"""Motorola S-records S0 to S9, read and written. Holds no other format.

Source: the S-record manual page of the maker's programming references (type, count, address, data, checksum
as the ones' complement of the sum of count, address and data).
"""

from __future__ import annotations

from collections.abc import Iterator

from coppermend.board.readers.text import split_lines
from coppermend.errors import InputError
from coppermend.rom.image import Chunk, RomImage, Trouble, assemble

# Bytes of address by type; S4 is reserved.
_ADDRESS_BYTES = {0: 2, 1: 2, 2: 3, 3: 4, 5: 2, 6: 3, 7: 4, 8: 3, 9: 2}
_DATA, _COUNT, _START = (1, 2, 3), (5, 6), (7, 8, 9)


def parse_srec(text: str, where: str = "", *, tolerant: bool = False) -> RomImage:
    """Read S-records. Some writers omit the start record (S7 to S9): that is no defect, a wrong count is.

    Args:
        text: The file; LF, CRLF or CR ends, blank lines allowed.
        where: Its name, for errors.
        tolerant: Read what is readable and list the rest in ``defects``.

    Raises:
        InputError: Strictly, at the first line that is no sound record, that overlaps, or that follows the
            start record; and when there is no record at all.
    """
    reader = _Reader(Trouble(where, tolerant))
    for number, line in enumerate(split_lines(text), 1):
        if line.strip():
            reader.line(line.strip(), number)
    if not reader.records:
        reader.trouble.found("no S-record", 1, "lines such as S1137AF00A0A0D0000000000000000000000000061")
    segments = assemble(reader.chunks, reader.trouble)
    return RomImage(segments, reader.execution_start, reader.header, tuple(reader.trouble.defects))


class _Reader:
    def __init__(self, trouble: Trouble) -> None:
        self.trouble = trouble
        self.chunks: list[Chunk] = []
        self.records = 0
        self.header = b""
        self.execution_start: int | None = None
        self.ended = False

    def line(self, line: str, number: int) -> None:
        if self.ended:
            self.trouble.found("a line after the start record", number, "nothing")
        if line[0] not in "Ss" or not line[1:2].isdecimal():
            self.trouble.found(f"line starts with {line[:2]!r}", number, "S0 to S9")
            return
        kind = int(line[1])
        self.records += 1
        if kind not in _ADDRESS_BYTES:
            self.trouble.found("record type S4 is reserved", number, "S0 to S3 or S5 to S9")
            return
        body = self._body(line[2:], number, _ADDRESS_BYTES[kind])
        if body is not None:
            self._take(kind, *body, number)

    def _body(self, digits: str, number: int, wide: int) -> tuple[int, bytes] | None:
        try:
            raw = bytes.fromhex(digits)
            if " " in digits:
                raise ValueError  # fromhex skips blanks; the format has none
        except ValueError:
            self.trouble.found("no pairs of hexadecimal digits after the type", number, "such as S9030000FC")
            return None
        if len(raw) < wide + 2:
            self.trouble.found(f"a record of {len(raw)} bytes is cut short", number, f"at least {wide + 2}")
            return None
        if raw[0] != len(raw) - 1:
            self.trouble.found(
                f"the record says {raw[0]} bytes and holds {len(raw) - 1}", number,
                "as many as it says (is the line whole?)",
            )  # fmt: skip
            # Cut short, its last byte is data, not the checksum; too long, the rest is no data.
            return int.from_bytes(raw[1 : wide + 1], "big"), raw[wide + 1 : max(raw[0], wide + 1)]
        if sum(raw) & 0xFF != 0xFF:
            self.trouble.found(f"checksum {raw[-1]:02X}", number, f"{~sum(raw[:-1]) & 0xFF:02X}")
        return int.from_bytes(raw[1 : wide + 1], "big"), raw[wide + 1 : -1]

    def _take(self, kind: int, address: int, data: bytes, number: int) -> None:
        if kind == 0:
            self.header = data
        elif kind in _DATA:
            if address + len(data) > 1 << 8 * _ADDRESS_BYTES[kind]:
                self.trouble.found(f"bytes beyond the reach of S{kind}", number, "no wrap of addresses")
                data = data[: (1 << 8 * _ADDRESS_BYTES[kind]) - address]
            self.chunks.append(Chunk(address, data, number))
        elif data:
            self.trouble.found(f"S{kind} with data", number, "an address alone")
        elif kind in _COUNT:
            seen = len(self.chunks) % (1 << 8 * _ADDRESS_BYTES[kind])
            if address != seen:
                self.trouble.found(
                    f"S{kind} counts {address} data records, {seen} are there", number, "all records"
                )
        else:
            self.execution_start, self.ended = address, True


def format_srec(image: RomImage, *, record_bytes: int = 16, address_bytes: int = 0) -> str:
    """Write S-records with LF line ends: S0, data, a count (S5 or S6), and the start record.

    Args:
        image: What to write.
        record_bytes: Data bytes in a record, 1 to 250.
        address_bytes: 2 (S1), 3 (S2), 4 (S3), or 0 for the fewest that reach.

    Raises:
        InputError: If an address does not fit, or ``record_bytes`` or ``address_bytes`` is out of range.
    """
    if not 1 <= record_bytes <= 250:
        raise InputError(f"{record_bytes} bytes in a record", expected="1 to 250")
    if address_bytes not in (0, 2, 3, 4):
        raise InputError(f"{address_bytes} address bytes", expected="2, 3, 4, or 0 for the fewest that reach")
    highest = max(image.end - 1, image.execution_start or 0, 0)
    fewest = next((n for n in (2, 3, 4) if highest < 1 << 8 * n), 5)
    if fewest > (address_bytes or 4):
        raise InputError(f"address {highest:#x}", expected=f"at most {address_bytes or 4} bytes of address")
    return "\n".join((*_lines(image, record_bytes, address_bytes or fewest), ""))


def _lines(image: RomImage, record_bytes: int, wide: int) -> Iterator[str]:
    yield _line(0, 0, 2, image.header[:250])
    count = 0
    for segment in image.segments:
        for at in range(0, len(segment.data), record_bytes):
            yield _line(wide - 1, segment.start + at, wide, segment.data[at : at + record_bytes])
            count += 1
    if count < 1 << 24:
        yield _line(5, count, 2, b"") if count < 1 << 16 else _line(6, count, 3, b"")
    yield _line(11 - wide, image.execution_start or 0, wide, b"")


def _line(kind: int, address: int, wide: int, data: bytes) -> str:
    raw = bytes((wide + len(data) + 1, *address.to_bytes(wide, "big"))) + data
    return f"S{kind}{raw.hex().upper()}{~sum(raw) & 0xFF:02X}"
