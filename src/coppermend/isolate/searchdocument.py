"""A search as one JSON document, and what the board's data did not allow. Works nothing out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from coppermend.isolate.effects import Effects

if TYPE_CHECKING:
    from coppermend.isolate.isolation import Isolation


def document(search: Isolation, most: int) -> dict[str, Any]:
    """Keys suspects (at most ``most``), next, isolated, decision, entropy_bits, evidence, contradictions, pairs, faults, notes."""
    evidence = search.effects_of_evidence() if search.effects.faults else ()
    decision = search.decision()
    return {
        "suspects": [suspect.to_json() for suspect in search.suspects(most)] if search.effects.faults else [],
        "next": [m.to_json() for m in search.propose(3)] if decision in ("measure", "stuck") else [],
        "isolated": decision in ("isolated", "repair"),
        "decision": decision,
        "entropy_bits": round(search.entropy_bits, 6),
        "evidence": [effect.to_json() for effect in evidence],
        "contradictions": [str(effect.seen) for effect in evidence if effect.contradicts],
        "pairs": [pair.to_json() for pair in search.pairs()],
        "faults": len(search.effects.faults),
        "notes": list(search.notes()),
    }


def notes_on(effects: Effects) -> tuple[str, ...]:
    """What the board's data did not allow."""
    unknown = [p.refdes for p in effects.graph.board.parts if p.refdes in effects.graph.board.index.pins_of_part
               and effects.graph.library.of(p) is None]  # fmt: skip
    found = []
    if unknown:
        shown = ", ".join(unknown[:8]) + (" ..." if len(unknown) > 8 else "")
        found.append(f"no signals are followed through parts of unknown type: {shown}")
    if not effects.faults:
        found.append("this board gives no fault to look for: no part of known type drives a net")
    return tuple(found)
