"""How a jumper's wire runs on the board, how long it is and how thick. Chooses no endpoints."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from coppermend.board.model import Board, PadSide
from coppermend.board.packages import body_height_mm, body_shape
from coppermend.copper.resistance import COPPER_UM

_TALL_MM = 3.0  # a wire lies over lower bodies (common practice, no source)
_CLEAR_MM = 1.0  # kept from tall bodies
_RISE_C = 10.0  # rise over ambient that the track was allowed (common practice, no source)
_MIL_MM = 0.0254
THINNEST_AWG = 30  # wrapping wire
# Amperes of a single wire in free air, chassis wiring; a handbook table as commonly copied, from memory.
_CARRIES_A = {30: 0.86, 28: 1.4, 26: 2.2, 24: 3.5, 22: 7.0, 20: 11.0, 18: 16.0}

Spot = tuple[float, float]


class Run(NamedTuple):
    """Corners of a wire from end to end [mm], its length [mm], and whether it must cross a tall body."""

    corners: tuple[Spot, ...]
    length_mm: float
    crosses: bool


def track_carries_a(width_mm: float, rise_c: float = _RISE_C) -> float:
    """Current that an outer track of 35 µm carries.

    Args:
        width_mm: Width [mm].
        rise_c: Allowed rise over ambient [K].

    Returns:
        Current [A].

    Reference: fit I = 0.048 ΔT^0.44 A^0.725 with A in square mil, IPC-2221 (outer layers), as public calculators use it.

    >>> round(track_carries_a(0.254), 3)
    0.886
    """
    return float(0.048 * rise_c**0.44 * (width_mm / _MIL_MM * COPPER_UM / 1000 / _MIL_MM) ** 0.725)


def wire_gauge(widths_mm: Sequence[float], *, power: bool) -> int:
    """The thinnest usual wire that carries what the widest of some tracks does.

    Args:
        widths_mm: Widths of the tracks that the wire stands in for [mm]; () when unknown.
        power: Whether the net carries a supply or load current; signals take the thinnest.

    Returns:
        AWG, 30 to 18.

    >>> wire_gauge([0.3], power=False), wire_gauge([0.3], power=True), wire_gauge([2.0], power=True)
    (30, 28, 22)
    """
    if not power or not widths_mm:
        return THINNEST_AWG
    needed = track_carries_a(max(widths_mm))
    return next((gauge for gauge, carries in _CARRIES_A.items() if carries >= needed), min(_CARRIES_A))


def tall_bodies(board: Board, side: PadSide, removed: Collection[str] = ()) -> tuple[BaseGeometry, ...]:
    """Bodies on a side that a wire should go round, grown by what is kept clear; a wire between sides lies below."""
    on = "top" if side == "top" else "bottom"
    parts = (part for part in board.parts if part.side == on and part.refdes not in removed)
    bodies = (body_shape(board, part) for part in parts if body_height_mm(part) >= _TALL_MM)
    return tuple(body.buffer(_CLEAR_MM, join_style="mitre") for body in bodies if not body.is_empty)


def wire_run(start: Spot, end: Spot, bodies: Sequence[BaseGeometry]) -> Run:
    """The shortest run along the board's axes with at most two corners that avoids the bodies.

    Bodies that stand over an end are not avoided. Without such a run the plain one is taken and ``crosses`` is True.
    """
    ends = shapely.points([start, end])
    around = [body for body in bodies if not shapely.intersects(body, ends).any()]
    runs = sorted({_tidied(run) for run in _runs(start, end, around)}, key=_order)
    blocked = set(shapely.STRtree(around).query(_lines(runs), predicate="crosses")[0].tolist())
    free = next((k for k in range(len(runs)) if k not in blocked), 0)
    return Run(runs[free], round(_length_mm(runs[free]), 2), free in blocked)


def _lines(runs: Sequence[tuple[Spot, ...]]) -> list[BaseGeometry]:
    return [shapely.LineString(run) if len(run) > 1 else shapely.Point(run[0]) for run in runs]


def _runs(start: Spot, end: Spot, bodies: Sequence[BaseGeometry]) -> Iterable[tuple[Spot, ...]]:
    """Runs with one corner, then with two by way of every edge of a body near the way."""
    (x1, y1), (x2, y2) = start, end
    yield (start, (x2, y1), end)
    yield (start, (x1, y2), end)
    bounds = np.array([body.bounds for body in bodies]).reshape(-1, 4)
    for x in {*bounds[:, 0].tolist(), *bounds[:, 2].tolist()}:
        yield (start, (x, y1), (x, y2), end)
    for y in {*bounds[:, 1].tolist(), *bounds[:, 3].tolist()}:
        yield (start, (x1, y), (x2, y), end)


def _tidied(run: tuple[Spot, ...]) -> tuple[Spot, ...]:
    """A run without corners that repeat or lie in line."""
    kept: list[Spot] = []
    for spot in dict.fromkeys(run):
        if len(kept) > 1 and (kept[-2][0] == kept[-1][0] == spot[0] or kept[-2][1] == kept[-1][1] == spot[1]):
            kept.pop()
        kept.append(spot)
    return tuple(kept)


def _order(run: tuple[Spot, ...]) -> tuple[float, int, tuple[Spot, ...]]:
    return round(_length_mm(run), 6), len(run), run


def _length_mm(run: Sequence[Spot]) -> float:
    return sum(math.dist(a, b) for a, b in pairwise(run))
