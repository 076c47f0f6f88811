"""What the damage touched, as records: made by ``damage``, read by ``rework``, ``copper`` and ``proving``.

``severity`` is 0..1, the worst under the item; ``share`` is the fraction of the item's area that lies in
damage. Grades follow the damage map: 48, 112 and 176 of 255 are light, moderate and heavy from there up.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

from coppermend.board.model import Layer, PadSide

Grade = Literal["sound", "light", "moderate", "heavy"]
LIGHT, MODERATE, HEAVY = 48 / 255, 112 / 255, 176 / 255


def grade(severity: float) -> Grade:
    """The word for a severity.

    >>> grade(0.1), grade(0.2), grade(0.5), grade(0.7)
    ('sound', 'light', 'moderate', 'heavy')
    """
    if severity >= HEAVY:
        return "heavy"
    if severity >= MODERATE:
        return "moderate"
    return "light" if severity >= LIGHT else "sound"


@dataclass(frozen=True, slots=True)
class TouchedPart:
    """A part whose body or pads lie in damage; ``pads`` are its touched points."""

    refdes: str
    type: str
    section: str
    severity: float
    share: float
    pads: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TouchedPad:
    """A pad in damage, by its point (``U3.9``); ``net`` is "" for a pad on no net."""

    point: str
    net: str
    side: PadSide
    severity: float
    share: float


@dataclass(frozen=True, slots=True)
class TouchedVia:
    """A via in damage."""

    name: str
    net: str
    severity: float
    share: float


@dataclass(frozen=True, slots=True)
class TouchedTrack:
    """A track in damage; ``number`` counts from 1 in the order of ``Board.tracks`` (row of tracks.csv)."""

    number: int
    net: str
    layer: Layer
    severity: float
    share: float


@dataclass(frozen=True, slots=True)
class TouchedNet:
    """A net with copper in damage: its role, what it does in words, and how much of it is touched."""

    net: str
    role: str
    does: str
    sections: tuple[str, ...]
    severity: float
    pads: int
    vias: int
    tracks: int


@dataclass(frozen=True)
class Touch:
    """Everything that the damage touched, each tuple worst first.

    ``areas`` is the damage itself, as (grade, WKT polygon or multipolygon in board mm), one per grade
    from light up; () when whoever made the record did not keep it.
    """

    parts: tuple[TouchedPart, ...] = ()
    pads: tuple[TouchedPad, ...] = ()
    vias: tuple[TouchedVia, ...] = ()
    tracks: tuple[TouchedTrack, ...] = ()
    nets: tuple[TouchedNet, ...] = ()
    area_mm2: float = 0.0
    notes: tuple[str, ...] = field(default=())
    areas: tuple[tuple[Grade, str], ...] = ()

    @cached_property
    def severity_of_net(self) -> dict[str, float]:
        """Worst severity on each touched net."""
        return {net.net: net.severity for net in self.nets}

    @cached_property
    def severity_of_part(self) -> dict[str, float]:
        """Worst severity on each touched part."""
        return {part.refdes: part.severity for part in self.parts}
