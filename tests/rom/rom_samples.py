"""Generated images for the ROM tests: odd layouts for interchange, and program-like contents for comparison."""

from __future__ import annotations

import random

from coppermend.rom.image import RomImage, Segment, assemble_sparse

TOPS = (0x1_0000, 0x100_0000, 0x1_0000_0000)  # reach of S1, S2 and S3


def odd_image(seed: int) -> RomImage:
    """An image with gaps, single bytes, runs across 64 KiB, and addresses up to 16, 24 or 32 bits."""
    rng = random.Random(seed)
    top = TOPS[seed % 3]
    segments: list[Segment] = []
    at = rng.choice((0, 1, rng.randrange(top // 2), max(0, top - 5000), top // 2 - rng.randrange(40)))
    for _ in range(rng.randint(1, 6)):
        size = rng.choice((1, 2, 15, 16, 17, 31, 256, rng.randint(1, 700)))
        if at + size > top:
            break
        segments.append(Segment(at, _bytes(rng, size)))
        at += size + rng.choice((1, 2, 3, 16, 500, 0x1_0000 - size, rng.randint(1, 0x2_0000)))
    if not segments:
        segments = [Segment(top - 3, _bytes(rng, 3))]
    start = rng.choice((None, segments[0].start))
    return RomImage(assemble_sparse(segments), start, rng.choice((b"", b"HDR", b"board U2")))


def _bytes(rng: random.Random, size: int) -> bytes:
    kind = rng.randrange(4)
    if kind == 0:
        return bytes([rng.choice((0x00, 0xFF))]) * size
    return rng.randbytes(size)


def program(seed: int, size: int) -> bytes:
    """Bytes with the statistics of a program: common opcodes, tables, text, and perhaps a blank tail."""
    rng = random.Random(seed)
    common = [0xA9, 0x85, 0x8D, 0x20, 0x4C, 0x60, 0xAD, 0xD0, 0xF0, 0xA5, 0x18, 0x69, 0xA2, 0xCA, 0x00, 0xFF]
    made = bytearray()
    while len(made) < size:
        kind = rng.random()
        length = rng.randint(16, 300)
        if kind < 0.7:
            made += bytes(
                rng.choice(common) if rng.random() < 0.5 else rng.randrange(256) for _ in range(length)
            )
        elif kind < 0.85:
            made += bytes(rng.choice(b"ETAOIN SHRDLU 0123456789") for _ in range(length))
        elif kind < 0.95:
            made += bytes((start + i) & 0xFF for start in (rng.randrange(256),) for i in range(length))
        else:
            made += bytes([rng.choice((0, 255))]) * length
    blank = rng.choice((0, 0, 0, size // 16, size // 8))
    return bytes(made[: size - blank]) + b"\xff" * blank
