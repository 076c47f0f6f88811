"""The shapes of packages by name, each in its own frame: pads, body, height. Placing them is left to ``packages``.

A package is drawn in its own frame: pin 1 at the origin, rotation 0, seen from the top, y up.

    DIP-n[-300|-400|-600]          dual in-line; without a width: 300 mil to 20 pins, 400 mil at 22, else 600 mil
    SW-DIP-n  RNET-DIP-n           switch bank and resistor network in a dual in-line body
    SIP-n  HDR-1xn[-p]             pin 1 at the top, the rest downward; p is the pitch in mm (2.54)
    HDR-2xn[-p]                    odd pins down the left, even pins down the right
    EDGE-n[x2][-p]                 fingers along a board edge that lies below them, pin 1 left; x2: pins
                                   n+1 to 2n lie behind 1 to n on the other side; p is 3.96 unless given
    AXIAL-p  RADIAL-p  RADIAL-POL-p  DISC-p  [-Dd]     two leads p mm apart; d is the body's diameter in mm
    TO-92  TO-18  TO-39  TO-220[-n]  TO-3  TRIM-3  SOT-23      three leads (n leads for TO-220)
    HC-49  HC-18  LED-d  FUSE-20  BAT-BARREL  BAT-COIN  SW-PUSH[-4]  TP  HOLE-d
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import lru_cache

import shapely
from shapely.geometry.base import BaseGeometry

from coppermend.board.model import PadSide

_INCH = 25.4


@dataclass(frozen=True, slots=True)
class LocalPad:
    pin: str
    x: float
    y: float
    hole: float = 0.9
    width: float = 1.8
    height: float = 1.8
    round: bool = True
    side: PadSide = "both"


@dataclass(frozen=True, slots=True)
class Shape:
    """A package in its own frame."""

    pads: tuple[LocalPad, ...]
    body: BaseGeometry
    height_mm: float


def _row(pins: Iterable[int | str], dx: float, dy: float, **pad: float) -> tuple[LocalPad, ...]:
    """Pads one step apart from the origin on; the first is square, as boards mark pin 1."""
    return tuple(
        LocalPad(str(pin), i * dx, i * dy, round=i > 0, **pad)  # type: ignore[arg-type]
        for i, pin in enumerate(pins)
    )


def _dip(count: int, width_mil: int | None, height_mm: float = 4.6) -> Shape | None:
    """JEDEC MS-001 (300 mil) and MS-011 (600 mil), from memory: 2.54 mm pitch, rows 7.62/10.16/15.24 mm apart."""
    if count < 4 or count % 2:
        return None
    mil = width_mil or (300 if count <= 20 else 400 if count == 22 else 600)
    row, half = mil * _INCH / 1000, count // 2
    lead = {"hole": 0.8, "width": 1.6, "height": 1.6}
    left = _row(range(1, half + 1), 0, -2.54, **lead)
    right = tuple(
        LocalPad(str(half + 1 + i), row, -2.54 * (half - 1 - i), **lead)  # type: ignore[arg-type]
        for i in range(half)
    )
    inset = 0.6 if mil == 300 else 0.8
    bottom = -2.54 * (half - 1)
    return Shape(left + right, shapely.box(inset, bottom - 1.3, row - inset, 1.3), height_mm)


def _single_row(count: int, pitch: float, width: float, height_mm: float) -> Shape:
    pads = _row(
        range(1, count + 1),
        0,
        -pitch,
        hole=1.0 if pitch < 3 else 1.6,
        width=_land(pitch),
        height=_land(pitch),
    )
    end = -pitch * (count - 1) - pitch / 2
    return Shape(pads, shapely.box(-width / 2, end, width / 2, pitch / 2), height_mm)


def _land(pitch: float) -> float:
    """Pad diameter of a connector pin [mm]: 1.7 at 2.54 mm pitch, 2.6 at 3.96 mm (common practice, no source)."""
    return 1.7 if pitch < 3 else 2.6


def _double_row(count: int, pitch: float) -> Shape:
    land, hole = _land(pitch), 1.0 if pitch < 3 else 1.6
    pads = tuple(
        LocalPad(str(2 * i + 1 + j), j * pitch, -i * pitch, hole, land, land, round=(i, j) != (0, 0))
        for i in range(count)
        for j in (0, 1)
    )
    end = -pitch * (count - 1) - pitch / 2
    return Shape(pads, shapely.box(-pitch / 2, end, 1.5 * pitch, pitch / 2), 8.5)


def _edge(count: int, both: bool, pitch: float) -> Shape:
    """Fingers 8 mm long, 0.6 of the pitch wide, in one or both sides' copper (common practice, no source)."""
    width, length = round(0.6 * pitch, 2), 8.0
    front = tuple(
        LocalPad(str(i + 1), i * pitch, 0, 0, width, length, round=False, side="top") for i in range(count)
    )
    back = tuple(replace(p, pin=str(count + int(p.pin)), side="bottom") for p in front) if both else ()
    box = shapely.box(-pitch / 2, -length / 2, (count - 0.5) * pitch, length / 2)
    return Shape(front + back, box, 1.6)


def _axial(pitch: float, diameter: float | None) -> Shape:
    """Lying between its leads; the body ends about 1.9 mm from each hole (common practice, no source)."""
    thick = diameter or (2.5 if pitch <= 12.7 else 0.3 * pitch)
    length = max(pitch - 3.8, 0.4 * pitch)
    start = (pitch - length) / 2
    body = shapely.box(start, -thick / 2, start + length, thick / 2)
    return Shape(_row((1, 2), pitch, 0), body, thick + 0.3)


def _radial(pitch: float, diameter: float | None) -> Shape:
    """A can standing on two leads: 2 x pitch wide, IEC 60384 can sizes from memory (5 mm pitch: 10 mm can)."""
    wide = diameter or 2.0 * pitch
    return Shape(_row((1, 2), pitch, 0), shapely.Point(pitch / 2, 0).buffer(wide / 2), 1.3 * wide)


def _disc(pitch: float, diameter: float | None) -> Shape:
    wide = diameter or pitch + 2.0
    return Shape(
        _row((1, 2), pitch, 0), shapely.box((pitch - wide) / 2, -1.25, (pitch + wide) / 2, 1.25), wide + 1.0
    )


def _to92() -> Shape:
    """JEDEC TO-226AA body, from memory: 5.2 mm; leads spread to 2.54 mm as boards of the time had them."""
    body = shapely.Point(2.54, 0).buffer(2.6).intersection(shapely.box(-1, -1.6, 6, 3))
    return Shape(_row((1, 2, 3), 2.54, 0, hole=0.8, width=1.7, height=1.7), body, 7.0)


def _sot23() -> Shape:
    """JEDEC TO-236, from memory: pins 1 and 2 lie 1.9 mm apart, pin 3 across; the IPC-7351 land, from memory."""
    land = {"hole": 0.0, "width": 1.3, "height": 0.6, "round": False, "side": "top"}
    spots = (("1", 0.0, 0.0), ("2", 0.0, -1.9), ("3", 2.0, -0.95))
    pads = tuple(LocalPad(pin, x, y, **land) for pin, x, y in spots)  # type: ignore[arg-type]
    return Shape(pads, shapely.box(0.35, -2.4, 1.65, 0.5), 1.1)


def _can(pitch_circle: float, diameter: float, height_mm: float) -> Shape:
    """Three leads on a circle, 90 degrees apart, of a metal can."""
    r = pitch_circle / 2
    land = 1.4 if pitch_circle < 3 else 1.7
    lead = {"hole": 0.7, "width": land, "height": land}
    pads = (
        LocalPad("1", 0, 0, **lead),  # type: ignore[arg-type]
        LocalPad("2", r, r, **lead),  # type: ignore[arg-type]
        LocalPad("3", 2 * r, 0, **lead),  # type: ignore[arg-type]
    )
    return Shape(pads, shapely.Point(r, 0).buffer(diameter / 2), height_mm)


def _to220(count: int) -> Shape:
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
    return Shape(pads, shapely.box(middle - 5.1, -1.6, middle + 5.1, 3.0), 19.0)


def _to3() -> Shape:
    """JEDEC TO-3, from memory: pins 10.92 mm apart, 1.8 mm off centre; screws 30.15 mm apart carry pin 3, the case."""
    screw = {"hole": 4.0, "width": 7.0, "height": 7.0}
    pads = (
        LocalPad("1", 0, 0, 1.5, 3.2, 3.2, round=False),
        LocalPad("2", 10.92, 0, 1.5, 3.2, 3.2),
        LocalPad("3", 5.46 - 15.07, -1.8, **screw),  # type: ignore[arg-type]
        LocalPad("3", 5.46 + 15.07, -1.8, **screw),  # type: ignore[arg-type]
    )
    ends = shapely.MultiPoint([(5.46 - 15.07, -1.8), (5.46 + 15.07, -1.8)]).buffer(4.5)
    return Shape(pads, shapely.union_all([ends, shapely.Point(5.46, -1.8).buffer(13)]).convex_hull, 12.0)


def _trimmer() -> Shape:
    pads = (
        LocalPad("1", 0, 0, round=False),
        LocalPad("2", 2.54, 2.54),
        LocalPad("3", 5.08, 0),
    )
    return Shape(pads, shapely.box(-2.2, -2.2, 7.3, 4.8), 6.0)


def _crystal(pitch: float, length: float, height_mm: float) -> Shape:
    body = shapely.box(pitch / 2 - length / 2, -2.3, pitch / 2 + length / 2, 2.3).buffer(0)
    return Shape(_row((1, 2), pitch, 0, hole=0.8, width=1.6, height=1.6), body, height_mm)


def _led(diameter: float) -> Shape:
    return Shape(
        _row((1, 2), 2.54, 0, hole=0.8, width=1.7, height=1.7),
        shapely.Point(1.27, 0).buffer(diameter / 2 + 0.4),
        diameter + 4.0,
    )


def _fuse() -> Shape:
    """Clips for a 5 x 20 mm fuse link (IEC 60127 size), 22.5 mm apart (common practice, no source)."""
    pads = _row((1, 2), 22.5, 0, hole=1.4, width=3.0, height=3.0)
    return Shape(pads, shapely.box(-2.5, -3.0, 25.0, 3.0), 9.0)


def _battery_barrel() -> Shape:
    """Three button cells stacked in a shrink sleeve, lying; own drawing of a common size (no source)."""
    pads = _row((1, 2), 20.32, 0, hole=1.3, width=2.8, height=2.8)
    return Shape(pads, shapely.box(-2.2, -8.0, 22.5, 8.0), 17.0)


def _battery_coin() -> Shape:
    """Holder for a 20 mm coin cell (IEC 60086 size 2032), pins 20.32 mm apart (common practice, no source)."""
    pads = _row((1, 2), 20.32, 0, hole=1.3, width=2.4, height=2.4)
    return Shape(pads, shapely.Point(10.16, 0).buffer(11.5), 6.0)


def _push(pins: int) -> Shape:
    if pins == 2:
        return Shape(_row((1, 2), 5.08, 0, hole=1.0), shapely.box(-1.0, -3.5, 6.08, 3.5), 7.0)
    pads = (
        LocalPad("1", 0, 0, 1.0, round=False),
        LocalPad("2", 6.5, 0, 1.0),
        LocalPad("3", 0, -4.5, 1.0),
        LocalPad("4", 6.5, -4.5, 1.0),
    )
    return Shape(pads, shapely.box(0.25, -5.25, 6.25, 0.75), 5.0)


def _test_point() -> Shape:
    pads = (LocalPad("1", 0, 0, 1.0, 2.0, 2.0),)
    return Shape(pads, shapely.Point(0, 0).buffer(1.0), 3.0)


def _hole(diameter: float) -> Shape:
    return Shape((), shapely.Point(0, 0).buffer(diameter / 2), 0.0)


_NUMBER = r"(\d+(?:\.\d+)?)"
_BODY = rf"(?:-D{_NUMBER})?"
_Maker = Callable[..., Shape | None]


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
        (r"SOT-23", _sot23),
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
def shape_of(package: str) -> Shape | None:
    """The package called ``package`` (case ignored), or None when the name says nothing to us."""
    name = package.strip().upper()
    for pattern, make in _GRAMMAR:
        # A thousand pins and a metre of lead are beyond any package: refuse rather than compute them.
        if (match := pattern.fullmatch(name)) and all(0 < float(n) <= 600 for n in re.findall(_NUMBER, name)):
            return make(*match.groups())
    return None
