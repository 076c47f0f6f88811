"""What each net is for, in a role and in words: from part types, the board's own tables and connectors.

The strongest clue wins: declared rail or ground, switch matrix, clock, CPU, memory and peripherals, connectors,
switches. Nets that only lead to or from such a net (through series parts, transistors, drivers, inverters) say
so; logic in front of lamps, solenoids, displays and strobes counts as leading to them. Names of nets are
believed last. No judgement of whether the net is sound.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal, NamedTuple

from coppermend.board.flow import Flow
from coppermend.board.model import Board, PinRef
from coppermend.board.netclues import Clue, NetClues
from coppermend.board.parttypes import PartLibrary, PartType
from coppermend.board.same import Same

Role = Literal[
    "address", "data", "control", "strobe", "return", "rail", "ground", "reset", "clock", "lamp", "solenoid",
    "display", "sound", "switch", "option", "interrupt", "select", "signal",
]  # fmt: skip
_DRIVEN = ("lamp", "solenoid", "display", "sound", "strobe")
_READ = ("return", "switch", "option")
_STAGES = frozenset({"transistor", "driver", "comparator"})
_BOARDS = 8  # whose roles are remembered
_REACH = 8  # series parts and stages in a row: more is a circuit of its own


@dataclass(frozen=True, slots=True)
class NetRole:
    """What a net is for: ``does`` is a piece of a sentence, ``sections`` those of its parts in board order."""

    net: str
    role: Role
    does: str
    sections: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Keys net, role, does, sections."""
        return {"net": self.net, "role": self.role, "does": self.does, "sections": list(self.sections)}


def net_roles(board: Board, library: PartLibrary, nets: Collection[str] | None = None) -> dict[str, NetRole]:
    """The role of every net of the board, by net name, in the order of the board's nets.

    Args:
        board: The board; its rails, clocks, matrix and connectors count as much as the part types.
        library: Part types; parts whose type is unknown give no clue.
        nets: The nets that are asked for, where not all are: quicker on large boards.

    Returns:
        One entry a net; a net that nothing is known of has role "signal" and says which parts it joins.
    """
    if nets is None:
        return dict(_all_roles(Same(board), Same(library)))
    return _roles(board, library, [net for net in board.nets if net in nets])


@lru_cache(maxsize=_BOARDS)
def _all_roles(board: Same[Board], library: Same[PartLibrary]) -> dict[str, NetRole]:
    """Every room asks for all of a board's roles, and again after each reading; a board never changes."""
    return _roles(board.thing, library.thing, list(board.thing.nets))


def _roles(board: Board, library: PartLibrary, wanted: Collection[str]) -> dict[str, NetRole]:
    clues = NetClues(board, library)
    own = {net: clues.of(net) for net in (board.nets if clues.serve_machine else wanted)}
    for net, clue in _leading(board, library, own).items():
        own[net] = clue
    return {
        net: NetRole(net, own[net].role, own[net].does, clues.sections(net))  # type: ignore[arg-type]
        for net in wanted
    }


def supply_nets(board: Board, library: PartLibrary) -> frozenset[str]:
    """Names of all rails and grounds, declared or found."""
    clues = NetClues(board, library)
    return frozenset(net for net in board.nets if clues.of(net).role in ("rail", "ground"))


class _End(NamedTuple):
    """A net that another leads to: how, and over which part last."""

    net: str
    how: str


def _leading(board: Board, library: PartLibrary, own: dict[str, Clue]) -> dict[str, Clue]:
    """Clues of nets that are only known by the nets that they lead to or from."""
    served = [net for net, clue in own.items() if not clue.weak and clue.role in (*_DRIVEN, *_READ)]
    if not served:
        return {}
    supply = frozenset(net for net, clue in own.items() if clue.role in ("rail", "ground"))
    walk = _Walk(Flow(board, library, supply), {net for net, clue in own.items() if clue.weak})
    ends: dict[str, list[_End]] = {}
    for net in served:
        step, how = (walk.before, "drives") if own[net].role in _DRIVEN else (walk.after, "carries")
        for other, actively in walk.reached(net, step):
            ends.setdefault(other, []).append(_End(net, how if actively else "leads to"))
    return {net: _joined(found, own) for net, found in ends.items()}


def _joined(ends: list[_End], own: dict[str, Clue]) -> Clue:
    first = own[ends[0].net]
    others = len({own[end.net].does for end in ends}) - 1
    more = f" and {others} more" if others else ""
    return Clue(first.role, f"{ends[0].how} {first.does}{more}", weak=True)


class _Stage(NamedTuple):
    """The pins of a part that control its outputs, and the outputs behind its controls."""

    into: dict[PinRef, set[PinRef]]
    out_of: dict[PinRef, set[PinRef]]


def _stage(refdes: str, kind: str | None, known: PartType | None) -> _Stage:
    into, out_of = dict[PinRef, set[PinRef]](), dict[PinRef, set[PinRef]]()
    for path in known.paths if known and (kind == "logic" or kind in _STAGES) else ():
        plain = len(path.inputs) == len(path.outputs) == 1
        for source in path.inputs:
            for sink in path.outputs:
                # A gate or latch in front of a lamp serves the lamp; one behind a switch decides for itself.
                into.setdefault(PinRef(refdes, sink), set()).add(PinRef(refdes, source))
                if kind in _STAGES or plain:
                    out_of.setdefault(PinRef(refdes, source), set()).add(PinRef(refdes, sink))
    return _Stage(into, out_of)


class _Walk:
    """Steps from net to net over series parts and simple stages; only weakly known nets are entered."""

    def __init__(self, flow: Flow, weak: set[str]) -> None:
        self.flow, self.weak = flow, weak
        self._stages: dict[str, _Stage] = {}

    def _stage(self, refdes: str) -> _Stage:
        """What a part does between its pins, worked out when a walk comes to it."""
        if refdes not in self._stages:
            part = self.flow.board.index.parts.get(refdes)
            known = self.flow.library.of(part) if part else None
            self._stages[refdes] = _stage(refdes, self.flow.kinds.get(refdes), known)
        return self._stages[refdes]

    def _controls(self, pin: PinRef) -> bool:
        spec = self.flow.spec(pin)
        return spec is not None and spec.direction == "in"

    def before(self, pin: PinRef) -> set[PinRef]:
        """Control pins of the stage that this pin is an output of; a transistor's other main pin is none."""
        return {p for p in self._stage(pin.refdes).into.get(pin, ()) if self._controls(p)}

    def after(self, pin: PinRef) -> set[PinRef]:
        """Outputs of the stage that this pin controls."""
        return self._stage(pin.refdes).out_of.get(pin, set()) if self._controls(pin) else set()

    def reached(self, net: str, step: Callable[[PinRef], set[PinRef]]) -> Iterator[tuple[str, bool]]:
        """Weakly known nets that ``net`` is reached from (or reaches), and whether over an active stage."""
        seen, layer = {net}, [(net, False)]
        for _ in range(_REACH):
            following = []
            for here, active in layer:
                for pin in self.flow.board.nets[here]:
                    across = self.flow.across(pin)
                    steps = [(p, True) for p in step(pin)] + ([(across, active)] if across else [])
                    for other, actively in sorted(steps):
                        there = self.flow.net(other)
                        if there in self.weak and there not in seen:
                            seen.add(there)
                            following.append((there, actively))
            yield from following
            layer = following
