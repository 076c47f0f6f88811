"""What a Gerber file has drawn so far, and the graphics state it draws with. No command syntax.

Reference: Gerber Layer Format Specification 2024.05, sections 2.3 (graphics state) and 4.6 to 4.11.
"""

from __future__ import annotations

from typing import NamedTuple

from coppermend.board.readers.gerber_aperture import Aperture
from coppermend.board.readers.gerber_arc import arc_points
from coppermend.board.readers.gerber_records import (
    NO_TAG,
    Flash,
    GerberObject,
    ObjectTag,
    Point,
    Region,
    Stroke,
)
from coppermend.board.readers.gerber_words import MAX_COORDINATE_MM, CoordinateFormat
from coppermend.errors import InputError

MAX_OBJECTS = 500_000
MAX_DEPTH = 20
MOVE, DRAW, FLASH = 2, 1, 3
_AS_IT_IS = ("N", 0.0, 1.0)


class _Nested(NamedTuple):
    """A step-and-repeat or block that is open: what it makes and the objects it interrupted."""

    kind: str  # "SR" or "AB"
    parameters: tuple[float, ...]
    outer: list[GerberObject]


class Canvas:
    """Graphics state and drawn objects; every method raises ``InputError`` without place when misused."""

    def __init__(self) -> None:
        self.mode = 1  # G01, G02, G03
        self.single_quadrant = False
        self.dark = True
        self.mirror, self.rotation_deg, self.scale = "N", 0.0, 1.0
        self.apertures: dict[int, Aperture] = {}
        self.tag = NO_TAG
        self.objects: list[GerberObject] = []
        self.operation = 0
        self._format: CoordinateFormat | None = None
        self._mm_per_unit = 0.0
        self._known_mm: dict[str, float] = {}
        self._x = self._y = 0.0
        self._blocks: dict[int, tuple[GerberObject, ...]] = {}
        self._selected = 0
        self._shaped: dict[tuple[int, str, float, float], Aperture] = {}
        self._contours: list[list[Point]] | None = None
        self._nested: list[_Nested] = []
        self._made = 0

    def set_format(self, form: CoordinateFormat) -> None:
        """%FS."""
        self._format = form
        self._known_mm = {}

    def set_unit(self, mm_per_unit: float) -> None:
        """%MO."""
        self._mm_per_unit = mm_per_unit
        self._known_mm = {}

    def need_format(self) -> CoordinateFormat:
        """The coordinate format, which must have been given."""
        if self._format is None:
            raise InputError("coordinates before the format", expected="%FSLAX46Y46*% or alike first")
        return self._format

    def need_unit(self) -> float:
        """Millimetres per file unit, which must have been given."""
        if not self._mm_per_unit:
            raise InputError("lengths before the unit", expected="%MOMM*% or %MOIN*% first")
        return self._mm_per_unit

    def select(self, number: int) -> None:
        """Take the aperture with this D number."""
        if number not in self.apertures and number not in self._blocks:
            raise InputError(f"aperture D{number:02} is not defined", expected=f"%ADD{number}...*% before it")
        self._selected = number

    def define(self, aperture: Aperture) -> None:
        """%AD."""
        self.apertures[aperture.number] = aperture
        self._shaped = {}

    def _tool(self) -> Aperture | None:
        """The selected aperture as it is put down now; None when none or a block is selected."""
        transformation = (self.mirror, self.rotation_deg, self.scale)
        tool = self.apertures.get(self._selected)
        if tool is None or transformation == _AS_IT_IS:
            return tool
        key = (self._selected, *transformation)
        if key not in self._shaped:
            self._shaped[key] = tool.transformed(*transformation)
        return self._shaped[key]

    def _length(self, digits: str) -> float:
        """A coordinate in mm. Real files repeat most of theirs, so what was read once is looked up."""
        known = self._known_mm.get(digits)
        if known is None:
            known = round(self.need_format().value(digits) * self.need_unit(), 7)
            self._known_mm[digits] = _within(known, f"coordinate {digits}")
        return known

    def operate(self, x: str | None, y: str | None, i: str | None, j: str | None, code: int) -> None:
        """Draw, move or flash; coordinates are modal, arc offsets are not."""
        form = self.need_format()
        start = (self._x, self._y)
        new_x = self._x if x is None else self._length(x)
        new_y = self._y if y is None else self._length(y)
        if form.incremental:
            new_x = new_x if x is None else _within(start[0] + new_x, "incremental x")
            new_y = new_y if y is None else _within(start[1] + new_y, "incremental y")
        self._x, self._y, self.operation = new_x, new_y, code
        if code == FLASH:
            self._flash()
        elif code == DRAW:
            self._draw(start, self._length(i) if i else 0.0, self._length(j) if j else 0.0)
        elif self._contours is not None:
            self._contours.append([(new_x, new_y)])

    def _draw(self, start: Point, i_mm: float, j_mm: float) -> None:
        end = (self._x, self._y)
        points = [end]
        if self.mode != 1:
            points = arc_points(
                start, end, (i_mm, j_mm), clockwise=self.mode == 2, single_quadrant=self.single_quadrant
            )
        self._count(len(points))
        if self._contours is not None:
            if not self._contours:
                self._contours.append([start])
            self._contours[-1].extend(points)
            return
        tool = self._tool()
        if tool is None:
            raise InputError("a line without an aperture", expected="Dnn* of a plain aperture before it")
        before = start
        for point in points:
            self.objects.append(Stroke(*before, *point, tool, self.tag, self.dark, self.mode != 1))
            before = point

    def _flash(self) -> None:
        if self._contours is not None:
            raise InputError("D03 inside a region", expected="D01 or D02")
        if self._selected in self._blocks:
            self._flash_block(self._blocks[self._selected])
        elif tool := self._tool():
            self._count(1)
            self.objects.append(Flash(self._x, self._y, tool, self.tag, self.dark))
        else:
            raise InputError("a flash without an aperture", expected="Dnn* before it")

    def _flash_block(self, block: tuple[GerberObject, ...]) -> None:
        if (self.mirror, self.rotation_deg, self.scale) != _AS_IT_IS:
            raise InputError("a block aperture is flashed mirrored, rotated or scaled", expected="as it is")
        self._count(sum(map(_weight, block)))
        for thing in block:
            moved = _shifted(thing, self._x, self._y)
            tag = self.tag if moved.tag == NO_TAG else moved.tag
            self.objects.append(moved._replace(tag=tag, dark=moved.dark == self.dark))

    def _count(self, more: int) -> None:
        self._made += more
        if self._made > MAX_OBJECTS:
            raise InputError(
                "too much is drawn", expected=f"{MAX_OBJECTS:,} lines, flashes and points at most"
            )

    def begin_region(self) -> None:
        """G36."""
        if self._contours is not None:
            raise InputError("G36 inside a region", expected="G37 first")
        self._contours = []

    def end_region(self, function: str) -> None:
        """G37; ``function`` is the .AperFunction in force."""
        if self._contours is None:
            raise InputError("G37 without a region", expected="G36 first")
        rings = [c[:-1] if c[0] == c[-1] else c for c in self._contours]
        contours = tuple(tuple(ring) for ring in rings if len(ring) > 2)
        if contours:
            self.objects.append(Region(contours, function, self.tag, self.dark))
        self._contours = None

    def open_repeat(self, across: int, up: int, step_mm: Point) -> None:
        """%SR: what follows is repeated ``across`` times along x and ``up`` times along y."""
        self.close_repeat()
        if across * up == 1:
            return
        _within(step_mm[0] * across, "step and repeat in x")
        _within(step_mm[1] * up, "step and repeat in y")
        self._open(_Nested("SR", (across, up, *step_mm), self.objects))

    def close_repeat(self) -> None:
        """End the step and repeat that is open, if there is one."""
        if not self._nested or self._nested[-1].kind != "SR":
            return
        _, (across, up, step_x, step_y), outer = self._nested.pop()
        self._count(sum(map(_weight, self.objects)) * (int(across * up) - 1))
        for row in range(int(up) if self.objects else 0):
            for column in range(int(across)):
                outer.extend(_shifted(o, column * step_x, row * step_y) for o in self.objects)
        self.objects = outer

    def open_block(self, number: int) -> None:
        """%ABDnn: what follows becomes aperture ``number``."""
        self._open(_Nested("AB", (number,), self.objects))

    def _open(self, nested: _Nested) -> None:
        if len(self._nested) >= MAX_DEPTH:
            raise InputError("blocks and repeats are nested", expected=f"{MAX_DEPTH} deep at most")
        self._nested.append(nested)
        self.objects = []

    def close_block(self) -> None:
        """%AB."""
        self.close_repeat()
        if not self._nested:
            raise InputError("%AB*% closes no block aperture", expected="%ABD10*% or alike before it")
        _, (number,), outer = self._nested.pop()
        self._blocks[int(number)] = tuple(self.objects)
        self.objects = outer

    def finish(self) -> tuple[GerberObject, ...]:
        """Everything drawn, once nothing is open any more."""
        if self._contours is not None:
            raise InputError("a region is still open at the end", expected="G37*")
        self.close_repeat()
        if self._nested:
            raise InputError("a block aperture is still open at the end", expected="%AB*%")
        return tuple(self.objects)


def tag_of(attributes: dict[str, tuple[str, ...]]) -> ObjectTag:
    """The net, part and pin that the object attributes in force name."""
    if not attributes:
        return NO_TAG
    refdes, pin, pin_name = [*attributes.get(".P", ()), "", "", ""][:3]
    net, component = ((*attributes.get(name, ()), "")[0] for name in (".N", ".C"))
    return ObjectTag(net, refdes or component, pin, pin_name)


def _within(value_mm: float, what: str) -> float:
    if abs(value_mm) > MAX_COORDINATE_MM:
        raise InputError(f"{what} is {value_mm:g} mm", expected=f"{MAX_COORDINATE_MM:g} mm at most")
    return value_mm


def _weight(thing: GerberObject) -> int:
    return sum(map(len, thing.contours)) if isinstance(thing, Region) else 1


def _shifted(thing: GerberObject, dx: float, dy: float) -> GerberObject:
    if isinstance(thing, Flash):
        return thing._replace(x_mm=thing.x_mm + dx, y_mm=thing.y_mm + dy)
    if isinstance(thing, Stroke):
        x1, y1, x2, y2 = thing[:4]
        return thing._replace(x1_mm=x1 + dx, y1_mm=y1 + dy, x2_mm=x2 + dx, y2_mm=y2 + dy)
    contours = tuple(tuple((x + dx, y + dy) for x, y in contour) for contour in thing.contours)
    return thing._replace(contours=contours)
