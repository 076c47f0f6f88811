"""Circular arcs of Gerber files as chains of points. Nothing else.

Reference: Gerber Layer Format Specification 2024.05, section 4.7 (single quadrant: edition 2020.09, 8.1.10).
"""

from __future__ import annotations

import math

CHORD_ERROR_MM = 0.002
MAX_CHORDS = 360


def arc_points(
    start: tuple[float, float],
    end: tuple[float, float],
    offset: tuple[float, float],
    *,
    clockwise: bool,
    single_quadrant: bool,
) -> list[tuple[float, float]]:
    """Points of an arc after its start, ``end`` last and exact.

    Args:
        start: Where the arc begins [mm].
        end: Where it ends [mm]; equal to ``start`` for a full circle (not in single-quadrant mode).
        offset: Centre minus start [mm]; unsigned in single-quadrant mode.
        clockwise: G02, else G03.
        single_quadrant: G74 mode, at most 90 degrees.

    Returns:
        At least one point; no chord leaves the circle by more than 0.002 mm unless the arc is huge.
    """
    if single_quadrant:
        centre = _single_quadrant_centre(start, end, offset, clockwise=clockwise)
    else:
        centre = (start[0] + offset[0], start[1] + offset[1])
    radius_1, radius_2 = math.dist(centre, start), math.dist(centre, end)
    if centre in (start, end) or (single_quadrant and start == end):
        return [end]
    angle = math.atan2(start[1] - centre[1], start[0] - centre[0])
    sweep = _sweep(start, end, centre, clockwise=clockwise)
    chords = _chord_count(max(radius_1, radius_2), abs(sweep))
    points = []
    for k in range(1, chords):
        share = k / chords
        radius = radius_1 + (radius_2 - radius_1) * share
        turned = angle + sweep * share
        x, y = centre[0] + radius * math.cos(turned), centre[1] + radius * math.sin(turned)
        points.append((round(x, 6), round(y, 6)))
    return [*points, end]


def _sweep(
    start: tuple[float, float], end: tuple[float, float], centre: tuple[float, float], *, clockwise: bool
) -> float:
    """Signed angle [rad] from start to end, a full turn when they are one point."""
    begin = math.atan2(start[1] - centre[1], start[0] - centre[0])
    finish = math.atan2(end[1] - centre[1], end[0] - centre[0])
    sweep = (begin - finish if clockwise else finish - begin) % (2 * math.pi)
    if start == end or sweep == 0:
        sweep = 2 * math.pi
    return -sweep if clockwise else sweep


def _single_quadrant_centre(
    start: tuple[float, float], end: tuple[float, float], offset: tuple[float, float], *, clockwise: bool
) -> tuple[float, float]:
    """The centre, of the four that signs of the offset allow, that fits an arc of at most 90 degrees best."""
    size_x, size_y = abs(offset[0]), abs(offset[1])
    candidates = [(start[0] + i * size_x, start[1] + j * size_y) for i in (1, -1) for j in (1, -1)]

    def misfit(centre: tuple[float, float]) -> tuple[bool, float]:
        too_far = abs(_sweep(start, end, centre, clockwise=clockwise)) > math.pi / 2 + 1e-3
        return too_far, abs(math.dist(centre, start) - math.dist(centre, end))

    return min(candidates, key=misfit)


def _chord_count(radius_mm: float, sweep_rad: float) -> int:
    """How many chords keep within the chord error: at least one per 45 degrees, never beyond the cap."""
    step = (
        2 * math.acos(max(1 - CHORD_ERROR_MM / radius_mm, 0.0)) if radius_mm > CHORD_ERROR_MM else math.pi / 4
    )
    return max(1, min(MAX_CHORDS, math.ceil(sweep_rad / min(step, math.pi / 4))))
