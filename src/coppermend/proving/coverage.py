"""From cones of the graph to what a proof exercises: points passed, parts and nets exercised whole."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from coppermend.board.flow import SERIES_KINDS, Cone, Flow
from coppermend.board.kinds import natural_key
from coppermend.board.model import Board, PinRef
from coppermend.board.parttypes import PartKind, PartLibrary
from coppermend.board.roles import NetRole, net_roles
from coppermend.board.subject import Subject, net_subject, part_subject


@dataclass(frozen=True)
class Circuit:
    """A board with what its nets do, ready to be asked what a test exercises."""

    board: Board
    library: PartLibrary
    roles: Mapping[str, NetRole] = field(repr=False)

    @classmethod
    def of(cls, board: Board, library: PartLibrary) -> Circuit:
        """The circuit of ``board``, with the roles of its nets worked out."""
        return cls(board, library, net_roles(board, library))

    @cached_property
    def flow(self) -> Flow:
        """Signal flow; rails and grounds are not walked through."""
        supply = {net for net, role in self.roles.items() if role.role in ("rail", "ground")}
        return Flow(self.board, self.library, supply)

    def nets(self, *roles: str) -> list[str]:
        """Nets with one of these roles that join at least two pins, by name."""
        found = (n for n, r in self.roles.items() if r.role in roles)
        return sorted((n for n in found if len(self.board.nets.get(n, ())) > 1), key=natural_key)

    def does(self, net: str) -> str:
        """What a net does, in words, or its name."""
        role = self.roles.get(net)
        return role.does if role and role.does else f"net {net}"

    def parts(self, *kinds: PartKind) -> list[str]:
        """Refdes of parts of these kinds, in natural order."""
        return sorted((r for r, k in self.flow.kinds.items() if k in kinds), key=natural_key)

    def pins(self, refdes: str) -> list[PinRef]:
        """Pins of a part that are on a net."""
        return list(self.board.index.pins_of_part.get(refdes, ()))

    def signal_pins(self, refdes: str) -> frozenset[PinRef]:
        """Pins that must be passed through for a part to be exercised whole."""
        pins = self.pins(refdes)
        if self.flow.kinds.get(refdes) == "connector":
            return frozenset(p for p in pins if self.flow.signal(self.flow.net(p)))
        return frozenset(p for p in pins if self.flow.needs_proof(p))

    def supply_contacts(self, refdes: str) -> list[PinRef]:
        """Pins of a connector that carry supply or ground beside its signals; () for one without signals."""
        if self.flow.kinds.get(refdes) != "connector":
            return []
        signals = self.signal_pins(refdes)
        return [p for p in self.pins(refdes) if signals and p not in signals]

    def net_pins(self, net: str) -> frozenset[PinRef]:
        """Pins that must be passed through for a net to be exercised whole."""
        return frozenset(p for p in self.board.nets.get(net, ()) if self.flow.needs_proof(p))

    def at(self, net: str, *kinds: PartKind) -> list[str]:
        """Refdes of parts of these kinds with a pin on ``net``."""
        found = dict.fromkeys(
            p.refdes for p in self.board.nets.get(net, ()) if self.flow.kinds.get(p.refdes) in kinds
        )
        return sorted(found, key=natural_key)

    def exercises(
        self, cone: Cone, parts: Iterable[str] = (), nets: Iterable[str] = ()
    ) -> frozenset[Subject]:
        """What a test with this cone exercises.

        Args:
            cone: Pins that the test passes through.
            parts: Parts that it exercises whole in any case.
            nets: Nets that it exercises whole in any case.

        Returns:
            Every signal point of the cone, each part all of whose signal pins it passes (two-pin parts with
            one end on a supply included), and each net all of whose signal pins it passes.
        """
        points = {p for p in cone.pins if self.flow.signal(self.flow.net(p))}
        whole_parts = {r for r in cone.parts if self._whole(r, points)} | set(parts)
        whole_nets = {n for n in cone.nets if (need := self.net_pins(n)) and need <= points} | set(nets)
        return frozenset(
            {Subject("point", str(p)) for p in points}
            | {part_subject(r) for r in whole_parts}
            | {net_subject(n) for n in whole_nets}
        )

    def _whole(self, refdes: str, points: set[PinRef]) -> bool:
        need = self.signal_pins(refdes)
        if self.flow.kinds.get(refdes) in SERIES_KINDS and len(self.pins(refdes)) == 2:
            return bool(points & set(self.pins(refdes)))
        if self.supply_contacts(refdes):
            return False  # no signal says that these make contact
        return bool(need) and need <= points

    def with_neighbours(self, cone: Cone, *kinds: PartKind) -> list[str]:
        """Parts of these kinds that hang on the cone's nets (timing capacitors, crystals)."""
        return sorted({r for net in cone.nets for r in self.at(net, *kinds)}, key=natural_key)


def net_points(board: Board, library: PartLibrary) -> dict[str, frozenset[str]]:
    """For each net the points that proofs must pass through together for the net to be proven without probes."""
    circuit = Circuit.of(board, library)
    return {net: frozenset(str(p) for p in circuit.net_pins(net)) for net in board.nets}
