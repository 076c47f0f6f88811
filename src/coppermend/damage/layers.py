"""What the drawing says is at each place of one side of the board, as images in board space. No photo here.

Images have row 0 at the board's top edge; the centre of pixel (column c, row r) is at x = (c + 0.5) / scale,
y = height - (r + 0.5) / scale. Values are coverage, 0..255, with soft edges.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from coppermend.board.model import Board, Layer
from coppermend.board.packages import body_shape
from coppermend.board.space import area_shape, board_shape, pad_shape

Image = NDArray[np.uint8]
_SHIFT = 4  # OpenCV draws at 1/16 px
_FINE = 1 << _SHIFT


@dataclass(frozen=True)
class Canvas:
    """The size of an image of the board; ``size`` states rows and columns where rounding must not decide."""

    width_mm: float
    height_mm: float
    px_per_mm: float
    size: tuple[int, int] | None = None

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.size or (round(self.height_mm * self.px_per_mm), round(self.width_mm * self.px_per_mm))

    def blank(self) -> Image:
        """An empty image."""
        return np.zeros(self.shape, np.uint8)

    def fine(self, xy_mm: NDArray[np.float64]) -> NDArray[np.int32]:
        """(n, 2) board points [mm] in OpenCV's fixed-point pixels."""
        scaled = np.column_stack([xy_mm[:, 0], self.height_mm - xy_mm[:, 1]]) * self.px_per_mm - 0.5
        return np.asarray(np.rint(scaled * _FINE), dtype=np.int32)

    def fill(self, image: Image, shape: BaseGeometry, value: int = 255) -> None:
        """Draw the polygons of ``shape``, holes left out."""
        for polygon in shapely.get_parts(shape):
            if polygon.geom_type != "Polygon" or polygon.is_empty:
                continue
            rings = [polygon.exterior, *polygon.interiors]
            corners = [self.fine(shapely.get_coordinates(ring)[:-1]) for ring in rings]
            cv2.fillPoly(image, corners, value, lineType=cv2.LINE_AA, shift=_SHIFT)

    def disc(self, image: Image, x_mm: float, y_mm: float, diameter_mm: float, value: int = 255) -> None:
        """Draw a filled disc."""
        ((x, y),) = self.fine(np.array([[x_mm, y_mm]], dtype=float)).tolist()
        radius = round(diameter_mm / 2 * self.px_per_mm * _FINE)
        cv2.circle(image, (x, y), radius, value, -1, cv2.LINE_AA, _SHIFT)


@dataclass(frozen=True)
class DrawnLayers:
    """Coverage images of one side, 0..255.

    Attributes:
        board: The board itself, inside its outline.
        pads: Pads of parts, free of mask.
        vias: Copper of vias.
        holes: Where one sees through: drilled pads.
        tracks: Tracks of this side, under the mask.
        areas: Copper areas of this side.
        bodies: Parts on this side.
    """

    board: Image
    pads: Image
    vias: Image
    holes: Image
    tracks: Image
    areas: Image
    bodies: Image


def draw_layers(
    board: Board, px_per_mm: float, side: Layer = "top", size: tuple[int, int] | None = None
) -> DrawnLayers:
    """The drawing of one side at a scale, in board coordinates (the bottom is not mirrored); ``size`` as in ``Canvas``."""
    canvas = Canvas(board.width_mm, board.height_mm, px_per_mm, size)
    layers = DrawnLayers(*(canvas.blank() for _ in range(7)))
    canvas.fill(layers.board, board_shape(board))
    _draw_pads(board, canvas, layers, side)
    for via in board.vias:
        canvas.disc(layers.vias, via.x_mm, via.y_mm, via.size_mm)
    _draw_tracks(board, canvas, layers.tracks, side)
    for area in board.areas:
        if area.layer == side:
            canvas.fill(layers.areas, area_shape(area))
    for part in board.parts:
        if part.side == side:
            canvas.fill(layers.bodies, body_shape(board, part))
    return layers


def _draw_pads(board: Board, canvas: Canvas, layers: DrawnLayers, side: Layer) -> None:
    for pad in board.pads:
        if pad.side not in (side, "both"):
            continue
        if pad.round and pad.size_mm == pad.height_mm:
            canvas.disc(layers.pads, pad.x_mm, pad.y_mm, pad.size_mm)
        else:
            canvas.fill(layers.pads, pad_shape(pad))
        if pad.hole_mm:
            canvas.disc(layers.holes, pad.x_mm, pad.y_mm, pad.hole_mm)


def _draw_tracks(board: Board, canvas: Canvas, image: Image, side: Layer) -> None:
    tracks = [track for track in board.tracks if track.layer == side]
    if not tracks:
        return
    ends = np.array([(t.x1_mm, t.y1_mm, t.x2_mm, t.y2_mm) for t in tracks], dtype=float)
    lines = shapely.linestrings(ends.reshape(-1, 2, 2))
    copper = shapely.buffer(lines, np.array([t.width_mm / 2 for t in tracks]), quad_segs=4)
    # Thousands of small convex shapes: their corners are scaled all at once.
    corners, of = shapely.get_coordinates(copper, return_index=True)
    for ring in np.split(canvas.fine(corners), np.flatnonzero(np.diff(of)) + 1):
        cv2.fillConvexPoly(image, ring, 255, lineType=cv2.LINE_AA, shift=_SHIFT)
