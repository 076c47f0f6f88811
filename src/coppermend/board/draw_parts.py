"""Parts as SVG: bodies and their pin 1. Names are set by ``draw_names``."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from coppermend.board.draw_svg import INK, PAPER, Coordinates, Frame, attributes, group, points_path
from coppermend.board.model import Board, Pad, Part
from coppermend.board.packages import body_shape
from coppermend.board.parttypes import PartLibrary
from coppermend.board.space import pad_shape

_WEDGE_MM = 1.1  # how far a wedge reaches from its pad


def part_bodies(board: Board) -> dict[int, BaseGeometry]:
    """Body of every part that has one, by the part's position in ``board.parts``.

    Parts that share a refdes, as mounting holes do, get a body from their package only: whose pads are
    whose cannot be told.
    """
    count, nowhere = Counter(part.refdes for part in board.parts), Board("", 1, 1)
    shapes = {
        i: body_shape(board if count[part.refdes] == 1 else nowhere, part)
        for i, part in enumerate(board.parts)
    }
    return {i: shape for i, shape in shapes.items() if not shape.is_empty}


def body_layer(board: Board, frame: Frame, prefix: str, bodies: dict[int, BaseGeometry]) -> str:
    """The group ``bodies``: this side's parts as outlines, the other side's dashed."""
    drawn = []
    for place, shape in bodies.items():
        part = board.parts[place]
        far = part.side != frame.side
        style: dict[str, str | float] = (
            {"fill_opacity": 0.0, "stroke_dasharray": "1 .7", "stroke_opacity": 0.55} if far else {}
        )
        drawn.append(f"<path{attributes(data_refdes=part.refdes, **style, d=frame.path(shape, 0.01))}/>")
    return group("bodies", prefix, drawn, fill=PAPER, fill_opacity=0.6, stroke=INK, stroke_width=0.18)


def pin_one_layer(
    board: Board, frame: Frame, prefix: str, bodies: dict[int, BaseGeometry], library: PartLibrary | None
) -> str:
    """The group ``pin-1``: a wedge at pin 1, pointing at it from inside the body."""
    drawn = []
    count = Counter(part.refdes for part in board.parts)
    for place, shape in bodies.items():
        part = board.parts[place]
        pads = board.index.pads_of_part[part.refdes]
        first = next((pad for pad in pads if pad.pin == "1"), None)
        if (
            first is None
            or count[part.refdes] > 1
            or part.side != frame.side
            or not _has_polarity(part, len(pads), library)
        ):
            continue
        wedge = points_path(frame.rows(_wedge(first, pads, shape))) + "Z"
        drawn.append(f"<path{attributes(data_refdes=part.refdes, d=wedge)}/>")
    return group("pin-1", prefix, drawn, fill=INK)


def _has_polarity(part: Part, pads: int, library: PartLibrary | None) -> bool:
    """Whether pin 1 matters: three or more pads, or a type that must not be turned round."""
    known = library.of(part) if library else None
    return pads > 2 or (known is not None and known.polarised)


def _wedge(first: Pad, pads: Sequence[Pad], body: BaseGeometry) -> Coordinates:
    """A small triangle beside pad 1 that points at it: (3, 2) corners on the board [mm], the tip first.

    Of the four directions the first is taken in which no pad of the part is in the way.
    """
    reach_mm = max(first.size_mm, first.height_mm) / 2 + _WEDGE_MM
    copper = [pad_shape(pad) for pad in pads if _within(first, pad, reach_mm)]
    marks = [_triangle(first, step) for step in _directions(first, len(pads), body)]
    return next((m for m in marks if not shapely.intersects(shapely.Polygon(m), copper).any()), marks[0])


def _within(first: Pad, pad: Pad, reach_mm: float) -> bool:
    """Whether a pad may come within reach of the middle of ``first``."""
    return (
        abs(pad.x_mm - first.x_mm) <= reach_mm + pad.size_mm / 2
        and abs(pad.y_mm - first.y_mm) <= reach_mm + pad.height_mm / 2
    )


def _directions(first: Pad, pads: int, body: BaseGeometry) -> list[tuple[int, int]]:
    """Steps away from pad 1, the best first: across the row into the body, then along it.

    In a single row, or between two leads, the row's own direction comes first: outward from its end, or
    into the body.
    """
    left, bottom, right, top = body.bounds
    inward = (_sign(body.centroid.x - first.x_mm), _sign(body.centroid.y - first.y_mm))
    wide = right - left > top - bottom
    along, across = ((inward[0], 0), (0, inward[1])) if wide else ((0, inward[1]), (inward[0], 0))
    offset = abs(body.centroid.y - first.y_mm if wide else body.centroid.x - first.x_mm)
    outward = (-along[0], -along[1])
    if offset >= 1.0:
        return [across, along, outward, (-across[0], -across[1])]
    return [along, outward, across] if pads == 2 else [outward, across, along]


def _triangle(first: Pad, step: tuple[int, int]) -> Coordinates:
    radius = (first.size_mm if step[0] else first.height_mm) / 2
    corners = np.array([[radius + 0.15, 0.0], [radius + _WEDGE_MM, 0.55], [radius + _WEDGE_MM, -0.55]])
    turn = np.array([[step[0], step[1]], [-step[1], step[0]]])
    marks: Coordinates = corners @ turn + [first.x_mm, first.y_mm]
    return marks


def _sign(value: float) -> int:
    return 1 if value >= 0 else -1
