"""What a Gerber file draws, as records: flashes, strokes and regions with their X2 attributes. No parsing.

Lengths are millimetres in the file's own coordinates, y up. Arcs have become chains of straight strokes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal, NamedTuple

from coppermend.board.readers.gerber_aperture import Aperture

LayerRole = Literal["top", "bottom", "inner", "profile", "other"]
Point = tuple[float, float]


class ObjectTag(NamedTuple):
    """Object attributes in force when something was drawn: net (.N), pin (.P), component (.C or .P).

    ``net`` is as written ("N/C" marks a pad without a net, "" no attribute at all).
    """

    net: str = ""
    refdes: str = ""
    pin: str = ""
    pin_name: str = ""


NO_TAG = ObjectTag()


class Flash(NamedTuple):
    """An aperture put down once at ``x_mm, y_mm``; ``dark`` is False when it clears copper."""

    x_mm: float
    y_mm: float
    aperture: Aperture
    tag: ObjectTag
    dark: bool = True


class Stroke(NamedTuple):
    """A straight line drawn with an aperture; ``arc`` tells that it is one chord of an arc."""

    x1_mm: float
    y1_mm: float
    x2_mm: float
    y2_mm: float
    aperture: Aperture
    tag: ObjectTag
    dark: bool = True
    arc: bool = False


class Region(NamedTuple):
    """A filled area: closed contours, each without its repeated first point, of three points or more."""

    contours: tuple[tuple[Point, ...], ...]
    function: str
    tag: ObjectTag
    dark: bool = True


GerberObject = Flash | Stroke | Region


@dataclass(frozen=True)
class GerberLayer:
    """One Gerber file: its objects in drawing order, and its file attributes (.FileFunction and others)."""

    where: str
    objects: tuple[GerberObject, ...] = ()
    attributes: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    negative: bool = False
    notes: tuple[str, ...] = ()

    @property
    def function(self) -> tuple[str, ...]:
        """The fields of .FileFunction, for example ("Copper", "L1", "Top"); () when not given."""
        return self.attributes.get(".FileFunction", ())

    @property
    def role(self) -> LayerRole | Literal[""]:
        """What the file function says this layer is; "" when the file has none."""
        match self.function:
            case ("Copper", _, side, *_):
                return {"top": "top", "bot": "bottom"}.get(side.lower(), "inner")  # type: ignore[return-value]
            case ("Copper", *_):
                return "inner"
            case ("Profile", *_):
                return "profile"
            case ():
                return ""
        return "other"

    @cached_property
    def flashes(self) -> tuple[Flash, ...]:
        """The flashes in drawing order."""
        return tuple(o for o in self.objects if isinstance(o, Flash))

    @cached_property
    def strokes(self) -> tuple[Stroke, ...]:
        """The strokes in drawing order."""
        return tuple(o for o in self.objects if isinstance(o, Stroke))

    @cached_property
    def regions(self) -> tuple[Region, ...]:
        """The regions in drawing order."""
        return tuple(o for o in self.objects if isinstance(o, Region))
