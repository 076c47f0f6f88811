"""Damaged dumps with a known cause: single faults and two at once, drawn from a seed."""

from __future__ import annotations

import random

import numpy as np

from coppermend.rom.causes import Cause
from coppermend.rom.faults import (
    ADDRESS_KINDS,
    DATA_KINDS,
    Bytes,
    Fault,
    addresses_seen,
    bytes_seen,
    line_faults,
)

from .rom_samples import program

SIZES = (2048, 4096, 8192, 16384, 32768)
SINGLES = ("data-stuck", "data-swapped", "data-shorted", "data-open", "address-stuck", "address-swapped",
           "address-shorted", "address-inverted", "region", "offset", "flips")  # fmt: skip


def draw(rng: random.Random, kind: str, size: int) -> Fault:
    """A fault of a kind on lines drawn at random."""
    lines = size.bit_length() - 1
    if kind == "offset":
        return Fault("offset", (), rng.randrange(1, size // 2))
    if kind == "flips":
        return Fault("flips", (), rng.randint(1, size // 100))
    if kind == "region":
        return Fault("region", (rng.randrange(lines),), rng.randrange(2))
    if kind == "data-open":
        return Fault("data-open", (rng.randrange(8),))
    area = "data" if kind.startswith("data") else "address"
    return rng.choice([f for f in line_faults(area, 8 if area == "data" else lines) if f.kind == kind])


def spoil(contents: Bytes, faults: tuple[Fault, ...], seed: int) -> Bytes:
    """What is read of ``contents`` through ``faults``: addresses first, then regions, data lines, flips."""
    rng = np.random.default_rng(seed)
    addresses = np.arange(contents.size, dtype=np.int32)
    for fault in reversed([f for f in faults if f.kind in ADDRESS_KINDS]):
        addresses = addresses_seen(fault, addresses, contents.size)
    made = contents[addresses].copy()
    for fault in faults:
        if fault.kind == "region":
            chosen = (np.arange(contents.size) >> fault.lines[0]) & 1 == fault.mode
            made[chosen] = rng.choice((0, 255))
    for fault in faults:
        if fault.kind in DATA_KINDS:
            made = bytes_seen(fault)[made]
        if fault.kind == "data-open":
            noise = rng.integers(0, 2, contents.size, np.uint8) << fault.lines[0]
            made = (made & ~np.uint8(1 << fault.lines[0])) | noise
    for fault in faults:
        if fault.kind == "flips":
            bits = rng.choice(8 * contents.size, fault.mode, replace=False)
            np.bitwise_xor.at(made, bits // 8, (1 << (bits % 8)).astype(np.uint8))
    return made


def single(seed: int) -> tuple[Bytes, Bytes, tuple[Fault, ...]]:
    """(contents, dump, cause) with one fault that shows."""
    rng = random.Random(seed)
    while True:
        size = rng.choice(SIZES)
        contents = np.frombuffer(program(rng.randrange(1 << 30), size), np.uint8)
        faults = (draw(rng, SINGLES[seed % len(SINGLES)], size),)
        dump = spoil(contents, faults, seed)
        if not np.array_equal(dump, contents):
            return contents, dump, faults


PAIR_KINDS = ("data-stuck", "data-swapped", "data-shorted", "address-stuck", "address-swapped", "address-shorted",
              "offset", "flips")  # fmt: skip


def double(seed: int) -> tuple[Bytes, Bytes, tuple[Fault, ...]]:
    """(contents, dump, causes) with two faults on different lines, each of which shows beside the other."""
    rng = random.Random(seed)
    while True:
        size = rng.choice(SIZES)
        contents = np.frombuffer(program(rng.randrange(1 << 30), size), np.uint8)
        first, second = (draw(rng, kind, size) for kind in rng.sample(PAIR_KINDS, 2))
        if first.kind[:4] == second.kind[:4] and set(first.lines) & set(second.lines):
            continue
        dump = spoil(contents, (first, second), seed)
        if not any(np.array_equal(dump, spoil(contents, (f,), seed)) for f in (first, second)):
            return contents, dump, (first, second)


def names(cause: Cause, faults: tuple[Fault, ...]) -> bool:
    """Whether a cause names exactly these faults, in whatever order."""
    return set(cause.faults) == set(faults)
