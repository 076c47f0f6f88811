"""What can be repaired, numbered, and where: the units of a board's faults and their sites. No weights."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from coppermend.isolate.faults import UNIT_KINDS, Faults, Unit, UnitKind
from coppermend.isolate.pins import Numbers

_PART, _SOCKET = UNIT_KINDS.index("part"), UNIT_KINDS.index("socket")


class Units:
    """The units of a board's faults in the order of the faults, and of each fault the number of its unit.

    ``of_fault`` has shape (faults,), ``site_of_unit`` (units,): a part and its socket are one site, where one
    repairs, since taking the part out tries both.
    """

    def __init__(self, faults: Faults) -> None:
        self._faults = faults
        self._span = int(faults.owner.max(initial=0)) + 1
        self.of_fault, self._codes = first_seen(faults.kind * np.int64(self._span) + faults.owner)
        kind, owner = np.divmod(self._codes, self._span)
        self.site_of_unit, self._site_codes = first_seen(
            np.where(kind == _SOCKET, _PART, kind) * self._span + owner
        )

    def unit(self, number: int) -> Unit:
        """The unit of a number."""
        return self._faults.unit(*divmod(int(self._codes[number]), self._span))

    def site(self, number: int) -> Unit:
        """The site of a number, named as its part or as its only unit."""
        return self._faults.unit(*divmod(int(self._site_codes[number]), self._span))

    def site_of_net(self, kind: UnitKind, net: int) -> int:
        """The number of the site that is the copper or the rail of a net, or -1."""
        found = np.flatnonzero(self._site_codes == UNIT_KINDS.index(kind) * self._span + net)
        return int(found[0]) if len(found) else -1

    @cached_property
    def units(self) -> tuple[Unit, ...]:
        """Every unit by number, for those that need them all."""
        return tuple([self.unit(k) for k in range(len(self))])

    @cached_property
    def part_sites(self) -> dict[int, str]:
        """Of each site that is a part its number and refdes, in order."""
        parts = np.flatnonzero(self._site_codes // self._span == _PART)
        return {k: self.site(k).name for k in parts.tolist()}

    @property
    def site_count(self) -> int:
        """How many sites there are."""
        return len(self._site_codes)

    @cached_property
    def number(self) -> dict[Unit, int]:
        """The number of each unit."""
        return {unit: k for k, unit in enumerate(self.units)}

    def __len__(self) -> int:
        return len(self._codes)


def first_seen(codes: Numbers) -> tuple[Numbers, Numbers]:
    """Codes numbered in the order in which they first come: the number of each, and the code of each number.

    >>> numbers, codes = first_seen(np.array([7, 3, 7, 9]))
    >>> numbers.tolist(), codes.tolist()
    ([0, 1, 0, 2], [7, 3, 9])
    """
    distinct, first, place = np.unique(codes, return_index=True, return_inverse=True)
    order = np.argsort(first)
    number = np.empty(len(order), dtype=np.int64)
    number[order] = np.arange(len(order))
    return number[place], distinct[order]
