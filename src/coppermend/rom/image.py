"""What an image is: bytes at addresses, with what was odd about the file they came from. Reads no format."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from coppermend.errors import InputError

# The largest device here holds 64 KiB; what is above this limit is a wrong file, not an image.
LARGEST_IMAGE_BYTES = 16 * 1024 * 1024
LARGEST_ADDRESS = 0xFFFF_FFFF


@dataclass(frozen=True, slots=True)
class Defect:
    """Something wrong in a file that was read tolerantly; ``line`` None when the whole file is meant."""

    line: int | None
    found: str

    def to_json(self) -> dict[str, Any]:
        """Keys ``line`` (or null) and ``found``."""
        return {"line": self.line, "found": self.found}


@dataclass(frozen=True, slots=True)
class Segment:
    """Consecutive bytes from address ``start`` on."""

    start: int
    data: bytes

    @property
    def end(self) -> int:
        """The address after the last byte."""
        return self.start + len(self.data)


@dataclass(frozen=True, slots=True)
class RomImage:
    """Bytes at addresses: segments by rising address, never touching each other.

    ``execution_start`` is the start address that a record gave, ``header`` the text of a header record.
    ``defects`` is what was wrong in a file that was read tolerantly.
    """

    segments: tuple[Segment, ...] = ()
    execution_start: int | None = None
    header: bytes = b""
    defects: tuple[Defect, ...] = field(default=(), compare=False)

    @classmethod
    def of(cls, data: bytes, start: int = 0) -> RomImage:
        """One run of bytes from ``start`` on; no segment for no bytes."""
        return cls((Segment(start, data),) if data else ())

    @property
    def low(self) -> int:
        """The lowest address; 0 for an empty image."""
        return self.segments[0].start if self.segments else 0

    @property
    def end(self) -> int:
        """The address after the highest; 0 for an empty image."""
        return self.segments[-1].end if self.segments else 0

    @property
    def byte_count(self) -> int:
        """How many bytes there are, gaps not counted."""
        return sum(len(segment.data) for segment in self.segments)

    def gaps(self) -> tuple[tuple[int, int], ...]:
        """(first address, length) of each gap between segments."""
        return tuple((a.end, b.start - a.end) for a, b in pairwise(self.segments))

    def dense(
        self, start: int | None = None, size: int | None = None, fill: int = 0xFF, where: str = ""
    ) -> bytes:
        """All bytes from ``start`` (the lowest address) for ``size`` bytes (to the end), gaps filled.

        Raises:
            InputError: If bytes lie outside, or the span is larger than 16 MiB.
        """
        first = self.low if start is None else start
        length = max(self.end - first, 0) if size is None else size
        if length > LARGEST_IMAGE_BYTES:
            raise InputError(
                f"addresses {self.low:#x} to {self.end - 1:#x} span {length:,} bytes",
                expected=f"at most {LARGEST_IMAGE_BYTES:,} bytes in one run", where=where,
            )  # fmt: skip
        if self.segments and (self.low < first or self.end > first + length):
            raise InputError(
                f"bytes at {self.low:#x} to {self.end - 1:#x}",
                expected=f"addresses {first:#x} to {first + length - 1:#x}", where=where,
            )  # fmt: skip
        made = bytearray([fill]) * length
        for segment in self.segments:
            made[segment.start - first : segment.end - first] = segment.data
        return bytes(made)


@dataclass
class Trouble:
    """What to do with something wrong: strictly the first ends the reading, tolerantly each is kept in a list."""

    where: str
    tolerant: bool = False
    defects: list[Defect] = field(default_factory=list)

    def found(self, what: str, line: int | None, expected: str = "") -> None:
        """Note a defect.

        Raises:
            InputError: When reading strictly.
        """
        if not self.tolerant:
            raise InputError(what, expected=expected, where=self.where, line=line)
        self.defects.append(Defect(line, what))


@dataclass(frozen=True, slots=True)
class Chunk:
    """Bytes as one record of a file gives them."""

    start: int
    data: bytes
    line: int


def assemble(chunks: Iterable[Chunk], trouble: Trouble) -> tuple[Segment, ...]:
    """Join chunks to segments; where two overlap, the later line counts and a defect is noted.

    Raises:
        InputError: If chunks overlap (strictly), or hold more than 16 MiB in all.
    """
    given = [chunk for chunk in chunks if chunk.data]
    total = sum(len(chunk.data) for chunk in given)
    if total > LARGEST_IMAGE_BYTES:
        raise InputError(
            f"{total:,} bytes of data", expected=f"at most {LARGEST_IMAGE_BYTES:,}", where=trouble.where
        )
    spans: list[tuple[int, bytearray]] = []
    writes: list[tuple[int, Chunk]] = []
    ends: list[int] = []
    before: Chunk | None = None
    for chunk in sorted(given, key=lambda c: c.start):
        end = chunk.start + len(chunk.data)
        if spans and chunk.start <= ends[-1]:
            if chunk.start < ends[-1] and before is not None:
                first, second = sorted((before.line, chunk.line))
                trouble.found(
                    f"bytes at {chunk.start:#x} were already given in line {first}", second,
                    "every address once",
                )  # fmt: skip
            ends[-1] = max(ends[-1], end)
        else:
            spans.append((chunk.start, bytearray()))
            ends.append(end)
        if before is None or end >= before.start + len(before.data):
            before = chunk
        writes.append((len(spans) - 1, chunk))
    for (start, room), end in zip(spans, ends, strict=True):
        room.extend(bytes(end - start))
    for at, chunk in sorted(writes, key=lambda write: write[1].line):
        start, room = spans[at]
        room[chunk.start - start : chunk.start - start + len(chunk.data)] = chunk.data
    return tuple(Segment(start, bytes(room)) for start, room in spans)


def assemble_sparse(segments: Iterable[Segment]) -> tuple[Segment, ...]:
    """Segments sorted and joined where they touch.

    Raises:
        InputError: If two overlap.
    """
    trouble = Trouble("image")
    return assemble((Chunk(s.start, s.data, n) for n, s in enumerate(segments, 1)), trouble)
