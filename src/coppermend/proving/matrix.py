"""A switch or lamp matrix as records: lines, positions, what is already proven, and faults by name. No walk, no files."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal, NamedTuple

from coppermend.board.model import Board
from coppermend.errors import InputError

MatrixKind = Literal["switch", "lamp"]
FaultKind = Literal[
    "open strobe", "open return", "stuck strobe", "stuck return", "shorted lines", "swapped lines",
    "shorted diode", "open diode", "open switch", "stuck switch",
]  # fmt: skip
Shown = Literal["auto", "all", "populated"]


class Crossing(NamedTuple):
    """Where a strobe meets a return, written ``STROBE:RETURN``."""

    strobe: str
    ret: str

    def __str__(self) -> str:
        return f"{self.strobe}:{self.ret}"


@dataclass(frozen=True, slots=True)
class Position:
    """A populated crossing. ``diode_on_board`` is the refdes of a diode on the board in its way, else "".

    Such a diode may serve one position, or all of a strobe or return.
    """

    strobe: str
    ret: str
    name: str = ""
    diode: bool = True
    diode_on_board: str = ""

    @property
    def crossing(self) -> Crossing:
        """Where it is."""
        return Crossing(self.strobe, self.ret)


@dataclass(frozen=True, slots=True)
class MatrixFault:
    """A fault. ``ends`` are line numbers (strobes from 0, returns after them): one line, two, or a crossing."""

    kind: FaultKind
    ends: tuple[int, ...]


Faults = tuple[MatrixFault, ...]  # () is a sound matrix


@dataclass(frozen=True)
class SwitchMatrix:
    """Strobes and returns in the order of their connector pins, and the populated positions.

    ``dedicated`` are switches with a line of their own. ``proven_*`` are lines that something in use has
    proven already, such as a button. ``shown`` says which crossings the machine can report: all, only
    populated ones, or "auto" (all as soon as an observation names an unpopulated one). In a lamp matrix
    strobes are columns and returns rows; "closed" is what was commanded and "reported" what lights.
    """

    strobes: tuple[str, ...]
    returns: tuple[str, ...]
    positions: tuple[Position, ...]
    kind: MatrixKind = "switch"
    dedicated: tuple[str, ...] = ()
    proven_strobes: frozenset[str] = frozenset()
    proven_returns: frozenset[str] = frozenset()
    proven_dedicated: frozenset[str] = frozenset()
    proven_diodes: frozenset[str] = frozenset()
    shown: Shown = field(default="auto")

    @cached_property
    def at(self) -> dict[Crossing, Position]:
        """Position by crossing."""
        return {position.crossing: position for position in self.positions}

    @cached_property
    def strobe_number(self) -> dict[str, int]:
        """Strobe -> its place, from 0."""
        return {name: n for n, name in enumerate(self.strobes)}

    @cached_property
    def return_number(self) -> dict[str, int]:
        """Return -> its place, from 0."""
        return {name: n for n, name in enumerate(self.returns)}

    def crossing(self, text: str, where: str = "", line: int | None = None) -> Crossing:
        """Read ``STROBE:RETURN``, or the name of a position.

        Raises:
            InputError: If the matrix has no such crossing.
        """
        if found := self._by_name.get(text.strip()):
            return found
        for cut in (n for n, letter in enumerate(text) if letter == ":"):
            made = Crossing(text[:cut].strip(), text[cut + 1 :].strip())
            if made.strobe in self.strobe_number and made.ret in self.return_number:
                return made
        raise InputError(
            f"{text.strip()!r:.60} is no crossing of this matrix",
            expected=f"STROBE:RETURN such as {self.strobes[0]}:{self.returns[0]}",
            where=where,
            line=line,
        )

    @cached_property
    def _by_name(self) -> dict[str, Crossing]:
        names = [p.name for p in self.positions]
        return {p.name: p.crossing for p in self.positions if p.name and names.count(p.name) == 1}


def matrix_of(board: Board, proven: Collection[str] = ()) -> SwitchMatrix | None:
    """The switch matrix that a board declares, None when it declares none.

    A diode that is not on the board is taken to be at the switch (common practice, no source).

    Args:
        board: The board.
        proven: Nets of strobes and returns that are proven already.
    """
    declared = board.matrix
    if not (declared.strobes and declared.returns):
        return None
    positions = tuple(Position(p.strobe, p.ret, p.name, True, p.diode) for p in declared.positions) or tuple(
        Position(s, r) for s in declared.strobes for r in declared.returns
    )
    known = set(proven)
    return SwitchMatrix(
        declared.strobes,
        declared.returns,
        tuple(p for p in positions if p.strobe in declared.strobes and p.ret in declared.returns),
        proven_strobes=frozenset(declared.strobes) & known,
        proven_returns=frozenset(declared.returns) & known,
    )
