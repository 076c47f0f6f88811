"""The order in which to walk the probes, and which tip goes where, with little hand travel.

Greedy: always the nearest probe next, tips swapped when that is shorter. The board is turned over at most once:
what can be reached from the solder side first, then what only the parts side shows.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray


class Step(NamedTuple):
    """One probe of the walk: its position in the given order, and whether its two points change tips."""

    number: int
    swapped: bool


def walking_order(ends_mm: NDArray[np.float64], top_only: Sequence[bool]) -> list[Step]:
    """A short walk over probes.

    Args:
        ends_mm: (n, 2, 2) array: for each probe the x, y [mm] of its points a and b.
        top_only: For each probe, whether it can only be made from the top.

    Returns:
        n steps; [] for no probes. The walk starts at the lower left.
    """
    steps: list[Step] = []
    tips = np.zeros((2, 2))
    for wanted in (False, True):
        left = [i for i, top in enumerate(top_only) if top == wanted]
        while left:
            straight = _travel(ends_mm[left], tips)
            crossed = _travel(ends_mm[left][:, ::-1], tips)
            best = int(np.argmin(np.minimum(straight, crossed)))
            swapped = bool(crossed[best] < straight[best])
            number = left.pop(best)
            steps.append(Step(number, swapped))
            tips = ends_mm[number][::-1] if swapped else ends_mm[number]
    return steps


def travel_mm(ends_mm: NDArray[np.float64]) -> float:
    """Travel of both tips [mm] from probe to probe in the given order, (n, 2, 2); the way to the first is not counted."""
    if len(ends_mm) < 2:
        return 0.0
    steps = np.diff(ends_mm, axis=0)
    return float(np.hypot(steps[..., 0], steps[..., 1]).sum())


def _travel(ends_mm: NDArray[np.float64], tips: NDArray[np.float64]) -> NDArray[np.float64]:
    gaps = ends_mm - tips
    return np.asarray(np.hypot(gaps[..., 0], gaps[..., 1]).sum(axis=1))
