"""Count, sum and sum of squares: all that means and their intervals need. Pure, and quick to import."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Sums:
    """Of ``count`` values: their ``total``, and the total of their ``squares``; empty is all zero."""

    count: int = 0
    total: float = 0.0
    squares: float = 0.0

    @property
    def mean(self) -> float:
        """Their mean; 0 of none."""
        return self.total / self.count if self.count else 0.0

    @property
    def deviation(self) -> float:
        """Sum of the squared distances from the mean; 0 of fewer than two."""
        return max(self.squares - self.total * self.mean, 0.0) if self.count > 1 else 0.0

    def __add__(self, other: Sums) -> Sums:
        """The sums of both together."""
        return Sums(self.count + other.count, self.total + other.total, self.squares + other.squares)


def sums_of(values: Iterable[float]) -> Sums:
    """The sums of some values.

    >>> sums_of([1, 3]).mean, sums_of([1, 3]).deviation
    (2.0, 2.0)
    """
    listed = list(values)
    return Sums(len(listed), math.fsum(listed), math.fsum(value * value for value in listed))
