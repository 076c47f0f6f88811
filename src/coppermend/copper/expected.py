"""Probes chosen so that the expected number is least, when bonds may be open with known chances. Pure counting.

Bonds are numbered; a probe is a bit mask of the bonds that it passes and reads good when none of them is open.
What is known is which bonds hold, which are open, and masks in which at least one is open. Bonds that hold are
contracted away; where one is open the net falls into parts that tell nothing of each other, so their numbers add
up. Only plans are weighed that keep one or two open masks unresolved in a part: the number of states is
what exact planning costs (nested group testing, M. Sobel and P. A. Groll, Bell System Technical Journal 38
(1959), is the case of one).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import lru_cache, reduce
from operator import or_

_NEARLY = 1.02  # first probes that cost no more than this share above the least are as good
MOST_BONDS = 7  # up to so many undecided bonds a piece is planned here: eight islands
_TWO_PENDING = (
    5  # up to so many bonds two open masks may stay unresolved, one more where something reads open
)

Pending = tuple[int, ...]  # open masks: none is part of another, none is a single bond


@lru_cache(maxsize=4096)
def best_probe(
    masks: tuple[int, ...], chances: tuple[float, ...], opened: tuple[int, ...] = (), sound: int = 0
) -> tuple[float, tuple[int, ...]]:
    """The least expected number of probes, and the probes that begin a plan that reaches it.

    Args:
        masks: The bonds that each possible probe passes.
        chances: Chance of each bond to be open, more than 0 and less than 1; at most ``MOST_BONDS``.
        opened: Masks that read open already.
        sound: Bonds that hold.

    Returns:
        The expectation, and the positions in ``masks`` of all first probes that cost at most 2 % more, best first; ()
        when nothing is left to tell.

    >>> best_probe((0b01, 0b10, 0b11), (0.1, 0.1))[0]  # both at once first: 1 + 0.19 * (1 + 0.1 / 0.19)
    1.29
    """
    pending = _minimal(mask & ~sound for mask in opened)
    if not all(pending):  # a mask without bonds cannot be open: the readings contradict each other
        return 0.0, ()
    kept = 2 if len(chances) <= _TWO_PENDING + bool(pending) else 1
    least, costs = _plans(frozenset(masks), chances, kept).first(pending, sound)
    near = sorted((cost, mask) for mask, cost in costs.items() if cost <= least * _NEARLY)
    position = {mask & ~sound: k for k, mask in reversed(list(enumerate(masks)))}
    return round(least, 12), tuple(position[mask] for _, mask in near)


def effort(bonds: int) -> int:
    """About how many states of knowledge a piece of so many bonds is planned over, while nothing reads open.

    >>> [effort(bonds) for bonds in (2, 5, 7)]
    [5, 224, 800]
    """
    single = (1 << bonds) + math.comb(bonds, 2) * (1 << bonds) // 4
    return single if bonds > _TWO_PENDING or bonds < 3 else 2 * single


class _Shape:
    """What a piece falls into as bonds hold or are open, whatever their chances.

    A part is what probes tie together; it is given by its bonds, the masks of the probes that tell something of it,
    and its number.
    """

    def __init__(self, masks: Iterable[int]) -> None:
        self.masks: list[tuple[int, ...]] = []
        self._numbers: dict[frozenset[int], int] = {}
        self._left: dict[tuple[int, int, bool], tuple[tuple[int, int], ...]] = {}
        self.whole = self._parts(masks)

    def after(self, part: int, bonds: int, good: bool) -> tuple[tuple[int, int], ...]:
        """(bonds, part) of what is left when bonds hold (probes pass them) or are open (no probe passes them)."""
        key = part, bonds, good
        found = self._left.get(key)
        if found is None:
            masks = self.masks[part]
            left = {m & ~bonds for m in masks} - {0} if good else {m for m in masks if not m & bonds}
            found = self._left[key] = self._parts(left)
        return found

    def _parts(self, masks: Iterable[int]) -> tuple[tuple[int, int], ...]:
        groups: list[int] = []
        given = frozenset(masks)
        for mask in given:
            tied = [group for group in groups if group & mask]
            if len(tied) == 1 and not mask & ~tied[0]:
                continue
            groups = [group for group in groups if not group & mask]
            groups.append(reduce(or_, tied, mask))
        return tuple((group, self._part(frozenset(m for m in given if m & group))) for group in groups)

    def _part(self, masks: frozenset[int]) -> int:
        if masks not in self._numbers:
            self._numbers[masks] = len(self.masks)
            self.masks.append(tuple(sorted(masks)))
        return self._numbers[masks]


@lru_cache(maxsize=512)
def _shape(masks: frozenset[int]) -> _Shape:
    return _Shape(masks)


@lru_cache(maxsize=512)
def _plans(masks: frozenset[int], chances: tuple[float, ...], kept: int) -> _Plans:
    return _Plans(_shape(masks), chances, kept)


class _Plans:
    """Expected numbers for every state of knowledge that was asked for, of one shape with the same chances."""

    def __init__(self, shape: _Shape, chances: Sequence[float], kept: int) -> None:
        self._shape, self._kept = shape, kept
        self._sound = [1.0]  # chance that all bonds of a mask hold
        for mask in range(1, 1 << len(chances)):
            low = mask & -mask
            self._sound.append(self._sound[mask ^ low] * (1 - chances[low.bit_length() - 1]))
        self._values: dict[tuple[int, Pending], float] = {}
        self._weights: dict[Pending, float] = {(): 1.0}

    def first(self, opened: Pending, sound: int) -> tuple[float, dict[int, float]]:
        """The least expectation, and for each telling mask the expectation when it is probed first."""
        broken = sum(mask for mask in opened if not mask & (mask - 1))
        pending = tuple(mask for mask in opened if not mask & broken)
        parts = [
            left
            for _, part in self._shape.whole
            for _, kept in self._shape.after(part, sound, True)
            for left in self._shape.after(kept, broken, False)
        ]
        least = self._total(parts, pending)
        costs: dict[int, float] = {}
        for bonds, part in parts:
            mine = tuple(mask for mask in pending if mask & bonds)
            rest = least - self._value(part, mine)
            costs |= {mask: rest + self._cost(part, mine, mask) for mask in self._shape.masks[part]}
        return least, {mask: cost for mask, cost in costs.items() if cost < math.inf}

    def _weight(self, pending: Pending) -> float:
        """Chance that each of the masks has an open bond."""
        found = self._weights.get(pending)
        if found is None:
            first, rest = pending[0], [mask & ~pending[0] for mask in pending[1:]]
            found = self._weight(pending[1:])
            if all(rest):
                found -= self._sound[first] * self._weight(_minimal(rest))
            self._weights[pending] = found
        return found

    def _total(self, parts: Iterable[tuple[int, int]], pending: Pending) -> float:
        total = 0.0
        for bonds, part in parts:
            mine = tuple([mask for mask in pending if mask & bonds]) if pending else ()
            found = self._values.get((part, mine))
            total += self._value(part, mine) if found is None else found
        return total

    def _settled(self, parts: Iterable[tuple[int, int]], pending: Pending) -> float:
        """The same where masks of a single bond are known to be open: these bonds are cut first."""
        broken = 0
        for mask in pending:
            if not mask & (mask - 1):
                broken |= mask
        if not broken:
            return self._total(parts, pending)
        rest = tuple([mask for mask in pending if not mask & broken])
        return sum([self._total(self._shape.after(part, broken & own, False), rest) for own, part in parts])

    def _value(self, part: int, pending: Pending) -> float:
        """Least expected number of probes until all of a part is known."""
        key = part, pending
        found = self._values.get(key)
        if found is None:
            masks: Sequence[int] = self._shape.masks[part]
            if len(pending) == self._kept == 1:  # others would leave two open masks or tell nothing
                masks = [mask for mask in masks if not mask & ~pending[0]]
            found = min([self._cost(part, pending, mask) for mask in masks], default=math.inf)
            found = self._values[key] = 0.0 if found == math.inf else found  # no probe tells more
        return found

    def _cost(self, part: int, pending: Pending, mask: int) -> float:
        """Expected number when ``mask`` is probed first; infinite when that tells nothing or is not weighed."""
        left = [known & ~mask for known in pending]
        if not all(left):
            return math.inf
        opened = _minimal((*pending, mask))
        if len(opened) > max(self._kept, len(pending)):
            return math.inf
        sound = _minimal(left)
        hold = self._sound[mask]
        if pending:
            hold *= self._weight(sound) / self._weight(pending)
        good = self._settled(self._shape.after(part, mask, True), sound)
        return 1 + hold * good + (1 - hold) * self._settled(((-1, part),), opened)


def _minimal(masks: Iterable[int]) -> Pending:
    """Masks of which none is part of another, ascending."""
    given = sorted(set(masks))
    if len(given) < 2:
        return tuple(given)
    return tuple([mask for mask in given if not any(o != mask and not o & ~mask for o in given)])
