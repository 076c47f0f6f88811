"""Which bodies stand in the way of sanding damaged copper: geometry only, no fate and no order."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from coppermend.board.atrisk import MODERATE, Touch, TouchedTrack
from coppermend.board.model import Board, PadSide, PinRef
from coppermend.board.packages import body_shape
from coppermend.board.space import pad_shape, via_shape

# Common practice, no source: room that a fibre pen or abrasive stick needs beside a body.
REACH_MM = 2.5
_WHOLE = 0.95  # a track with this share in damage is worked on from end to end


@dataclass(frozen=True, slots=True)
class Work:
    """A piece of copper that has to be sanded: its shape, side, what it is called, and whose pad it is."""

    shape: BaseGeometry
    side: PadSide
    name: str
    refdes: str = ""


def work_pieces(board: Board, touch: Touch) -> tuple[Work, ...]:
    """The copper in moderate or heavier damage, cut down to where the damage lies.

    Where the touch record keeps no areas, the damaged share of a track is taken nearest to the other
    damaged copper.
    """
    index = board.index
    pieces = []
    for pad in touch.pads:
        place = index.pads.get(PinRef.parse(pad.point))
        if place and pad.severity >= MODERATE:
            pieces.append(Work(pad_shape(place), pad.side, f"pad {pad.point}", place.refdes))
    for via in touch.vias:
        if via.severity >= MODERATE and via.name in index.vias:
            pieces.append(Work(via_shape(index.vias[via.name]), "both", f"via {via.name}"))
    damage = _sanded_area(touch)
    core = shapely.union_all([piece.shape for piece in pieces])
    for track in touch.tracks:
        if track.severity >= MODERATE:
            shape = _damaged_run(board, track, damage, core)
            if not shape.is_empty:
                pieces.append(Work(shape, track.layer, f"copper of net {track.net}"))
    return tuple(pieces)


def _sanded_area(touch: Touch) -> BaseGeometry | None:
    graded = [shapely.from_wkt(wkt) for grade, wkt in touch.areas if grade in ("moderate", "heavy")]
    return shapely.union_all(graded) if touch.areas else None


def _damaged_run(
    board: Board, touched: TouchedTrack, damage: BaseGeometry | None, core: BaseGeometry
) -> BaseGeometry:
    track = board.tracks[touched.number - 1]
    line = shapely.LineString([(track.x1_mm, track.y1_mm), (track.x2_mm, track.y2_mm)])
    if damage is not None:
        return line.buffer(track.width_mm / 2).intersection(damage)
    if touched.share < _WHOLE and line.length:
        run = touched.share * line.length
        middle = line.length / 2 if core.is_empty else line.project(shapely.ops.nearest_points(core, line)[1])
        start = min(max(middle - run / 2, 0.0), line.length - run)
        line = substring(line, start, start + run)
    return line.buffer(track.width_mm / 2)


def bodies_in_the_way(
    board: Board, pieces: Sequence[Work], reach_mm: float = REACH_MM
) -> Mapping[str, tuple[tuple[str, bool], ...]]:
    """Which parts keep a tool from which copper.

    Args:
        board: The board.
        pieces: Copper to be sanded, of ``work_pieces``.
        reach_mm: Room a tool needs beside a body [mm].

    Returns:
        refdes -> ((name of the copper, whether the body covers it), ...), covered first, each once;
        a part's own pads do not count, and only copper on the side of the body.
    """
    if not pieces:
        return {}
    parts = list(board.index.parts.values())
    bodies = np.array([body_shape(board, part) for part in parts], dtype=object)
    shapes = np.array([piece.shape for piece in pieces], dtype=object)
    found: dict[str, dict[str, bool]] = defaultdict(dict)
    for body, piece in shapely.STRtree(shapes).query(bodies, predicate="dwithin", distance=reach_mm).T:
        part, work = parts[body], pieces[piece]
        if work.side in ("both", part.side) and work.refdes != part.refdes:
            covered = bool(bodies[body].intersects(shapes[piece]))
            found[part.refdes][work.name] = found[part.refdes].get(work.name, False) or covered
    return {
        refdes: tuple(sorted(copper.items(), key=lambda item: (not item[1], item[0])))
        for refdes, copper in found.items()
    }
