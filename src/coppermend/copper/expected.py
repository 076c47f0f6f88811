"""Probes chosen so that the expected number is least, when bonds may be open with known chances. Pure counting.

Bonds are numbered; a probe is a bit mask of the bonds that it passes and reads good when none of them is open.
Small cases are solved exactly over all states of knowledge; a single way is solved by dynamic programming over
its stretches (nested group testing: M. Sobel and P. A. Groll, Bell System Technical Journal 38 (1959)).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise

_NEARLY = 1.02  # first probes that cost no more than this share above the least are as good
EXACT_BONDS = 6  # up to so many undecided bonds a net is solved exactly: seven islands


@lru_cache(maxsize=4096)
def best_probe(
    masks: tuple[int, ...], chances: tuple[float, ...], opened: tuple[int, ...] = ()
) -> tuple[float, tuple[int, ...]]:
    """The least expected number of probes, and the probes that begin a plan that reaches it.

    Args:
        masks: The bonds that each possible probe passes.
        chances: Chance of each bond to be open, 0..1.
        opened: Masks that read open already.

    Returns:
        The expectation, and the positions in ``masks`` of all first probes that cost at most 2 % more, best first; ()
        when nothing is left to tell.

    >>> best_probe((0b01, 0b10, 0b11), (0.1, 0.1))[0]  # both at once first: 1 + 0.19 * (1 + 0.1 / 0.19)
    1.29
    """
    worlds = [w for w in range(1 << len(chances)) if all(w & mask for mask in opened)]
    classes: dict[tuple[bool, ...], float] = {}
    for world in worlds:
        seen = tuple(not world & mask for mask in masks)
        classes[seen] = classes.get(seen, 0.0) + _weight(world, chances)
    signatures, weights = list(classes), list(classes.values())
    good = [sum(1 << k for k, seen in enumerate(signatures) if seen[test]) for test in range(len(masks))]
    return _solved(tuple(good), tuple(weights), len(signatures))


def _weight(world: int, chances: Sequence[float]) -> float:
    return math.prod(p if world >> bond & 1 else 1 - p for bond, p in enumerate(chances))


def _solved(good: tuple[int, ...], weights: tuple[float, ...], count: int) -> tuple[float, tuple[int, ...]]:
    """Dynamic programming over sets of classes that are still possible."""
    mass: dict[int, float] = {0: 0.0}
    known: dict[int, float] = {}

    def weight(state: int) -> float:
        if state not in mass:
            low = state & -state
            mass[state] = weights[low.bit_length() - 1] + weight(state ^ low)
        return mass[state]

    def cost(state: int, test: int) -> float:
        """Expected number weighted with the chance of the state."""
        yes = state & good[test]
        return math.inf if yes in (0, state) else weight(state) + value(yes) + value(state ^ yes)

    def value(state: int) -> float:
        if not state & (state - 1):
            return 0.0
        if state not in known:
            known[state] = min(cost(state, test) for test in range(len(good)))
        return known[state]

    everything = (1 << count) - 1
    if count < 2:
        return 0.0, ()
    least = value(everything)
    first = [test for test in range(len(good)) if cost(everything, test) <= least * _NEARLY]
    first.sort(key=lambda test: cost(everything, test))
    return round(least / weight(everything), 12), tuple(first)


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
