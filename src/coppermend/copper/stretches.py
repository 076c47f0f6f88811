"""How far along one way to probe first, so that the expected number of probes is least. Pure counting.

Dynamic programming over the stretches of the way (nested group testing: M. Sobel and P. A. Groll, Bell System
Technical Journal 38 (1959)).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise


@lru_cache(maxsize=4096)
def first_stretch(chances: tuple[float, ...], stops: tuple[int, ...], is_open: bool) -> int:
    """Up to which stop to probe first, from the start of a way.

    Args:
        chances: Chance of each bond along the way to be open, 0..1.
        stops: Where a probe can touch, as how many bonds lie before it, ascending; the first is 0 and the last
            is the way's end.
        is_open: Whether the whole way is known to read open.

    Returns:
        Position in ``stops``; of choices within 2 % of the least the longest when nothing is known, so that sound ways take few
        probes, else the one nearest to the middle.
    """
    solver = _Way(chances, stops)
    last = len(stops) - 1
    if is_open:
        options = {stop: solver.split(0, stop, last) for stop in range(1, last)}
        least = min(options.values())
        return min(
            (stop for stop, value in options.items() if value <= least * _NEAR_BEST),
            key=lambda stop: (abs(2 * stops[stop] - stops[-1]), stop),
        )
    options = {stop: solver.start(0, stop, last) for stop in range(1, last + 1)}
    return max(stop for stop, value in options.items() if value <= min(options.values()) * _NEAR_BEST)


_NEAR_BEST = 1.02  # a longer stretch is taken when it costs no more than this share above the least


class _Way:
    """Expected numbers for stretches of one way, between stops i and j."""

    def __init__(self, chances: Sequence[float], stops: Sequence[int]) -> None:
        self.sound = [math.prod(1 - p for p in chances[low:high]) for low, high in pairwise(stops)]
        self._unknown: dict[tuple[int, int], float] = {}
        self._opened: dict[tuple[int, int], float] = {}

    def holds(self, i: int, j: int) -> float:
        """Chance that the stretch is sound."""
        return math.prod(self.sound[i:j])

    def start(self, i: int, m: int, j: int) -> float:
        """Nothing known of i..j: probe i..m first."""
        return 1 + (1 - self.holds(i, m)) * self.opened(i, m) + self.unknown(m, j)

    def unknown(self, i: int, j: int) -> float:
        """Nothing known of i..j."""
        if i == j:
            return 0.0
        if (i, j) not in self._unknown:
            self._unknown[i, j] = min(self.start(i, m, j) for m in range(i + 1, j + 1))
        return self._unknown[i, j]

    def split(self, i: int, m: int, j: int) -> float:
        """Something in i..j is open: probe i..m."""
        first, whole = self.holds(i, m), self.holds(i, j)
        if whole >= 1:
            return 1.0
        sound = (first - whole) / (1 - whole)
        return 1 + sound * self.opened(m, j) + (1 - sound) * (self.opened(i, m) + self.unknown(m, j))

    def opened(self, i: int, j: int) -> float:
        """Something in i..j is open."""
        if j - i == 1:
            return 0.0
        if (i, j) not in self._opened:
            self._opened[i, j] = min(self.split(i, m, j) for m in range(i + 1, j))
        return self._opened[i, j]
