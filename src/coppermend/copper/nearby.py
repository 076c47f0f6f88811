"""Pairs of nets whose copper comes within reach of each other in the damage: where residue or a slip may short.

From spacing alone, most at risk first. A short there shows between no other two nets, so each pair takes a
measurement of its own: the pairs are the least set to test.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from coppermend.board.atrisk import Touch
from coppermend.board.model import Board
from coppermend.board.same import Same

# Spacing that whiskers, residue or a solder slip bridge; 0.3 mm (12 mil) was the usual least spacing of boards of
# the time (common practice, no source).
REACH_MM = 0.3
_FADE_MM = 0.2  # over this much more spacing the risk falls to 1/e (our guess)


@dataclass(frozen=True, slots=True)
class NearPair:
    """Two nets with their least spacing in the damage [mm], where that is [mm], and a risk of 0..1."""

    nets: tuple[str, str]
    gap_mm: float
    x_mm: float
    y_mm: float
    risk: float


def near_pairs(board: Board, touched: Touch, reach_mm: float = REACH_MM) -> tuple[NearPair, ...]:
    """Pairs of touched nets that come within ``reach_mm`` on one layer in the damage, most at risk first.

    A pair counts once, where its risk is greatest: severity of the damage times a factor that falls with the
    spacing. Copper that the files let touch is left to ``board check``.
    """
    return _remembered(Same(board), Same(touched), reach_mm)


@lru_cache(maxsize=16)
def _remembered(same: Same[Board], damage: Same[Touch], reach_mm: float) -> tuple[NearPair, ...]:
    """The pairs are asked for again after each reading, and neither board nor damage changes."""
    board, touched = same.thing, damage.thing
    space = board.space
    items, severities = _touched_items(board, touched)
    if not len(items):
        return ()
    shapes = _in_damage(space.skeletons[items], space.reach_mm[items], touched)
    there = ~shapely.is_empty(shapes)
    items, severities, shapes = items[there], severities[there], shapes[there]
    slack_mm = reach_mm + float(space.reach_mm.max(initial=0.0)) + space.reach_mm[items]
    own, other = space.tree.query(shapes, predicate="dwithin", distance=slack_mm)
    wanted = _may_short(board, items[own], other, touched.severity_of_net)
    own, other = own[wanted], other[wanted]
    gaps_mm = shapely.distance(shapes[own], space.skeletons[other])
    gaps_mm = gaps_mm - space.reach_mm[items[own]] - space.reach_mm[other]
    near = (gaps_mm <= reach_mm) & (gaps_mm > 0)
    own, other, gaps_mm = own[near], other[near], gaps_mm[near]
    risks = severities[own] * np.exp(-gaps_mm / _FADE_MM)
    pairs: dict[tuple[str, str], NearPair] = {}
    for k in np.argsort(-risks, kind="stable").tolist():
        a, b = sorted((str(space.nets[items[own[k]]]), str(space.nets[other[k]])))
        if (a, b) not in pairs:
            spot = shapely.shortest_line(shapes[own[k]], space.skeletons[other[k]]).interpolate(
                0.5, normalized=True
            )
            pairs[a, b] = NearPair((a, b), round(float(gaps_mm[k]), 3), spot.x, spot.y, float(risks[k]))
    return tuple(pairs.values())


def _touched_items(board: Board, touched: Touch) -> tuple[NDArray[np.int_], NDArray[np.float64]]:
    """Positions in ``board.space`` of all touched copper, and its severities."""
    index, pads, vias = board.index, len(board.pads), len(board.vias)
    pad_at = {str(pad.ref): i for i, pad in reversed(list(enumerate(board.pads)))}
    via_at = {via.name: pads + i for i, via in reversed(list(enumerate(board.vias)))}
    found = [(pad_at[pad.point], pad.severity) for pad in touched.pads if pad.point in pad_at]
    found += [(via_at[via.name], via.severity) for via in touched.vias if via.name in index.vias]
    found += [(pads + vias + track.number - 1, track.severity) for track in touched.tracks]
    rows = sorted(found)
    return np.array([row[0] for row in rows], dtype=int), np.array([row[1] for row in rows], dtype=float)


def _in_damage(
    skeletons: NDArray[np.object_], reach_mm: NDArray[np.float64], touched: Touch
) -> NDArray[np.object_]:
    """The parts of skeletons that lie in the damage, or so near that their copper does."""
    area = _damage(touched.areas)
    if area.is_empty:
        return skeletons
    # Grown once by the widest copper: a little too much of thin tracks does no harm.
    grown = area.buffer(float(reach_mm.max(initial=0.0)))
    shapely.prepare(grown)
    whole = shapely.contains_properly(grown, skeletons)
    clipped = skeletons.copy()
    clipped[~whole] = shapely.intersection(skeletons[~whole], grown)
    return clipped


@lru_cache(maxsize=8)
def _damage(areas: tuple[tuple[str, str], ...]) -> BaseGeometry:
    return shapely.union_all([shapely.from_wkt(wkt) for _, wkt in areas])


def _may_short(
    board: Board, first: NDArray[np.int_], second: NDArray[np.int_], nets: Collection[str]
) -> NDArray[np.bool_]:
    """Which pairs of items lie on a common layer and on two nets at risk."""
    space = board.space
    known = np.array([net in nets for net in space.nets], dtype=bool)
    different = space.nets[first] != space.nets[second]
    common = (space.layers[first] & space.layers[second]) > 0
    return np.asarray(common & different & (space.kinds[second] != "area") & known[first] & known[second])
