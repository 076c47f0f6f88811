"""Several images at CPU addresses into one for a larger device, and back. Knows no board: sockets are in ``adapt``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from coppermend.errors import InputError
from coppermend.rom.checksums import FixUp, SumName, fix_checksum
from coppermend.rom.opcodes import Family
from coppermend.rom.program import Vector, vectors

CPU_BYTES = 0x10000


@dataclass(frozen=True, slots=True)
class Piece:
    """An image at its first CPU address."""

    name: str
    start: int
    data: bytes

    @property
    def last(self) -> int:
        """The CPU address of its last byte."""
        return self.start + len(self.data) - 1

    def to_json(self) -> dict[str, Any]:
        """Keys ``name``, ``cpu_first``, ``cpu_last``, ``bytes``."""
        return {"name": self.name, "cpu_first": self.start, "cpu_last": self.last, "bytes": len(self.data)}


@dataclass(frozen=True)
class Merged:
    """One image from several.

    ``base`` is the CPU address of offset 0, ``window`` the power of two that holds all pieces; a larger device
    repeats it (or is filled). ``gaps`` are (offset, length) that no piece covers. ``lines`` says, for A0, A1, ... of
    the device, what drives it.
    """

    data: bytes
    base: int
    window: int
    pieces: tuple[Piece, ...]
    gaps: tuple[tuple[int, int], ...]
    lines: tuple[str, ...]
    vectors: tuple[Vector, ...]
    notes: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """Keys as the fields without the data; pieces with their ``offset``, gaps as {offset, length}."""
        return {
            "bytes": len(self.data), "base": self.base, "window": self.window,
            "pieces": [{**p.to_json(), "offset": p.start - self.base} for p in self.pieces],
            "gaps": [{"offset": o, "length": n} for o, n in self.gaps],
            "lines": [{"line": f"A{k}", "from": words} for k, words in enumerate(self.lines)],
            "vectors": [v.to_json() for v in self.vectors], "notes": list(self.notes),
        }  # fmt: skip


def merge(
    pieces: Sequence[Piece], size: int, *, fill: int = 0xFF, repeat: bool = True, family: Family | None = None,
    signals: Mapping[int, str] | None = None,
) -> Merged:  # fmt: skip
    """Merge images into one for a device.

    Args:
        pieces: Images with CPU addresses, in any order.
        size: Bytes of the device, a power of two.
        fill: What gaps hold.
        repeat: Fill a larger device by repeating, so that unused address lines may be either; else by ``fill``.
        family: CPU family whose vectors shall be checked.
        signals: The board's signal on each address line of the CPU, in words, as from ``address_signals``.

    Raises:
        InputError: If there is no piece, two overlap, one lies beyond FFFF, or they do not fit the device.
    """
    ordered = tuple(sorted(pieces, key=lambda p: p.start))
    _check(ordered, size, fill)
    base, window = _window(ordered)
    if window > size:
        raise InputError(
            f"{ordered[0].start:04X} to {ordered[-1].last:04X} need a window of {window:,} bytes",
            expected=f"at most the device's {size:,}",
        )
    made = bytearray([fill]) * window
    for piece in ordered:
        made[piece.start - base : piece.start - base + len(piece.data)] = piece.data
    whole = bytes(made) * (size // window) if repeat else bytes(made) + bytes([fill]) * (size - window)
    inside = window.bit_length() - 1
    at = signals or {}
    lines = [f"A{k} of the CPU{', ' + at[k] if k in at else ''}" for k in range(inside)]
    tie = "tie low, or either: the image is repeated" if repeat else "tie low: the upper part is empty"
    lines += [tie] * (size.bit_length() - 1 - inside)
    found = vectors(bytes(made), base, family) if family else ()
    return Merged(
        whole, base, window, ordered, _gaps(ordered, base, window), tuple(lines), found, _notes(found, family)
    )


def fix_merged(merged: Merged, name: SumName, target: int, addresses: Sequence[int]) -> tuple[bytes, FixUp]:
    """Bring a sum of the merged image to ``target`` by changing the bytes at these CPU addresses, and no others.

    Raises:
        InputError: If the image is repeated or does not fill the device (its sum is then another one), an address
            lies outside, or these bytes cannot reach the target.
    """
    if len(merged.data) != merged.window:
        raise InputError(
            "a sum to be fixed in a repeated or partly filled device",
            expected="an image as large as the device",
        )
    if outside := [a for a in addresses if not merged.base <= a < merged.base + merged.window]:
        raise InputError(
            f"checksum byte at {outside[0]:04X}",
            expected=f"an address within {merged.base:04X} to {merged.base + merged.window - 1:04X}",
        )
    return fix_checksum(merged.data, tuple(a - merged.base for a in addresses), target, name)


def _check(ordered: Sequence[Piece], size: int, fill: int) -> None:
    if not ordered:
        raise InputError("no image to merge", expected="at least one image with its CPU address")
    if size <= 0 or size & (size - 1) or not 0 <= fill <= 0xFF:
        raise InputError(f"a device of {size:,} bytes, fill {fill:#x}", expected="a power of two, and a byte")
    for piece in ordered:
        if not piece.data or piece.start < 0 or piece.last >= CPU_BYTES:
            raise InputError(
                f"{piece.name}: {len(piece.data):,} bytes from {piece.start:#06x}",
                expected="bytes within 0000 to FFFF",
            )
    for a, b in pairwise(ordered):
        if b.start <= a.last:
            raise InputError(
                f"{a.name} ({a.start:04X} to {a.last:04X}) and {b.name} ({b.start:04X} to {b.last:04X}) overlap",
                expected="every address once",
            )


def _window(ordered: Sequence[Piece]) -> tuple[int, int]:
    """The smallest power of two, at a multiple of itself, that holds all pieces."""
    first, last = ordered[0].start, max(p.last for p in ordered)
    window = 1
    while first // window != last // window:
        window *= 2
    return first // window * window, window


def _gaps(ordered: Sequence[Piece], base: int, window: int) -> tuple[tuple[int, int], ...]:
    edges = [base, *(x for p in ordered for x in (p.start, p.last + 1)), base + window]
    return tuple((a - base, b - a) for a, b in zip(edges[::2], edges[1::2], strict=True) if b > a)


def _notes(found: Sequence[Vector], family: Family | None) -> tuple[str, ...]:
    if family and family != "Z80" and not found:
        return (f"the vectors of a {family} are not in these images: another device must answer there",)
    return tuple(
        f"{v.name} vector at {v.address:04X} points to {v.target:04X}, outside these images"
        for v in found
        if not v.inside and not v.mirror
    )


def split(data: bytes, base: int, wanted: Sequence[tuple[str, int, int]]) -> tuple[Piece, ...]:
    """Take images out of one: the inverse of ``merge``.

    Args:
        data: The whole image; where it repeats a window, the first copy counts.
        base: The CPU address of offset 0.
        wanted: (name, CPU address, bytes) of each.

    Raises:
        InputError: If nothing is wanted, or one lies outside the image.
    """
    if not wanted:
        raise InputError("nothing to split off", expected="at least one name with address and size")
    pieces = []
    for name, start, size in wanted:
        offset = start - base
        if size <= 0 or offset < 0 or offset + size > len(data):
            raise InputError(
                f"{name}: {size:,} bytes from {start:04X}",
                expected=f"bytes within {base:04X} to {base + len(data) - 1:04X}",
            )
        pieces.append(Piece(name, start, data[offset : offset + size]))
    return tuple(pieces)
