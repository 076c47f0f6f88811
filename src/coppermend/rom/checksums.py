"""Sums, CRCs and hashes of an image, each by its full definition, and the fix-up of a checksum byte on request.

"Checksum" alone is ambiguous; what is stored or printed is always the name of a sum with its value. Sources of
the CRCs: the catalogue of parametrised CRC algorithms (check value of "123456789" is tested).
"""

from __future__ import annotations

import hashlib
import zlib
from binascii import crc_hqx
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from coppermend.errors import InputError

SumName = Literal["sum8", "sum16", "sum32"]
DEFINITIONS: Mapping[str, str] = {
    "sum8": "sum of all bytes, modulo 256",
    "sum16": "sum of all bytes, modulo 65536, as programmers show it",
    "sum32": "sum of all bytes, modulo 2^32",
    "words16_le": "sum of 16-bit words, low byte first, modulo 65536",
    "words16_be": "sum of 16-bit words, high byte first, modulo 65536",
    "crc16_ccitt_false": "CRC-16, polynomial 1021, start FFFF, not reflected",
    "crc16_xmodem": "CRC-16, polynomial 1021, start 0000, not reflected",
    "crc32": "CRC-32 as in zip, polynomial 04C11DB7 reflected, start and final FFFFFFFF",
    "md5": "MD5",
    "sha1": "SHA-1",
    "sha256": "SHA-256",
}


def sums(data: bytes) -> dict[str, str]:
    """Every sum of ``DEFINITIONS`` by name, as upper-case hexadecimal digits (hashes in lower case).

    >>> sums(b"123456789")["crc32"], sums(b"123456789")["crc16_ccitt_false"]
    ('CBF43926', '29B1')
    """
    total = byte_sum(data)
    return {
        "sum8": f"{total & 0xFF:02X}",
        "sum16": f"{total & 0xFFFF:04X}",
        "sum32": f"{total & 0xFFFFFFFF:08X}",
        "words16_le": f"{_word_sum(data, '<u2'):04X}",
        "words16_be": f"{_word_sum(data, '>u2'):04X}",
        "crc16_ccitt_false": f"{crc_hqx(data, 0xFFFF):04X}",
        "crc16_xmodem": f"{crc_hqx(data, 0):04X}",
        "crc32": f"{zlib.crc32(data):08X}",
        "md5": hashlib.md5(data, usedforsecurity=False).hexdigest(),
        "sha1": hashlib.sha1(data, usedforsecurity=False).hexdigest(),
        "sha256": hashlib.sha256(data).hexdigest(),
    }


def byte_sum(data: bytes) -> int:
    """The sum of all bytes."""
    return int(np.frombuffer(data, np.uint8).sum(dtype=np.int64))


def _word_sum(data: bytes, order: str) -> int:
    # An odd last byte counts as a word whose other byte is zero.
    words = np.frombuffer(data + b"\0" * (len(data) % 2), order)
    return int(words.sum(dtype=np.int64)) & 0xFFFF


@dataclass(frozen=True, slots=True)
class FixUp:
    """A checksum byte (or bytes) changed on request: where, from what, to what."""

    sum_name: SumName
    target: int
    changes: tuple[tuple[int, int, int], ...]

    def to_json(self) -> dict[str, Any]:
        """Keys ``sum``, ``target``, ``changes`` [{offset, before, after}]."""
        return {
            "sum": self.sum_name,
            "target": self.target,
            "changes": [{"offset": o, "before": b, "after": a} for o, b, a in self.changes],
        }


def fix_checksum(
    data: bytes, offsets: tuple[int, ...], target: int, name: SumName = "sum16"
) -> tuple[bytes, FixUp]:
    """Change the bytes at ``offsets`` so that the sum of all bytes is ``target``; nothing else is touched.

    Args:
        data: The image.
        offsets: Bytes that may be changed; the first takes as much as it can, then the next.
        target: The wanted sum.
        name: Which sum: modulo 256, 65536 or 2^32.

    Returns:
        The changed image, and what was changed.

    Raises:
        InputError: If an offset is outside or named twice, or the bytes cannot reach the target.
    """
    modulus = {"sum8": 1 << 8, "sum16": 1 << 16, "sum32": 1 << 32}[name]
    if not offsets or len(set(offsets)) != len(offsets) or not all(0 <= o < len(data) for o in offsets):
        raise InputError(
            f"checksum bytes at {', '.join(map(hex, offsets)) or 'no offset'}",
            expected=f"different offsets below {len(data):#x}",
        )
    made = bytearray(data)
    for offset in offsets:
        made[offset] = 0
    wanted = (target - byte_sum(bytes(made))) % modulus
    for offset in offsets:
        made[offset] = min(wanted, 0xFF)
        wanted -= made[offset]
    if wanted:
        raise InputError(
            f"{len(offsets)} bytes cannot bring {name} to {target:#x}",
            expected="more bytes that may be changed, or another sum",
        )
    changes = tuple((o, data[o], made[o]) for o in offsets if data[o] != made[o])
    return bytes(made), FixUp(name, target, changes)
