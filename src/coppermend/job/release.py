"""Whether a job may go back: the gate has passed, or a recorded waiver covers all that holds it. Proves nothing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from coppermend.errors import InputError
from coppermend.job.state import JobState, WaiverLine
from coppermend.proving.records import Gate


@dataclass(frozen=True, slots=True)
class Release:
    """``allowed`` says that the job may go back; ``waiver`` is what allows it though the gate has not passed.

    ``left`` is what holds the gate and no waiver covers. A waiver counts only for the items that it names, so
    that whatever opens after it must be waived anew.
    """

    allowed: bool
    waiver: WaiverLine | None = None
    left: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Keys: allowed, waiver {reason, items, who, at, seq} or null, left [item]."""
        line = self.waiver
        waiver = (
            {
                "reason": line.reason,
                "items": list(line.items),
                "who": line.who,
                "at": line.at.isoformat(),
                "seq": line.seq,
            }
            if line
            else None
        )
        return {"allowed": self.allowed, "waiver": waiver, "left": list(self.left)}


def holding(gate: Gate) -> tuple[str, ...]:
    """What holds the gate, as a waiver names it: open items, and proofs that stand failed.

    >>> holding(Gate(failed=("clock:CLK",)))
    ('proof clock:CLK',)
    """
    return (*(str(item.subject) for item in gate.open), *(f"proof {name}" for name in gate.failed))


def check_stage_allowed(stage: object, found: Release | None) -> None:
    """Refuse that a job goes on to return while its gate is open and no waiver covers what holds it.

    Args:
        stage: The stage that the job is to stand at.
        found: Whether it may go back; None for a job without a board, of which nothing is known.

    Raises:
        InputError: If it may not.
    """
    if stage == "return" and found is not None and not found.allowed:
        count = len(found.left)
        raise InputError(
            f"the gate is open: {count} {'thing is' if count == 1 else 'things are'} not proven, {_first(found.left)}",
            expected="everything proven, or a waiver with its reason: on the return page, or coppermend prove waive",
        )


def _first(names: tuple[str, ...]) -> str:
    return ", ".join(names[:3]) + (" and more" if len(names) > 3 else "")


def release(gate: Gate, state: JobState) -> Release:
    """Whether a job with this gate and record may go back."""
    if gate.passed:
        return Release(True)
    covered = set(state.waiver.items) if state.waiver else set()
    left = tuple(item for item in holding(gate) if item not in covered)
    return Release(not left, state.waiver if not left else None, left)
