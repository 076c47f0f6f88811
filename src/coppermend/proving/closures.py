"""Proofs of the switch matrix: which closures are needed, and what each exercises."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from coppermend.board.flow import Cone
from coppermend.board.model import MatrixPosition, PinRef
from coppermend.proving.coverage import Circuit
from coppermend.proving.matrix import Crossing, Position, SwitchMatrix
from coppermend.proving.records import Proof
from coppermend.proving.walk import least_positions


def closure_id(strobe: str, ret: str) -> str:
    """Id of the proof of a closure."""
    return f"closure:{strobe}/{ret}"


def connector_pins(circuit: Circuit, net: str) -> list[PinRef]:
    """Pins of connectors on a net."""
    return [p for p in circuit.board.nets[net] if circuit.flow.kinds.get(p.refdes) == "connector"]


def with_pins(cone: Cone, pins: Iterable[PinRef]) -> Cone:
    """A cone with some pins more."""
    pins = frozenset(pins)
    return cone | Cone(frozenset(), frozenset(p.refdes for p in pins), pins)


def closure_proofs(circuit: Circuit) -> list[Proof]:
    """Matrix closures: enough to reach every strobe and return, and every position with its diode on the board."""
    return [closure_proof(circuit, position) for position in needed_closures(matrix_positions(circuit))]


def matrix_positions(circuit: Circuit) -> list[MatrixPosition]:
    """The declared positions; without a declaration every strobe is taken to meet every return."""
    matrix = circuit.board.matrix
    if matrix.positions:
        return list(matrix.positions)
    strobes = list(matrix.strobes) or [n for n in circuit.nets("strobe") if connector_pins(circuit, n)]
    returns = list(matrix.returns) or [n for n in circuit.nets("return") if connector_pins(circuit, n)]
    return [MatrixPosition(s, r, "") for s in strobes for r in returns]


def needed_closures(positions: Sequence[MatrixPosition]) -> list[MatrixPosition]:
    """The fewest positions to close so that every strobe, return and on-board diode is used, by strobe and return."""
    lines = tuple(dict.fromkeys(p.strobe for p in positions)), tuple(dict.fromkeys(p.ret for p in positions))
    by_crossing = {Crossing(p.strobe, p.ret): p for p in reversed(positions)}
    matrix = SwitchMatrix(
        *lines, tuple(Position(p.strobe, p.ret, p.name, True, p.diode) for p in by_crossing.values())
    )
    chosen = [by_crossing[position.crossing] for position in least_positions(matrix)]
    for position in positions:  # a second diode at one crossing
        if position.diode and position.diode not in {p.diode for p in chosen}:
            chosen.append(position)
    return chosen


def closure_proof(circuit: Circuit, position: MatrixPosition) -> Proof:
    """The proof of one closure."""
    flow = circuit.flow
    cone = flow.upstream([position.strobe]) | flow.downstream([position.ret])
    lines = [n for n in (position.strobe, position.ret) if n in circuit.board.nets]
    cone = with_pins(cone, (p for net in lines for p in connector_pins(circuit, net)))
    known = circuit.board.index.parts
    extra = [position.diode] if position.diode in known else []
    cone = with_pins(
        cone, (p for r in extra for p in circuit.pins(r) if flow.net(p) in flow.supply_nets or p)
    )
    title = position.name or f"{circuit.does(position.strobe)} with {circuit.does(position.ret)}"
    return Proof(
        closure_id(position.strobe, position.ret),
        f"{title} is read when closed",
        "bench",
        f"In the switch test close {position.strobe} to {position.ret}"
        f"{' (' + position.name + ')' if position.name else ''}, through a diode as in the machine: exactly this "
        "switch is reported, and none when open.",
        circuit.exercises(cone, extra),
        0.9,
    )


def further_closures(circuit: Circuit, ids: Iterable[str], known: Iterable[str]) -> list[Proof]:
    """Proofs of closures that are not among the needed ones but were made all the same, such as of a button in use.

    Args:
        circuit: The circuit.
        ids: Ids of proofs with a result.
        known: Ids of the proofs that the board offers anyway.
    """
    wanted = set(ids) - set(known)
    places = {closure_id(p.strobe, p.ret): p for p in reversed(matrix_positions(circuit))}
    return [closure_proof(circuit, places[name]) for name in sorted(wanted & places.keys())]
