"""Where pads, body and top of a placed part are, from its package's name. No electrical meaning of any pin.

A part stands with its package's origin, pin 1, at ``x_mm, y_mm``. On the bottom side it is mirrored left to right
first, then turned counter-clockwise as seen from the top. The names are listed in ``package_shapes``.
"""

from __future__ import annotations

import math
from dataclasses import replace

import shapely
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from coppermend.board.model import Board, Pad, PadSide, Part
from coppermend.board.package_shapes import shape_of

_SOCKET_MM = 4.5  # common practice, no source: what a dual in-line socket adds to the height
_MARGIN_MM = 1.0  # body of a part that is known by its pads only


def _turn(part: Part) -> tuple[float, float, float, float]:
    """Matrix (a, b, c, d) that turns the package's frame into the board's: x = ax + by, y = cx + dy."""
    angle = math.radians(part.rotation_deg % 360)
    cos, sin = (round(f(angle), 12) for f in (math.cos, math.sin))
    mirror = -1.0 if part.side == "bottom" else 1.0
    return mirror * cos, -sin, mirror * sin, cos


_OTHER_SIDE: dict[PadSide, PadSide] = {"top": "bottom", "bottom": "top", "both": "both"}


def package_pads(part: Part) -> tuple[Pad, ...]:
    """The pads of ``part`` on the board [mm], in pin order, from its package's name.

    A rectangular pad turned by no multiple of 90 degrees becomes its bounding box.

    Returns:
        () when the package is unknown or has no pads.

    >>> [(pad.pin, pad.x_mm, pad.y_mm) for pad in package_pads(Part("R1", package="AXIAL-10.16", x_mm=5))]
    [('1', 5.0, 0.0), ('2', 15.16, 0.0)]
    """
    shape = shape_of(part.package)
    if shape is None:
        return ()
    a, b, c, d = _turn(part)
    return tuple(
        Pad(
            part.refdes,
            pad.pin,
            round(part.x_mm + a * pad.x + b * pad.y, 4),
            round(part.y_mm + c * pad.x + d * pad.y, 4),
            pad.hole,
            pad.width if pad.round else round(abs(a) * pad.width + abs(b) * pad.height, 4),
            _OTHER_SIDE[pad.side] if part.side == "bottom" else pad.side,
            pad.height if pad.round else round(abs(c) * pad.width + abs(d) * pad.height, 4),
            pad.round,
        )
        for pad in shape.pads
    )


def body_height_mm(part: Part) -> float:
    """How far the part stands above the board [mm], roughly; 0.0 when the package is unknown."""
    shape = shape_of(part.package)
    if shape is None:
        return 0.0
    return shape.height_mm + (_SOCKET_MM if part.socketed else 0.0)


def body_shape(board: Board, part: Part) -> BaseGeometry:
    """The area that the body of ``part`` covers on the board [mm].

    From its package where known; else the box around the part's pads, grown by 1 mm; else empty. A refdes that
    several parts have (logos, holes) tells no pads of its own.
    """
    if shape := shape_of(part.package):
        a, b, c, d = _turn(part)
        return affinity.affine_transform(shape.body, [a, b, c, d, part.x_mm, part.y_mm])
    pads = board.index.pads_of_part.get(part.refdes, [])
    if not pads or part.refdes in board.index.repeated:
        return shapely.Polygon()
    return shapely.box(
        min(p.x_mm - p.size_mm / 2 for p in pads) - _MARGIN_MM,
        min(p.y_mm - p.height_mm / 2 for p in pads) - _MARGIN_MM,
        max(p.x_mm + p.size_mm / 2 for p in pads) + _MARGIN_MM,
        max(p.y_mm + p.height_mm / 2 for p in pads) + _MARGIN_MM,
    )


def with_package_pads(board: Board) -> Board:
    """``board`` with pads computed from its packages, when it has none of its own.

    Returns:
        The same board when it has pads already, or when no package of it is known.
    """
    if board.pads:
        return board
    pads = tuple(pad for part in board.parts for pad in package_pads(part))
    return replace(board, pads=pads, pads_from_packages=True) if pads else board
