"""Small pieces of SVG: safe text, short numbers, paths from geometry, and the frame a side is seen in."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from xml.sax.saxutils import escape

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from coppermend.board.model import Board, Layer
from coppermend.board.space import board_shape

Coordinates = NDArray[np.float64]
# Characters outside the Char production of XML 1.0 (fifth edition, section 2.2) cannot be written at all.
_NO_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_IN_QUOTES = {'"': "&quot;", "\n": "&#10;", "\r": "&#13;", "\t": "&#9;"}
_PLAIN = re.compile(r"[ !#-%'-;=?-~]*")  # printable ASCII that needs no escape: nearly all there is to write

# A printed sheet in one ink on paper, and a rust that tells damage and work from the drawing. States differ by
# hatching and line, so that a grey print and a colour-blind eye lose nothing.
PAPER, SHEET, INK, COPPER, FAR, TINT, RUST = (
    "#fffefa", "#f4efe2", "#23211d", "#6f675a", "#b9ad95", "#ebe4d2", "#9a3412",
)  # fmt: skip
FONT = "Source Sans Pro, Liberation Sans, Arial, sans-serif"


def text(value: str) -> str:
    """``value`` as XML character data."""
    return escape(_NO_XML.sub("\ufffd", value))


def attributes(**values: str | float) -> str:
    """Attributes with a leading blank each: ``data_net`` becomes ``data-net``; "" is left out.

    >>> attributes(data_net='A"B', r=0.5, fill="")
    ' data-net="A&quot;B" r=".5"'
    """
    written = ((name, value if isinstance(value, str) else number(value)) for name, value in values.items())
    return "".join(f' {_hyphened(name)}="{_in_quotes(value)}"' for name, value in written if value)


@lru_cache(maxsize=256)
def _hyphened(name: str) -> str:
    return name.rstrip("_").replace("_", "-")


def _in_quotes(value: str) -> str:
    return value if _PLAIN.fullmatch(value) else escape(_NO_XML.sub("\ufffd", value), _IN_QUOTES)


# Boards lie on grids, so a few thousand lengths make up a drawing of a hundred thousand.
@lru_cache(maxsize=1 << 15)
def number(value: float) -> str:
    """A length rounded to 0.01 mm, as short as SVG allows.

    >>> number(0.5), number(-0.25), number(3.0), number(-0.001)
    ('.5', '-.25', '3', '0')
    """
    short = f"{value:.2f}".rstrip("0").rstrip(".")
    if short in ("-0", "0"):
        return "0"
    return short.replace("0.", ".", 1) if short.startswith(("0.", "-0.")) else short


def group(layer: str, prefix: str, content: Iterable[str], **style: str | float) -> str:
    """A ``<g>`` that a page can show and hide: class ``layer NAME``, id ``PREFIX-NAME``."""
    head = attributes(class_=f"layer {layer}", id=f"{prefix}-{layer}", **style)
    return f"<g{head}>{''.join(content)}</g>"


def points_path(rows: Coordinates) -> str:
    """``M`` and the points after it."""
    return "M" + " ".join(f"{number(x)} {number(y)}" for x, y in rows.tolist())


@dataclass(frozen=True, slots=True)
class Frame:
    """How board millimetres become picture millimetres: y down, and x mirrored for the bottom."""

    left_mm: float
    bottom_mm: float
    right_mm: float
    top_mm: float
    side: Layer = "top"

    @classmethod
    def of(cls, board: Board, side: Layer) -> Frame:
        """The frame of one side of a board."""
        left, bottom, right, top = board_shape(board).bounds
        return cls(left, bottom, right, top, side)

    @property
    def width_mm(self) -> float:
        """Width of the board [mm]."""
        return self.right_mm - self.left_mm

    @property
    def height_mm(self) -> float:
        """Height of the board [mm]."""
        return self.top_mm - self.bottom_mm

    def rows(self, coordinates: Coordinates) -> Coordinates:
        """(n, 2) board coordinates [mm] as (n, 2) picture coordinates [mm]."""
        x = coordinates[:, 0]
        across = self.right_mm - x if self.side == "bottom" else x - self.left_mm
        return np.column_stack([across, self.top_mm - coordinates[:, 1]])

    def spot(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """One point of the board in the picture [mm]."""
        across = self.right_mm - x_mm if self.side == "bottom" else x_mm - self.left_mm
        return float(across), float(self.top_mm - y_mm)

    def path(self, shape: BaseGeometry, detail_mm: float = 0.0) -> str:
        """The ``d`` of a geometry: rings are closed, lines are open, points are left out.

        Args:
            shape: Geometry in board mm.
            detail_mm: Corners that stand out less than this are left out [mm].
        """
        drawn = shapely.simplify(shape, detail_mm) if detail_mm else shape
        out = []
        for piece in _pieces(drawn):
            if piece.geom_type == "Polygon":
                for ring in (piece.exterior, *piece.interiors):
                    out.append(points_path(self.rows(shapely.get_coordinates(ring)[:-1])) + "Z")
            elif piece.geom_type in ("LineString", "LinearRing"):
                out.append(points_path(self.rows(shapely.get_coordinates(piece))))
        return "".join(out)


def _pieces(shape: BaseGeometry) -> list[BaseGeometry]:
    """The single geometries in a geometry, collections within collections included; empty ones left out."""
    if hasattr(shape, "geoms"):
        return [single for part in shape.geoms for single in _pieces(part)]
    return [] if shape.is_empty else [shape]
