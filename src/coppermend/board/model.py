"""What a board is: parts, pins, nets and copper as frozen records. No files, no drawing, no judgement.

Lengths are millimetres; the origin is the lower-left corner of the outline, y up, seen from the top.
A point on the board is written ``REFDES.PIN`` (``U3.9``) or by a via's name (``V17``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Literal, NamedTuple, get_args

from coppermend.errors import InputError

if TYPE_CHECKING:
    from coppermend.board.index import BoardIndex
    from coppermend.board.space import BoardSpace

Layer = Literal["top", "bottom"]
LAYERS: tuple[Layer, ...] = get_args(Layer)
PadSide = Literal["top", "bottom", "both"]


class PinRef(NamedTuple):
    """One lead of one part, for example ``PinRef("U7", "14")``; pin numbers are text ("A7" exists)."""

    refdes: str
    pin: str

    def __str__(self) -> str:
        return f"{self.refdes}.{self.pin}"

    @classmethod
    def parse(cls, text: str) -> PinRef:
        """Read ``U3.9``.

        Raises:
            InputError: If there is no dot with something on both sides.
        """
        refdes, dot, pin = text.strip().rpartition(".")
        if not (dot and refdes and pin):
            raise InputError(f"{text!r} is no pin", expected="REFDES.PIN such as U3.9")
        return cls(refdes, pin)


@dataclass(frozen=True, slots=True)
class Part:
    """One part as fitted. ``x_mm, y_mm`` is where its package's anchor (pin 1) sits.

    ``type`` names a part type of the library ("" when unknown); ``rotation_deg`` turns
    counter-clockwise seen from the top; ``side`` is the side the body is on.
    """

    refdes: str
    type: str = ""
    value: str = ""
    x_mm: float = 0.0
    y_mm: float = 0.0
    rotation_deg: float = 0.0
    side: Layer = "top"
    section: str = ""
    package: str = ""
    socketed: bool = False
    notes: str = ""


@dataclass(frozen=True, slots=True)
class Pad:
    """Copper where a pin is soldered: ``size_mm`` wide (x) and ``height_mm`` high (y) on the board.

    Width and height are those seen on the board, after rotation. ``hole_mm`` 0 means surface mount.
    ``round`` pads are discs, or have round ends when width and height differ; others are rectangles.
    """

    refdes: str
    pin: str
    x_mm: float
    y_mm: float
    hole_mm: float
    size_mm: float
    side: PadSide = "both"
    height_mm: float = 0.0
    round: bool = True

    def __post_init__(self) -> None:
        if not self.height_mm:
            object.__setattr__(self, "height_mm", self.size_mm)

    @property
    def ref(self) -> PinRef:
        """The pin this pad belongs to."""
        return PinRef(self.refdes, self.pin)


@dataclass(frozen=True, slots=True)
class Via:
    """A plated hole that joins the layers; ``size_mm`` is the diameter of its copper."""

    name: str
    net: str
    x_mm: float
    y_mm: float
    hole_mm: float
    size_mm: float = 0.0

    def __post_init__(self) -> None:
        if not self.size_mm:
            # Common practice, no source: an annular ring of 0.3 mm where the file gives none.
            object.__setattr__(self, "size_mm", self.hole_mm + 0.6)


@dataclass(frozen=True, slots=True)
class Track:
    """A straight run of copper of one net on one layer."""

    net: str
    layer: Layer
    x1_mm: float
    y1_mm: float
    x2_mm: float
    y2_mm: float
    width_mm: float


@dataclass(frozen=True, slots=True)
class CopperArea:
    """A filled area of one net on one layer, as a WKT polygon or multipolygon in board mm."""

    net: str
    layer: Layer
    wkt: str


@dataclass(frozen=True, slots=True)
class Section:
    """A functional area (reset, clock, memory, ...) that parts name in their ``section``."""

    name: str
    title: str = ""
    notes: str = ""


@dataclass(frozen=True, slots=True)
class ReferencePoint:
    """A place that a photo can be aligned by, such as a mounting hole."""

    name: str
    x_mm: float
    y_mm: float


@dataclass(frozen=True, slots=True)
class Rail:
    """A supply net: nominal volts, and tolerance as a fraction (0.05 is 5 %)."""

    net: str
    volts: float
    tolerance: float = 0.05


@dataclass(frozen=True, slots=True)
class Clock:
    """A net that carries a clock of ``hz``."""

    net: str
    hz: float


@dataclass(frozen=True, slots=True)
class MemoryRegion:
    """CPU addresses ``start`` to ``end`` (inclusive) answered by ``parts``."""

    name: str
    start: int
    end: int
    parts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class MatrixPosition:
    """One switch of the matrix, with the refdes of its diode where it is on this board."""

    strobe: str
    ret: str
    name: str
    diode: str = ""


Watched = Literal["each", "together", "reported"]


@dataclass(frozen=True, slots=True)
class SelfTest:
    """A test that the board's own program offers, as the user describes it.

    ``shows`` are words such as "lamps", or ids of proofs; ``watched`` says whether each thing is looked at by
    itself, all of them together, or the program reports.
    """

    name: str
    shows: tuple[str, ...]
    watched: Watched = "each"
    steps: str = ""


@dataclass(frozen=True, slots=True)
class Matrix:
    """The switch matrix: strobe and return nets in order, and the populated positions."""

    strobes: tuple[str, ...] = ()
    returns: tuple[str, ...] = ()
    positions: tuple[MatrixPosition, ...] = ()


ConnectorKind = Literal["", "supply", "switch", "lamp", "solenoid", "display", "sound", "bus", "option"]


@dataclass(frozen=True, slots=True)
class Connector:
    """A connector to the machine: what it serves, and what each pin is called there."""

    refdes: str
    title: str = ""
    kind: ConnectorKind = ""
    signals: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Board:
    """A whole board. Order of every tuple is the order of the files; duplicates stay for ``check`` to find.

    ``nets`` maps a net's name to its pins, in file order. ``outline`` is a closed ring of (x, y) [mm]
    without the repeated first point, or () when only width and height are known.
    ``pads_from_packages`` tells that pads were computed from the part packages, not read.
    """

    name: str
    width_mm: float
    height_mm: float
    revision: str = ""
    maker: str = ""
    notes: str = ""
    outline: tuple[tuple[float, float], ...] = ()
    parts: tuple[Part, ...] = ()
    nets: Mapping[str, tuple[PinRef, ...]] = field(default_factory=dict)
    pads: tuple[Pad, ...] = ()
    vias: tuple[Via, ...] = ()
    tracks: tuple[Track, ...] = ()
    areas: tuple[CopperArea, ...] = ()
    sections: tuple[Section, ...] = ()
    reference_points: tuple[ReferencePoint, ...] = ()
    rails: tuple[Rail, ...] = ()
    clocks: tuple[Clock, ...] = ()
    memory_map: tuple[MemoryRegion, ...] = ()
    matrix: Matrix = Matrix()
    connectors: tuple[Connector, ...] = ()
    self_tests: tuple[SelfTest, ...] = ()
    pads_from_packages: bool = False

    @cached_property
    def index(self) -> BoardIndex:
        """Constant-time lookups by refdes, pin, net, via; built on first use."""
        from coppermend.board.index import BoardIndex  # noqa: PLC0415  (index needs these records)

        return BoardIndex(self)

    @cached_property
    def space(self) -> BoardSpace:
        """Spatial lookups through one STRtree; built on first use."""
        from coppermend.board.space import BoardSpace  # noqa: PLC0415

        return BoardSpace(self)

    def counts(self) -> dict[str, int]:
        """How much there is of everything: parts, pins on nets, nets, pads, vias, tracks, areas."""
        return {
            "parts": len(self.parts),
            "pins": sum(len(pins) for pins in self.nets.values()),
            "nets": len(self.nets),
            "pads": len(self.pads),
            "vias": len(self.vias),
            "tracks": len(self.tracks),
            "areas": len(self.areas),
        }
