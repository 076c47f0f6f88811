"""Gerber apertures: what %AD defines, with its shape and size in mm. Macros are in ``gerber_macro``."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import shapely
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from coppermend.board.readers.gerber_macro import (
    ARC_SEGMENTS,
    MAX_SIZE_MM,
    Macro,
    disc,
    macro_shape,
    regular_polygon,
)
from coppermend.errors import InputError

_DEFINITION = re.compile(r"D0*(\d{1,9})([A-Za-z_.$][A-Za-z0-9_.$-]*)(?:,(.*))?", re.DOTALL)
_LEAST = {"C": 1, "R": 2, "O": 2, "P": 2}
_ROUND_SHARE = 0.01  # area this close to that of a disc or stadium counts as round


@dataclass(frozen=True, eq=False)
class Aperture:
    """A tool: its D number, template (C, R, O, P or a macro's name), shape and aperture attributes.

    ``stroke_mm`` is the width of a line drawn with it: the diameter of a circle, else the smaller side.
    """

    number: int
    template: str
    shape: BaseGeometry
    parameters_mm: tuple[float, ...] = ()
    attributes: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @cached_property
    def function(self) -> str:
        """The first field of .AperFunction (``Conductor``, ``ViaPad``, ...); "" when not given."""
        return self.attributes.get(".AperFunction", ("",))[0]

    @cached_property
    def size_mm(self) -> float:
        """Width (x) of the shape."""
        return self._extent(0)

    @cached_property
    def height_mm(self) -> float:
        """Height (y) of the shape."""
        return self._extent(1)

    def _extent(self, axis: int) -> float:
        if self.template in {"C", "R", "O"}:  # exact, where the drawn polygon may be off by rounding
            return self.parameters_mm[min(axis, len(self.parameters_mm) - 1) if self.template != "C" else 0]
        bounds = self.shape.bounds
        return round(float(bounds[axis + 2] - bounds[axis]), 6) if bounds and not self.shape.is_empty else 0.0

    @cached_property
    def stroke_mm(self) -> float:
        """Width of a line drawn with this aperture."""
        return min(self.size_mm, self.height_mm)

    @cached_property
    def round(self) -> bool:
        """Whether the ends are round: a disc, or a stadium when width and height differ."""
        if self.template in {"C", "O"}:
            return True
        short, long = sorted((self.size_mm, self.height_mm))
        stadium = short * (long - short) + math.pi * short**2 / 4
        return bool(short > 0 and abs(self.shape.area - stadium) < _ROUND_SHARE * stadium)

    def transformed(self, mirror: str, rotation_deg: float, scale: float) -> Aperture:
        """This aperture mirrored (axes "X", "Y", "XY" or "N"), then rotated, then scaled, as %LM %LR %LS say."""
        flip_x, flip_y = -1 if "X" in mirror else 1, -1 if "Y" in mirror else 1
        shape = affinity.scale(self.shape, flip_x, flip_y, origin=(0, 0))
        shape = affinity.rotate(shape, rotation_deg, origin=(0, 0))
        shape = affinity.scale(shape, scale, scale, origin=(0, 0))
        if self.template == "C":
            return replace(self, shape=shape, parameters_mm=tuple(p * scale for p in self.parameters_mm))
        return replace(self, template=f"{self.template}'", shape=shape)


def parse_aperture(
    text: str, macros: Mapping[str, Macro], mm_per_unit: float, attributes: Mapping[str, tuple[str, ...]]
) -> Aperture:
    """Read what follows %AD, for example ``D10C,0.25``.

    Raises:
        InputError: If the number is below 10, the template unknown or a parameter missing or impossible.
    """
    found = _DEFINITION.fullmatch(text.strip())
    if not found:
        raise InputError(f"aperture definition {text[:40]!r}", expected="%ADD10C,0.25*% or alike")
    number, template, tail = int(found[1]), found[2], found[3] or ""
    if number < 10:
        raise InputError(f"aperture number D{number}", expected="D10 or higher")
    values = _parameters(tail, mm_per_unit)
    if template in _LEAST:
        lengths = [v * mm_per_unit for v in values]
        return Aperture(number, template, _standard(template, values, lengths), tuple(lengths), attributes)
    if template not in macros:
        raise InputError(
            f"aperture D{number} uses {template!r}", expected="C, R, O, P or a macro defined before"
        )
    return Aperture(number, template, macro_shape(macros[template], values, mm_per_unit), (), attributes)


def _parameters(text: str, mm_per_unit: float) -> list[float]:
    try:
        values = [float(word) for word in text.replace("x", "X").split("X") if word.strip()]
    except ValueError:
        raise InputError(f"aperture parameters {text[:40]!r}", expected="numbers separated by X") from None
    if not all(math.isfinite(v) and abs(v) * mm_per_unit <= MAX_SIZE_MM for v in values):
        raise InputError(f"aperture parameters {text[:40]!r}", expected=f"at most {MAX_SIZE_MM:g} mm")
    return values


def _standard(template: str, values: Sequence[float], lengths: Sequence[float]) -> BaseGeometry:
    if len(lengths) < _LEAST[template] or min(lengths[: _LEAST[template]]) < 0:
        raise InputError(f"aperture {template} with {len(lengths)} parameters", expected="sizes of 0 or more")
    holes = 3 if template == "P" else _LEAST[template]
    match template:
        case "C":
            shape = disc(0, 0, lengths[0])
        case "R":
            shape = shapely.box(-lengths[0] / 2, -lengths[1] / 2, lengths[0] / 2, lengths[1] / 2)
        case "O":
            shape = _stadium(lengths[0], lengths[1])
        case _:
            if not 3 <= values[1] <= 64:
                raise InputError(f"aperture polygon with {values[1]:g} corners", expected="3 to 12")
            turn = values[2] if len(values) > 2 else 0.0
            shape = regular_polygon(0, 0, lengths[0], int(values[1]), turn)
    if len(lengths) == holes + 1:
        shape = shape.difference(disc(0, 0, lengths[holes]))
    elif len(lengths) > holes + 1:  # rectangular hole of older editions
        w, h = lengths[holes] / 2, lengths[holes + 1] / 2
        shape = shape.difference(shapely.box(-w, -h, w, h))
    return shape


def _stadium(width_mm: float, height_mm: float) -> BaseGeometry:
    short = min(width_mm, height_mm)
    if short <= 0:
        return shapely.Polygon()
    half_x, half_y = (width_mm - short) / 2, (height_mm - short) / 2
    spine = (
        shapely.LineString([(-half_x, -half_y), (half_x, half_y)])
        if half_x + half_y > 0
        else shapely.Point(0, 0)
    )
    return spine.buffer(short / 2, quad_segs=ARC_SEGMENTS)
