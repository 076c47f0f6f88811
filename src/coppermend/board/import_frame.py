"""How far the frames of two sources lie apart, found by what both name or place. Shifts only, no rotation."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np

from coppermend.board.import_copper import NetPad, Point
from coppermend.board.model import Pad
from coppermend.board.readers.partscsv import ImportedPart

CELL_MM = 0.05
FIT_MM = 0.05
_MOST_POINTS = 200  # of the second set, spread over it: enough for a clear majority
_MOST_OTHERS = 20_000  # a board of this age has no more places; keeps the table of differences small


class Shift(NamedTuple):
    """What to add to the second source's coordinates to get the first's; how many of how many agree."""

    dx_mm: float
    dy_mm: float
    agreeing: int
    compared: int
    residual_mm: float

    @property
    def good(self) -> bool:
        """Whether at least half of what was compared agrees."""
        return self.agreeing > 0 and 2 * self.agreeing >= self.compared


class _Vote(NamedTuple):
    voter: str
    dx_mm: float
    dy_mm: float
    weight: float


def shift_by_pins(first: Iterable[NetPad], second: Iterable[NetPad]) -> Shift | None:
    """From pins that both sources place, each where it has one pad only; None when there is none."""
    places = _single_places(first)
    votes = []
    for key, pad in _single_places(second).items():
        if there := places.get(key):
            votes.append(_Vote(f"{key[0]}.{key[1]}", there.x_mm - pad.x_mm, there.y_mm - pad.y_mm, 1.0))
    return _majority(votes)


def _single_places(pads: Iterable[NetPad]) -> dict[tuple[str, str], Pad]:
    places: dict[tuple[str, str], list[Pad]] = defaultdict(list)
    for _, pad in pads:
        places[pad.refdes, pad.pin].append(pad)
    return {key: pads[0] for key, pads in places.items() if len(pads) == 1}


def shift_by_parts(pads: Iterable[NetPad], parts: Iterable[ImportedPart]) -> Shift | None:
    """From parts whose pads are placed; None when no part has both.

    A part's anchor is its first pin or the middle of its pads, depending on who drew the footprint: each
    part votes for both, and the shift that most parts can agree on is the true one.
    """
    places: dict[str, list[Pad]] = defaultdict(list)
    for _, pad in pads:
        places[pad.refdes].append(pad)
    rows = [part for part in parts if part.x_mm is not None]
    repeats = Counter(part.refdes for part in rows)
    votes = []
    for part in rows:
        own = places.get(part.refdes, [])
        if repeats[part.refdes] > 1 or not own or part.x_mm is None or part.y_mm is None:
            continue
        first = min(own, key=lambda p: (p.pin != "1", p.pin != "A1", p.pin))
        xs, ys = [p.x_mm for p in own], [p.y_mm for p in own]
        middle = (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2
        # The first pin weighs a little more: it wins when all parts look alike and both shifts are as common.
        votes.append(_Vote(part.refdes, first.x_mm - part.x_mm, first.y_mm - part.y_mm, 1.0))
        votes.append(_Vote(part.refdes, middle[0] - part.x_mm, middle[1] - part.y_mm, 0.9))
    return _majority(votes)


def shift_by_points(first: Sequence[Point], second: Sequence[Point]) -> Shift | None:
    """From places alone, for sources that share no names; None when either has no places."""
    if not first or not second:
        return None
    a = np.unique(np.round(np.array(first, dtype=float), 4), axis=0)
    b = np.unique(np.round(np.array(second, dtype=float), 4), axis=0)
    a, sample = a[:_MOST_OTHERS], b[:: max(1, len(b) // _MOST_POINTS)]
    differences = (a[:, None, :] - sample[None, :, :]).reshape(-1, 2)
    cells, counts = np.unique(np.round(differences / CELL_MM).astype(np.int64), axis=0, return_counts=True)
    # Neighbouring cells count too: a true shift may sit on the border of two.
    best = max(
        np.argsort(counts)[-9:], key=lambda n: int(counts[(abs(cells - cells[n]) <= 1).all(axis=1)].sum())
    )
    close = differences[(abs(differences - cells[best] * CELL_MM) <= CELL_MM).all(axis=1)]
    dx, dy = np.median(close, axis=0)
    off = np.abs(close - (dx, dy)).max()
    agreeing = min(len(close), len(sample))
    return Shift(float(dx), float(dy), agreeing, len(sample), float(off))


def _majority(votes: Sequence[_Vote]) -> Shift | None:
    if not votes:
        return None
    cells: dict[tuple[int, int], float] = defaultdict(float)
    for vote in votes:
        cells[_cell(vote)] += vote.weight
    heaviest = max(
        cells, key=lambda cell: (sum(cells.get(other, 0.0) for other in _around(cell)), cells[cell])
    )
    near = set(_around(heaviest))
    close = [vote for vote in votes if _cell(vote) in near]
    dx, dy = (float(np.median([v[axis] for v in close])) for axis in (1, 2))
    fitting = [v for v in votes if abs(v.dx_mm - dx) <= FIT_MM and abs(v.dy_mm - dy) <= FIT_MM]
    residual = max((max(abs(v.dx_mm - dx), abs(v.dy_mm - dy)) for v in fitting), default=0.0)
    return Shift(
        round(dx, 4), round(dy, 4), len({v.voter for v in fitting}), len({v.voter for v in votes}), residual
    )


def _cell(vote: _Vote) -> tuple[int, int]:
    return round(vote.dx_mm / CELL_MM), round(vote.dy_mm / CELL_MM)


def _around(cell: tuple[int, int]) -> list[tuple[int, int]]:
    return [(cell[0] + i, cell[1] + j) for i in (-1, 0, 1) for j in (-1, 0, 1)]
