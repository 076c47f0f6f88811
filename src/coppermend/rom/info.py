"""Everything that one image tells about itself, and whether it looks like a good read. Opens no file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from coppermend.errors import InputError
from coppermend.rom.checksums import sums
from coppermend.rom.devices import Device, devices
from coppermend.rom.image import LARGEST_IMAGE_BYTES
from coppermend.rom.opcodes import Family
from coppermend.rom.program import (
    FAMILIES,
    CpuGuess,
    Vector,
    default_start,
    disassemble_6502,
    guess_cpu,
    vectors,
    visible_text,
)  # fmt: skip
from coppermend.rom.reference import KnownImage, identify

_SMALLEST_BLANK = 16


@dataclass(frozen=True)
class RomInfo:
    """What is known of one image.

    ``blank`` are runs of at least 16 equal bytes 00 or FF: (offset, length, value). ``repeats`` is the size of the
    part that the image repeats, or its whole size. ``doubts`` are reasons not to trust the read. ``start`` is the
    CPU address taken for it, ``known`` the reference images it equals.
    """

    size: int
    sums: dict[str, str]
    entropy_bits: float
    blank: tuple[tuple[int, int, int], ...]
    repeats: int
    fits: tuple[str, ...]
    device_words: str
    doubts: tuple[str, ...]
    cpu: tuple[CpuGuess, ...]
    family: Family | None
    start: int
    vectors: tuple[Vector, ...]
    text: tuple[tuple[int, str], ...]
    code: tuple[tuple[int, str, str], ...]
    known: tuple[KnownImage, ...]

    def to_json(self) -> dict[str, Any]:
        """Keys as the fields; ``blank`` [{offset, length, value}], ``text`` [{offset, text}], ``code`` [{address, bytes, text}]."""
        return {
            "size": self.size, "sums": self.sums, "entropy_bits_per_byte": round(self.entropy_bits, 4),
            "blank": [{"offset": o, "length": n, "value": v} for o, n, v in self.blank],
            "repeats": self.repeats, "fits": list(self.fits), "device": self.device_words,
            "doubts": list(self.doubts), "cpu": [guess.to_json() for guess in self.cpu],
            "family": self.family, "start": self.start,
            "vectors": [vector.to_json() for vector in self.vectors],
            "text": [{"offset": o, "text": t} for o, t in self.text],
            "code": [{"address": a, "bytes": b, "text": t} for a, b, t in self.code],
            "known": [{"name": k.name, "note": k.note} for k in self.known],
        }  # fmt: skip


def rom_info(
    data: bytes,
    *,
    device: Device | None = None,
    family: Family | None = None,
    start: int | None = None,
    known: Sequence[KnownImage] = (),
) -> RomInfo:
    """Look an image over.

    Args:
        data: The image, without gaps.
        device: The device it was read from or is for.
        family: The CPU family; guessed when None.
        start: Its CPU address; when None the usual one of the family.
        known: The shop's reference list.

    Raises:
        InputError: If the image is empty, larger than 16 MiB, or its start is no 16-bit address.
    """
    if not 0 < len(data) <= LARGEST_IMAGE_BYTES:
        raise InputError(f"an image of {len(data):,} bytes", expected=f"1 to {LARGEST_IMAGE_BYTES:,} bytes")
    if start is not None and not 0 <= start <= 0xFFFF:
        raise InputError(f"CPU address {start:#x}", expected="0 to 0xffff")
    guesses = guess_cpu(data, start)
    chosen = family or next((f for f in FAMILIES if f == guesses[0].family), None)
    placed = start if start is not None else default_start(len(data), chosen or "6502")
    found = vectors(data, placed, chosen) if chosen else ()
    counted = sums(data)
    return RomInfo(
        size=len(data), sums=counted, entropy_bits=entropy_bits(data), blank=blank_runs(data),
        repeats=repeat_size(data), fits=tuple(d.name for d in devices().values() if d.bytes == len(data)),
        device_words=_device_words(data, device), doubts=read_doubts(data), cpu=guesses, family=chosen,
        start=placed, vectors=found, text=visible_text(data), code=_code(data, placed, chosen, found),
        known=identify(counted, known),
    )  # fmt: skip


def entropy_bits(data: bytes) -> float:
    """Entropy of the bytes [bit per byte], 0 to 8 (Shannon, 1948)."""
    counts = np.bincount(np.frombuffer(data, np.uint8), minlength=256)
    share = counts[counts > 0] / len(data)
    return float(max(-(share * np.log2(share)).sum(), 0.0))


def blank_runs(data: bytes) -> tuple[tuple[int, int, int], ...]:
    """(offset, length, value) of runs of at least 16 bytes 00 or FF."""
    image = np.frombuffer(data, np.uint8)
    edges = np.flatnonzero(np.diff(image)) + 1
    starts = np.concatenate(([0], edges))
    lengths = np.diff(np.concatenate((starts, [image.size])))
    values = image[starts]
    chosen = (lengths >= _SMALLEST_BLANK) & ((values == 0) | (values == 255))
    return tuple(
        (int(s), int(n), int(v))
        for s, n, v in zip(starts[chosen], lengths[chosen], values[chosen], strict=True)
    )


def repeat_size(data: bytes) -> int:
    """The size of the smallest part, halving again and again, that the image repeats; its own size when none.

    >>> repeat_size(b"abababab"), repeat_size(b"abc")
    (2, 3)
    """
    size = len(data)
    while size % 2 == 0 and data[: size // 2] == data[size // 2 : size]:
        size //= 2
    return size


def read_doubts(data: bytes) -> tuple[str, ...]:
    """Reasons to question the read: one value only, a bit that never changes, a line without effect."""
    image = np.frombuffer(data, np.uint8)
    if int(image.min()) == int(image.max()):
        blank = " (what an erased or unplugged device reads as)" if image[0] in (0, 255) else ""
        return (f"every byte is {image[0]:02X}{blank}",)
    always, never = int(np.bitwise_and.reduce(image)), int(~np.bitwise_or.reduce(image) & 0xFF)
    found = [
        f"D{n} is always {'high' if always >> n & 1 else 'low'}"
        for n in range(8)
        if (always | never) >> n & 1
    ]
    if len(data) & (len(data) - 1) == 0:
        for line in range(len(data).bit_length() - 1):
            halves = image.reshape(-1, 2, 1 << line)
            if np.array_equal(halves[:, 0], halves[:, 1]):
                found.append(
                    f"A{line} makes no difference: stuck, not connected, or a smaller image repeated"
                )
    else:
        found.append(f"{len(data):,} bytes is no power of two: no device has that size")
    return tuple(found)


def _device_words(data: bytes, device: Device | None) -> str:
    if device is None:
        return ""
    size, part = device.bytes, repeat_size(data)
    if len(data) == size:
        if part < size:
            return f"fills a {device.name}, by repeating {part:,} bytes {size // part} times"
        return f"fits a {device.name} exactly"
    if len(data) < size:
        return f"leaves {size - len(data):,} bytes of a {device.name} empty"
    if part <= size:
        return f"larger than a {device.name}, but only repeats {part:,} bytes"
    return f"too large for a {device.name} by {len(data) - size:,} bytes"


def _code(
    data: bytes, start: int, family: Family | None, found: Sequence[Vector]
) -> tuple[tuple[int, str, str], ...]:
    if family != "6502":
        return ()
    reset = next((v.target for v in found if v.name == "reset" and v.inside), start)
    return disassemble_6502(data, start, reset)
