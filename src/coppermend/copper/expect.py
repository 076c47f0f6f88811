"""What a meter should read between any two points of a board with the parts now fitted, in numbers and words.

Copper, resistors, networks, trimmers, inductors and relay contacts at rest give the resistance; diodes,
transistors and clamp diodes the drops of the diode test; capacitors a hint. What else is inside integrated
circuits is left out.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Any

from coppermend.board.model import Board
from coppermend.board.packages import with_package_pads
from coppermend.board.parttypes import PartLibrary
from coppermend.board.where import where_words
from coppermend.copper.circuit import Circuit
from coppermend.copper.expectwords import capacitor_words, junction_words, way_words
from coppermend.copper.graph import NetGraph, net_graphs
from coppermend.copper.netcircuit import NetCircuit
from coppermend.copper.paths import PathFinder
from coppermend.copper.readings import FittedJumper
from coppermend.copper.resistance import LEADS_OHM, WIRE_OHM_PER_M, limit_ohm
from coppermend.copper.solve import Resistor, effective_ohms, networks

_UNSEEN_OHM = 1e-3  # copper of a net that the files do not show, where a current must cross it
_OL_OHM = 40e6  # above this a hand-held meter shows OL (common practice, no source)


@dataclass(frozen=True, slots=True)
class Expectation:
    """What to expect between ``a`` and ``b``.

    ``ohms`` is what the meter should show with leads [Ω], None for OL; ``copper`` tells whether copper alone
    joins the points, and then ``limit_ohms`` is up to where a reading counts as sound copper and ``tracks``
    (numbers from 1) is the way. ``through`` are the parts on the way of least resistance. ``red_on_a_v`` and
    ``red_on_b_v`` are what the diode test shows [V], None for OL; ``farads`` is the capacitance between the nets.
    ``says`` is a sentence or more; ``notes`` tell what is left out.
    """

    a: str
    b: str
    nets: tuple[str, str]
    ohms: float | None
    limit_ohms: float | None
    tracks: tuple[int, ...]
    says: str
    where_a: str
    where_b: str
    copper: bool = False
    through: tuple[str, ...] = ()
    red_on_a_v: float | None = None
    red_on_b_v: float | None = None
    farads: float = 0.0
    notes: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Keys a, b, nets, ohms, limit_ohms, tracks, says, where_a, where_b, copper, through, red_on_a_v, red_on_b_v, farads, notes."""
        row = {name: getattr(self, name) for name in self.__slots__}
        return {name: list(value) if isinstance(value, tuple) else value for name, value in row.items()}


def expect(
    board: Board,
    library: PartLibrary,
    a: str,
    b: str,
    *,
    removed: Collection[str] = (),
    jumpers: Sequence[FittedJumper] = (),
) -> Expectation:
    """The reading to expect between two points when all copper is sound.

    Args:
        board: The board.
        library: Part types.
        a: A point, such as ``U3.9`` or ``V17``.
        b: Another.
        removed: Refdes of parts that are off the board.
        jumpers: Wires that were fitted; of AWG 30.

    Raises:
        UnknownName: If the board has no such point.
    """
    based = with_package_pads(board)
    nets = based.index.place(a).net, based.index.place(b).net
    asked = _Asked(based, library, (a, b), nets, frozenset(removed), tuple(jumpers))
    if nets[0] == nets[1] and nets[0]:
        return _on_one_net(asked)
    if "" in nets:
        return asked.answer(None, f"no copper joins {asked.ends}: the meter should show OL")
    return _across(asked)


@dataclass(frozen=True)
class _Asked:
    """The question: two points with their nets, and what is fitted."""

    board: Board
    library: PartLibrary
    points: tuple[str, str]
    nets: tuple[str, str]
    removed: frozenset[str]
    jumpers: tuple[FittedJumper, ...]

    @property
    def ends(self) -> str:
        return " and ".join(
            f"{point} on {net or 'no net'}" for point, net in zip(self.points, self.nets, strict=True)
        )

    def answer(self, ohms: float | None, says: str, **more: Any) -> Expectation:
        """The expectation with everything that is known at once."""
        a, b = self.points
        where = [where_words(self.board, self.library, point) for point in self.points]
        base = Expectation(a, b, self.nets, ohms, None, (), says, where[0], where[1])
        return replace(base, **more)


def _on_one_net(asked: _Asked) -> Expectation:
    net = asked.nets[0]
    graph = net_graphs(asked.board, [net])[net]
    ends = graph.points[asked.points[0]], graph.points[asked.points[1]]
    wires = _wires(asked, {net: graph}, {net: 0})
    links = [Resistor(link.a, link.b, link.ohms) for link in graph.links]
    (alone,) = effective_ohms(len(graph.spots), [*links, *wires], [ends])
    if math.isinf(alone):
        return asked.answer(None, f"both are on {net}, but the files show no copper between them")
    path = PathFinder(graph).path(*ends)
    tracks = tuple(dict.fromkeys(number for number in path.tracks if number)) if path else ()
    ohms = LEADS_OHM + alone
    says = f"{ohms:.2f} Ω over {len(tracks)} tracks of {net}, leads included"
    return asked.answer(
        round(ohms, 3), says, limit_ohms=round(limit_ohm(ohms), 3), tracks=tracks, copper=True
    )


def _across(asked: _Asked) -> Expectation:
    nets = asked.nets
    network = NetCircuit.of(asked.board, asked.library, asked.removed)
    passive = _point_ohms(asked, network)
    shown = None if passive is None or passive > _OL_OHM else round(LEADS_OHM + passive, 3)
    way = network.way(*nets)
    volts = network.test_volts(*nets), network.test_volts(*nets[::-1])
    farads = network.farads(*nets)
    says = [f"no copper joins {asked.ends}"]
    says += [
        *way_words(asked.board, asked.library, way, shown),
        *junction_words(asked.points, volts, shown),
        *capacitor_words(farads, shown),
    ]
    return asked.answer(
        shown,
        "; ".join(says),
        through=tuple(dict.fromkeys(element.refdes for element, _ in way)) if shown is not None else (),
        red_on_a_v=None if volts[0] is None else round(volts[0], 3),
        red_on_b_v=None if volts[1] is None else round(volts[1], 3),
        farads=farads,
        notes=_notes(network.circuit),
    )


def _notes(circuit: Circuit) -> tuple[str, ...]:
    notes = [
        "what is inside integrated circuits is left out, but for the clamp diodes from ground to their pins"
    ]
    if circuit.unknown:
        notes.append(f"without a value that can be read, and left out: {', '.join(circuit.unknown)}")
    if circuit.batteries:
        notes.append(
            f"take {', '.join(circuit.batteries)} off before measuring: no ohms can be read on a live net"
        )
    return tuple(notes)


def _point_ohms(asked: _Asked, network: NetCircuit) -> float | None:
    """Resistance between two points of different nets, copper included [Ω]; None when nothing leads there."""
    if math.isinf(network.ohms([asked.nets])[0]):
        return None
    elements = network.circuit.resistors
    wanted = dict.fromkeys((*asked.nets, *(network.net(pin) for e in elements for pin in (e.a, e.b))))
    graphs = net_graphs(asked.board, wanted)
    first: dict[str, int] = {}
    count = 0
    for net, graph in graphs.items():
        first[net] = count
        count += max(len(graph.spots), 1)
    resistors = [
        Resistor(first[net] + link.a, first[net] + link.b, link.ohms)
        for net, graph in graphs.items()
        for link in graph.links
    ]
    resistors += _ties(graphs, first, networks(count, resistors))
    at = {name: first[net] + spot for net, graph in graphs.items() for name, spot in graph.points.items()}
    for element in elements:
        ends = [at.get(str(pin), first[network.net(pin)]) for pin in (element.a, element.b)]
        resistors.append(Resistor(ends[0], ends[1], element.value))
    resistors += _wires(asked, graphs, first)
    return effective_ohms(count, resistors, [(at[asked.points[0]], at[asked.points[1]])])[0]


def _ties(graphs: dict[str, NetGraph], first: dict[str, int], piece: Sequence[int]) -> list[Resistor]:
    """What joins the pieces of nets whose copper the files do not show whole; ``piece`` names each node's."""
    return [
        Resistor(first[net], node, _UNSEEN_OHM)
        for net, graph in graphs.items()
        for node in range(first[net] + 1, first[net] + len(graph.spots))
        if piece[node] != piece[first[net]]
    ]


def _wires(asked: _Asked, graphs: dict[str, NetGraph], first: dict[str, int]) -> list[Resistor]:
    """Fitted jumpers between points of the graphs."""
    at = {name: first[net] + spot for net, graph in graphs.items() for name, spot in graph.points.items()}
    wires = []
    for jumper in asked.jumpers:
        if jumper.a in at and jumper.b in at:
            p, q = asked.board.index.place(jumper.a), asked.board.index.place(jumper.b)
            run_mm = abs(p.x_mm - q.x_mm) + abs(p.y_mm - q.y_mm)
            wires.append(Resistor(at[jumper.a], at[jumper.b], WIRE_OHM_PER_M * run_mm / 1000))
    return wires
