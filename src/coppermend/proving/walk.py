"""The walk through a switch matrix: the fewest closures that prove every line, in an order that never goes back.

Also the further closures without which a short between neighbours would stay unseen. Infers no faults.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Literal

from coppermend.proving.edgecover import edge_cover
from coppermend.proving.matrix import Crossing, MatrixFault, Position, SwitchMatrix
from coppermend.proving.scan import Scanner

Moves = Literal["both", "strobe", "return"]


@dataclass(frozen=True, slots=True)
class Closure:
    """One closure: where, what it proves that was not proven before it, and which end of the wire moves."""

    order: int
    crossing: Crossing
    name: str
    proves: tuple[str, ...]
    moves: Moves
    diode: bool
    why: str = ""

    def to_json(self) -> dict[str, Any]:
        """order, closure (``STROBE:RETURN``), strobe, return, name, proves [line], moves, diode, why."""
        return {
            "order": self.order,
            "closure": str(self.crossing),
            "strobe": self.crossing.strobe,
            "return": self.crossing.ret,
            "name": self.name,
            "proves": list(self.proves),
            "moves": self.moves,
            "diode": self.diode,
            "why": self.why,
        }


@dataclass(frozen=True, slots=True)
class Unreached:
    """Lines that no closure can prove, or whose short no closure would show, and what to do instead."""

    lines: tuple[str, ...]
    reason: str

    def to_json(self) -> dict[str, Any]:
        """lines, reason."""
        return {"lines": list(self.lines), "reason": self.reason}


@dataclass(frozen=True, slots=True)
class Walk:
    """The closures in order; ``extra`` come after them and only separate neighbours; ``dedicated`` last."""

    closures: tuple[Closure, ...]
    extra: tuple[Closure, ...]
    dedicated: tuple[str, ...]
    unreached: tuple[Unreached, ...]
    proven_before: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """closures, extra, dedicated [name], unreached, proven_before, counts {closures, extra, dedicated}."""
        return {
            "closures": [closure.to_json() for closure in self.closures],
            "extra": [closure.to_json() for closure in self.extra],
            "dedicated": list(self.dedicated),
            "unreached": [lines.to_json() for lines in self.unreached],
            "proven_before": list(self.proven_before),
            "counts": {
                "closures": len(self.closures), "extra": len(self.extra), "dedicated": len(self.dedicated),
            },
        }  # fmt: skip


def walk_of(matrix: SwitchMatrix) -> Walk:
    """The fewest closures that prove every strobe, every return and every diode on the board.

    With nothing proven and no diode on the board their number is that of the lines less a maximum matching.
    The strobe end of the wire only ever moves forward, and on one strobe the return end does.

    Returns:
        Lines on no populated position are ``unreached``, with what to do instead.
    """
    chosen = least_positions(matrix)
    closures = _walked(matrix, chosen)
    extra, hidden = _separating(matrix, chosen)
    return Walk(
        closures,
        _numbered(matrix, extra, closures),
        tuple(name for name in matrix.dedicated if name not in matrix.proven_dedicated),
        (*_isolated(matrix), *hidden),
        (
            *(s for s in matrix.strobes if s in matrix.proven_strobes),
            *(r for r in matrix.returns if r in matrix.proven_returns),
            *(d for d in matrix.dedicated if d in matrix.proven_dedicated),
        ),
    )


def least_positions(matrix: SwitchMatrix) -> tuple[Position, ...]:
    """The positions to close, by strobe and return.

    A diode on the board that serves one strobe (or one return) stands for it in the edge cover, so that a line
    with several diodes is asked for once a diode. Diodes that serve several of both are added afterwards.
    """
    left, right = _vertices(matrix)
    numbers = {key: n for n, key in enumerate(dict.fromkeys(left[p] for p in _ordered(matrix)))}
    columns = {key: n for n, key in enumerate(dict.fromkeys(right[p] for p in _ordered(matrix, 1)))}
    edges = {(numbers[left[p]], columns[right[p]]): p for p in matrix.positions}
    cover = edge_cover(
        edges.keys(),
        {numbers[key] for key in _wanted(numbers, matrix.proven_strobes, matrix.proven_diodes)},
        {columns[key] for key in _wanted(columns, matrix.proven_returns, matrix.proven_diodes)},
    )
    chosen = {edges[edge] for edge in cover}
    for position in matrix.positions:
        known = matrix.proven_diodes | {p.diode_on_board for p in chosen}
        if position.diode_on_board and position.diode_on_board not in known:
            chosen.add(position)
    return tuple(p for p in _ordered(matrix) if p in chosen)


Vertex = tuple[str, str]  # line, and the diode on the board that stands for it ("" for the line itself)


def _ordered(matrix: SwitchMatrix, by: int = 0) -> list[Position]:
    """Positions by strobe then return (``by`` 0), or by return then strobe (1)."""
    places = {p: (matrix.strobe_number[p.strobe], matrix.return_number[p.ret]) for p in matrix.positions}
    return sorted(matrix.positions, key=lambda p: (places[p][by], places[p][1 - by]))


def _vertices(matrix: SwitchMatrix) -> tuple[dict[Position, Vertex], dict[Position, Vertex]]:
    """The two ends of each position in the graph to be covered."""
    strobes: dict[str, set[str]] = {}
    returns: dict[str, set[str]] = {}
    for p in matrix.positions:
        strobes.setdefault(p.diode_on_board, set()).add(p.strobe)
        returns.setdefault(p.diode_on_board, set()).add(p.ret)
    left, right = {}, {}
    for p in matrix.positions:
        diode = p.diode_on_board
        on_strobe = diode and len(strobes[diode]) == 1
        on_return = diode and not on_strobe and len(returns[diode]) == 1
        left[p] = p.strobe, diode if on_strobe else ""
        right[p] = p.ret, diode if on_return else ""
    return left, right


def _wanted(vertices: Iterable[Vertex], proven: Collection[str], diodes: Collection[str]) -> list[Vertex]:
    """Vertices to be covered: diodes not proven, and lines not proven that no such diode stands for."""
    by_diode = [(line, diode) for line, diode in vertices if diode and diode not in diodes]
    covered = set(proven) | {line for line, _ in by_diode}
    for line, diode in vertices:  # one vertex a line will do; the bare one where there is one
        if line not in covered and (not diode or (line, "") not in vertices):
            by_diode.append((line, diode))
            covered.add(line)
    return by_diode


def _walked(matrix: SwitchMatrix, chosen: Iterable[Position]) -> tuple[Closure, ...]:
    strobes, returns, diodes = (
        set(matrix.proven_strobes), set(matrix.proven_returns), set(matrix.proven_diodes),
    )  # fmt: skip
    made: list[Closure] = []
    for position in chosen:
        ends = ((position.strobe, strobes), (position.ret, returns))
        new = tuple(line for line, done in ends if line not in done)
        diode = position.diode_on_board
        why = f"diode {diode}" if diode and diode not in diodes else ""
        strobes.add(position.strobe)
        returns.add(position.ret)
        diodes.add(diode)
        last = made[-1].crossing if made else None
        made.append(_closure(len(made) + 1, position, new, last, why))
    return tuple(made)


def _closure(
    order: int, position: Position, proves: tuple[str, ...], last: Crossing | None, why: str
) -> Closure:
    moves: Moves = "both"
    if last is not None and position.strobe == last.strobe:
        moves = "return"
    elif last is not None and position.ret == last.ret:
        moves = "strobe"
    return Closure(order, position.crossing, position.name, proves, moves, position.diode, why)


def _isolated(matrix: SwitchMatrix) -> list[Unreached]:
    strobes, returns = {p.strobe for p in matrix.positions}, {p.ret for p in matrix.positions}
    alone = [s for s in matrix.strobes if s not in strobes | matrix.proven_strobes]
    alone += [r for r in matrix.returns if r not in returns | matrix.proven_returns]
    reason = "no populated position is on it: watch it with a logic probe at the connector"
    return [Unreached((line,), reason) for line in alone]


def neighbours(matrix: SwitchMatrix) -> list[tuple[int, int]]:
    """Line numbers of lines that lie beside each other: strobes, then returns, in the order of their pins."""
    count = len(matrix.strobes)
    return [*pairwise(range(count)), *pairwise(range(count, count + len(matrix.returns)))]


def _separating(
    matrix: SwitchMatrix, chosen: Sequence[Position]
) -> tuple[list[tuple[Position, str]], list[Unreached]]:
    """Positions to close besides ``chosen`` so that every short between neighbours would show, and what stays hidden."""
    pairs = neighbours(matrix)
    if not (pairs and matrix.positions):
        return [], []
    scanner = Scanner(matrix)
    sets = [frozenset({p.crossing}) for p in matrix.positions]
    predicted = scanner.predict([(), *((MatrixFault("shorted lines", pair),) for pair in pairs)], sets)
    # Only what the switch test can name counts: an unpopulated crossing has no name there.
    shows = ((predicted[1:] != predicted[:1]) & (scanner.visible | (matrix.shown == "all"))).any(axis=(2, 3))
    taken = [n for n, p in enumerate(matrix.positions) if p in set(chosen)]
    hidden = [n for n in range(len(pairs)) if not shows[n, taken].any()]
    names = (*matrix.strobes, *matrix.returns)
    extra: list[tuple[Position, str]] = []
    unseen = [n for n in hidden if not shows[n].any()]
    left = [n for n in hidden if n not in unseen]
    while left:
        gains = shows[left].sum(axis=0)
        best = int(gains.argmax())
        told = [n for n in left if shows[n, best]]
        pairs_told = ", ".join(f"{names[pairs[n][0]]} and {names[pairs[n][1]]}" for n in told)
        extra.append((matrix.positions[best], f"shows a short between {pairs_told}"))
        left = [n for n in left if n not in told]
    reason = "no closure would show a short between them: measure from one to the other"
    return extra, [Unreached((names[pairs[n][0]], names[pairs[n][1]]), reason) for n in unseen]


def _numbered(
    matrix: SwitchMatrix, extra: Iterable[tuple[Position, str]], before: Sequence[Closure]
) -> tuple[Closure, ...]:
    ordered = sorted(
        extra, key=lambda one: (matrix.strobe_number[one[0].strobe], matrix.return_number[one[0].ret])
    )
    made: list[Closure] = []
    for position, why in ordered:
        done = [*before, *made]
        made.append(_closure(len(done) + 1, position, (), done[-1].crossing if done else None, why))
    return tuple(made)
