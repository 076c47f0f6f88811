"""Which pairs of nets to measure against each other, what to expect, and what their readings tell.

Most pairs that come within reach are sound, so only the likeliest are asked for at first; once one is found
shorted, every pair of its two nets is. A reading covers only the copper that hangs together with its points, so
a pair is measured again once a jumper has joined more copper to one of its nets. Where a fitted part reads about
as low as a short, no meter can tell in circuit: such pairs are named with the parts to lift.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import product
from typing import Literal

from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary
from coppermend.copper.nearby import NearPair
from coppermend.copper.netcircuit import NetCircuit
from coppermend.copper.reach import ProbePoint
from coppermend.copper.readings import Reading
from coppermend.copper.records import Masked, Short
from coppermend.copper.resistance import LEADS_OHM, short_limit_ohm

IsolationScope = Literal["likely", "all", "none"]

_SHARE = 0.03  # of the probes that touching pad by pad would take: how many pairs are asked for at first (our choice)
_TELLING_OHM = 4.0  # parts that read less look like a short with its leads and contacts (our choice)
_MOST_LIFTED = 6  # parts named for one pair
_NEAREST = 4  # points of each net that are thought of for a pair
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
        readings: The last reading of each pair of points on two nets, with its number in the order of measuring.
        removed: Refdes of parts that are off the board.
        joined_at: How many readings had been made when the last jumper on a net was fitted, by net.
    """

    board: Board
    library: PartLibrary
    near: tuple[NearPair, ...]
    points: Mapping[str, Sequence[ProbePoint]]
    readings: tuple[tuple[int, Reading], ...]
    removed: frozenset[str]
    joined_at: Mapping[str, int] = field(default_factory=dict)

    @cached_property
    def _network(self) -> NetCircuit:
        return NetCircuit.of(self.board, self.library, self.removed)

    @cached_property
    def _passive(self) -> dict[tuple[str, str], float]:
        """Resistance through parts between the nets of every pair and reading [Ω]."""
        pairs = list(
            dict.fromkeys([*(pair.nets for pair in self.near), *(self._nets(r) for _, r in self.readings)])
        )
        known = [pair for pair in pairs if "" not in pair]
        return dict(zip(known, self._network.ohms(known), strict=True)) if known else {}

    def _nets(self, reading: Reading) -> tuple[str, str]:
        a, b = sorted((self.board.index.place(reading.a).net, self.board.index.place(reading.b).net))
        return a, b

    @cached_property
    def shorts(self) -> tuple[Short, ...]:
        """Readings across two nets that are as low as copper where the parts read far higher."""
        found = []
        for _, reading in self.readings:
            nets = self.board.index.place(reading.a).net, self.board.index.place(reading.b).net
            limit_ohm = short_limit_ohm(self._expect_ohm(self._nets(reading)))
            if reading.ohms is None or reading.ohms > limit_ohm or not self._tells(self._nets(reading)):
                continue
            found.append(Short(nets, (reading.a, reading.b), reading.ohms))
        return tuple(found)

    def _tells(self, nets: tuple[str, str]) -> bool:
        return self._passive.get(nets, math.inf) >= _TELLING_OHM

    def _expect_ohm(self, nets: tuple[str, str]) -> float | None:
        passive_ohm = self._passive.get(nets, math.inf)
        return None if passive_ohm > _OL_OHM else round(LEADS_OHM + passive_ohm, 3)

    @cached_property
    def masked(self) -> tuple[Masked, ...]:
        """Pairs within reach that parts join so well that no short would show, with the parts to lift."""
        return tuple(
            Masked(pair.nets, self._to_lift(pair.nets), round(LEADS_OHM + self._passive[pair.nets], 3))
            for pair in self.near
            if not self._tells(pair.nets)
        )

    def _to_lift(self, nets: tuple[str, str]) -> tuple[str, ...]:
        """Parts that must be lifted before the pair reads high enough to tell: the widest ways are cut first."""
        lifted: list[str] = []
        network = self._network
        while network.ohms([nets])[0] < _TELLING_OHM and len(lifted) < _MOST_LIFTED:
            way = network.way(*nets)
            lifted.append(max(way, key=lambda step: step[0].value)[0].refdes)
            network = NetCircuit.of(self.board, self.library, self.removed | set(lifted))
        return tuple(lifted)

    @cached_property
    def unreached(self) -> tuple[NearPair, ...]:
        """Pairs within reach of which a net has no point that a probe can touch."""
        return tuple(pair for pair in self.near if not all(self.points.get(net) for net in pair.nets))

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
        return tuple(self._probe(pair) for pair in wanted if pair.nets not in self._settled)

    @cached_property
    def _settled(self) -> set[tuple[str, str]]:
        """Pairs that need no further reading: found shorted, or read with all copper joined that is joined now."""
        settled = {(short.nets[0], short.nets[1]) for short in self.shorts}
        settled |= {(b, a) for a, b in settled}
        for number, reading in self.readings:
            nets = self._nets(reading)
            if number >= max(self.joined_at.get(net, 0) for net in nets):
                settled.add(nets)
        return settled

    def _probe(self, pair: NearPair) -> IsolationProbe:
        """Measured at the points nearest to where the two nets come near, since copper beyond may be open.

        Of the nearest points a pair that was not read yet is preferred.
        """
        some, others = (
            sorted(self.points[net], key=lambda point: _distance_mm(point, pair))[:_NEAREST]
            for net in pair.nets
        )
        read = {frozenset((reading.a, reading.b)) for _, reading in self.readings}
        ends = [(a.place.name, b.place.name) for a, b in product(some, others)]
        a, b = next((both for both in ends if frozenset(both) not in read), ends[0])
        return IsolationProbe(pair.nets, a, b, self._expect_ohm(pair.nets))

    def notes(self, scope: IsolationScope) -> Iterable[str]:
        """What is not measured."""
        if scope == "none":
            return
        for item in self.masked:
            yield item.words
        if self.unreached:
            listed = ", ".join(" and ".join(pair.nets) for pair in self.unreached[:4])
            yield f"no probe can reach both of {listed}: look there for a short with a lens"
        if scope == "likely" and self.near:
            yield (
                f"{len(self.near)} pairs of nets come within reach of each other in the damage; the likeliest to be "
                "shorted are measured, and all of a net that is found shorted"
            )


def _distance_mm(point: ProbePoint, pair: NearPair) -> float:
    return math.hypot(point.place.x_mm - pair.x_mm, point.place.y_mm - pair.y_mm)


def across_nets(board: Board, readings: Iterable[Reading]) -> tuple[tuple[int, Reading], ...]:
    """The last reading of each pair of points that lie on two nets, with its number in the order of measuring."""
    last = {frozenset((r.a, r.b)): (number, r) for number, r in enumerate(readings) if not r.jumper}
    index = board.index
    return tuple((number, r) for number, r in last.values() if index.place(r.a).net != index.place(r.b).net)


def points_by_net(points: Collection[ProbePoint]) -> dict[str, list[ProbePoint]]:
    """Points that a probe can reach, gathered by net."""
    found: dict[str, list[ProbePoint]] = {}
    for point in points:
        found.setdefault(point.place.net, []).append(point)
    return found
