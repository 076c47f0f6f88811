"""What an image says about the program in it: vectors, likely CPU, first instructions, visible text. No sums.

The CPU is guessed from two things: from vectors and calls on, a walk through code meets no illegal opcodes; and
subroutines begin where the code before them has ended. Both are weighed in bits against chance.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from math import log2
from typing import Any

import numpy as np

from coppermend.rom.opcodes import INSTRUCTIONS_6502, LENGTHS_6502, STEPS, Family, Step

# Vector names by address, and byte order. Sources: the makers' data sheets of the CPUs.
_VECTORS: Mapping[Family, tuple[bool, Mapping[int, str]]] = {
    "6502": (False, {0xFFFA: "NMI", 0xFFFC: "reset", 0xFFFE: "IRQ"}),
    "6800": (True, {0xFFF8: "IRQ", 0xFFFA: "SWI", 0xFFFC: "NMI", 0xFFFE: "reset"}),
    "6809": (
        True,
        {
            0xFFF2: "SWI3",
            0xFFF4: "SWI2",
            0xFFF6: "FIRQ",
            0xFFF8: "IRQ",
            0xFFFA: "SWI",
            0xFFFC: "NMI",
            0xFFFE: "reset",
        },
    ),
    "Z80": (False, {}),
}
FAMILIES: tuple[Family, ...] = tuple(_VECTORS)
_ILLEGAL_SHARE: Mapping[Family, float] = {"6502": 105 / 256, "6800": 59 / 256, "6809": 0.15, "Z80": 0.01}
_WALKED, _NO_CPU_BITS, _SOFT = 3000, 12.0, 6.0


@dataclass(frozen=True, slots=True)
class Vector:
    """A vector of a CPU family: where it is, where it points, and whether that lies in the image.

    ``mirror`` tells that it lies in the image when A15, A14 or both are ignored, as on boards that do not decode
    them.
    """

    name: str
    address: int
    target: int
    inside: bool
    mirror: bool

    def to_json(self) -> dict[str, Any]:
        """Keys as the fields."""
        return {
            "name": self.name, "address": self.address, "target": self.target, "inside": self.inside,
            "mirror": self.mirror,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class CpuGuess:
    """A CPU family with its confidence (0..1, shares of all weighed, "none" among them) and the evidence [bits]."""

    family: str
    confidence: float
    bits: float

    def to_json(self) -> dict[str, Any]:
        """Keys ``family``, ``confidence``, ``evidence_bits``."""
        return {
            "family": self.family,
            "confidence": round(self.confidence, 4),
            "evidence_bits": round(self.bits, 1),
        }


@dataclass(frozen=True, slots=True)
class Placed:
    """An image at its CPU address."""

    data: bytes
    start: int

    def peek(self, address: int) -> int:
        """The byte at a CPU address; 0 outside."""
        offset = (address & 0xFFFF) - self.start
        return self.data[offset] if 0 <= offset < len(self.data) else 0

    def holds(self, address: int) -> bool:
        """Whether a CPU address lies in the image."""
        return 0 <= address - self.start < len(self.data)


def default_start(size: int, family: Family) -> int:
    """Where an image of ``size`` bytes usually sits: at the bottom for a Z80, else up to FFFF, where vectors are."""
    return 0 if family == "Z80" else max(0x10000 - size, 0)


def vectors(data: bytes, start: int, family: Family) -> tuple[Vector, ...]:
    """The vectors of a family that lie in the image; () for a Z80, which starts at 0000 without any."""
    big, table = _VECTORS[family]
    placed = Placed(data, start)
    made = []
    for address, name in table.items():
        if placed.holds(address) and placed.holds(address + 1):
            pair = bytes((placed.peek(address), placed.peek(address + 1)))
            target = int.from_bytes(pair, "big" if big else "little")
            inside = placed.holds(target)
            mirror = not inside and any(placed.holds(target | top) for top in (0x8000, 0x4000, 0xC000))
            made.append(Vector(name, address, target, inside, mirror))
    return tuple(made)


def guess_cpu(data: bytes, start: int | None = None) -> tuple[CpuGuess, ...]:
    """The likely CPU families, likeliest first, "none" among them (data, or another CPU).

    Args:
        data: The image.
        start: Its CPU address; by family where None.
    """
    bits: dict[str, float] = {"none": _NO_CPU_BITS}
    for family in FAMILIES:
        placed = Placed(data, default_start(len(data), family) if start is None else start)
        bits[family] = _evidence(placed, family)
    best = max(bits.values())
    shares = {name: 2 ** ((value - best) / _SOFT) for name, value in bits.items()}
    total = sum(shares.values())
    ranked = sorted(bits, key=lambda name: (-bits[name], name))
    return tuple(CpuGuess(name, shares[name] / total, bits[name]) for name in ranked)


def _evidence(placed: Placed, family: Family) -> float:
    entries = _entries(placed, family)
    steps = _walk(placed, family, entries)
    # Blank memory decodes to something legal on most CPUs, without being a program.
    steps = {at: step for at, step in steps.items() if placed.peek(at) not in (0x00, 0xFF)}
    illegal = sum(not step.legal for step in steps.values())
    outside = sum(
        step.target is not None and not placed.holds(step.target) and step.flow != "call"
        for step in steps.values()
    )
    share = _ILLEGAL_SHARE[family]
    # Code of this family meets an illegal opcode, or jumps out of the image, once in a hundred steps at most.
    walked = (len(steps) - illegal) * log2(0.99 / (1 - share)) + illegal * log2(0.01 / share) - 1.0 * outside
    reset = [v for v in vectors(placed.data, placed.start, family) if v.name == "reset"]
    pointed = (
        log2(0x10000 / len(placed.data)) if reset and reset[0].inside and len(placed.data) < 0x10000 else 0
    )
    missing = -8.0 if reset and not (reset[0].inside or reset[0].mirror) else 0.0
    return walked + pointed + missing + _landings(placed, family)


def _entries(placed: Placed, family: Family) -> list[int]:
    if family == "Z80":
        return [a for a in (placed.start, 0x38, 0x66) if placed.holds(a)]
    return [v.target for v in vectors(placed.data, placed.start, family) if v.inside]


def _walk(placed: Placed, family: Family, entries: list[int]) -> dict[int, Step]:
    """Instructions by address, reached from ``entries``; at most 3,000."""
    step_at, seen, queue = STEPS[family], dict[int, Step](), list(entries)
    while queue and len(seen) < _WALKED:
        at = queue.pop()
        if at in seen or not placed.holds(at):
            continue
        step = seen[at] = step_at(at, placed.peek)
        if step.flow in ("next", "call", "branch") and step.legal:
            queue.append(at + step.length)
        if step.target is not None:
            queue.append(step.target)
    return seen


# call opcode, byte order big, return opcodes, jump opcode
_CALLS: Mapping[Family, tuple[int, bool, tuple[int, ...], int]] = {
    "6502": (0x20, False, (0x60, 0x40), 0x4C),
    "6800": (0xBD, True, (0x39, 0x3B), 0x7E),
    "6809": (0xBD, True, (0x39, 0x3B), 0x7E),
    "Z80": (0xCD, False, (0xC9, 0xE9), 0xC3),
}


def _landings(placed: Placed, family: Family) -> float:
    """Bits by which called addresses follow an end of code (a return, a jump) more often than chance."""
    call, big, returns, jump = _CALLS[family]
    image = np.frombuffer(placed.data, np.uint8)
    at = np.flatnonzero(image[:-2] == call) if image.size > 3 else np.empty(0, np.int64)
    high, low = (image[at + 1], image[at + 2]) if big else (image[at + 2], image[at + 1])
    targets = np.unique((high.astype(np.int64) << 8 | low) - placed.start)
    targets = targets[(targets >= 3) & (targets < image.size)]
    if not targets.size:
        return 0.0
    ends = np.isin(image, returns)
    jumps = np.concatenate((np.zeros(2, bool), image[:-2] == jump))
    chance = max(float((ends | jumps).mean()), 1 / 256)
    landed = float((ends | jumps)[targets - 1].mean())
    if landed <= chance:
        return 0.0
    gain = landed * log2(landed / chance)
    if landed < 1:
        gain += (1 - landed) * log2((1 - landed) / max(1 - chance, 1e-9))
    return float(min(targets.size * gain, 60.0))


def disassemble_6502(data: bytes, start: int, at: int, count: int = 12) -> tuple[tuple[int, str, str], ...]:
    """The first ``count`` instructions from CPU address ``at``: (address, bytes in hex, text); stops at the image's end.

    >>> disassemble_6502(bytes.fromhex("78D8A2FF9A"), 0xF000, 0xF000, 3)
    ((61440, '78', 'SEI'), (61441, 'D8', 'CLD'), (61442, 'A2 FF', 'LDX #$FF'))
    """
    placed = Placed(data, start)
    made: list[tuple[int, str, str]] = []
    while len(made) < count and placed.holds(at):
        name, mode = INSTRUCTIONS_6502[placed.peek(at)]
        length = LENGTHS_6502[mode]
        if not placed.holds(at + length - 1):
            break
        raw = bytes(placed.peek(at + n) for n in range(length))
        made.append((at, raw.hex(" ").upper(), _text(name, mode, raw, at)))
        at += length
    return tuple(made)


def _text(name: str, mode: str, raw: bytes, at: int) -> str:
    if not name:
        return f".byte ${raw[0]:02X}"
    low = raw[1] if len(raw) > 1 else 0
    word = low | raw[2] << 8 if len(raw) > 2 else 0
    operand = {
        "i": "", "a": "A", "#": f"#${low:02X}", "z": f"${low:02X}", "zx": f"${low:02X},X",
        "zy": f"${low:02X},Y", "ix": f"(${low:02X},X)", "iy": f"(${low:02X}),Y", "ab": f"${word:04X}",
        "ax": f"${word:04X},X", "ay": f"${word:04X},Y", "in": f"(${word:04X})",
        "r": f"${(at + 2 + (low ^ 0x80) - 0x80) & 0xFFFF:04X}",
    }[mode]  # fmt: skip
    return f"{name} {operand}".strip()


def visible_text(data: bytes, shortest: int = 5, most: int = 60) -> tuple[tuple[int, str], ...]:
    """(offset, text) of runs of printable characters that are mostly letters and blanks, bit 7 ignored."""
    plain = bytes(byte & 0x7F for byte in data)
    runs = re.finditer(rb"[ -~]{%d,}" % shortest, plain)
    found = ((m.start(), m[0].decode("ascii")) for m in runs)
    return tuple((at, text) for at, text in found if _reads_as_text(text))[:most]


def _reads_as_text(text: str) -> bool:
    plain = sum(letter.isalnum() or letter == " " for letter in text)
    return plain >= 0.8 * len(text) and re.search(r"[A-Za-z]{3}", text) is not None
