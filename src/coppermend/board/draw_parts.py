"""Parts as SVG: bodies and their pin 1. Names are set by ``draw_names``."""

from __future__ import annotations

from collections import Counter

import numpy as np
from shapely.geometry.base import BaseGeometry

from coppermend.board.draw_svg import INK, PAPER, Frame, attributes, group, points_path
from coppermend.board.model import Board, Part
from coppermend.board.packages import body_shape
from coppermend.board.parttypes import PartLibrary


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
        x, y = frame.spot(first.x_mm, first.y_mm)
        wedge = _wedge((x, y), shape, frame, min(first.size_mm, first.height_mm) / 2, len(pads))
        drawn.append(f"<path{attributes(data_refdes=part.refdes, d=wedge)}/>")
    return group("pin-1", prefix, drawn, fill=INK)


def _has_polarity(part: Part, pads: int, library: PartLibrary | None) -> bool:
    """Whether pin 1 matters: three or more pads, or a type that must not be turned round."""
    known = library.of(part) if library else None
    return pads > 2 or (known is not None and known.polarised)


def _wedge(spot: tuple[float, float], shape: BaseGeometry, frame: Frame, radius: float, pads: int) -> str:
    """A small triangle beside pad 1 that points at it.

    It lies across the row of pins, inside the body; at the end of a single row, outside; between pad and
    body of a part with two leads.
    """
    middle = frame.spot(shape.centroid.x, shape.centroid.y)
    left, bottom, right, top = shape.bounds
    away = (middle[0] - spot[0], middle[1] - spot[1])
    short, long = (0, 1) if right - left <= top - bottom else (1, 0)
    if abs(away[short]) >= 1.0:
        axis, sign = short, _sign(away[short])
    else:
        axis, sign = long, _sign(away[long]) * (1 if pads == 2 else -1)
    step = (sign, 0) if axis == 0 else (0, sign)
    corners = ((radius + 0.15, 0.0), (radius + 1.1, 0.55), (radius + 1.1, -0.55))
    rows = [(spot[0] + step[0] * u - step[1] * v, spot[1] + step[1] * u + step[0] * v) for u, v in corners]
    return points_path(np.array(rows)) + "Z"


def _sign(value: float) -> int:
    return 1 if value >= 0 else -1
