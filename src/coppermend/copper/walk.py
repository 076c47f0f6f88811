"""Probes put in walking order, in words and with their side. Decides nothing about which probes to make."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from coppermend.board.kinds import natural_key
from coppermend.board.model import Board, PadSide
from coppermend.board.parttypes import PartLibrary
from coppermend.board.where import where_words
from coppermend.copper.opens import common_side
from coppermend.copper.reach import ProbePoint
from coppermend.copper.readings import Reading
from coppermend.copper.records import Probe
from coppermend.copper.route import travel_mm, walking_order


@dataclass(frozen=True, slots=True)
class Asked:
    """A probe to make between two points, before its place in the walk is known."""

    net: str
    a: ProbePoint
    b: ProbePoint
    purpose: Literal["continuity", "isolation"]
    expect_ohms: float | None

    @property
    def side(self) -> PadSide:
        """From where both points can be touched."""
        return common_side(self.a, self.b)


def walk_of(
    board: Board, library: PartLibrary, asked: Sequence[Asked], last: Reading | None = None
) -> tuple[list[Probe], float, float]:
    """Probes in walking order, the length of the walk, and of the walk in the order given [mm].

    The walk begins near where the ``last`` reading was made, so that a plan made anew goes on from there.
    """
    hands = None
    if last is not None:
        places = [board.index.place(point) for point in (last.a, last.b)]
        hands = np.array([(place.x_mm, place.y_mm) for place in places], dtype=float)
    ends = np.array([[point.place[2:4] for point in (one.a, one.b)] for one in asked], dtype=float)
    ends = ends.reshape(-1, 2, 2)
    probes, walked = [], []
    for number, swapped in walking_order(ends, [one.side == "top" for one in asked], hands_mm=hands):
        probes.append(_probe(board, library, asked[number], swapped))
        walked.append(ends[number][::-1] if swapped else ends[number])
    return probes, round(travel_mm(np.array(walked)), 1), round(travel_mm(ends), 1)


def _probe(board: Board, library: PartLibrary, one: Asked, swapped: bool) -> Probe:
    names = [one.a.place.name, one.b.place.name]
    first, second = reversed(names) if swapped else names
    return Probe(
        id="~".join(sorted(names, key=natural_key)),
        net=one.net,
        a=first,
        b=second,
        purpose=one.purpose,
        expect_ohms=None if one.expect_ohms is None else round(one.expect_ohms, 3),
        where_a=where_words(board, library, first),
        where_b=where_words(board, library, second),
        side=one.side,
    )
