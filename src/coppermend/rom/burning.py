"""What is needed at the programmer: the burn list, label text, and the check of what was read back. Burns nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from coppermend.errors import InputError
from coppermend.rom.checksums import sums
from coppermend.rom.devices import Device

LABEL_WIDTH = 22  # characters on a label over the window of a 24-pin part; common practice, no source


@dataclass(frozen=True, slots=True)
class BurnItem:
    """One device to be burnt: where it goes, what it is, what it holds."""

    refdes: str
    device: Device
    name: str
    version: str
    cpu_first: int | None
    cpu_last: int | None
    data: bytes

    def __post_init__(self) -> None:
        if len(self.data) != self.device.bytes:
            raise InputError(
                f"{self.name or self.refdes}: an image of {len(self.data):,} bytes",
                expected=f"{self.device.bytes:,} bytes, all of a {self.device.name}",
            )

    def to_json(self) -> dict[str, Any]:
        """Keys ``refdes``, ``device``, ``name``, ``version``, ``cpu_first``, ``cpu_last``, ``bytes``, ``program_v``, ``sums``, ``label``, ``notes``."""
        return {
            "refdes": self.refdes, "device": self.device.name, "name": self.name, "version": self.version,
            "cpu_first": self.cpu_first, "cpu_last": self.cpu_last, "bytes": len(self.data),
            "program_v": self.device.program_v, "sums": sums(self.data), "label": list(label_lines(self)),
            "notes": self.device.notes,
        }  # fmt: skip


def label_lines(item: BurnItem) -> tuple[str, ...]:
    """The label: position and device, name and version, CPU addresses, and the 16-bit byte sum; 22 characters a line."""
    counted = sums(item.data)
    lines = [f"{item.refdes} {item.device.name}".strip(), f"{item.name} {item.version}".strip()]
    if item.cpu_first is not None and item.cpu_last is not None:
        lines.append(f"{item.cpu_first:04X}-{item.cpu_last:04X}")
    lines.append(f"sum16 {counted['sum16']}")
    return tuple(line[:LABEL_WIDTH] for line in lines if line)


def burn_list(items: Sequence[BurnItem]) -> list[dict[str, Any]]:
    """The items as JSON rows, by refdes.

    Raises:
        InputError: If two items go to one place.
    """
    places = [item.refdes for item in items]
    if twice := [place for place in places if place and places.count(place) > 1]:
        raise InputError(f"two images for {twice[0]}", expected="one image a place")
    return [item.to_json() for item in sorted(items, key=lambda item: item.refdes)]


@dataclass(frozen=True, slots=True)
class ReadBack:
    """What was read back from a burnt device against what was wanted."""

    verified: bool
    wrong_bytes: int
    first_wrong: int | None
    not_erased: int
    words: str

    def to_json(self) -> dict[str, Any]:
        """Keys as the fields."""
        return {
            "verified": self.verified, "wrong_bytes": self.wrong_bytes, "first_wrong": self.first_wrong,
            "not_erased_bits": self.not_erased, "words": self.words,
        }  # fmt: skip


def check_read_back(wanted: bytes, read: bytes) -> ReadBack:
    """Check a burnt device by what was read back.

    Bits that are 0 and should be 1 cannot be burnt: the device was not erased. Bits that are 1 and should be 0
    have not taken: burn once more.
    """
    if len(wanted) != len(read):
        return ReadBack(
            False, abs(len(wanted) - len(read)), min(len(wanted), len(read)), 0,
            f"{len(read):,} bytes were read back, {len(wanted):,} were wanted",
        )  # fmt: skip
    a, b = np.frombuffer(wanted, np.uint8), np.frombuffer(read, np.uint8)
    wrong = np.flatnonzero(a != b)
    if not wrong.size:
        return ReadBack(True, 0, None, 0, "what was read back is what was wanted")
    not_erased = int(np.bitwise_count(a & ~b).sum(dtype=np.int64))
    words = (
        f"{not_erased:,} bits are 0 and should be 1: erase the device and burn it anew"
        if not_erased
        else f"{wrong.size:,} bytes have not taken: burn once more, then read again"
    )
    return ReadBack(False, int(wrong.size), int(wrong[0]), not_erased, words)
