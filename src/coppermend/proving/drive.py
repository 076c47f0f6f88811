"""Lamps, solenoids, displays: expected against observed, and the driver, latch, decoder or contact that explains it.

Works on the board's graph: what must work for an output is its cone. A matrix of lamps by rows and columns is
asked through ``infer`` instead. Nothing is switched from here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any, Literal

from coppermend.board.kinds import natural_key
from coppermend.board.model import Board, PinRef
from coppermend.board.parttypes import PartLibrary
from coppermend.board.roles import Role
from coppermend.proving.coverage import Circuit

# Common practice, no source: long enough to see a coil pull, short enough to keep it and its driver cool.
PULSE_MS = 60
_ROLES: tuple[Role, ...] = ("lamp", "solenoid", "display", "sound")
_MISSED = 0.02  # an output that was misread, or whose lamp is burnt out
DriveKind = Literal["open", "stuck on", "shorted", "swapped"]
# Odds against a sound board (common practice, no source): drivers die first, then contacts, then logic.
_ODDS: Mapping[str, float] = {"driver": 0.02, "contact": 0.015, "logic": 0.006, "other": 0.003}
_STUCK, _SHORT, _SWAP = 0.5, 0.004, 0.002
_LEAST = 0.001  # of the likeliest; what is less likely is not told


@dataclass(frozen=True, slots=True)
class DriveResult:
    """What was switched on, and what came on; nets of outputs."""

    commanded: frozenset[str]
    seen: frozenset[str]


@dataclass(frozen=True, slots=True)
class DriveFault:
    """A fault that explains the results: what it is, where, the outputs it governs, and its share."""

    kind: DriveKind
    where: tuple[str, ...]
    outputs: tuple[str, ...]
    words: str
    probability: float

    def to_json(self) -> dict[str, Any]:
        """Keys: kind, where [point or net], outputs, words, probability."""
        return {
            "kind": self.kind, "where": list(self.where), "outputs": list(self.outputs), "words": self.words,
            "probability": round(self.probability, 6),
        }  # fmt: skip


@dataclass(frozen=True)
class Outputs:
    """The outputs of a board, each with the points that must work for it."""

    circuit: Circuit

    @classmethod
    def of(cls, board: Board, library: PartLibrary) -> Outputs:
        """The outputs of ``board``."""
        return cls(Circuit.of(board, library))

    @cached_property
    def contacts(self) -> dict[str, tuple[PinRef, ...]]:
        """Output net -> its contacts at connectors; only nets that have one and that the board drives."""
        kinds = self.circuit.flow.kinds
        found = {
            net: tuple(p for p in self.circuit.board.nets[net] if kinds.get(p.refdes) == "connector")
            for net in self.circuit.nets(*_ROLES)
            if self.circuit.flow.drivers(net)
        }
        return {net: pins for net, pins in found.items() if pins}

    @cached_property
    def governed(self) -> dict[PinRef, tuple[str, ...]]:
        """Point -> the outputs that need it."""
        found: dict[PinRef, list[str]] = {}
        for net, contacts in self.contacts.items():
            cone = self.circuit.flow.upstream([net])
            for pin in {*cone.pins, *contacts}:
                if self.circuit.flow.signal(self.circuit.flow.net(pin)):
                    found.setdefault(pin, []).append(net)
        return {pin: tuple(nets) for pin, nets in found.items()}

    def role_of(self, pin: PinRef) -> tuple[str, str]:
        """(group for the odds, words) of a point."""
        flow, part = self.circuit.flow, self.circuit.board.index.parts[pin.refdes]
        kind, known = flow.kinds[pin.refdes], self.circuit.library.of(part)
        if kind == "connector":
            return "contact", f"contact {pin}"
        driving = pin in flow.drivers(flow.net(pin))
        named = f"{pin}{f' ({known.name})' if known else ''}"
        if kind in ("driver", "transistor"):
            return "driver", f"driver {named}"
        if kind == "logic":
            words = (known.description if known else "").lower()
            what = (
                "latch"
                if any(w in words for w in ("latch", "flip-flop", "register"))
                else "decoder"
                if "deco" in words
                else "gate"
            )
            return "logic", f"{what} {'output' if driving else 'input'} {named}"
        return "other", f"{kind or 'part'} {named}"


def explain_drive(
    board: Board, library: PartLibrary, results: Sequence[DriveResult]
) -> tuple[DriveFault, ...]:
    """What explains the outputs that came on, or did not; likeliest first, () when all did as commanded.

    Each point of the graph is tried as open (its outputs never come on), and each that governs one output as
    stuck on; neighbouring contacts as shorted and as swapped. Points that explain the same stand together, the
    commonest fault first.
    """
    if all(r.commanded == r.seen for r in results):
        return ()
    outputs = Outputs.of(board, library)
    sound = _likelihood("open", (), results)
    weighed = [
        (odds * likely, kind, where, nets, words)
        for odds, kind, where, nets, words in (*_points(outputs), *_pairs(outputs))
        if (likely := _likelihood(kind, nets, results)) > sound  # it explains something
    ]
    total = sound + sum(weight for weight, *_ in weighed)
    weighed.sort(key=lambda one: (-one[0], [natural_key(name) for name in one[2]]))
    return tuple(
        DriveFault(kind, where, nets, words, weight / total)
        for weight, kind, where, nets, words in weighed
        if weight > _LEAST * weighed[0][0]
    )


Tried = tuple[float, DriveKind, tuple[str, ...], tuple[str, ...], str]


def _points(outputs: Outputs) -> list[Tried]:
    found: list[Tried] = []
    for pin, nets in outputs.governed.items():
        group, words = outputs.role_of(pin)
        odds = _ODDS[group]
        found.append((odds, "open", (str(pin),), nets, f"{words}: open, or stuck off"))
        if len(nets) == 1 and group != "contact":
            found.append((odds * _STUCK, "stuck on", (str(pin),), nets, f"{words}: stuck on"))
    return found


def _pairs(outputs: Outputs) -> list[Tried]:
    by_plug: dict[str, list[tuple[PinRef, str]]] = {}
    for net, contacts in outputs.contacts.items():
        for pin in contacts:
            by_plug.setdefault(pin.refdes, []).append((pin, net))
    found: list[Tried] = []
    for there in by_plug.values():
        there.sort(key=lambda one: natural_key(one[0].pin))
        for (a, first), (b, second) in pairwise(there):
            if first != second:
                where = (str(a), str(b))
                found.append((_SHORT, "shorted", where, (first, second), f"contacts {a} and {b} are joined"))
                found.append(
                    (_SWAP, "swapped", where, (first, second), f"contacts {a} and {b} are exchanged")
                )
    return found


def _likelihood(kind: DriveKind, nets: tuple[str, ...], results: Sequence[DriveResult]) -> float:
    chance = 1.0
    for result in results:
        unlike = len(_expected(kind, nets, result.commanded) ^ result.seen)
        chance *= _MISSED**unlike
    return chance


def _expected(kind: DriveKind, nets: tuple[str, ...], commanded: frozenset[str]) -> frozenset[str]:
    """What would come on."""
    if kind == "open":
        return commanded - set(nets)
    if kind == "stuck on":
        return commanded | set(nets)
    if kind == "shorted":
        return commanded | set(nets) if commanded & set(nets) else commanded
    other = dict(zip(nets, reversed(nets), strict=True))
    return frozenset(other.get(net, net) for net in commanded)
