"""One net at risk: its islands, what readings and fitted jumpers have told, and the pairs to probe next.

Composes ``islands``, ``known`` and ``choose`` for a net, with the points that a probe can reach. Opens and
bridges across them are worked out in ``opens``.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from coppermend.copper.bridges import bridge_forest
from coppermend.copper.chances import WIRE, Severities, bond_chance
from coppermend.copper.choose import effort_of, next_pairs, proof_pairs
from coppermend.copper.graph import Link, NetGraph
from coppermend.copper.islands import Bond, Groups, NetIslands
from coppermend.copper.known import Known, Pair, RiskGraph, learn
from coppermend.copper.paths import PathFinder
from coppermend.copper.reach import ProbePoint
from coppermend.copper.readings import FittedJumper, Reading
from coppermend.copper.resistance import (
    LEADS_OHM,
    UNSEEN_WIDTH_MM,
    WIRE_OHM_PER_M,
    limit_ohm,
    track_resistance_ohm,
)


@dataclass(frozen=True)
class NetState:
    """What is known of one net.

    Attributes:
        cut: The net's copper cut into islands.
        points: Points of the net that a probe can reach.
        jumpers: Fitted jumpers between points of the net, in order.
        readings: (number in the order of measuring, reading) between points of the net.
        severities: How badly its copper is touched.
        widths_mm: Widths of its touched tracks by number.
        exact: Whether its small pieces are planned for the least expected number.
    """

    cut: NetIslands
    points: Mapping[str, ProbePoint]
    jumpers: tuple[FittedJumper, ...] = ()
    readings: tuple[tuple[int, Reading], ...] = ()
    severities: Severities = field(default_factory=Severities)
    widths_mm: Mapping[int, float] = field(default_factory=dict)
    exact: bool = True
    _best: dict[int, str] = field(default_factory=dict, compare=False)

    @cached_property
    def finder(self) -> PathFinder:
        """Ways through the net's copper with its fitted jumpers."""
        spots = self.cut.graph.points
        wires = []
        for jumper in self.jumpers:
            a, b = spots[jumper.a], spots[jumper.b]
            wires.append(Link(a, b, 0, WIRE_OHM_PER_M * _distance_mm(self.cut.graph, a, b) / 1000))
        return PathFinder(self.cut.graph, wires)

    def expect_ohm(self, a: str, b: str) -> float:
        """What a meter should read between two points of the net [Ω], leads included.

        Where the files show no copper between them, a track of 0.3 mm along the board's axes is assumed.
        """
        spots = self.cut.graph.points
        path = self.finder.path(spots[a], spots[b])
        if path:
            return LEADS_OHM + path.ohms
        p, q = (self.cut.graph.spots[spots[name]] for name in (a, b))
        run_mm = abs(p.x_mm - q.x_mm) + abs(p.y_mm - q.y_mm)
        return LEADS_OHM + track_resistance_ohm(run_mm, UNSEEN_WIDTH_MM)

    @cached_property
    def graph(self) -> RiskGraph:
        """Islands with the bonds that matter, and fitted jumpers as further bonds at the end."""
        return RiskGraph(
            tuple(bool(island.points) for island in self.cut.islands),
            (*((bond.a, bond.b) for bond in self.bonds), *self._wires),
            tuple(island.pads > 0 for island in self.cut.islands),
        )

    @cached_property
    def _wires(self) -> tuple[Pair, ...]:
        of = self.cut.point_island
        return tuple((of[jumper.a], of[jumper.b]) for jumper in self.jumpers)

    @cached_property
    def bonds(self) -> tuple[Bond, ...]:
        """Bonds that lead to a pad or jumper; copper that ends in nothing needs no proof."""
        forest = bridge_forest(len(self.cut.islands), [(bond.a, bond.b) for bond in self.cut.bonds])
        ends = {island for pair in self._wires for island in pair}
        wanted = {forest.block[i] for i, island in enumerate(self.cut.islands) if island.pads or i in ends}
        kept = forest.pruned(wanted)
        return tuple(
            bond for bond in self.cut.bonds if forest.block[bond.a] in kept and forest.block[bond.b] in kept
        )

    @cached_property
    def known(self) -> Known:
        """What all readings told, each judged on the board as it was when it was made."""
        epochs = self._epochs()
        known, good = None, []
        for fitted in range(len(self.jumpers) + 1):
            verdicts = {frozenset((r.a, r.b)): r for _, r in epochs.get(fitted, [])}
            opened = []
            for reading in verdicts.values():
                pair = self._islands_of(reading)
                if self.is_good(reading):
                    good += [pair] if pair[0] != pair[1] else []
                else:
                    opened.append(pair)
            built = replace(self.graph, bonds=self.graph.bonds[: len(self.bonds) + fitted])
            known = learn(built, good, opened, known)
        assert known is not None
        return known

    def is_good(self, reading: Reading) -> bool:
        """Whether a reading counts as sound copper."""
        return reading.ohms is not None and reading.ohms <= limit_ohm(self.expect_ohm(reading.a, reading.b))

    def _islands_of(self, reading: Reading) -> Pair:
        return self.cut.point_island[reading.a], self.cut.point_island[reading.b]

    def _epochs(self) -> dict[int, list[tuple[int, Reading]]]:
        """Readings by how many jumpers of the net were fitted when they were made."""
        last_open = max((number for number, r in self.readings if not self.is_good(r)), default=-1)
        fitted_at = [last_open + 1 if j.after is None else j.after for j in self.jumpers]
        epochs: dict[int, list[tuple[int, Reading]]] = {}
        for number, reading in self.readings:
            epochs.setdefault(sum(at <= number for at in fitted_at), []).append((number, reading))
        return epochs

    @cached_property
    def pairs(self) -> tuple[tuple[str, str], ...]:
        """The points to probe now, as pairs; () when nothing more can be learned."""
        if fresh := self._unread_jumpers():
            return fresh
        planned = [] if self.jumpers else proof_pairs(self.graph, learn(self.graph, [], []))
        pairs = [
            *next_pairs(self.graph, self.known, planned, self.chances, exact=self.exact),
            *self._unseen_pairs(),
        ]
        return tuple((self.best_point(a), self.best_point(b)) for a, b in pairs)

    @cached_property
    def effort(self) -> int:
        """What planning the net exactly costs, as a number of states of knowledge."""
        return effort_of(self.graph, self.known)

    @cached_property
    def chances(self) -> tuple[float, ...]:
        """Chance of each bond of ``graph`` to be open."""
        own = (
            bond_chance(self.cut.graph, bond, self.severities, self.widths_mm.get(bond.track, 0.0))
            for bond in self.bonds
        )
        return (*own, *(WIRE for _ in self.jumpers))

    def _unread_jumpers(self) -> tuple[tuple[str, str], ...]:
        """Fitted jumpers that no reading has reached yet: they are read before anything else."""
        return tuple(
            (jumper.a, jumper.b)
            for jumper, (a, b) in zip(self.jumpers, self._wires, strict=True)
            if not (self.known.same(a, b) or self.known.are_apart(a, b))
            and jumper.a in self.points
            and jumper.b in self.points
        )

    def best_point(self, island: int) -> str:
        """The point of an island that a probe reaches best: from the solder side, sound, large."""
        if island not in self._best:
            self._best[island] = max(self.cut.islands[island].points, key=self._ease)
        return self._best[island]

    def _ease(self, name: str) -> tuple[bool, bool, float, str]:
        point = self.points[name]
        return point.side != "top", "." in name, point.size_mm, name

    @cached_property
    def pieces(self) -> tuple[tuple[int, ...], ...]:
        """Islands that may hang together, as far as the files and readings tell; only pieces with a pad, largest first."""
        joined = Groups(len(self.cut.islands))
        for island, group in enumerate(self.known.group):
            joined.join(island, group)
        for number, (a, b) in enumerate(self.graph.bonds):
            if number not in self.known.settled:
                joined.join(a, b)
        members: dict[int, list[int]] = {}
        for island, root in enumerate(joined.labels()):
            members.setdefault(root, []).append(island)
        needed = [piece for piece in members.values() if self._pads(piece)]
        return tuple(sorted(map(tuple, needed), key=lambda piece: (-self._pads(piece), piece)))

    def _pads(self, piece: Sequence[int]) -> int:
        return sum(self.cut.islands[island].pads for island in piece)

    @cached_property
    def heads(self) -> tuple[tuple[int, ...], ...]:
        """Pieces that are certainly apart from each other; a piece not yet compared is none."""
        if not self.cut.unseen:
            return self.pieces
        heads: list[tuple[int, ...]] = []
        for piece in self.pieces:
            if all(self._apart(head, piece) for head in heads):
                heads.append(piece)
        return tuple(heads)

    def _unseen_pairs(self) -> list[Pair]:
        """Where the files do not show how pieces hang together: each against the first it may belong to."""
        if not self.cut.unseen:
            return []
        pairs = []
        for piece in self.pieces:
            head = next((h for h in self.heads if h == piece or not self._apart(h, piece)), piece)
            if head != piece and (ends := (self._touchable(head), self._touchable(piece)))[0] != ends[1]:
                pairs.append(ends)
        return [(a, b) for a, b in pairs if a is not None and b is not None]

    def _touchable(self, piece: Collection[int]) -> int | None:
        """The island of a piece to probe: the one with most pads that a probe can reach."""
        islands = [island for island in piece if self.graph.probeable[island]]
        return max(islands, key=lambda i: (self.cut.islands[i].pads, -i), default=None)

    def _apart(self, one: Sequence[int], other: Sequence[int]) -> bool:
        groups = {self.known.group[i] for i in one}, {self.known.group[i] for i in other}
        return any(
            (a in groups[0] and b in groups[1]) or (a in groups[1] and b in groups[0])
            for a, b in self.known.apart
        )

    @cached_property
    def unreachable(self) -> tuple[int, ...]:
        """Islands with pads that no probe can touch and no good path has passed."""
        padded = {self.known.group[i] for i, own in enumerate(self.cut.islands) if own.pads}
        if len(padded) <= 1:
            return ()
        touched = {self.known.group[i] for i, probeable in enumerate(self.graph.probeable) if probeable}
        return tuple(
            i for i, own in enumerate(self.cut.islands) if own.pads and self.known.group[i] not in touched
        )

    @cached_property
    def holds(self) -> bool:
        """Whether every pad of the net is proven to hang together."""
        odd = self.known.odd and not self.cut.unseen
        return len(self.pieces) <= 1 and not (self.pairs or self.unreachable or self.known.torn or odd)


def _distance_mm(graph: NetGraph, a: int, b: int) -> float:
    p, q = graph.spots[a], graph.spots[b]
    return math.hypot(p.x_mm - q.x_mm, p.y_mm - q.y_mm)
