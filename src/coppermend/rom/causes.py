"""Why two images that should be equal are not: causes with likelihoods. Weighs what the search has measured."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from coppermend.rom.faults import Bytes, Fault, fault_words
from coppermend.rom.likelihood import content_bits, leftover_bits, naming_bits
from coppermend.rom.search import Faults, Search, search

Suspect = Literal["second", "first", "either"]
_SHOWN = 6
_REST = 0.005  # a share of bits that changed cells may well explain, without asking which image is wrong
# One bit: without other knowledge the image named first is the one to trust.
_FIRST_IS_WRONG_BITS = 1.0


@dataclass(frozen=True)
class Cause:
    """A cause: its faults (() when the contents are unrelated), whose read it spoils, and how likely it is.

    ``leftover`` counts bits that it does not explain; ``bits`` is the length of the description (less is better).
    """

    faults: Faults
    suspect: Suspect
    likelihood: float
    leftover: int
    bits: float

    @property
    def words(self) -> str:
        """The cause in words."""
        if not self.faults:
            return "different contents: no fault of lines, shift or few changed bits explains the difference"
        return ", and ".join(fault_words(fault) for fault in self.faults)

    def to_json(self) -> dict[str, Any]:
        """Keys ``words``, ``faults``, ``suspect``, ``likelihood`` (0..1), ``leftover_bits``, ``description_bits``."""
        return {
            "words": self.words, "faults": [fault.to_json() for fault in self.faults],
            "suspect": self.suspect, "likelihood": round(self.likelihood, 6), "leftover_bits": self.leftover,
            "description_bits": round(self.bits, 1),
        }  # fmt: skip


def find_causes(reference: Bytes, dump: Bytes) -> tuple[Cause, ...]:
    """Causes for two different images of one size, likeliest first; () when they are equal.

    Args:
        reference: uint8 array, the image to be trusted if one is.
        dump: uint8 array of the same size.

    Returns:
        At most six causes whose likelihoods are shares of all that were weighed.
    """
    if np.array_equal(reference, dump):
        return ()
    total = 8 * reference.size
    explained = max(2, total // 4000)
    weighed = _weigh(search(reference, dump, explained), "second")
    if min(bits for bits, _ in weighed.values()) > leftover_bits(int(_REST * total), total):
        for faults, (bits, left) in _weigh(search(dump, reference, explained), "first").items():
            weighed.setdefault(faults, (bits + _FIRST_IS_WRONG_BITS, left))
    weighed[(), "either"] = (content_bits(dump), 0)
    return _likeliest(weighed)


_Weighed = dict[tuple[Faults, Suspect], tuple[float, int]]
# Faults that undo themselves: nothing tells which of the two images has them.
_MUTUAL = frozenset(("data-swapped", "data-inverted", "address-swapped", "address-inverted", "flips"))


def _weigh(work: Search, suspect: Suspect) -> _Weighed:
    made: _Weighed = {}
    total = 8 * work.size
    for faults, left in work.found.items():
        _put(made, work, faults, suspect, (leftover_bits(left, total), left))
    for faults, (left, tossed) in work.noise.items():
        _put(made, work, faults, suspect, (tossed + leftover_bits(left, total), left))
    return made


def _put(made: _Weighed, work: Search, faults: Faults, suspect: Suspect, misfit: tuple[float, int]) -> None:
    bits, left = misfit
    named = (*faults, Fault("flips", (), left)) if left else faults
    bits += sum(naming_bits(fault, work.address_lines, work.size) for fault in faults)
    whose: Suspect = "either" if all(fault.kind in _MUTUAL for fault in named) else suspect
    ordered = tuple(sorted(named, key=lambda fault: fault.kind == "flips"))
    if (ordered, whose) not in made or made[ordered, whose][0] > bits:
        made[ordered, whose] = (bits, left)


def _likeliest(weighed: _Weighed) -> tuple[Cause, ...]:
    # Two faults in another order that explain as well are one and the same cause.
    best: dict[tuple[frozenset[Fault], Suspect], tuple[float, int, Faults]] = {}
    for (faults, suspect), (bits, left) in weighed.items():
        key = (frozenset(faults), suspect)
        if key not in best or bits < best[key][0]:
            best[key] = (bits, left, faults)
    ranked = sorted(
        ((bits, left, faults, suspect) for (_, suspect), (bits, left, faults) in best.items()),
        key=lambda row: (row[0], len(row[2]), str(row[2])),
    )
    shares = np.exp2(-(np.array([row[0] for row in ranked]) - ranked[0][0]))
    shares /= shares.sum()
    return tuple(
        Cause(faults, suspect, float(share), left, bits)
        for (bits, left, faults, suspect), share in zip(ranked[:_SHOWN], shares, strict=False)
    )
