"""What is laid over a drawing: damage, touched things, parts that come off, probes, suspects, jumpers, nets.

Each kind has its own line and hatching, so that it is told apart without colour.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import shapely
from shapely.geometry.base import BaseGeometry

from coppermend.board.draw_copper import tracks_path
from coppermend.board.draw_svg import INK, PAPER, RUST, Frame, attributes, group, number, text
from coppermend.board.model import Board, PinRef
from coppermend.board.packages import body_shape
from coppermend.board.same import Same
from coppermend.errors import UnknownName

OverlayKind = Literal["damage", "touched", "strip", "probe", "suspect", "remedy", "proof", "jumper", "net"]
_WORDS: dict[OverlayKind, str] = {
    "damage": "damage", "touched": "touched by damage", "strip": "comes off", "probe": "probe",
    "suspect": "suspect", "remedy": "changed by a remedy", "proof": "to be proven", "jumper": "jumper", "net": "net",
}  # fmt: skip
# Damage map grades (atrisk): from 112/255 moderate, from 176/255 heavy.
_HATCHES = ((176 / 255, "heavy"), (112 / 255, "moderate"), (0.0, "light"))
_LETTER = 0.58
_SAMPLE_MM, _ROW_MM = 5.0, 5.0
_RING_MM = 0.45  # rings are drawn this far outside the pad


@dataclass(frozen=True)
class Overlay:
    """One thing laid over the drawing.

    Args:
        kind: What it says; it decides the line and the hatching.
        names: Points (``U3.9``, ``V17``), parts or nets that it is about, in order: a probe or a jumper runs
            from each point to the next. A point, part and net of one name are tried in that order.
        shape: Geometry in board mm, for damage or anything without a name; for a jumper the line that its wire
            runs along.
        label: Short text beside it, such as a probe's number.
        severity: 0..1, for the hatching of damage; how likely a suspect is, which shades it (1: outline only).
    """

    kind: OverlayKind
    names: tuple[str, ...] = ()
    shape: BaseGeometry | None = None
    label: str = ""
    severity: float = 1.0


def overlay_layers(board: Board, frame: Frame, prefix: str, overlays: Sequence[Overlay]) -> tuple[str, str]:
    """The group ``overlays``, one ``<g>`` an overlay in the order given, and the group ``labels`` over it.

    Raises:
        UnknownName: If a name is no point, part or net of the board.
    """
    drawn, labels = [], []
    for overlay in overlays:
        picture, spot = _overlay(Same(board), frame, prefix, overlay)
        drawn.append(picture)
        if overlay.label and spot and overlay.kind != "damage":
            labels.append(_badge(spot, overlay.label, overlay.kind))
    style = {"fill": "none", "stroke_linecap": "round", "stroke_linejoin": "round"}
    return group("overlays", prefix, drawn, **style), group("labels", prefix, labels)


def overlay_layer(board: Board, frame: Frame, prefix: str, overlays: Sequence[Overlay]) -> str:
    """The groups ``overlays`` and ``labels`` together, for laying over a drawing that is there already.

    Raises:
        UnknownName: If a name is no point, part or net of the board.
    """
    return "".join(overlay_layers(board, frame, prefix, overlays))


def patterns(prefix: str, kinds: Iterable[OverlayKind]) -> str:
    """The hatchings that ``kinds`` need, as ``<defs>``; "" when they need none."""
    out = []
    if "damage" in kinds:
        out.append(_hatch(f"{prefix}-light", 2.2, 0.2))
        out.append(_hatch(f"{prefix}-moderate", 1.3, 0.26))
        out.append(_hatch(f"{prefix}-heavy", 1.1, 0.28, crossed=True))
    if "touched" in kinds:
        dot = f'<circle cx=".45" cy=".45" r=".22" fill="{RUST}"/>'
        out.append(_pattern(f"{prefix}-dots", 0.9, dot))
    if "proof" in kinds:
        line = f'<path{attributes(stroke=INK, stroke_width=0.16)} d="M0 .6H1.2"/>'
        out.append(_pattern(f"{prefix}-lines", 1.2, line))
    return f"<defs>{''.join(out)}</defs>" if out else ""


def _hatch(name: str, pitch: float, width: float, *, crossed: bool = False) -> str:
    style = attributes(stroke=RUST, stroke_width=width)
    lines = f"M0 0V{number(pitch)}" + (f"M0 0H{number(pitch)}" if crossed else "")
    return _pattern(name, pitch, f'<path{style} d="{lines}"/>', turn="rotate(45)")


def _pattern(name: str, pitch: float, content: str, turn: str = "") -> str:
    place = attributes(
        id=name, width=pitch, height=pitch, patternUnits="userSpaceOnUse", patternTransform=turn
    )
    return f"<pattern{place}>{content}</pattern>"


@lru_cache(maxsize=8192)  # a page is drawn again after each entry, and most of what lies on it stays
def _overlay(
    same: Same[Board], frame: Frame, prefix: str, overlay: Overlay
) -> tuple[str, tuple[float, float] | None]:
    """One overlay drawn, and the first place of what it names, in the picture."""
    board, kind = same.thing, overlay.kind
    style = _styles(prefix, overlay)[kind]
    out = [f"<title>{text(f'{_WORDS[kind]} {overlay.label}'.strip())}</title>"]
    spots: list[tuple[float, float]] = []
    corners = _corners(frame, overlay)
    if overlay.shape is not None and not overlay.shape.is_empty and not corners:
        out += _shape(frame, overlay.shape, style)
        spots.append(_middle(frame, overlay.shape))
    for name in overlay.names:
        drawn, spot = _named(board, frame, overlay, name, style)
        out.append(drawn)
        spots += [spot] if spot else []
    if kind in ("probe", "jumper") and len(corners or spots) > 1:
        out.insert(1, _run(kind, corners or spots))
    names = attributes(
        class_=f"overlay {kind}", data_kind=kind, data_label=overlay.label, data_names=" ".join(overlay.names)
    )
    return f"<g{names}>{''.join(out)}</g>", spots[0] if spots else None


def _corners(frame: Frame, overlay: Overlay) -> list[tuple[float, float]]:
    """The corners of a jumper's wire in the picture, where its run is given as a line; else []."""
    if overlay.kind != "jumper" or not isinstance(overlay.shape, shapely.LineString):
        return []
    return [frame.spot(x, y) for x, y in overlay.shape.coords]


def _styles(prefix: str, overlay: Overlay) -> dict[OverlayKind, str]:
    hatch = next(name for least, name in _HATCHES if overlay.severity >= least or name == "light")
    return {
        "damage": attributes(fill=f"url(#{prefix}-{hatch})", stroke=RUST, stroke_width=0.3),
        "touched": attributes(fill=f"url(#{prefix}-dots)", stroke=RUST, stroke_width=0.4),
        "strip": attributes(stroke=INK, stroke_width=0.6),
        "probe": attributes(stroke=INK, stroke_width=0.35),
        "suspect": attributes(stroke=INK, stroke_width=0.55, stroke_dasharray=".1 1.1") + _shade(overlay),
        "remedy": attributes(stroke=INK, stroke_width=0.6, stroke_dasharray="2.4 1.1"),
        "proof": attributes(fill=f"url(#{prefix}-lines)", stroke=INK, stroke_width=0.4),
        "jumper": attributes(stroke=INK, stroke_width=0.5),
        "net": attributes(stroke=INK, stroke_width=0.7),
    }


def _shade(overlay: Overlay) -> str:
    """How likely a suspect is, as the depth of its shading; a certain one is outlined only.

    By the square root, since most suspects are of a few per cent and must be told apart too.
    """
    depth = 0.08 + 0.52 * overlay.severity**0.5
    return attributes(fill=INK, fill_opacity=round(depth, 3)) if overlay.severity < 1 else ""


def _shape(frame: Frame, shape: BaseGeometry, style: str) -> Iterator[str]:
    if path := frame.path(shape, 0.02):
        yield f'<path{style} fill-rule="evenodd" d="{path}"/>'
    for point in shapely.get_parts(shape):
        if point.geom_type == "Point":
            x, y = frame.spot(point.x, point.y)
            yield f"<circle{style}{attributes(cx=x, cy=y, r=1.0)}/>"


def _middle(frame: Frame, shape: BaseGeometry) -> tuple[float, float]:
    point = shape.representative_point()
    return frame.spot(point.x, point.y)


def _named(
    board: Board, frame: Frame, overlay: Overlay, name: str, style: str
) -> tuple[str, tuple[float, float] | None]:
    """A named thing drawn, and its middle in the picture; nothing for what is known but has no place."""
    index = board.index
    if name in index.vias or PinRef(*_split(name)) in index.pads:
        return _point(board, frame, name, style)
    if name in index.parts:
        return _part(board, frame, name, overlay.kind, style)
    if name in board.nets or index.tracks_of_net[name] or index.areas_of_net[name]:
        return _net(board, frame, name, overlay.kind), None
    if PinRef(*_split(name)) in index.net_of_pin:
        return "", None
    raise UnknownName("point, part or net", name, board.name, "write U3.9, V17, U3 or a net's name")


def _split(name: str) -> tuple[str, str]:
    refdes, _, pin = name.rpartition(".")
    return refdes, pin


def _point(board: Board, frame: Frame, name: str, style: str) -> tuple[str, tuple[float, float]]:
    place = board.index.place(name)
    via, pad = board.index.vias.get(name), board.index.pads.get(PinRef(*_split(name)))
    copper_mm = via.size_mm if via else max(pad.size_mm, pad.height_mm) if pad else 0.0
    x, y = frame.spot(place.x_mm, place.y_mm)
    return f"<circle{style}{attributes(data_point=name, cx=x, cy=y, r=copper_mm / 2 + _RING_MM)}/>", (x, y)


def _part(
    board: Board, frame: Frame, name: str, kind: OverlayKind, style: str
) -> tuple[str, tuple[float, float] | None]:
    shape = body_shape(board, board.index.parts[name])
    if shape.is_empty:
        return "", None
    path = frame.path(shape, 0.01)
    if kind == "strip":
        a, b, c, d = shape.minimum_rotated_rectangle.exterior.coords[:4]
        path += frame.path(shapely.MultiLineString([[a, c], [b, d]]))
    return f"<path{style}{attributes(data_refdes=name, d=path)}/>", _middle(frame, shape)


def _net(board: Board, frame: Frame, name: str, kind: OverlayKind) -> str:
    """The copper of a net again, thicker, over a halo: this side's tracks whole, the other side's dashed."""
    index, colour = board.index, RUST if kind in ("damage", "touched", "strip") else INK
    out = []
    for layer in ("bottom", "top"):
        tracks = [t for t in index.tracks_of_net[name] if t.layer == layer]
        if tracks:
            path, width = tracks_path(frame, tracks), max(t.width_mm for t in tracks)
            dash = "" if layer == frame.side else "1.2 1.1"
            out.append(f"<path{attributes(stroke=PAPER, stroke_width=width + 0.9, d=path)}/>")
            out.append(
                f"<path{attributes(stroke=colour, stroke_width=width + 0.25, stroke_dasharray=dash, d=path)}/>"
            )
    spots = [(p.x_mm, p.y_mm, max(p.size_mm, p.height_mm)) for p in index.pads_of_net[name]]
    spots += [(v.x_mm, v.y_mm, v.size_mm) for v in index.vias_of_net[name]]
    for x_mm, y_mm, size_mm in spots:
        x, y = frame.spot(x_mm, y_mm)
        out.append(
            f"<circle{attributes(stroke=colour, stroke_width=0.35, cx=x, cy=y, r=size_mm / 2 + 0.3)}/>"
        )
    return f"<g{attributes(data_net=name)}>{''.join(out)}</g>"


def _run(kind: OverlayKind, spots: Sequence[tuple[float, float]]) -> str:
    """The line of a probe (dashed) or a jumper (a wire with a light core)."""
    path = "M" + " ".join(f"{number(x)} {number(y)}" for x, y in spots)
    if kind == "probe":
        halo = f"<path{attributes(stroke=PAPER, stroke_width=0.8, d=path)}/>"
        return halo + f"<path{attributes(stroke=INK, stroke_width=0.35, stroke_dasharray='1.6 1', d=path)}/>"
    wire = f"<path{attributes(stroke=INK, stroke_width=1.1, d=path)}/>"
    return wire + f"<path{attributes(stroke=PAPER, stroke_width=0.5, d=path)}/>"


def _badge(spot: tuple[float, float], label: str, kind: OverlayKind) -> str:
    """A label on a small plate: up and right of its spot; for suspects solid and to the left, so that the probe on a
    suspect does not cover it.
    """
    size = 2.2
    solid = kind == "suspect"
    width, y = _LETTER * size * len(label) + 1.4, spot[1] - 1.4 - size
    x = spot[0] - 1.4 - width if solid else spot[0] + 1.4
    plate = attributes(
        x=x,
        y=y,
        width=width,
        height=size + 0.9,
        rx=0.5,
        fill=INK if solid else PAPER,
        stroke=INK,
        stroke_width=0.2,
    )
    letters = attributes(
        x=x + width / 2, y=y + size * 0.98, font_size=size, text_anchor="middle", font_weight="600",
        fill=PAPER if solid else INK,
    )  # fmt: skip
    return f"<rect{plate}/><text{letters}>{text(label)}</text>"


def legend(prefix: str, overlays: Sequence[Overlay], y: float, width: float) -> tuple[str, float]:
    """Samples with their words for the kinds that ``overlays`` use, in rows, and the height they take [mm].

    Args:
        prefix: Start of the hatchings' ids.
        overlays: What is on the drawing.
        y: Base line of the first row [mm].
        width: Width that a row may have [mm].
    """
    out, x, row = [], 0.0, 0
    for sample in _samples(overlays):
        words = sample.label or _WORDS[sample.kind]
        needed = _SAMPLE_MM + 1.2 + _LETTER * 2.6 * len(words)
        if x and x + needed > width:
            x, row = 0.0, row + 1
        base = y + row * _ROW_MM
        out.append(_sample(_styles(prefix, sample)[sample.kind], sample.kind, x, base - 2.3))
        place = attributes(x=x + _SAMPLE_MM + 1.2, y=base, font_size=2.6, fill=INK)
        out.append(f"<text{place}>{text(words)}</text>")
        x += needed + 3
    return group("legend", prefix, out, fill="none"), (row + 1) * _ROW_MM


def _sample(style: str, kind: OverlayKind, x: float, y: float) -> str:
    """A sample of one kind, its upper left corner at (x, y) [mm]."""
    middle = y + 1.3
    ends = [(x + 0.8, middle), (x + _SAMPLE_MM - 0.8, middle)]
    if kind in ("probe", "jumper"):
        rings = (f"<circle{style}{attributes(cx=a, cy=b, r=0.8)}/>" for a, b in ends)
        return _run(kind, ends) + "".join(rings)
    if kind == "net":
        return f"<path{style}{attributes(d=f'M{number(x)} {number(middle)}h{number(_SAMPLE_MM)}')}/>"
    cross = f"M{number(x)} {number(y)}l5 2.6m0 -2.6l-5 2.6"
    box = f"<rect{style}{attributes(x=x, y=y, width=_SAMPLE_MM, height=2.6)}/>"
    return box + (f"<path{style}{attributes(d=cross)}/>" if kind == "strip" else "")


def _samples(overlays: Sequence[Overlay]) -> Iterator[Overlay]:
    used = {overlay.kind for overlay in overlays}
    for kind in _WORDS:
        if kind == "damage" and kind in used:
            for least, name in reversed(_HATCHES):
                yield Overlay("damage", label=f"{name} damage", severity=least)
        elif kind in used:
            yield Overlay(kind)
