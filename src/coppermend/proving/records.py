"""The records of proving: concern, proof, evidence, and what the gate says. No rules."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from coppermend.board.cautions import Caution
from coppermend.board.subject import Subject

Why = Literal["damaged", "removed", "changed", "suspected"]
Setup = Literal["bench", "machine"]
# A proof that would reveal a fault less often than this closes nothing by itself (common practice, no source).
ENOUGH = 0.5


@dataclass(frozen=True, slots=True)
class Concern:
    """A subject that must be proven, why, and the facts in a few words."""

    subject: Subject
    why: Why
    note: str = ""

    def to_json(self) -> dict[str, str]:
        """Item (``part U3``), why, note."""
        return {"item": str(self.subject), "why": self.why, "note": self.note}


@dataclass(frozen=True, slots=True)
class Proof:
    """A test and what it exercises.

    ``exercises`` holds points (pins that the test passes through), parts and nets that it exercises whole,
    so that a part may be proven by several tests together. ``strength`` is the share of faults in what is
    exercised that the test would reveal, 0..1 (estimates: common practice, no source).
    """

    id: str
    title: str
    setup: Setup
    how: str
    exercises: frozenset[Subject]
    strength: float
    cautions: tuple[Caution, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """id, title, setup, how, strength, exercises {parts, nets, points}, cautions."""
        names = {
            kind: sorted(s.name for s in self.exercises if s.kind == kind)
            for kind in ("part", "net", "point")
        }
        return {
            "id": self.id,
            "title": self.title,
            "setup": self.setup,
            "how": self.how,
            "strength": self.strength,
            "exercises": {"parts": names["part"], "nets": names["net"], "points": names["point"]},
            "cautions": [str(caution) for caution in self.cautions],
        }


@dataclass(frozen=True, slots=True)
class Evidence:
    """The last result of one proof."""

    proof: str
    passed: bool
    note: str = ""


@dataclass(frozen=True, slots=True)
class OpenItem:
    """A subject that nothing has proven yet.

    ``covered_by`` are ids of proofs that would, alone or together, strongest first; ``copper`` says that
    probes of its copper would do; ``failed`` are proofs that failed on it; ``reason`` says why nothing can
    prove it, and is "" when something can. ``missing`` are the points that passing proofs must still pass, or the
    subject itself; it is empty when only the failed proofs stand in its way.
    """

    subject: Subject
    concerns: tuple[Concern, ...]
    covered_by: tuple[str, ...] = ()
    copper: bool = False
    failed: tuple[str, ...] = ()
    reason: str = ""
    missing: frozenset[Subject] = frozenset()

    @property
    def probes_alone(self) -> bool:
        """Whether copper probes close it without any proof: not so for a net that a remedy changed."""
        return self.copper and all(concern.why != "changed" for concern in self.concerns)

    def to_json(self) -> dict[str, Any]:
        """item, kind, name, why_touched [{why, note}], proofs_that_would_cover, copper_would_cover, failed, reason."""
        return {
            "item": str(self.subject),
            "kind": self.subject.kind,
            "name": self.subject.name,
            "why_touched": [{"why": c.why, "note": c.note} for c in self.concerns],
            "proofs_that_would_cover": list(self.covered_by),
            "copper_would_cover": self.copper,
            "failed": list(self.failed),
            "reason": self.reason,
        }


@dataclass(frozen=True, slots=True)
class ProvenItem:
    """A subject that is proven, and by what: ids of proofs, or "copper probes"."""

    subject: Subject
    concerns: tuple[Concern, ...]
    by: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """item, kind, name, by."""
        return {
            "item": str(self.subject),
            "kind": self.subject.kind,
            "name": self.subject.name,
            "by": list(self.by),
        }


@dataclass(frozen=True)
class Gate:
    """Whether everything that was touched is proven. Items keep the order of the concerns."""

    open: tuple[OpenItem, ...] = ()
    proven: tuple[ProvenItem, ...] = ()
    failed: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def passed(self) -> bool:
        """Nothing is open and no proof stands failed."""
        return not self.open and not self.failed

    def to_json(self) -> dict[str, Any]:
        """pass, touched, proven, unproven, uncoverable, failed, notes, counts {touched, proven, unproven}."""
        touched: list[ProvenItem | OpenItem] = [*self.proven, *self.open]
        return {
            "pass": self.passed,
            "touched": sorted(str(item.subject) for item in touched),
            "proven": [item.to_json() for item in self.proven],
            "unproven": [item.to_json() for item in self.open],
            "uncoverable": [str(item.subject) for item in self.open if item.reason],
            "failed": list(self.failed),
            "notes": list(self.notes),
            "counts": {"touched": len(touched), "proven": len(self.proven), "unproven": len(self.open)},
        }
