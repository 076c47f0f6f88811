"""The records of rework: strip items, remedies with their checks, refit items, kit lines. No decisions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from coppermend.board.atrisk import grade
from coppermend.board.cautions import Caution
from coppermend.board.subject import Subject

Reason = Literal["corroded", "in the way", "known weak", "remedy"]
Fate = Literal["discard", "test", "refit"]


@dataclass(frozen=True, slots=True)
class StripItem:
    """One thing that comes off the board.

    ``refdes`` names it; a socket is ``XU5`` for the part ``U5`` that sits in it (ASME Y14.44, from memory).
    ``part`` is the refdes on the board whose pads it frees. ``severity`` is the worst on it, 0..1.
    """

    order: int
    refdes: str
    part: str
    type: str
    value: str
    reasons: tuple[Reason, ...]
    why: str
    fate: Fate
    section: str
    severity: float = 0.0
    socket: bool = False
    package: str = ""
    cautions: tuple[Caution, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """order, refdes, part, type, value, package, reasons, why, fate, section, severity, grade, socket, cautions."""
        return {
            "order": self.order,
            "refdes": self.refdes,
            "part": self.part,
            "type": self.type,
            "value": self.value,
            "package": self.package,
            "reasons": list(self.reasons),
            "why": self.why,
            "fate": self.fate,
            "section": self.section,
            "severity": round(self.severity, 4),
            "grade": grade(self.severity),
            "socket": self.socket,
            "cautions": [str(caution) for caution in self.cautions],
        }


@dataclass(frozen=True, slots=True)
class KitLine:
    """What to have at hand: ``quantity`` pieces for the places ``refdes``; ``place`` says where they go on the board."""

    type: str
    value: str
    package: str
    quantity: int
    refdes: tuple[str, ...]
    note: str = ""
    place: str = ""

    def to_json(self) -> dict[str, Any]:
        """type, value, package, quantity, refdes, note, place."""
        return {
            "type": self.type,
            "value": self.value,
            "package": self.package,
            "quantity": self.quantity,
            "refdes": list(self.refdes),
            "note": self.note,
            "place": self.place,
        }


@dataclass(frozen=True, slots=True)
class Check:
    """One engineering check: a computed ``value`` against its ``limit``, both with unit, and where the limit is from.

    ``must`` False marks a trap that is shown but does not rule the remedy out. ``figure`` names the figure that
    computes it, with ``inputs`` (key, text) as they are typed there; "" when it is read off the board.
    """

    name: str
    value: str
    limit: str
    ok: bool
    source: str
    note: str = ""
    must: bool = True
    figure: str = ""
    inputs: tuple[tuple[str, str], ...] = ()

    def to_json(self) -> dict[str, Any]:
        """name, value, limit, ok, must, source, note, figure {name, inputs} or null."""
        return {
            "name": self.name,
            "value": self.value,
            "limit": self.limit,
            "ok": self.ok,
            "must": self.must,
            "source": self.source,
            "note": self.note,
            "figure": {"name": self.figure, "inputs": dict(self.inputs)} if self.figure else None,
        }


@dataclass(frozen=True, slots=True)
class Required:
    """A proof that a remedy brings with it, since nothing on the old board exercised its new ``part``."""

    id: str
    title: str
    how: str
    part: str

    def to_json(self) -> dict[str, str]:
        """id, title, how, part."""
        return {"id": self.id, "title": self.title, "how": self.how, "part": self.part}


@dataclass(frozen=True, slots=True)
class Remedy:
    """A deliberate change to the board. ``changes`` are the subjects that must be proven again.

    ``excludes`` names remedies that cannot be chosen with this one; ``note_only`` marks an idea that is
    offered without parts. ``parts_off`` are refdes on the board. ``jumpers`` are the wires of the remedy, new pin first;
    ``connections`` say, apart from how it is done, which pin must end up on which net of the board, or with which pin.
    ``plugs`` (new refdes, old refdes) stand in the socket of a part that comes off and take over its contacts.
    ``stands_in`` (old refdes, new refdes) says which new part answers at the old one's addresses.
    ``requires`` are proofs that it brings with it, over and above those that exercise ``changes``.
    """

    id: str
    title: str
    why: str
    parts_off: tuple[str, ...] = ()
    parts_on: tuple[KitLine, ...] = ()
    steps: tuple[str, ...] = ()
    checks: tuple[Check, ...] = ()
    changes: frozenset[Subject] = frozenset()
    cautions: tuple[Caution, ...] = ()
    excludes: tuple[str, ...] = ()
    jumpers: tuple[tuple[str, str], ...] = ()
    note_only: bool = False
    connections: tuple[tuple[str, str], ...] = ()
    plugs: tuple[tuple[str, str], ...] = ()
    stands_in: tuple[tuple[str, str], ...] = ()
    requires: tuple[Required, ...] = ()

    @property
    def ok(self) -> bool:
        """Whether every check that must pass does."""
        return all(check.ok for check in self.checks if check.must)

    def to_json(self) -> dict[str, Any]:
        """id, title, why, ok, note_only, parts_off, parts_on, steps, jumpers, connections [point, net], plugs, stands_in, requires,
        checks, changes, excludes, cautions.
        """
        return {
            "id": self.id,
            "title": self.title,
            "why": self.why,
            "ok": self.ok,
            "note_only": self.note_only,
            "parts_off": list(self.parts_off),
            "parts_on": [line.to_json() for line in self.parts_on],
            "steps": list(self.steps),
            "jumpers": [list(jumper) for jumper in self.jumpers],
            "connections": [list(connection) for connection in self.connections],
            "plugs": [list(plug) for plug in self.plugs],
            "stands_in": [list(pair) for pair in self.stands_in],
            "requires": [proof.to_json() for proof in self.requires],
            "checks": [check.to_json() for check in self.checks],
            "changes": [list(subject) for subject in sorted(self.changes)],
            "excludes": list(self.excludes),
            "cautions": [str(caution) for caution in self.cautions],
        }


@dataclass(frozen=True, slots=True)
class RefitItem:
    """One thing that goes onto the board: ``source`` tells whether the old part goes back or a new one comes.

    ``part`` is the refdes on the board that it belongs to, "" for a part that a remedy adds.
    ``remedy`` is the id of the remedy that brings it, or "".
    """

    order: int
    refdes: str
    part: str
    type: str
    value: str
    package: str
    source: Literal["refit", "new"]
    polarity: str = ""
    note: str = ""
    section: str = ""
    remedy: str = ""
    cautions: tuple[Caution, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """order, refdes, part, type, value, package, source, polarity, note, section, remedy, cautions."""
        return {
            "order": self.order,
            "refdes": self.refdes,
            "part": self.part,
            "type": self.type,
            "value": self.value,
            "package": self.package,
            "source": self.source,
            "polarity": self.polarity,
            "note": self.note,
            "section": self.section,
            "remedy": self.remedy,
            "cautions": [str(caution) for caution in self.cautions],
        }
