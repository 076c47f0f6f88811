"""A meter for the sample job: it probes a copy of the board on which a few tracks are eaten through."""

from __future__ import annotations

import random
from collections.abc import Collection, Iterable
from dataclasses import replace
from functools import cached_property

import numpy as np

from coppermend.board.connectivity import connected_copper
from coppermend.board.model import Board, Track
from coppermend.errors import UnknownName

# What two hand-held probes add to a reading, invented for the sample.
_CONTACT_OHM = 0.08


class SampleMeter:
    """Reads between points of a board whose ``eaten`` tracks (numbers as in tracks.csv) conduct no more.

    The same seed gives the same readings, so that the sample job is the same every time.
    """

    def __init__(self, board: Board, eaten: Collection[int], seed: int = 1) -> None:
        kept = tuple(t for number, t in enumerate(board.tracks, 1) if number not in eaten)
        self.board = replace(board, tracks=kept)
        self._jumpers: list[tuple[str, str]] = []
        self._noise = random.Random(seed)

    @cached_property
    def _pieces(self) -> dict[str, int]:
        """Piece of copper that each pad and via belongs to."""
        labels = connected_copper(self.board)
        space = self.board.space
        pieces: dict[str, int] = {}
        for item in np.flatnonzero((space.kinds == "pad") | (space.kinds == "via")):
            number = space.numbers[item]
            named = (
                self.board.pads[number].ref if space.kinds[item] == "pad" else self.board.vias[number].name
            )
            pieces.setdefault(str(named), int(labels[item]))
        return pieces

    def fit_jumper(self, a: str, b: str) -> None:
        """Solder a wire between two points."""
        self._jumpers.append((a, b))

    def read(self, a: str, b: str, expect_ohm: float) -> float | None:
        """Ohms between two points, or None when there is no path (OL).

        Raises:
            UnknownName: If the board has no such point.
        """
        for point in (a, b):
            if point not in self._pieces:
                raise UnknownName("point", point, self.board.name)
        if not self._joined(self._pieces[a], self._pieces[b]):
            return None
        return round(expect_ohm + _CONTACT_OHM + self._noise.uniform(0.0, 0.05), 2)

    def _joined(self, start: int, goal: int) -> bool:
        reached = {start}
        while True:
            grown = {
                other
                for pair in self._jumpers
                for here, there in (pair, pair[::-1])
                if self._pieces[here] in reached and (other := self._pieces[there]) not in reached
            }
            if not grown:
                return goal in reached
            reached |= grown


def nearest_tracks(board: Board, nets: Iterable[str], x_mm: float, y_mm: float) -> tuple[int, ...]:
    """For each net, the number of its track whose middle is nearest to a place: where a leak eats first."""

    def distance_mm(track: Track) -> float:
        return float(np.hypot((track.x1_mm + track.x2_mm) / 2 - x_mm, (track.y1_mm + track.y2_mm) / 2 - y_mm))

    numbered = list(enumerate(board.tracks, 1))
    return tuple(min((distance_mm(t), n) for n, t in numbered if t.net == net)[1] for net in nets)
