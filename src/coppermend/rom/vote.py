"""Several dumps of one device: what most of them say, byte by byte, and which bits will not stay. No causes of lines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from coppermend.errors import InputError

_LISTED, _KEPT = 2048, 65_536
_LARGEST = 4 * 1024 * 1024
_MOST = 0.8  # of the unstable bits on one line: the line, not the cells


@dataclass(frozen=True, slots=True)
class UnstableByte:
    """A byte that dumps do not agree on: the majority's value, and how many dumps read each bit (D7 first) as one."""

    address: int
    best: int
    mask: int
    ones: tuple[int, ...]
    tied: bool

    def to_json(self) -> dict[str, Any]:
        """Keys ``address``, ``best``, ``mask`` (bits that change), ``ones`` (D7 first), ``tied``."""
        return {
            "address": self.address, "best": self.best, "mask": self.mask, "ones": list(self.ones),
            "tied": self.tied,
        }  # fmt: skip


@dataclass(frozen=True)
class Vote:
    """The best reconstruction of a device from several dumps.

    Attributes:
        dumps: How many dumps voted.
        best: The majority of each bit; a tied bit is that of the first dump.
        agreement: float32 array by byte, the share of dumps that read exactly the best byte.
        unstable_bytes: How many bytes dumps differ on.
        unstable: The first 65,536 of them, by address.
        by_line: Unstable bits on D0 to D7.
        tied_bits: Bits on which as many dumps say one as zero: read once more.
        hint: What the pattern of unstable bits points to; "" when all agree.
    """

    dumps: int
    best: bytes
    agreement: npt.NDArray[np.float32]
    unstable_bytes: int
    unstable: tuple[UnstableByte, ...]
    by_line: tuple[int, ...]
    tied_bits: int
    hint: str

    def to_json(self) -> dict[str, Any]:
        """Counts, ``by_line``, ``hint``, ``lowest_agreement``, and at most 2,048 ``unstable`` bytes."""
        return {
            "dumps": self.dumps, "size": len(self.best), "unstable_bytes": self.unstable_bytes,
            "unstable_bits": sum(self.by_line), "tied_bits": self.tied_bits, "by_line": list(self.by_line),
            "lowest_agreement": round(float(self.agreement.min()), 4) if self.best else 1.0,
            "hint": self.hint, "unstable": [byte.to_json() for byte in self.unstable[:_LISTED]],
        }  # fmt: skip


def vote(dumps: Sequence[bytes]) -> Vote:
    """Let dumps of one device vote, bit by bit.

    Args:
        dumps: At least two, all of one size.

    Raises:
        InputError: If there are fewer than two, their sizes differ, or they are empty or larger than 4 MiB.
    """
    if len(dumps) < 2:
        raise InputError(f"{len(dumps)} dump", expected="at least two dumps of one device")
    if len(sizes := sorted({len(dump) for dump in dumps})) > 1:
        raise InputError(
            f"dumps of {' and '.join(f'{n:,}' for n in sizes)} bytes",
            expected="dumps of one device, of one size",
        )
    if not 0 < sizes[0] <= _LARGEST:
        raise InputError(f"dumps of {sizes[0]:,} bytes", expected=f"1 to {_LARGEST:,} bytes")
    images = [np.frombuffer(dump, np.uint8) for dump in dumps]
    ones = np.zeros((sizes[0], 8), np.int32)
    for image in images:  # one after the other: bits take eight times the room of bytes
        ones += np.unpackbits(image).reshape(-1, 8)
    majority = 2 * ones > len(dumps)
    tied = 2 * ones == len(dumps)
    first = np.unpackbits(images[0]).reshape(-1, 8).astype(bool)
    best = np.packbits(np.where(tied, first, majority), axis=1).reshape(-1)
    moving = (ones != 0) & (ones != len(dumps))
    by_line = tuple(int(n) for n in moving.sum(axis=0)[::-1])
    at = np.flatnonzero(moving.any(axis=1))
    masks = np.packbits(moving, axis=1).reshape(-1)
    unstable = tuple(
        UnstableByte(int(a), int(best[a]), int(masks[a]), tuple(int(n) for n in ones[a]), bool(tied[a].any()))
        for a in at[:_KEPT]
    )
    agreement = np.zeros(best.size, np.float32)
    for image in images:
        agreement += image == best
    agreement /= len(dumps)
    return Vote(
        dumps=len(dumps), best=best.tobytes(), agreement=agreement, unstable_bytes=int(at.size), unstable=unstable,
        by_line=by_line, tied_bits=int(tied.sum()), hint=_hint(by_line, at, len(best)),
    )  # fmt: skip


def _hint(by_line: Sequence[int], at: npt.NDArray[np.int64], size: int) -> str:
    total = sum(by_line)
    if not total:
        return ""
    line = max(range(8), key=lambda n: by_line[n])
    if total >= 8 and by_line[line] >= _MOST * total:
        return f"nearly all on D{line}: suspect the contact of that pin, clean it and read again"
    for address_line in range(size.bit_length() - 1):
        high = int(np.count_nonzero((at >> address_line) & 1))
        if at.size >= 16 and high in (0, at.size):
            level = "high" if high else "low"
            return f"only where A{address_line} is {level}: suspect the contact of that pin or the select"
    return "scattered: marginal cells; read at 4.75 V and at 5.25 V, and keep what the majority says"
