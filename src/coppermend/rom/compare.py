"""Two images that should be equal: how much differs, on which lines, and why. Opens no file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from coppermend.errors import InputError
from coppermend.rom.causes import Cause, find_causes

_LARGEST_COMPARED = 4 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class LineDifference:
    """Differences seen from one line: for data lines bits 0 to 1 and 1 to 0, for address lines bytes at each level."""

    line: str
    rising: int
    falling: int

    def to_json(self) -> dict[str, Any]:
        """Keys ``line``, ``rising``, ``falling``."""
        return {"line": self.line, "rising": self.rising, "falling": self.falling}


@dataclass(frozen=True)
class Comparison:
    """How the second image differs from the first.

    ``data_lines``: bits that are 0 in the first and 1 in the second (rising), and the reverse, on D0 to D7.
    ``address_lines``: differing bytes where A0, A1, ... is high (rising) and low (falling).
    ``blocks``: differing bytes in each of 256 equal parts of the image (fewer for small ones).
    ``relation`` is said instead of causes when the sizes differ.
    """

    sizes: tuple[int, int]
    differing_bytes: int
    differing_bits: int
    data_lines: tuple[LineDifference, ...]
    address_lines: tuple[LineDifference, ...]
    blocks: tuple[int, ...]
    causes: tuple[Cause, ...]
    relation: str = ""

    @property
    def equal(self) -> bool:
        """Whether both hold the same bytes."""
        return self.differing_bytes == 0 and self.sizes[0] == self.sizes[1]

    def to_json(self) -> dict[str, Any]:
        """Keys as the fields, and ``equal``."""
        return {
            "equal": self.equal, "sizes": list(self.sizes), "differing_bytes": self.differing_bytes,
            "differing_bits": self.differing_bits, "relation": self.relation,
            "data_lines": [line.to_json() for line in self.data_lines],
            "address_lines": [line.to_json() for line in self.address_lines],
            "blocks": list(self.blocks), "causes": [cause.to_json() for cause in self.causes],
        }  # fmt: skip


def compare(first: bytes, second: bytes) -> Comparison:
    """Compare two images; of different sizes, the common part.

    Args:
        first: The image to trust, if one is.
        second: The other.

    Raises:
        InputError: If one is empty or larger than 4 MiB.
    """
    for data in (first, second):
        if not 0 < len(data) <= _LARGEST_COMPARED:
            raise InputError(f"an image of {len(data):,} bytes", expected=f"1 to {_LARGEST_COMPARED:,} bytes")
    common = min(len(first), len(second))
    a, b = (np.frombuffer(data, np.uint8)[:common] for data in (first, second))
    differs = a != b
    relation = _relation(first, second)
    return Comparison(
        sizes=(len(first), len(second)),
        differing_bytes=int(np.count_nonzero(differs)),
        differing_bits=int(np.bitwise_count(a ^ b).sum(dtype=np.int64)),
        data_lines=_data_lines(a, b),
        address_lines=_address_lines(differs),
        blocks=_blocks(differs),
        causes=() if relation else find_causes(a, b),
        relation=relation,
    )


def _data_lines(a: np.ndarray[Any, Any], b: np.ndarray[Any, Any]) -> tuple[LineDifference, ...]:
    up, down = ~a & b, a & ~b
    return tuple(
        LineDifference(
            f"D{line}",
            int(np.count_nonzero(up & (1 << line))),
            int(np.count_nonzero(down & (1 << line))),
        )
        for line in range(8)
    )


def _address_lines(differs: np.ndarray[Any, Any]) -> tuple[LineDifference, ...]:
    at = np.flatnonzero(differs)
    made = []
    for line in range(max(int(differs.size - 1).bit_length(), 1)):
        high = int(np.count_nonzero(at & (1 << line)))
        made.append(LineDifference(f"A{line}", high, int(at.size) - high))
    return tuple(made)


def _blocks(differs: np.ndarray[Any, Any]) -> tuple[int, ...]:
    edges = np.linspace(0, differs.size, min(256, differs.size) + 1).astype(np.int64)
    return tuple(int(n) for n in np.add.reduceat(differs.astype(np.int64), edges[:-1]))


def _relation(first: bytes, second: bytes) -> str:
    if len(first) == len(second):
        return ""
    (short, one), (long, other) = sorted(
        ((first, "first"), (second, "second")), key=lambda pair: len(pair[0])
    )
    times, rest = divmod(len(long), len(short))
    if not rest and short * times == long:
        return f"the {other} is the {one} repeated {times} times: a small image in a large device"
    at = long.find(short)
    if at >= 0:
        where = (
            "starts with" if at == 0 else "ends with" if at + len(short) == len(long) else f"holds at {at:#x}"
        )
        return f"the {other} {where} the {one}"
    return f"sizes differ ({len(first):,} and {len(second):,} bytes); the common part was compared"
