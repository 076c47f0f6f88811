"""What a fault on the lines of a memory does to what is read: maps of addresses and of bytes. Judges nothing.

A device with contents R, read through faulty lines, shows D[a] = bytes_seen[R[addresses_seen(a)]].
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

FaultKind = Literal[
    "data-stuck", "data-swapped", "data-shorted", "data-inverted", "data-order", "data-open",
    "address-stuck", "address-swapped", "address-shorted", "address-inverted", "address-open",
    "region", "offset", "flips",
]  # fmt: skip
Bytes = npt.NDArray[np.uint8]
Addresses = npt.NDArray[np.int32]

ADDRESS_KINDS = frozenset(
    ("address-stuck", "address-swapped", "address-shorted", "address-inverted", "offset")
)
DATA_KINDS = frozenset(("data-stuck", "data-swapped", "data-shorted", "data-inverted", "data-order"))


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault: its kind, the line numbers it is on, and a mode.

    ``mode`` is 0 or 1 for stuck lines (the level) and shorted ones (0: wired AND, 1: wired OR), the level of the
    line that selects a ``region``, the distance of an ``offset``, the count of ``flips``; else 0.
    ``data-order`` has eight lines: where D0, D1, ... come from.
    """

    kind: FaultKind
    lines: tuple[int, ...] = ()
    mode: int = 0

    def to_json(self) -> dict[str, Any]:
        """Keys ``kind``, ``lines``, ``mode``, ``words``."""
        return {"kind": self.kind, "lines": list(self.lines), "mode": self.mode, "words": fault_words(self)}


def fault_words(fault: Fault) -> str:
    """The fault as a technician would say it.

    >>> fault_words(Fault("data-stuck", (3,), 1))
    'data line D3 stuck high, or open and read as high'
    """
    prefix = "A" if fault.kind.startswith(("address", "region")) else "D"
    first, second = [*(f"{prefix}{line}" for line in fault.lines), "", ""][:2]
    if fault.kind == "address-inverted" and first == "A0":
        return "bytes swapped in pairs (A0 inverted)"
    return _WORDS[fault.kind].format(
        first=first,
        second=second,
        level="high" if fault.mode else "low",
        wired=f"either being {'high' if fault.mode else 'low'} reads as {'high' if fault.mode else 'low'}",
        order=", ".join(f"D{n}" for n in fault.lines),
        block=1 << (fault.lines or (0,))[0],
        count=fault.mode,
        plural="" if fault.mode == 1 else "s",
    )


_WORDS: Mapping[FaultKind, str] = {
    "data-stuck": "data line {first} stuck {level}, or open and read as {level}",
    "data-swapped": "data lines {first} and {second} swapped",
    "data-shorted": "data lines {first} and {second} shorted ({wired})",
    "data-inverted": "all data lines inverted",
    "data-order": "data lines in another order: D0 to D7 carry {order}",
    "data-open": "data line {first} open: its bits are noise",
    "address-stuck": "address line {first} stuck {level}, or open and floating {level}",
    "address-swapped": "address lines {first} and {second} swapped",
    "address-shorted": "address lines {first} and {second} shorted ({wired})",
    "address-inverted": "{first} or the select made from it inverted: blocks of {block:,} bytes exchanged",
    "address-open": "address line {first} open and floating: it reads now low, now high",
    "region": "not selected while {first} is {level}: idle bytes there",
    "offset": "shifted by {count:,} bytes ({count:#x})",
    "flips": "{count:,} scattered bit{plural} changed",
}


def addresses_seen(fault: Fault, addresses: Addresses, size: int) -> Addresses:
    """The address inside the device for each address put on its lines; for kinds in ``ADDRESS_KINDS``."""
    if fault.kind == "offset":
        return (addresses + np.int32(fault.mode)) % np.int32(size)
    first = fault.lines[0]
    if fault.kind == "address-stuck":
        return addresses | np.int32(1 << first) if fault.mode else addresses & np.int32(~(1 << first))
    if fault.kind == "address-inverted":
        return addresses ^ np.int32(1 << first)
    second = fault.lines[1]
    a, b = (addresses >> first) & 1, (addresses >> second) & 1
    if fault.kind == "address-swapped":
        return addresses ^ ((a ^ b) * np.int32(1 << first | 1 << second))
    both = a | b if fault.mode else a & b
    return (addresses & np.int32(~(1 << first | 1 << second))) | both * np.int32(1 << first | 1 << second)


def bytes_seen(fault: Fault) -> Bytes:
    """The 256 bytes that are read for each byte in the device; for kinds in ``DATA_KINDS``."""
    values = np.arange(256, dtype=np.uint8)
    if fault.kind == "data-inverted":
        return ~values
    if fault.kind == "data-order":
        planes = [((values >> source) & 1) << line for line, source in enumerate(fault.lines)]
        return np.asarray(np.bitwise_or.reduce(planes), dtype=np.uint8)
    seen = addresses_seen(
        Fault(_AS_ADDRESS[fault.kind], fault.lines, fault.mode), values.astype(np.int32), 256
    )
    return np.asarray(seen, dtype=np.uint8)


_AS_ADDRESS: dict[str, FaultKind] = {
    "data-stuck": "address-stuck", "data-swapped": "address-swapped", "data-shorted": "address-shorted",
}  # fmt: skip


def line_faults(area: Literal["address", "data"], lines: int) -> tuple[Fault, ...]:
    """Every stuck, swapped, shorted and (for addresses) inverted line among ``lines`` lines."""
    kinds: dict[str, FaultKind] = (
        {"stuck": "address-stuck", "swapped": "address-swapped", "shorted": "address-shorted"}
        if area == "address"
        else {"stuck": "data-stuck", "swapped": "data-swapped", "shorted": "data-shorted"}
    )
    pairs = tuple(combinations(range(lines), 2))
    stuck = (Fault(kinds["stuck"], (n,), level) for n in range(lines) for level in (0, 1))
    swapped = (Fault(kinds["swapped"], pair) for pair in pairs)
    shorted = (Fault(kinds["shorted"], pair, mode) for pair in pairs for mode in (0, 1))
    rest: Iterable[Fault] = (
        (Fault("address-inverted", (n,)) for n in range(lines))
        if area == "address"
        else (Fault("data-inverted"),)
    )
    return (*stuck, *swapped, *shorted, *rest)
