"""What a meter sees between nets through the fitted parts: ohms, junction drops, capacitance, and the way.

Nets are nodes: copper counts as nothing here. ``expect`` adds the copper between two points.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache

from coppermend.board.index import BoardIndex
from coppermend.board.model import Board, PinRef
from coppermend.board.parttypes import PartLibrary
from coppermend.board.same import Same
from coppermend.copper.circuit import Circuit, Element, circuit_of
from coppermend.copper.solve import Junction, Resistor, effective_ohms, node_volts

# A meter's diode test: about 1 mA from 3 V (common practice, no source). Above 2.5 V it shows OL.
TEST_V, TEST_OHM, TEST_LIMIT_V = 3.0, 2400.0, 2.5
_REMEMBERED = 64


@dataclass(frozen=True)
class NetCircuit:
    """A board's parts between its nets."""

    index: BoardIndex
    circuit: Circuit
    _node: dict[str, int] = field(default_factory=dict, compare=False)

    @classmethod
    def of(cls, board: Board, library: PartLibrary, removed: Collection[str] = ()) -> NetCircuit:
        """The network of all fitted parts but those in ``removed`` (refdes); remembered."""
        return _remembered(Same(board), Same(library), frozenset(removed))

    def net(self, pin: PinRef) -> str:
        """The net of a pin that is on one."""
        return self.index.net_of_pin[pin]

    def _at(self, pin: PinRef) -> int:
        return self._node[self.net(pin)]

    @cached_property
    def _resistors(self) -> list[Resistor]:
        made = (Resistor(self._at(e.a), self._at(e.b), e.value) for e in self.circuit.resistors)
        return [resistor for resistor in made if resistor.a != resistor.b]

    def ohms(self, pairs: Sequence[tuple[str, str]]) -> list[float]:
        """Passive resistance between pairs of nets [Ω]; ``math.inf`` where no resistor leads; remembered."""
        return list(_ohms(Same(self), tuple(pairs)))

    def farads(self, a: str, b: str) -> float:
        """Capacitance between two nets through capacitors alone [F]; 0.0 when none leads there."""
        plates = [Resistor(self._at(e.a), self._at(e.b), 1 / e.value) for e in self.circuit.capacitors]
        elastance = effective_ohms(len(self._node), plates, [(self._node[a], self._node[b])])[0]
        return 1 / elastance if elastance else 0.0

    def test_volts(self, plus: str, minus: str) -> float | None:
        """What the diode test shows with the red tip on ``plus`` [V]; None is OL.

        Only what resistors and junctions join to either net is solved.
        """
        ends = self._reached((plus, minus))
        if minus not in self._reached((plus,)):
            return None
        order = {net: i for i, net in enumerate(ends)}
        resistors = [
            Resistor(order[self.net(e.a)], order[self.net(e.b)], e.value)
            for e in self.circuit.resistors
            if self.net(e.a) in order
        ]
        junctions = [
            Junction(order[self.net(d.anode)], order[self.net(d.cathode)], *d.kind)
            for d in self.circuit.diodes
            if self.net(d.anode) in order
        ]
        volts = node_volts(
            len(order), resistors, junctions, order[plus], order[minus], source_v=TEST_V, source_ohm=TEST_OHM
        )
        shown = float(volts[order[plus]])
        return shown if shown < TEST_LIMIT_V else None

    def _reached(self, start: Iterable[str]) -> list[str]:
        """Nets that resistors and junctions join to some nets, those first."""
        found = dict.fromkeys(start)
        queue = list(found)
        while queue:
            for there in self._near.get(queue.pop(), ()):
                if there not in found:
                    found[there] = None
                    queue.append(there)
        return list(found)

    @cached_property
    def _near(self) -> dict[str, set[str]]:
        near: dict[str, set[str]] = {}
        ends = [(e.a, e.b) for e in self.circuit.resistors] + [
            (d.anode, d.cathode) for d in self.circuit.diodes
        ]
        for a, b in ends:
            near.setdefault(self.net(a), set()).add(self.net(b))
            near.setdefault(self.net(b), set()).add(self.net(a))
        return near

    @cached_property
    def _around(self) -> dict[str, list[tuple[str, Element]]]:
        around: dict[str, list[tuple[str, Element]]] = {}
        for element in self.circuit.resistors:
            a, b = self.net(element.a), self.net(element.b)
            around.setdefault(a, []).append((b, element))
            around.setdefault(b, []).append((a, element))
        return around

    def way(self, a: str, b: str) -> list[tuple[Element, str]]:
        """Resistors on the way of least resistance between two nets, each with the net that it leads to; [] for none."""
        best: dict[str, float] = {a: 0.0}
        came: dict[str, tuple[str, Element]] = {}
        queue = [(0.0, a)]
        while queue:
            ohms, net = heapq.heappop(queue)
            if net == b or ohms > best.get(net, math.inf):
                continue
            for there, element in self._around.get(net, ()):
                if ohms + element.value < best.get(there, math.inf):
                    best[there] = ohms + element.value
                    came[there] = net, element
                    heapq.heappush(queue, (best[there], there))
        steps: list[tuple[Element, str]] = []
        here = b
        while here != a and here in came:
            before, element = came[here]
            steps.append((element, here))
            here = before
        return steps[::-1]


@lru_cache(maxsize=_REMEMBERED)
def _remembered(board: Same[Board], library: Same[PartLibrary], removed: frozenset[str]) -> NetCircuit:
    """Asked for again after each reading, which changes no part."""
    nodes = {net: i for i, net in enumerate(board.thing.nets)}
    return NetCircuit(board.thing.index, circuit_of(board.thing, library.thing, removed), nodes)


@lru_cache(maxsize=_REMEMBERED)
def _ohms(network: Same[NetCircuit], pairs: tuple[tuple[str, str], ...]) -> tuple[float, ...]:
    node = network.thing._node
    return tuple(effective_ohms(len(node), network.thing._resistors, [(node[a], node[b]) for a, b in pairs]))
