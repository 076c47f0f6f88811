"""How well a cause explains a difference, in bits: what the cause costs to name plus what it leaves unexplained.

The shortest description wins (minimum description length): a likelihood is 2^-(bits) among the causes weighed.
The kinds' own costs are a judgement of how often each happens at a bench; common practice, no source.
"""

from __future__ import annotations

from functools import lru_cache
from math import lgamma, log, log2

import numpy as np

from coppermend.rom.faults import Bytes, Fault

_KIND_BITS = {
    "data-stuck": 2.0, "data-swapped": 3.0, "data-shorted": 4.0, "data-inverted": 6.0, "data-order": 6.0,
    "data-open": 4.0, "address-stuck": 2.0, "address-swapped": 3.0, "address-shorted": 4.0,
    "address-inverted": 4.0, "address-open": 5.0, "region": 4.0, "offset": 5.0, "flips": 0.0,
}  # fmt: skip


@lru_cache(maxsize=4096)
def leftover_bits(wrong: int, total: int) -> float:
    """Bits needed to say which ``wrong`` of ``total`` bits differ, and how many they are.

    >>> round(leftover_bits(1, 1024))
    14
    """
    if not wrong:
        return 0.0
    choose = lgamma(total + 1) - lgamma(wrong + 1) - lgamma(total - wrong + 1)
    return choose / log(2) + 2 * log2(wrong + 1) + 2


def naming_bits(fault: Fault, address_lines: int, size: int) -> float:
    """Bits needed to name a fault: its kind, then which of the lines."""
    lines = address_lines if fault.kind.startswith(("address", "region")) else 8
    pairs = max(lines * (lines - 1) / 2, 1)
    if fault.kind in ("data-inverted", "flips"):
        which = 0.0
    elif fault.kind == "data-order":
        which = log2(40320)
    elif fault.kind == "offset":
        # A round distance is named by its power of two, any other by all its digits.
        which = log2(2 * size.bit_length()) if fault.mode & (fault.mode - 1) == 0 else log2(max(size, 2))
    elif len(fault.lines) == 2:
        which = log2(pairs) + ("shorted" in fault.kind)
    else:
        which = log2(max(lines, 1)) + (fault.kind not in ("address-inverted", "data-open", "address-open"))
    return _KIND_BITS[fault.kind] + which


def content_bits(data: Bytes) -> float:
    """Bits to tell the contents by themselves: by how often each byte is, or at eight bits a byte, if that is less."""
    counts = np.bincount(data, minlength=256)
    seen = counts[counts > 0] / max(data.size, 1)
    by_frequency = float(-(seen * np.log2(seen)).sum() * data.size) + 256.0
    return min(by_frequency, 8.0 * data.size) + 1.0
