"""Rules about names in ``board.toml``: rails, clocks, matrix, connectors, memory map and sections must exist."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator

from coppermend.board.finding import Finding, listed
from coppermend.board.index import Groups
from coppermend.board.model import Board, PinRef


def name_findings(board: Board) -> Iterator[Finding]:
    """Findings of all rules in this file."""
    yield from _unknown_nets(board)
    yield from _unknown_parts(board)
    yield from _unknown_pins(board)
    yield from _matrix(board)
    yield from _unknown_sections(board)
    yield from _named_twice(board)


def _unknown_nets(board: Board) -> Iterator[Finding]:
    users: list[tuple[str, str]] = [("rail", rail.net) for rail in board.rails]
    users += [("clock", clock.net) for clock in board.clocks]
    users += [("strobe", net) for net in board.matrix.strobes]
    users += [("return", net) for net in board.matrix.returns]
    for use, net in dict.fromkeys(users):
        if net not in board.nets:
            yield Finding("unknown-net", "error", f"{use} {net} is no net of the board", (net,))


def _unknown_parts(board: Board) -> Iterator[Finding]:
    users = [("connector", c.refdes) for c in board.connectors]
    users += [("memory region " + m.name, refdes) for m in board.memory_map for refdes in m.parts]
    users += [("switch " + p.name, p.diode) for p in board.matrix.positions if p.diode]
    for use, refdes in dict.fromkeys(users):
        if refdes not in board.index.parts:
            yield Finding("unknown-part", "error", f"{use} names {refdes}, which is no part", (refdes,))


def _unknown_pins(board: Board) -> Iterator[Finding]:
    """Pins that a connector names a signal for, and that neither nets nor pads know."""
    for connector in board.connectors:
        pins = [PinRef(connector.refdes, pin) for pin in connector.signals]
        lost = [p for p in pins if p not in board.index.net_of_pin and p not in board.index.pads]
        if lost and connector.refdes in board.index.parts:
            message = (
                f"connector {connector.refdes} names pins that it lacks: {listed([p.pin for p in lost])}"
            )
            yield Finding("unknown-pin", "warning", message, tuple(map(str, lost)))


def _matrix(board: Board) -> Iterator[Finding]:
    """Positions on lines that are not listed, and two switches in one place."""
    matrix = board.matrix
    for p in matrix.positions:
        for use, net, lines in (("strobe", p.strobe, matrix.strobes), ("return", p.ret, matrix.returns)):
            if net not in lines:
                message = f"switch {p.name} is on {use} {net}, which is not among the matrix's {use}s"
                yield Finding("matrix-line", "error", message, (net,))
    for (strobe, ret), count in Counter((p.strobe, p.ret) for p in matrix.positions).items():
        if count > 1:
            message = f"{count} switches of the matrix are at strobe {strobe}, return {ret}"
            yield Finding("matrix-place-twice", "error", message, (strobe, ret))


def _unknown_sections(board: Board) -> Iterator[Finding]:
    known = {section.name for section in board.sections}
    for section, refdes in Groups.of((p.section, p.refdes) for p in board.parts).items():
        if section and section not in known:
            message = f"section {section!r} is not among the board's sections: {listed(refdes)}"
            yield Finding("unknown-section", "warning", message, (section, *refdes))


def _named_twice(board: Board) -> Iterator[Finding]:
    yield from _twice("via", (via.name for via in board.vias))
    yield from _twice("rail", (rail.net for rail in board.rails))
    yield from _twice("connector", (connector.refdes for connector in board.connectors))
    yield from _twice("section", (section.name for section in board.sections))


def _twice(kind: str, names: Iterable[str]) -> Iterator[Finding]:
    for name, count in Counter(names).items():
        if count > 1:
            yield Finding("named-twice", "error", f"{kind} {name} is there {count} times", (name,))
