"""The closure that separates explanations best: expected information of its report. Ranks no explanations."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coppermend.proving.matrix import Crossing, Faults
from coppermend.proving.scan import Bits, Scanner

_LEAST_BITS = 1e-5
# A closure of three switches takes about this much longer than one (common practice, no source).
_COST_PER_SWITCH = 0.25


@dataclass(frozen=True, slots=True)
class NextClosure:
    """Positions to close together (none: look at what is reported with everything open), and what it would tell."""

    closed: tuple[Crossing, ...]
    names: tuple[str, ...]
    gain_bits: float

    def to_json(self) -> dict[str, Any]:
        """Keys: closed [``STROBE:RETURN``], names, gain_bits."""
        return {
            "closed": [str(c) for c in self.closed],
            "names": list(self.names),
            "gain_bits": round(self.gain_bits, 4),
        }


def next_closure(
    scanner: Scanner,
    weighed: Sequence[tuple[Faults, float]],
    tried: Sequence[frozenset[Crossing]],
    mask: Bits,
) -> NextClosure | None:
    """What to close next.

    Args:
        scanner: The matrix.
        weighed: Explanations with their probabilities.
        tried: What was closed already; it is not proposed again.
        mask: Crossings that can be reported, packed.

    Returns:
        None when no single closure, and no three-corner closure that would betray a suspected diode, tells
        any of the explanations apart.
    """
    done = set(tried)
    candidates = [c for c in _candidates(scanner, weighed) if c not in done]
    if not candidates:
        return None
    gains = _gains(scanner.reports([faults for faults, _ in weighed], candidates) & mask, weighed)
    costs = 1 + _COST_PER_SWITCH * np.array([max(len(one) - 1, 0) for one in candidates])
    worth = np.where(gains > _LEAST_BITS, gains / costs, 0.0).round(9)
    best = int(worth.argmax())
    if not worth[best]:
        return None
    chosen = tuple(sorted(candidates[best], key=scanner.ends))
    at = scanner.matrix.at
    return NextClosure(chosen, tuple(at[c].name for c in chosen), float(gains[best]))


def _gains(reports: Bits, weighed: Sequence[tuple[Faults, float]]) -> NDArray[np.float64]:
    """Expected information of each closure [bit], from reports (n, m, strobes, words)."""
    count, closures = reports.shape[:2]
    share = np.array([probability for _, probability in weighed])
    share = share / share.sum()
    # Equal reports get equal numbers; unequal ones differ but for a chance of about 1e-19.
    odd = np.random.default_rng(1).integers(1, 2**63, reports.shape[2:], np.uint64) * np.uint64(
        2
    ) + np.uint64(1)
    key = (reports * odd).sum(axis=(2, 3))
    order = key.argsort(axis=0)
    ordered = np.take_along_axis(key, order, axis=0)
    group = np.vstack([np.zeros((1, closures), np.intp), (ordered[1:] != ordered[:-1]).cumsum(axis=0)])
    place = group + count * np.arange(closures)
    mass = np.bincount(place.ravel(), share[order].ravel(), count * closures).reshape(closures, count)
    gains: NDArray[np.float64] = -(mass * np.log2(mass.clip(min=1e-300))).sum(axis=1)
    return gains


def _candidates(scanner: Scanner, weighed: Sequence[tuple[Faults, float]]) -> list[frozenset[Crossing]]:
    singles = [frozenset({position.crossing}) for position in scanner.matrix.positions]
    corners = [
        made
        for faults, _ in weighed
        for fault in faults
        if fault.kind in ("shorted diode", "stuck switch", "shorted lines")
        for made in three_corners(scanner, *fault.ends)
    ]
    return list(dict.fromkeys([frozenset(), *singles, *corners]))


def three_corners(scanner: Scanner, strobe: int, line: int) -> Iterator[frozenset[Crossing]]:
    """A closure of three corners of a rectangle, the diode asked about at the inner one; nothing if there is none.

    A diode that conducts both ways is invisible while one switch is closed; with these three closed the
    fourth corner is reported.
    """
    populated, matrix = scanner.populated, scanner.matrix
    if (strobe, line) not in populated:
        return
    for other_strobe, other_line in _around(scanner, strobe, line):
        if (strobe, other_line) in populated and (other_strobe, line) in populated:
            ends = ((strobe, line), (strobe, other_line), (other_strobe, line))
            names = [Crossing(matrix.strobes[a], matrix.returns[b - scanner.strobes]) for a, b in ends]
            yield frozenset(names)
            return


def _around(scanner: Scanner, strobe: int, line: int) -> Iterator[tuple[int, int]]:
    """Opposite corners: populated ones first, since only their ghost has a name in the switch test."""
    corners = [
        (a, b)
        for a in range(scanner.strobes)
        for b in range(scanner.strobes, scanner.lines)
        if a != strobe and b != line
    ]
    yield from sorted(
        corners, key=lambda c: (c not in scanner.populated, abs(c[0] - strobe) + abs(c[1] - line))
    )
