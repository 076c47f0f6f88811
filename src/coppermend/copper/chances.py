"""How likely at-risk copper is to be open, from severity, width and kind. Our estimate, to be learned from jobs.

Only the order and the size of the numbers matter: they decide whether a way is probed at once or in stretches,
and where an open way is split.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from coppermend.copper.graph import NetGraph
from coppermend.copper.islands import Bond

# Our estimate: what the worst damage does to 15 mm of a 0.3 mm track, to a via's barrel, to a soldered pad.
_TRACK, _VIA, _PAD = 0.1, 0.1, 0.03
_USUAL_MM, _RUN_MM = 0.3, 15.0
_LEAST, _MOST = 0.005, 0.6
WIRE = 0.01  # a jumper that was just soldered


@dataclass(frozen=True)
class Severities:
    """Severity (0..1) of a net's touched tracks by number, and of its touched points by name."""

    tracks: Mapping[int, float] = field(default_factory=dict)
    points: Mapping[str, float] = field(default_factory=dict)


def track_chance(severity: float, width_mm: float, length_mm: float) -> float:
    """Chance (0..1) that touched track is open; it grows with the length and the square of the severity.

    Args:
        severity: 0..1.
        width_mm: Width [mm]; 0 when unknown.
        length_mm: How much of the track lies between two spots [mm].

    >>> [round(track_chance(*case), 3) for case in ((1.0, 0.3, 15.0), (0.5, 0.3, 15.0), (1.0, 1.2, 30.0))]
    [0.1, 0.025, 0.05]
    """
    width = min(max(_USUAL_MM / width_mm, 0.2), 2.0) if width_mm > 0 else 1.0
    return _bounded(_TRACK * severity**2 * width * length_mm / _RUN_MM)


def point_chance(severity: float, *, via: bool) -> float:
    """Chance (0..1) that a touched via's barrel, or what lands on a touched pad, is open."""
    return _bounded((_VIA if via else _PAD) * severity**2)


def bond_chance(graph: NetGraph, bond: Bond, severities: Severities, width_mm: float) -> float:
    """Chance (0..1) that a bond is open: its track, or either end where that is touched."""
    sound, link = 1.0, graph.links[bond.link]
    ends = graph.spots[link.a], graph.spots[link.b]
    if bond.track in severities.tracks:
        length_mm = math.hypot(ends[0].x_mm - ends[1].x_mm, ends[0].y_mm - ends[1].y_mm)
        sound *= 1 - track_chance(severities.tracks[bond.track], width_mm, length_mm)
    for spot in ends:
        if spot.name and spot.name in severities.points:
            sound *= 1 - point_chance(severities.points[spot.name], via=spot.kind == "via")
    return _bounded(1 - sound)


def _bounded(chance: float) -> float:
    return min(max(chance, _LEAST), _MOST)
