"""Several dumps of one device: what most of them say, byte by byte, and which bits will not stay. No causes of lines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from coppermend.errors import InputError

_LISTED = 2048
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
        unstable: The bytes on which dumps differ, by address.
        by_line: Unstable bits on D0 to D7.
        tied_bits: Bits on which as many dumps say one as zero: read once more.
        hint: What the pattern of unstable bits points to; "" when all agree.
    """

    dumps: int
    best: bytes
    agreement: npt.NDArray[np.float32]
    unstable: tuple[UnstableByte, ...]
    by_line: tuple[int, ...]
    tied_bits: int
    hint: str

    def to_json(self) -> dict[str, Any]:
        """Counts, ``by_line``, ``hint``, ``lowest_agreement``, and at most 2,048 ``unstable`` bytes."""
        return {
            "dumps": self.dumps, "size": len(self.best), "unstable_bytes": len(self.unstable),
            "unstable_bits": sum(self.by_line), "tied_bits": self.tied_bits, "by_line": list(self.by_line),
            "lowest_agreement": round(float(self.agreement.min()), 4) if self.best else 1.0,
            "hint": self.hint, "unstable": [byte.to_json() for byte in self.unstable[:_LISTED]],
        }  # fmt: skip


def vote(dumps: Sequence[bytes]) -> Vote:
    """Let dumps of one device vote, bit by bit.

    Args:
        dumps: At least two, all of one size.

    Raises:
        InputError: If there are fewer than two, or their sizes differ.
    """
    if len(dumps) < 2:
        raise InputError(f"{len(dumps)} dump", expected="at least two dumps of one device")
    if len(sizes := sorted({len(dump) for dump in dumps})) > 1:
        raise InputError(
            f"dumps of {' and '.join(f'{n:,}' for n in sizes)} bytes",
            expected="dumps of one device, of one size",
        )
    images = np.stack([np.frombuffer(dump, np.uint8) for dump in dumps])
    ones = np.unpackbits(images, axis=1).reshape(len(dumps), -1, 8).sum(axis=0, dtype=np.int32)
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
        for a in at
    )
    agreement = (images == best).mean(axis=0, dtype=np.float32)
    return Vote(
        len(dumps),
        best.tobytes(),
        agreement,
        unstable,
        by_line,
        int(tied.sum()),
        _hint(by_line, at, len(best)),
    )


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
