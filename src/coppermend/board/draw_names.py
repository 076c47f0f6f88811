"""Refdes on the drawing, set so that they can be read: in the body where it is free, else beside it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from coppermend.board.draw_svg import INK, SHEET, Frame, attributes, group, number, text
from coppermend.board.model import Board, Part
from coppermend.board.space import board_shape

_LETTER = 0.56  # width of an average letter, as a share of the type size: measured on the sheet's typeface
_LARGEST_MM, _SMALLEST_MM, _BESIDE_MM = 2.6, 1.3, 1.7
_TYPE_FROM_MM = 12.0  # bodies this long carry their type beside the refdes
_ON_PAD, _ON_NAME, _ON_BODY, _OFF_BOARD = 4, 4, 1, 6


class _Label(NamedTuple):
    """A name in its place: middle [board mm], type size [mm], upright or not."""

    x_mm: float
    y_mm: float
    size_mm: float
    upright: bool
    letters: int

    def bounds(self) -> tuple[float, float, float, float]:
        half_w, half_h = _LETTER * self.size_mm * self.letters / 2, 0.4 * self.size_mm
        if self.upright:
            half_w, half_h = half_h, half_w
        return self.x_mm - half_w, self.y_mm - half_h, self.x_mm + half_w, self.y_mm + half_h


def refdes_layer(board: Board, frame: Frame, prefix: str, bodies: dict[int, BaseGeometry]) -> str:
    """The group ``refdes``: names with a halo, along the longer side of their bodies."""
    style: dict[str, str | float] = {
        "fill": INK, "stroke": SHEET, "stroke_width": 0.5, "stroke_linejoin": "round", "paint_order": "stroke",
        "text_anchor": "middle", "font_weight": "600",
    }  # fmt: skip
    return group("refdes", prefix, _names(board, frame, bodies), **style)


def _names(board: Board, frame: Frame, bodies: dict[int, BaseGeometry]) -> Iterator[str]:
    room = _Room(board, bodies)
    for place, shape in bodies.items():
        part = board.parts[place]
        label, kind = room.best(part, place, shape)
        yield _name(part, kind, label, frame)


class _Room:
    """What is taken on the drawing: pads, bodies, names set so far, and all beyond the board's edge."""

    def __init__(self, board: Board, bodies: dict[int, BaseGeometry]) -> None:
        self.pads = shapely.STRtree(shapely.box(*board.space.bounds[: len(board.pads)].T))
        self.places = np.array(list(bodies), dtype=int)
        self.bodies = shapely.STRtree(np.array(list(bodies.values()), dtype=object))
        self.board = board_shape(board)
        shapely.prepare(self.board)
        self.names = np.full((len(bodies), 4), np.nan)  # left, bottom, right, top of those set so far
        self.set = 0

    def best(self, part: Part, place: int, shape: BaseGeometry) -> tuple[_Label, str]:
        """The place with the least in its way, and the type where it stands beside the refdes."""
        kind = _type_beside(part, shape)
        candidates = list(_candidates(part, kind, shape))
        costs = [self._cost(label.bounds(), place) for label in candidates]
        best = int(np.argmin(costs))
        self.names[self.set] = candidates[best].bounds()
        self.set += 1
        return candidates[best], kind if best == 0 else ""

    def _cost(self, bounds: tuple[float, float, float, float], place: int) -> float:
        box = shapely.box(*bounds)

        def others(tree: shapely.STRtree) -> NDArray[np.int_]:
            return np.asarray(tree.query(box, predicate="intersects"))

        bodies = np.count_nonzero(self.places[others(self.bodies)] != place)
        left, bottom, right, top = self.names[: self.set].T
        apart = (left > bounds[2]) | (right < bounds[0]) | (bottom > bounds[3]) | (top < bounds[1])
        names = np.count_nonzero(~apart)
        off = not self.board.covers(box)
        return float(
            _ON_PAD * len(others(self.pads)) + _ON_BODY * bodies + _ON_NAME * names + _OFF_BOARD * off
        )


def _type_beside(part: Part, shape: BaseGeometry) -> str:
    """The type of a part with a number for a name, when its body has room for it; else ""."""
    left, bottom, right, top = shape.bounds
    length, breadth = max(right - left, top - bottom), min(right - left, top - bottom)
    numbered = any(c.isdigit() for c in part.type)
    fits = length >= _SMALLEST_MM * _LETTER * (len(part.refdes) + 1 + len(part.type))
    return part.type if numbered and fits and length >= _TYPE_FROM_MM and breadth >= 4 else ""


def _candidates(part: Part, kind: str, shape: BaseGeometry) -> Iterator[_Label]:
    """Places for a name, the best first: in the body, then beside each of its sides."""
    left, bottom, right, top = shape.bounds
    width, height = right - left, top - bottom
    x, y = (left + right) / 2, (bottom + top) / 2
    upright = height > 1.2 * width
    length, breadth = (height, width) if upright else (width, height)
    letters = len(f"{part.refdes} {kind}".strip())
    fitting = min(_LARGEST_MM, 0.72 * breadth, length / (_LETTER * max(letters, 1)))
    yield _Label(x, y, max(_SMALLEST_MM, fitting), upright, letters)
    n = len(part.refdes)
    away = 0.65 * _BESIDE_MM
    flat, turned = (_BESIDE_MM, False, n), (_BESIDE_MM, True, n)
    ends = _LETTER * _BESIDE_MM * n / 2 + 0.4
    above, below = _Label(x, top + away, *flat), _Label(x, bottom - away, *flat)
    beside = _Label(left - away, y, *turned), _Label(right + away, y, *turned)
    yield from (*beside, above, below) if upright else (above, below, *beside)
    yield from (_Label(left - ends, y, *flat), _Label(right + ends, y, *flat))


def _name(part: Part, kind: str, label: _Label, frame: Frame) -> str:
    x, y = frame.spot(label.x_mm, label.y_mm)
    shift = 0.35 * label.size_mm  # from the middle of the letters down to their base line
    # A no-break space: some SVG readers drop a plain one at the edge of a tspan, making "U5 6551" "U56551".
    tail = f'\u00a0<tspan font-weight="400">{text(kind)}</tspan>' if kind else ""
    turn = f"rotate(-90 {number(x)} {number(y)})" if label.upright else ""
    far = part.side != frame.side
    place = attributes(
        data_refdes=part.refdes, x=x, y=y + shift, font_size=label.size_mm, transform=turn,
        fill_opacity=0.75 if far else "",
    )  # fmt: skip
    return f"<text{place}>{text(part.refdes)}{tail}</text>"
