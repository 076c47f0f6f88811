"""Which pairs of nets to measure against each other, what to expect, and what their readings tell.

Most pairs that come within reach are sound, so only the likeliest are asked for at first; once one is found
shorted, every pair of its two nets is.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary
from coppermend.copper.nearby import NearPair
from coppermend.copper.netcircuit import NetCircuit
from coppermend.copper.reach import ProbePoint
from coppermend.copper.readings import Reading
from coppermend.copper.records import Short
from coppermend.copper.resistance import LEADS_OHM

IsolationScope = Literal["likely", "all", "none"]

_SHARE = 0.03  # of the probes that touching pad by pad would take: how many pairs are asked for at first (our choice)
SHORT_OHM = 5.0  # copper or solder with leads and contacts reads less (common practice, no source)
_TELLING = 4.0  # parts must read this many times more, or a short beside them would not show
_OL_OHM = 40e6  # a hand-held meter shows OL above (common practice, no source)


@dataclass(frozen=True)
class IsolationProbe:
    """One pair of nets to measure between points ``a`` and ``b``; ``expect_ohms`` None is OL."""

    nets: tuple[str, str]
    a: str
    b: str
    expect_ohms: float | None


@dataclass(frozen=True)
class Isolation:
    """What is known of the pairs of nets that come within reach.

    Attributes:
        board: The board.
        library: Part types.
        near: The pairs, most at risk first.
        points: Points that a probe can reach, by net.
        readings: The last reading of each pair of points on two nets.
        removed: Refdes of parts that are off the board.
    """

    board: Board
    library: PartLibrary
    near: tuple[NearPair, ...]
    points: Mapping[str, Sequence[ProbePoint]]
    readings: tuple[Reading, ...]
    removed: frozenset[str]

    @cached_property
    def _network(self) -> NetCircuit:
        return NetCircuit.of(self.board, self.library, self.removed)

    @cached_property
    def _passive(self) -> dict[tuple[str, str], float]:
        """Resistance through parts between the nets of every pair and reading [Ω]."""
        pairs = list(dict.fromkeys([*(pair.nets for pair in self.near), *map(self._nets, self.readings)]))
        known = [pair for pair in pairs if "" not in pair]
        return dict(zip(known, self._network.ohms(known), strict=True)) if known else {}

    def _nets(self, reading: Reading) -> tuple[str, str]:
        a, b = sorted((self.board.index.place(reading.a).net, self.board.index.place(reading.b).net))
        return a, b

    @cached_property
    def shorts(self) -> tuple[Short, ...]:
        """Readings across two nets that are as low as copper where the parts read far higher."""
        found = []
        for reading in self.readings:
            nets = self.board.index.place(reading.a).net, self.board.index.place(reading.b).net
            if reading.ohms is not None and reading.ohms <= SHORT_OHM and self._tells(self._nets(reading)):
                found.append(Short(nets, (reading.a, reading.b), reading.ohms))
        return tuple(found)

    def _tells(self, nets: tuple[str, str]) -> bool:
        return self._passive.get(nets, math.inf) > _TELLING * SHORT_OHM

    @cached_property
    def hidden(self) -> tuple[NearPair, ...]:
        """Pairs within reach that parts join so well that no short would show."""
        return tuple(pair for pair in self.near if not self._tells(pair.nets))

    def probes(self, scope: IsolationScope, naive_probes: int) -> tuple[IsolationProbe, ...]:
        """The pairs still to measure, most at risk first.

        Args:
            scope: "likely" for the few most at risk and all pairs of a shorted net; "all"; or "none".
            naive_probes: Probes that touching pad by pad would take.
        """
        if scope == "none":
            return ()
        able = [
            pair
            for pair in self.near
            if self._tells(pair.nets) and all(self.points.get(n) for n in pair.nets)
        ]
        most = len(able) if scope == "all" else math.ceil(_SHARE * naive_probes)
        shorted = {net for short in self.shorts for net in short.nets}
        wanted = [*able[:most], *(pair for pair in able[most:] if shorted.intersection(pair.nets))]
        read = {self._nets(reading) for reading in self.readings}
        return tuple(self._probe(pair) for pair in wanted if pair.nets not in read)

    def _probe(self, pair: NearPair) -> IsolationProbe:
        """Measured at the points nearest to where the two nets come near, since copper beyond may be open."""
        a, b = (
            min(self.points[net], key=lambda point: _distance_mm(point, pair)).place.name for net in pair.nets
        )
        passive = self._passive[pair.nets]
        expect = None if passive > _OL_OHM else round(LEADS_OHM + passive, 3)
        return IsolationProbe(pair.nets, a, b, expect)

    def notes(self, scope: IsolationScope) -> Iterable[str]:
        """What is not measured."""
        if self.hidden:
            listed = ", ".join(" and ".join(pair.nets) for pair in self.hidden[:4])
            yield f"parts join {listed} so well that a short between them would not show"
        if scope == "likely" and self.near:
            yield (
                f"{len(self.near)} pairs of nets come within reach of each other in the damage; the likeliest to be "
                "shorted are measured, and all of a net that is found shorted"
            )


def _distance_mm(point: ProbePoint, pair: NearPair) -> float:
    return math.hypot(point.place.x_mm - pair.x_mm, point.place.y_mm - pair.y_mm)


def across_nets(board: Board, readings: Iterable[Reading]) -> tuple[Reading, ...]:
    """The last reading of each pair of points that lie on two nets."""
    last = {frozenset((r.a, r.b)): r for r in readings if not r.jumper}
    return tuple(r for r in last.values() if board.index.place(r.a).net != board.index.place(r.b).net)


def points_by_net(points: Collection[ProbePoint]) -> dict[str, list[ProbePoint]]:
    """Points that a probe can reach, gathered by net."""
    found: dict[str, list[ProbePoint]] = {}
    for point in points:
        found.setdefault(point.place.net, []).append(point)
    return found
