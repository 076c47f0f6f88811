"""What an IPC-D-356 or 356A file says, as frozen records in mm. No reading, no board.

Coordinates are those of the file: its own origin, y up, seen from the primary side. Names are as cut by
the format: refdes to 6 characters, pins to 4, nets to 14 unless the file gives a longer alias.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import ClassVar, Literal

Units = Literal["CUST 0", "CUST 1", "CUST 2"]
TestKind = Literal["buried", "through", "surface", "tooling feature", "tooling hole", "nonplated"]
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class TestRecord:
    """One test point (operation codes 307, 317, 327, 337, 347, 367): a pin's pad, a via or a bare hole.

    Attributes:
        kind: From the operation code: 317 is "through", 327 "surface", 367 "nonplated".
        net: Full net name; "" when the file says ``N/C`` or nothing.
        refdes, pin: "" when blank; a via has refdes "" and ``is_via`` True.
        midpoint: The point lies within its net, not at an end of it (``M``).
        hole_mm: Hole diameter [mm]; 0 when there is no hole.
        plated: None when the file does not say.
        access: 0 both sides, 1 the primary side (top), else the layer it can be reached from;
            None when the file does not say.
        x_mm, y_mm: Centre [mm].
        size_x_mm, size_y_mm: Size of the copper along its own axes [mm], before rotation;
            ``size_y_mm`` 0 means round, both 0 that the file does not say.
        rotation_deg: Counter-clockwise, 0 to below 360 [degree].
        soldermask: 0 none, 1 primary side, 2 secondary side, 3 both are covered; None when not said.
        line: Line number of the record, from 1.
        continues: True for a further access point of the record before it (017, 027, ...).
    """

    __test__: ClassVar[bool] = False  # not a test class, in spite of its name

    kind: TestKind
    net: str
    refdes: str
    pin: str
    is_via: bool
    midpoint: bool
    hole_mm: float
    plated: bool | None
    access: int | None
    x_mm: float
    y_mm: float
    size_x_mm: float
    size_y_mm: float
    rotation_deg: float
    soldermask: int | None
    line: int
    continues: bool = False


@dataclass(frozen=True, slots=True)
class Conductor:
    """One unbroken path of copper (378): ``points`` [mm] in order, drawn with an aperture.

    ``width_mm`` is the diameter of a round aperture, or the x size of a rectangular one, whose y size is
    ``height_mm`` (0 when round). ``layer`` counts from 1, the primary side. A single point is a flash.
    """

    net: str
    layer: int
    width_mm: float
    points: tuple[Point, ...]
    height_mm: float = 0.0
    line: int = 0


@dataclass(frozen=True, slots=True)
class Adjacency:
    """Nets that run close to ``net`` somewhere, so that a short is possible (379)."""

    net: str
    others: tuple[str, ...]
    line: int = 0


@dataclass(frozen=True, slots=True)
class Outline:
    """One path of an outline (389), points in mm; ``kind`` is the file's word, such as ``BOARD_EDGE``."""

    kind: str
    points: tuple[Point, ...]
    line: int = 0


@dataclass(frozen=True, slots=True)
class Ipc356:
    """A whole file, each kind of record in file order.

    Attributes:
        units: Units of the file; everything here is mm already. ``UNITS SI`` counts as CUST 1.
        names: Net-name aliases (``NNAME1``) to full names.
        parameters: The other P records, such as JOB or TITLE; the last of a name wins.
        notes: What the reader met and the user should know, in sentences; () when all was plain.
    """

    records: tuple[TestRecord, ...]
    conductors: tuple[Conductor, ...]
    adjacency: tuple[Adjacency, ...]
    outline: tuple[Outline, ...]
    units: Units
    names: Mapping[str, str] = field(default_factory=dict)
    parameters: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
