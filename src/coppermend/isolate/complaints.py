"""Which nets a complaint is about, on one board."""

from __future__ import annotations

from coppermend.isolate.effects import Effects
from coppermend.isolate.observations import Observation, net_of
from coppermend.isolate.symptoms import read_symptom


def symptom_nets(effects: Effects, seen: Observation) -> tuple[int, ...]:
    """Numbers of the nets that a symptom is about; every net where it names nothing."""
    graph, board = effects.graph, effects.graph.board
    if seen.point and seen.point != "board":
        return tuple(sorted({graph.number[net] for net in _nets_named(effects, seen.point)}))
    symptom = read_symptom(seen.value)
    wanted = set[str]()
    if "boot" in symptom.roles:
        wanted |= {
            board.index.net_of_pin[pin]
            for refdes, kind in graph.kinds.items() if kind == "cpu"
            for pin in graph.outputs_of(refdes)
        }  # fmt: skip
    wanted |= {net for net in graph.nets if graph.signal(net) and graph.roles[net].role in symptom.roles}
    if not wanted:
        wanted = {net for net in graph.nets if graph.signal(net)}
    return tuple(sorted(graph.number[net] for net in wanted))


def _nets_named(effects: Effects, point: str) -> set[str]:
    board = effects.graph.board
    if point in board.index.parts or board.index.parts_of_section[point]:
        parts = (
            [point] if point in board.index.parts else [p.refdes for p in board.index.parts_of_section[point]]
        )
        found = {board.index.net_of_pin[pin] for refdes in parts for pin in board.index.pins_of_part[refdes]}
        return {net for net in found if effects.graph.signal(net)}
    return {net_of(board, point)}
