"""What an Excellon drill file drills, as records in mm, in the file's own coordinates. No parsing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple


class Hole(NamedTuple):
    """A drilled hole, or a slot when the ends differ; ``plated`` is None when the file does not say.

    ``function`` is the kind of drill in X2 words: ViaDrill, ComponentDrill, MechanicalDrill or "".
    """

    x_mm: float
    y_mm: float
    diameter_mm: float
    plated: bool | None = None
    function: str = ""
    x2_mm: float = 0.0
    y2_mm: float = 0.0

    @property
    def is_slot(self) -> bool:
        """Whether it is longer than round."""
        return (self.x_mm, self.y_mm) != (self.x2_mm, self.y2_mm)

    @property
    def centre_mm(self) -> tuple[float, float]:
        """Middle of the hole or slot."""
        return (self.x_mm + self.x2_mm) / 2, (self.y_mm + self.y2_mm) / 2


@dataclass(frozen=True)
class DrillFile:
    """One drill file: holes in file order, and its file attributes."""

    where: str
    holes: tuple[Hole, ...] = ()
    attributes: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
