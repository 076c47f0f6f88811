"""A board as SVG: one side, as seen from that side, with what is laid over it. Draws; decides nothing.

The picture is a sheet in millimetres: board, copper, pads, bodies, names, overlays, each a group of class
``layer`` that a page can show and hide. Names stand in ``data-refdes``, ``data-net`` and ``data-point``.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from coppermend.board.draw_copper import copper_layers, pad_layer
from coppermend.board.draw_names import refdes_layer
from coppermend.board.draw_overlays import Overlay, OverlayKind, legend, overlay_layers, patterns
from coppermend.board.draw_parts import body_layer, part_bodies, pin_one_layer
from coppermend.board.draw_svg import FONT, INK, SHEET, Frame, attributes, group, number, text
from coppermend.board.model import Board, Layer
from coppermend.board.parttypes import PartLibrary
from coppermend.board.space import board_shape
from coppermend.errors import InputError

__all__ = ["Overlay", "OverlayKind", "draw_board", "sheet_box"]

_MARGIN_MM = 3.0
_CAPTION_MM = 7.0


Box = tuple[float, float, float, float]  # left, top, width, height in the picture [mm]


def draw_board(
    board: Board,
    *,
    side: Layer = "top",
    overlays: Sequence[Overlay] = (),
    library: PartLibrary | None = None,
    prefix: str = "board",
    caption: bool = True,
    show_legend: bool = False,
    window: tuple[float, float, float, float] | None = None,
) -> str:
    """One side of a board as an SVG document.

    Args:
        board: The board; pads are drawn as far as it has any.
        side: The side that is looked at; the bottom is mirrored, as it is when the board is turned over.
        overlays: What is laid over it, in order.
        library: Part types, to mark pin 1 of two-lead parts that must not be turned round.
        prefix: Start of every id, so that several drawings fit on one page: a letter, then letters,
            digits, ``-`` or ``_``.
        caption: Whether name, side and a scale stand below the board.
        show_legend: Whether the kinds of overlays are explained below the board.
        window: Left, bottom, right, top of the part that is shown [mm], for a close-up; it has no caption
            and no legend. None shows the whole side.

    Returns:
        Well-formed XML with a view box in mm; groups ``outline``, ``areas``, ``copper-top``,
        ``copper-bottom``, ``vias``, ``bodies``, ``pads``, ``pin-1``, ``overlays``, ``refdes``, ``labels`` and, when
        asked for, ``caption`` and ``legend``.

    Raises:
        InputError: If ``prefix`` cannot start an id.
        UnknownName: If an overlay names what the board does not have.
    """
    if not re.fullmatch(r"[A-Za-z][\w-]*", prefix, re.ASCII):
        raise InputError(f"{prefix!r} cannot start an id", expected="a letter, then letters, digits, - or _")
    frame, bodies = Frame.of(board, side), part_bodies(board)
    drawn, labels = overlay_layers(board, frame, prefix, overlays)
    content = [
        patterns(prefix, {overlay.kind for overlay in overlays}),
        _outline(board, frame, prefix),
        *copper_layers(board, frame, prefix),
        body_layer(board, frame, prefix, bodies),
        pad_layer(board, frame, prefix),
        pin_one_layer(board, frame, prefix, bodies, library),
        drawn,
        refdes_layer(board, frame, prefix, bodies),  # over the overlays, so that names stay legible
        labels,
    ]
    title = f"{board.name}, {side} side"
    if window:
        return _document(_window_box(frame, window), frame, prefix, title, content)
    below = frame.height_mm + 1.0
    if caption:
        content.append(_caption(board, frame, prefix, below + 4.0))
        below += _CAPTION_MM
    if show_legend:
        samples, taken = legend(prefix, overlays, below + 3.5, frame.width_mm)
        content.append(samples)
        below += taken
    return _document(_sheet_box(frame, below), frame, prefix, title, content)


def sheet_box(frame: Frame) -> Box:
    """The view box of a side drawn with its caption and no legend: left, top, width, height in the picture [mm].

    For those who lay something over a drawing that another request fetches.
    """
    return _sheet_box(frame, frame.height_mm + 1.0 + _CAPTION_MM)


def _sheet_box(frame: Frame, below_mm: float) -> Box:
    """The box that holds a whole side and what reaches to ``below_mm`` under its upper edge."""
    height = _MARGIN_MM + max(below_mm, frame.height_mm + _MARGIN_MM)
    return -_MARGIN_MM, -_MARGIN_MM, frame.width_mm + 2 * _MARGIN_MM, height


def _window_box(frame: Frame, window: tuple[float, float, float, float]) -> Box:
    (x1, y1), (x2, y2) = frame.spot(window[0], window[3]), frame.spot(window[2], window[1])
    return min(x1, x2), min(y1, y2), abs(x2 - x1), abs(y2 - y1)


def _document(box: Box, frame: Frame, prefix: str, title: str, content: Sequence[str]) -> str:
    width, height = box[2:]
    head = attributes(
        xmlns="http://www.w3.org/2000/svg", viewBox=" ".join(map(number, box)), width=f"{number(width)}mm", height=f"{number(height)}mm",
        class_="board-drawing", id=prefix, role="img", data_side=frame.side, data_left_mm=frame.left_mm,
        data_bottom_mm=frame.bottom_mm, data_width_mm=frame.width_mm, data_height_mm=frame.height_mm,
        font_family=FONT,
    )  # fmt: skip
    return f"<svg{head}><title>{text(title)}</title>{''.join(content)}</svg>\n"


def _outline(board: Board, frame: Frame, prefix: str) -> str:
    path = frame.path(board_shape(board))
    style = attributes(fill=SHEET, stroke=INK, stroke_width=0.35, stroke_linejoin="round", d=path)
    return group("outline", prefix, [f"<path{style}/>"])


def _caption(board: Board, frame: Frame, prefix: str, y: float) -> str:
    """Board, revision and side at the left; a scale of 10 mm at the right."""
    seen = "top side" if frame.side == "top" else "bottom side, as seen from below"
    words = " · ".join(filter(None, (board.name, board.revision and f"revision {board.revision}", seen)))
    right = frame.width_mm
    ticks = f"M{number(right - 10)} {number(y - 1.6)}v1.6h10v-1.6"
    scale = f'<path fill="none" stroke="{INK}" stroke-width=".2" d="{ticks}"/>'
    tell = attributes(x=right - 11.2, y=y, text_anchor="end")
    lines = [f"<text{attributes(x=0.0, y=y)}>{text(words)}</text>", f"<text{tell}>10 mm</text>", scale]
    return group("caption", prefix, lines, fill=INK, font_size=2.8)
