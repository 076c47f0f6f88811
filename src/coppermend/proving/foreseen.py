"""What a sound matrix and each single fault would report, worked out once for each closure. Judges no observation.

That does not depend on what was seen, and is two thirds of the work of an answer: a test goes on with the same
matrix and the closures so far, so only the new closure is left to work out.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from coppermend.proving.matrix import Crossing, Faults, SwitchMatrix
from coppermend.proving.matrixfaults import single_faults
from coppermend.proving.scan import Bits, Scanner

_MATRICES = 4  # as many benches as may test at a time
_MOST_BYTES = 16 << 20  # for one matrix; a whole test of 8 x 8 takes half a megabyte


class Foreseen:
    """The single faults of a matrix and their reports. ``hypotheses[0]`` is the sound matrix."""

    def __init__(self, matrix: SwitchMatrix) -> None:
        self.scanner = Scanner(matrix)
        self.singles = single_faults(matrix)
        self.hypotheses: list[Faults] = [(), *((fault,) for fault, _ in self.singles)]
        self.log_odds = np.log(np.array([1.0, *(odds for _, odds in self.singles)]))
        self._kept: dict[frozenset[Crossing], Bits] = {}

    def reports(self, closed: Sequence[frozenset[Crossing]]) -> Bits:
        """Packed reports (1 + singles, m, strobes, words) of m closures."""
        kept = self._kept
        new = [one for one in dict.fromkeys(closed) if one not in kept]
        if new:
            made = np.ascontiguousarray(self.scanner.reports(self.hypotheses, new).swapaxes(0, 1))
            # A new dictionary each time: another thread may be reading the old one.
            kept = {**kept, **dict(zip(new, made, strict=True))}
            if len(kept) * made[0].nbytes <= _MOST_BYTES:
                self._kept = kept
        shape = (len(self.hypotheses), 0, self.scanner.strobes, self.scanner.words)
        return (
            np.stack([kept[one] for one in closed], axis=1) if closed else np.zeros(shape, self.scanner.dtype)
        )


@lru_cache(maxsize=_MATRICES)
def foreseen(matrix: SwitchMatrix) -> Foreseen:
    """The same for equal matrices."""
    return Foreseen(matrix)
