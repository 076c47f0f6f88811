"""What a search says: a suspect, and what one observation did. Works nothing out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from coppermend.isolate.explain import unit_words
from coppermend.isolate.faults import Unit, UnitKind
from coppermend.isolate.observations import Observation


@dataclass(frozen=True)
class Suspect:
    """A unit that may be at fault: its probability, the likeliest way it failed, and where its prior comes from."""

    name: str
    kind: UnitKind
    probability: float
    what: str
    prior: float
    reasons: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """As it is spoken of: "the socket of U3"."""
        return unit_words(Unit(self.kind, self.name))

    def to_json(self) -> dict[str, Any]:
        """Keys name, kind, probability, what, prior, reasons."""
        return {
            "name": self.name, "kind": self.kind, "probability": round(self.probability, 9),
            "what": self.what, "prior": round(self.prior, 9), "reasons": list(self.reasons),
        }  # fmt: skip


@dataclass(frozen=True)
class Effect:
    """What one observation did: its suspects before and after, whether it contradicts the rest, and whether it counts
    still: what was bad before a repair does not.
    """

    seen: Observation
    before: tuple[tuple[str, float], ...]
    after: tuple[tuple[str, float], ...]
    bits: float
    expected: float
    contradicts: bool
    counts: bool = True

    def to_json(self) -> dict[str, Any]:
        """Keys of the observation, then before, after [name, probability], bits, expected, contradicts, counts."""
        return {
            **self.seen.to_json(),
            "before": [{"name": n, "probability": round(p, 6)} for n, p in self.before],
            "after": [{"name": n, "probability": round(p, 6)} for n, p in self.after],
            "bits": round(self.bits, 6), "expected": round(self.expected, 6), "contradicts": self.contradicts,
            "counts": self.counts,
        }  # fmt: skip
