"""Packages by name: where pads, body and top of a part are, computed. No electrical meaning of any pin.

A package is drawn in its own frame: pin 1 at the origin, rotation 0, seen from the top, y up. A part on the
bottom side is mirrored left to right first, then turned counter-clockwise as seen from the top.

    DIP-n[-300|-400|-600]          dual in-line; without a width: 300 mil to 20 pins, 400 mil at 22, else 600 mil
    SW-DIP-n  RNET-DIP-n           switch bank and resistor network in a dual in-line body
    SIP-n  HDR-1xn[-p]             pin 1 at the top, the rest downward; p is the pitch in mm (2.54)
    HDR-2xn[-p]                    odd pins down the left, even pins down the right
    EDGE-n[x2][-p]                 fingers along a board edge that lies below them, pin 1 left; x2: pins
                                   n+1 to 2n lie behind 1 to n on the other side; p is 3.96 unless given
    AXIAL-p  RADIAL-p  RADIAL-POL-p  DISC-p  [-Dd]     two leads p mm apart; d is the body's diameter in mm
    TO-92  TO-18  TO-39  TO-220[-n]  TO-3  TRIM-3      three leads (n leads for TO-220)
    HC-49  HC-18  LED-d  FUSE-20  BAT-BARREL  BAT-COIN  SW-PUSH[-4]  TP  HOLE-d
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import lru_cache

import shapely
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from coppermend.board.model import Board, Pad, PadSide, Part

_INCH = 25.4
_SOCKET_MM = 4.5  # common practice, no source: what a dual in-line socket adds to the height
_MARGIN_MM = 1.0  # body of a part that is known by its pads only


@dataclass(frozen=True, slots=True)
class _LocalPad:
    pin: str
    x: float
    y: float
    hole: float = 0.9
    width: float = 1.8
    height: float = 1.8
    round: bool = True
    side: PadSide = "both"


@dataclass(frozen=True, slots=True)
class _Shape:
    """A package in its own frame."""

    pads: tuple[_LocalPad, ...]
    body: BaseGeometry
    height_mm: float


def _row(pins: Iterable[int | str], dx: float, dy: float, **pad: float) -> tuple[_LocalPad, ...]:
    """Pads one step apart from the origin on; the first is square, as boards mark pin 1."""
    return tuple(
        _LocalPad(str(pin), i * dx, i * dy, round=i > 0, **pad)  # type: ignore[arg-type]
        for i, pin in enumerate(pins)
    )


def _dip(count: int, width_mil: int | None, height_mm: float = 4.6) -> _Shape | None:
    """JEDEC MS-001 (300 mil) and MS-011 (600 mil), from memory: 2.54 mm pitch, rows 7.62/10.16/15.24 mm apart."""
    if count < 4 or count % 2:
        return None
    mil = width_mil or (300 if count <= 20 else 400 if count == 22 else 600)
    row, half = mil * _INCH / 1000, count // 2
    lead = {"hole": 0.8, "width": 1.6, "height": 1.6}
    left = _row(range(1, half + 1), 0, -2.54, **lead)
    right = tuple(
        _LocalPad(str(half + 1 + i), row, -2.54 * (half - 1 - i), **lead)  # type: ignore[arg-type]
        for i in range(half)
    )
    inset = 0.6 if mil == 300 else 0.8
    bottom = -2.54 * (half - 1)
    return _Shape(left + right, shapely.box(inset, bottom - 1.3, row - inset, 1.3), height_mm)


def _single_row(count: int, pitch: float, width: float, height_mm: float) -> _Shape:
    pads = _row(
        range(1, count + 1),
        0,
        -pitch,
        hole=1.0 if pitch < 3 else 1.6,
        width=_land(pitch),
        height=_land(pitch),
    )
    end = -pitch * (count - 1) - pitch / 2
    return _Shape(pads, shapely.box(-width / 2, end, width / 2, pitch / 2), height_mm)


def _land(pitch: float) -> float:
    """Pad diameter of a connector pin [mm]: 1.7 at 2.54 mm pitch, 2.6 at 3.96 mm (common practice, no source)."""
    return 1.7 if pitch < 3 else 2.6


def _double_row(count: int, pitch: float) -> _Shape:
    land, hole = _land(pitch), 1.0 if pitch < 3 else 1.6
    pads = tuple(
        _LocalPad(str(2 * i + 1 + j), j * pitch, -i * pitch, hole, land, land, round=(i, j) != (0, 0))
        for i in range(count)
        for j in (0, 1)
    )
    end = -pitch * (count - 1) - pitch / 2
    return _Shape(pads, shapely.box(-pitch / 2, end, 1.5 * pitch, pitch / 2), 8.5)


def _edge(count: int, both: bool, pitch: float) -> _Shape:
    """Fingers 8 mm long, 0.6 of the pitch wide, in one or both sides' copper (common practice, no source)."""
    width, length = round(0.6 * pitch, 2), 8.0
    front = tuple(
        _LocalPad(str(i + 1), i * pitch, 0, 0, width, length, round=False, side="top") for i in range(count)
    )
    back = tuple(replace(p, pin=str(count + int(p.pin)), side="bottom") for p in front) if both else ()
    box = shapely.box(-pitch / 2, -length / 2, (count - 0.5) * pitch, length / 2)
    return _Shape(front + back, box, 1.6)


def _axial(pitch: float, diameter: float | None) -> _Shape:
    """Lying between its leads; the body ends about 1.9 mm from each hole (common practice, no source)."""
    thick = diameter or (2.5 if pitch <= 12.7 else 0.3 * pitch)
    length = max(pitch - 3.8, 0.4 * pitch)
    start = (pitch - length) / 2
    body = shapely.box(start, -thick / 2, start + length, thick / 2)
    return _Shape(_row((1, 2), pitch, 0), body, thick + 0.3)


def _radial(pitch: float, diameter: float | None) -> _Shape:
    """A can standing on two leads: 2 x pitch wide, IEC 60384 can sizes from memory (5 mm pitch: 10 mm can)."""
    wide = diameter or 2.0 * pitch
    return _Shape(_row((1, 2), pitch, 0), shapely.Point(pitch / 2, 0).buffer(wide / 2), 1.3 * wide)


def _disc(pitch: float, diameter: float | None) -> _Shape:
    wide = diameter or pitch + 2.0
    return _Shape(
        _row((1, 2), pitch, 0), shapely.box((pitch - wide) / 2, -1.25, (pitch + wide) / 2, 1.25), wide + 1.0
    )


def _to92() -> _Shape:
    """JEDEC TO-226AA body, from memory: 5.2 mm; leads spread to 2.54 mm as boards of the time had them."""
    body = shapely.Point(2.54, 0).buffer(2.6).intersection(shapely.box(-1, -1.6, 6, 3))
    return _Shape(_row((1, 2, 3), 2.54, 0, hole=0.8, width=1.7, height=1.7), body, 7.0)


def _can(pitch_circle: float, diameter: float, height_mm: float) -> _Shape:
    """Three leads on a circle, 90 degrees apart, of a metal can."""
    r = pitch_circle / 2
    land = 1.4 if pitch_circle < 3 else 1.7
    lead = {"hole": 0.7, "width": land, "height": land}
    pads = (
        _LocalPad("1", 0, 0, **lead),  # type: ignore[arg-type]
        _LocalPad("2", r, r, **lead),  # type: ignore[arg-type]
        _LocalPad("3", 2 * r, 0, **lead),  # type: ignore[arg-type]
    )
    return _Shape(pads, shapely.Point(r, 0).buffer(diameter / 2), height_mm)


def _to220(count: int) -> _Shape:
    """JEDEC TO-220, from memory: leads at 2.54 mm, body 10.2 x 4.6 mm, standing, the tab behind the leads."""
    pitch = 5.08 if count == 2 else 2.54 if count == 3 else 1.7
    middle = pitch * (count - 1) / 2
    pads = _row(
        range(1, count + 1),
        pitch,
        0,
        hole=1.1 if pitch > 2 else 0.9,
        width=1.9 if pitch > 2 else 1.3,
        height=1.9 if pitch > 2 else 1.3,
    )
    return _Shape(pads, shapely.box(middle - 5.1, -1.6, middle + 5.1, 3.0), 19.0)


def _to3() -> _Shape:
    """JEDEC TO-3, from memory: pins 10.92 mm apart, 1.8 mm off centre; screws 30.15 mm apart carry pin 3, the case."""
    screw = {"hole": 4.0, "width": 7.0, "height": 7.0}
    pads = (
        _LocalPad("1", 0, 0, 1.5, 3.2, 3.2, round=False),
        _LocalPad("2", 10.92, 0, 1.5, 3.2, 3.2),
        _LocalPad("3", 5.46 - 15.07, -1.8, **screw),  # type: ignore[arg-type]
        _LocalPad("3", 5.46 + 15.07, -1.8, **screw),  # type: ignore[arg-type]
    )
    ends = shapely.MultiPoint([(5.46 - 15.07, -1.8), (5.46 + 15.07, -1.8)]).buffer(4.5)
    return _Shape(pads, shapely.union_all([ends, shapely.Point(5.46, -1.8).buffer(13)]).convex_hull, 12.0)


def _trimmer() -> _Shape:
    pads = (
        _LocalPad("1", 0, 0, round=False),
        _LocalPad("2", 2.54, 2.54),
        _LocalPad("3", 5.08, 0),
    )
    return _Shape(pads, shapely.box(-2.2, -2.2, 7.3, 4.8), 6.0)


def _crystal(pitch: float, length: float, height_mm: float) -> _Shape:
    body = shapely.box(pitch / 2 - length / 2, -2.3, pitch / 2 + length / 2, 2.3).buffer(0)
    return _Shape(_row((1, 2), pitch, 0, hole=0.8, width=1.6, height=1.6), body, height_mm)


def _led(diameter: float) -> _Shape:
    return _Shape(
        _row((1, 2), 2.54, 0, hole=0.8, width=1.7, height=1.7),
        shapely.Point(1.27, 0).buffer(diameter / 2 + 0.4),
        diameter + 4.0,
    )


def _fuse() -> _Shape:
    """Clips for a 5 x 20 mm fuse link (IEC 60127 size), 22.5 mm apart (common practice, no source)."""
    pads = _row((1, 2), 22.5, 0, hole=1.4, width=3.0, height=3.0)
    return _Shape(pads, shapely.box(-2.5, -3.0, 25.0, 3.0), 9.0)


def _battery_barrel() -> _Shape:
    """Three button cells stacked in a shrink sleeve, lying; own drawing of a common size (no source)."""
    pads = _row((1, 2), 20.32, 0, hole=1.3, width=2.8, height=2.8)
    return _Shape(pads, shapely.box(-2.2, -8.0, 22.5, 8.0), 17.0)


def _battery_coin() -> _Shape:
    """Holder for a 20 mm coin cell (IEC 60086 size 2032), pins 20.32 mm apart (common practice, no source)."""
    pads = _row((1, 2), 20.32, 0, hole=1.3, width=2.4, height=2.4)
    return _Shape(pads, shapely.Point(10.16, 0).buffer(11.5), 6.0)


def _push(pins: int) -> _Shape:
    if pins == 2:
        return _Shape(_row((1, 2), 5.08, 0, hole=1.0), shapely.box(-1.0, -3.5, 6.08, 3.5), 7.0)
    pads = (
        _LocalPad("1", 0, 0, 1.0, round=False),
        _LocalPad("2", 6.5, 0, 1.0),
        _LocalPad("3", 0, -4.5, 1.0),
        _LocalPad("4", 6.5, -4.5, 1.0),
    )
    return _Shape(pads, shapely.box(0.25, -5.25, 6.25, 0.75), 5.0)


def _test_point() -> _Shape:
    pads = (_LocalPad("1", 0, 0, 1.0, 2.0, 2.0),)
    return _Shape(pads, shapely.Point(0, 0).buffer(1.0), 3.0)


def _hole(diameter: float) -> _Shape:
    return _Shape((), shapely.Point(0, 0).buffer(diameter / 2), 0.0)


_NUMBER = r"(\d+(?:\.\d+)?)"
_BODY = rf"(?:-D{_NUMBER})?"
_Maker = Callable[..., _Shape | None]


def _optional(text: str | None) -> float | None:
    return float(text) if text else None


_GRAMMAR: tuple[tuple[re.Pattern[str], _Maker], ...] = tuple(
    (re.compile(pattern), make)
    for pattern, make in (
        (r"(?:RNET-)?DIP-(\d+)(?:-(300|400|600))?", lambda n, mil: _dip(int(n), int(mil) if mil else None)),
        (r"SW-DIP-(\d+)", lambda n: _dip(2 * int(n), 300, 7.0)),
        (r"SIP-(\d+)", lambda n: _single_row(int(n), 2.54, 2.5, 5.5)),
        (rf"HDR-1X(\d+)(?:-{_NUMBER})?", lambda n, p: _single_row(int(n), _optional(p) or 2.54, 2.5, 8.5)),
        (rf"HDR-2X(\d+)(?:-{_NUMBER})?", lambda n, p: _double_row(int(n), _optional(p) or 2.54)),
        (
            rf"EDGE-(\d+)(X[12])?(?:-{_NUMBER})?",
            lambda n, s, p: _edge(int(n), s == "X2", _optional(p) or 3.96),
        ),
        (rf"AXIAL-{_NUMBER}{_BODY}", lambda p, d: _axial(float(p), _optional(d))),
        (rf"RADIAL(?:-POL)?-{_NUMBER}{_BODY}", lambda p, d: _radial(float(p), _optional(d))),
        (rf"DISC-{_NUMBER}{_BODY}", lambda p, d: _disc(float(p), _optional(d))),
        (r"TO-92", _to92),
        (r"TO-18", lambda: _can(2.54, 5.6, 5.3)),
        (r"TO-(?:5|39)", lambda: _can(5.08, 9.2, 6.6)),
        (r"TO-220(?:-([235]))?", lambda n: _to220(int(n or 3))),
        (r"TO-3", _to3),
        (r"TRIM-3", _trimmer),
        (r"HC-49(?:/?U)?", lambda: _crystal(5.08, 11.0, 13.5)),
        (r"HC-18(?:/?U)?", lambda: _crystal(5.08, 11.0, 13.5)),
        (rf"LED-{_NUMBER}", lambda d: _led(float(d))),
        (r"FUSE-20", _fuse),
        (r"BAT-BARREL", _battery_barrel),
        (r"BAT-COIN", _battery_coin),
        (r"SW-PUSH(?:-([24]))?", lambda n: _push(int(n or 2))),
        (r"TP", _test_point),
        (rf"HOLE-{_NUMBER}", lambda d: _hole(float(d))),
    )
)


@lru_cache(maxsize=512)
def _shape_of(package: str) -> _Shape | None:
    """The package called ``package`` (case ignored), or None when the name says nothing to us."""
    name = package.strip().upper()
    for pattern, make in _GRAMMAR:
        # A thousand pins and a metre of lead are beyond any package: refuse rather than compute them.
        if (match := pattern.fullmatch(name)) and all(0 < float(n) <= 600 for n in re.findall(_NUMBER, name)):
            return make(*match.groups())
    return None


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
    shape = _shape_of(part.package)
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
    shape = _shape_of(part.package)
    if shape is None:
        return 0.0
    return shape.height_mm + (_SOCKET_MM if part.socketed else 0.0)


def body_shape(board: Board, part: Part) -> BaseGeometry:
    """The area that the body of ``part`` covers on the board [mm].

    From its package where known; else the box around the part's pads, grown by 1 mm; else empty.
    """
    if shape := _shape_of(part.package):
        a, b, c, d = _turn(part)
        return affinity.affine_transform(shape.body, [a, b, c, d, part.x_mm, part.y_mm])
    pads = board.index.pads_of_part.get(part.refdes, [])
    if not pads:
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
