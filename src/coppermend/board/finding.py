"""What a look over a board found, as records. The looking itself is in ``check``."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

Severity = Literal["error", "warning", "note"]
SEVERITIES: tuple[Severity, ...] = ("error", "warning", "note")


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is wrong, doubtful or worth knowing.

    ``code`` names the rule; ``message`` is one sentence; ``subjects`` are the parts, nets and points it is
    about, most telling first.
    """

    code: str
    severity: Severity
    message: str
    subjects: tuple[str, ...] = ()

    def to_json(self) -> dict[str, object]:
        """``{code, severity, message, subjects}`` with plain JSON types."""
        return {
            "code": self.code,
            "severity": self.severity,
            "message": self.message,
            "subjects": list(self.subjects),
        }


def listed(names: Sequence[str], most: int = 6) -> str:
    """Names in a sentence, the rest counted.

    >>> listed(["A", "B", "C"], most=2)
    'A, B and 1 more'
    """
    if len(names) <= most:
        return ", ".join(names)
    return f"{', '.join(names[:most])} and {len(names) - most} more"
