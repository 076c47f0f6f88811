"""Copper as SVG: areas, tracks, vias and pads of one side, the other side's tracks faintly behind."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from coppermend.board.draw_svg import (
    COPPER,
    FAR,
    INK,
    SHEET,
    TINT,
    Frame,
    attributes,
    group,
    number,
)
from coppermend.board.model import Board, Layer, Pad, Track
from coppermend.board.space import area_shape

_DETAIL_MM = 0.02


def copper_layers(board: Board, frame: Frame, prefix: str) -> list[str]:
    """The groups ``areas``, the far and the near ``copper-...`` and ``vias``, back to front."""
    near: Layer = frame.side
    far: Layer = "bottom" if near == "top" else "top"
    return [
        group("areas", prefix, _areas(board, frame), fill_rule="evenodd"),
        _copper(board, frame, prefix, far, FAR),
        _copper(board, frame, prefix, near, COPPER),
        group("vias", prefix, _vias(board, frame), fill=COPPER),
    ]


def pad_layer(board: Board, frame: Frame, prefix: str) -> str:
    """The group ``pads``: pads that this side shows, by part, and all their holes in one path."""
    content = []
    for refdes, pads in board.index.pads_of_part.items():
        shown = [pad for pad in pads if pad.side in (frame.side, "both")]
        if shown:
            drawn = (_pad(board, pad, frame) for pad in shown)
            content.append(f"<g{attributes(data_refdes=refdes)}>{''.join(drawn)}</g>")
    holes = _discs(frame, ((p.x_mm, p.y_mm, p.hole_mm) for p in board.pads if p.hole_mm))
    return group("pads", prefix, [*content, f'<path fill="{SHEET}" d="{holes}"/>'], fill=INK)


def _areas(board: Board, frame: Frame) -> Iterator[str]:
    """Areas of the far side as an edge only; those of this side on top of them, tinted."""
    for area in sorted(board.areas, key=lambda a: a.layer == frame.side):
        near = area.layer == frame.side
        style = {"fill": TINT} if near else {"fill": "none", "stroke": FAR, "stroke_width": 0.1}
        path = frame.path(area_shape(area), _DETAIL_MM)
        yield f"<path{attributes(data_net=area.net, data_layer=area.layer, **style, d=path)}/>"


def _copper(board: Board, frame: Frame, prefix: str, layer: Layer, colour: str) -> str:
    style = {"fill": "none", "stroke": colour, "stroke_linecap": "round", "stroke_linejoin": "round"}
    return group(f"copper-{layer}", prefix, _tracks(board, frame, layer), **style)


def _tracks(board: Board, frame: Frame, layer: Layer) -> Iterator[str]:
    """One path for all tracks of a net of one width."""
    for net, tracks in board.index.tracks_of_net.items():
        by_width: dict[float, list[Track]] = {}
        for track in tracks:
            if track.layer == layer:
                by_width.setdefault(track.width_mm, []).append(track)
        for width, same in by_width.items():
            yield f"<path{attributes(data_net=net, stroke_width=max(width, 0.1), d=tracks_path(frame, same))}/>"


def tracks_path(frame: Frame, tracks: Iterable[Track]) -> str:
    """The ``d`` of many tracks; one that starts where the last ended goes on from there."""
    out: list[str] = []
    end = None
    for t in tracks:
        if end != (t.x1_mm, t.y1_mm):
            x, y = frame.spot(t.x1_mm, t.y1_mm)
            out.append(f"M{number(x)} {number(y)}")
        x, y = frame.spot(t.x2_mm, t.y2_mm)
        out.append(f" {number(x)} {number(y)}")
        end = (t.x2_mm, t.y2_mm)
    return "".join(out)


def _discs(frame: Frame, discs: Iterable[tuple[float, float, float]]) -> str:
    """The ``d`` of many discs, given as (x, y, diameter) on the board [mm]."""
    out = []
    for x_mm, y_mm, diameter in discs:
        x, y = frame.spot(x_mm, y_mm)
        r, d = number(diameter / 2), number(diameter)
        out.append(f"M{number(x - diameter / 2)} {number(y)}a{r} {r} 0 1 0 {d} 0a{r} {r} 0 1 0 -{d} 0")
    return "".join(out)


def _vias(board: Board, frame: Frame) -> Iterator[str]:
    for via in board.vias:
        x, y = frame.spot(via.x_mm, via.y_mm)
        names = attributes(data_point=via.name, data_net=via.net)
        yield f"<circle{names}{attributes(cx=x, cy=y, r=via.size_mm / 2)}/>"
    holes = _discs(frame, ((v.x_mm, v.y_mm, v.hole_mm) for v in board.vias if v.hole_mm))
    yield f'<path fill="{SHEET}" d="{holes}"/>'


def _pad(board: Board, pad: Pad, frame: Frame) -> str:
    names = attributes(data_point=str(pad.ref), data_net=board.index.net_of_pin.get(pad.ref, ""))
    x, y = frame.spot(pad.x_mm, pad.y_mm)
    width, height = pad.size_mm, pad.height_mm
    if pad.round and width == height:
        return f"<circle{names}{attributes(cx=x, cy=y, r=width / 2)}/>"
    place = attributes(x=x - width / 2, y=y - height / 2, width=width, height=height)
    return f"<rect{names}{place}{attributes(rx=min(width, height) / 2) if pad.round else ''}/>"
