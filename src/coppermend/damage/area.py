"""What area of the board is damaged, as shapes or as a map, and how it is read and written as text.

Holds the record, the recognition of the format, WKT and GeoJSON; the PNG map itself is read in ``maps``.
What the damage touches is worked out in ``touch``. An area has no side: a leak creeps through holes and
along edges, so copper on both layers under it counts.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from coppermend.board.atrisk import LIGHT
from coppermend.board.model import Board
from coppermend.damage.maps import GRADE_STEPS, PNG_SIGNATURE, PX_PER_MM, map_zones, outline, read_map
from coppermend.errors import InputError

UNSTATED_SEVERITY = 0.75  # our choice: a drawn area without a severity counts as heavy
MAX_BYTES = 64 * 1024 * 1024
_MAX_POSITIONS = 1_000_000
_FARTHEST_MM = 1e6
_EXPECTED = "a WKT or GeoJSON polygon in board mm, or a damage map as PNG"
_POLYGONAL = ("Polygon", "MultiPolygon")
_MAX_DEPTH = 16  # brackets within brackets: a collection of multipolygons has five


@dataclass(frozen=True, slots=True)
class Zone:
    """A damaged polygon or multipolygon [mm] with one severity, 0..1."""

    shape: BaseGeometry
    severity: float


@dataclass(frozen=True)
class DamageArea:
    """Damage on one board: ``drawn`` zones, or a ``grid`` of severities from a damage map.

    Attributes:
        drawn: Zones as drawn, clipped to the board; () when the damage came as a map.
        grid: (rows, columns) uint8 at 4 px/mm, row 0 at the board's top edge; None when drawn.
        height_mm: Height of the board, where row 0 of the grid starts [mm].
        notes: What was changed on reading (mended outlines, clipped edges).
    """

    drawn: tuple[Zone, ...] = ()
    grid: NDArray[np.uint8] | None = field(default=None, compare=False)
    height_mm: float = 0.0
    notes: tuple[str, ...] = ()

    @cached_property
    def zones(self) -> tuple[Zone, ...]:
        """Drawn zones, or those of the map: one for each grade, with the worst severity in it."""
        if self.grid is None:
            return self.drawn
        return tuple(Zone(shape, worst / 255) for shape, worst in map_zones(self.grid, self.height_mm))

    @cached_property
    def shape(self) -> BaseGeometry:
        """Everything damaged, light or worse, as one geometry [mm]; empty when nothing is."""
        if self.grid is not None:
            return outline(self.grid >= GRADE_STEPS[0], self.height_mm)
        return shapely.union_all([zone.shape for zone in self.zones if zone.severity >= LIGHT])

    @cached_property
    def area_mm2(self) -> float:
        """How much board is damaged, light or worse [mm²]."""
        if self.grid is None:
            return float(self.shape.area)
        return int(np.count_nonzero(self.grid >= GRADE_STEPS[0])) / PX_PER_MM**2


def parse_area(data: bytes, board: Board, where: str) -> DamageArea:
    """Read a damaged area from WKT, GeoJSON or a PNG damage map, whichever ``data`` is.

    WKT may have one geometry a line. A GeoJSON feature may state ``severity`` (0..1) in its properties; a
    drawn area without one counts as heavy, 0.75. Outlines that cross themselves are mended, and what
    reaches over the board's edge is cut off; ``notes`` says so.

    Args:
        data: The file.
        board: The board that the area lies on, for its size and outline.
        where: File name for errors.

    Raises:
        InputError: If it is none of the three, holds a point, line or broken outline, has a coordinate that
            is no finite number, or lies off the board; a map also if its size is not the board's.
    """
    if len(data) > MAX_BYTES:
        raise InputError(f"{len(data)} bytes are too many", expected=f"at most {MAX_BYTES}", where=where)
    if data.startswith(PNG_SIGNATURE):
        grid = read_map(data, board.width_mm, board.height_mm, where)
        area = DamageArea(grid=grid, height_mm=board.height_mm)
        shapely.prepare(
            [area.shape, *(zone.shape for zone in area.zones)]
        )  # outline now: touch shall be quick
        return area
    text = _text(data, where)
    found = list(_geojson(text, where) if text[0] in "{[" else _wkt(text, where))
    return _on_board(found, board, where)


def area_to_geojson(area: DamageArea) -> dict[str, Any]:
    """The area as a GeoJSON FeatureCollection in board mm, each feature with its ``severity``.

    ``parse_area`` reads it back to equal zones. A map keeps its exact outline per grade, but of the
    severities within a grade only the worst.
    """
    return {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "properties": {"severity": zone.severity},
                "geometry": json.loads(shapely.to_geojson(zone.shape)),
            }
            for zone in area.zones
        ],
    }


@dataclass(frozen=True, slots=True)
class _Found:
    """A geometry as read, with its place in the file for errors."""

    shape: BaseGeometry
    severity: float
    name: str
    line: int | None = None


def _text(data: bytes, where: str) -> str:
    try:
        text = data.decode("utf-8-sig").strip()
    except UnicodeDecodeError:
        raise InputError("not text, and no PNG", expected=_EXPECTED, where=where) from None
    if not text:
        raise InputError("the file is empty", expected=_EXPECTED, where=where)
    if "\0" in text:
        raise InputError("binary data", expected=_EXPECTED, where=where)
    return text


def _wkt(text: str, where: str) -> Iterator[_Found]:
    """One geometry over all lines, else one a line."""
    whole = _geometry_from_wkt(text)
    if whole is not None:
        yield _Found(whole, UNSTATED_SEVERITY, "the geometry")
        return
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        shape = _geometry_from_wkt(line)
        if shape is None:
            start = line.strip()[:40]
            raise InputError(f"{start!r} is no area", expected=_EXPECTED, where=where, line=number)
        yield _Found(shape, UNSTATED_SEVERITY, "the geometry", number)


def _geometry_from_wkt(text: str) -> BaseGeometry | None:
    characters = np.frombuffer(text.encode(), dtype=np.uint8)
    depth = np.cumsum((characters == ord("(")).astype(int) - (characters == ord(")")))
    if depth.max(initial=0) > _MAX_DEPTH:  # the WKT reader of GEOS crashes on very deep nesting
        return None
    try:
        with np.errstate(invalid="ignore"):
            return shapely.from_wkt(text)
    except (shapely.errors.ShapelyError, ValueError):
        return None


def _geojson(text: str, where: str) -> Iterator[_Found]:
    try:
        document = json.loads(text)
    except json.JSONDecodeError as error:
        raise InputError(f"broken JSON: {error.msg}", where=where, line=error.lineno) from None
    except (ValueError, RecursionError):  # a number of thousands of digits, or brackets without end
        raise InputError("JSON that no area needs", expected=_EXPECTED, where=where) from None
    if not isinstance(document, dict):
        raise InputError("a JSON list", expected=_EXPECTED, where=where)
    features = [document]
    if document.get("type") == "FeatureCollection":
        features = document.get("features")  # type: ignore[assignment]
        if not isinstance(features, list) or not features:
            raise InputError("a FeatureCollection without features", expected=_EXPECTED, where=where)
    for number, feature in enumerate(features, start=1):
        name = f"feature {number}" if len(features) > 1 else "the geometry"
        try:
            yield _feature(feature, name)
        except InputError as error:
            raise error.at(where) from None


def _feature(feature: object, name: str) -> _Found:
    if not isinstance(feature, dict):
        raise InputError(f"{name} is no object", expected=_EXPECTED)
    if feature.get("type") != "Feature":
        return _Found(_geometry_from_geojson(feature, name), UNSTATED_SEVERITY, name)
    properties = feature.get("properties") or {}
    severity = properties.get("severity") if isinstance(properties, dict) else None
    if severity is None:
        severity = UNSTATED_SEVERITY
    # NaN fails the comparison too.
    elif isinstance(severity, bool) or not isinstance(severity, int | float) or not 0 <= severity <= 1:
        raise InputError(f"{name} has severity {severity!r:.40}", expected="a number from 0 to 1")
    return _Found(_geometry_from_geojson(feature.get("geometry"), name), float(severity), name)


def _geometry_from_geojson(geometry: object, name: str, outermost: bool = True) -> BaseGeometry:
    if not isinstance(geometry, dict):
        raise InputError(f"{name} has no geometry", expected="a GeoJSON Polygon or MultiPolygon")
    kind = geometry.get("type")
    if kind == "GeometryCollection" and outermost and isinstance(members := geometry.get("geometries"), list):
        return shapely.GeometryCollection([_geometry_from_geojson(m, name, outermost=False) for m in members])
    if kind not in ("Polygon", "MultiPolygon"):
        raise InputError(f"{name} is a {kind!r:.40}", expected="a GeoJSON Polygon or MultiPolygon")
    try:
        polygons = [geometry["coordinates"]] if kind == "Polygon" else geometry["coordinates"]
        made = [shapely.Polygon(_ring(rings[0]), [_ring(hole) for hole in rings[1:]]) for rings in polygons]
    except (KeyError, TypeError, IndexError, ValueError, OverflowError):
        raise InputError(
            f"the coordinates of {name} are malformed", expected="rings of at least four [x, y] in mm"
        ) from None
    return made[0] if kind == "Polygon" else shapely.MultiPolygon(made)


def _ring(positions: Sequence[Sequence[float]]) -> list[tuple[float, float]]:
    """One ring; a height, where given, is dropped. Malformed ones raise built-in errors."""
    if len(positions) > _MAX_POSITIONS or any(isinstance(v, bool | str) for p in positions for v in p[:2]):
        raise ValueError
    return [(float(p[0]), float(p[1])) for p in positions]


def _on_board(found: Sequence[_Found], board: Board, where: str) -> DamageArea:
    """Checked, mended and clipped zones."""
    board_shape = _board_shape(board)
    zones, notes = [], []
    for item in found:
        mended, was_mended = _mended(item, where)
        shape = _polygons(shapely.intersection(mended, board_shape))
        if shape.area == 0:
            raise InputError(
                f"{item.name} lies off the board",
                expected=f"x from 0 to {board.width_mm:g} mm, y from 0 to {board.height_mm:g} mm",
                where=where,
                line=item.line,
            )
        if was_mended:
            notes.append(f"{item.name} crossed itself and was mended")
        if shape.area < mended.area * (1 - 1e-9):
            notes.append(f"{item.name} reached over the board's edge and was cut there")
        zones.append(Zone(shape if shape.area < mended.area * (1 - 1e-9) else mended, item.severity))
    return DamageArea(tuple(zones), height_mm=board.height_mm, notes=tuple(notes))


def _mended(item: _Found, where: str) -> tuple[BaseGeometry, bool]:
    """The polygons of ``item``, valid, and whether they had to be mended."""
    shape = shapely.force_2d(item.shape)
    parts = shapely.get_parts(shape)
    kinds = {shape.geom_type} - {"GeometryCollection"} | {part.geom_type for part in parts}
    if not kinds.issubset(_POLYGONAL):
        raise InputError(f"a {shape.geom_type} is no area", expected=_EXPECTED, where=where, line=item.line)
    if shape.is_empty:
        raise InputError(f"{item.name} is empty", expected=_EXPECTED, where=where, line=item.line)
    values = shapely.get_coordinates(shape).ravel()
    if (odd := values[~(np.abs(values) <= _FARTHEST_MM)]).size:  # NaN is odd too
        raise InputError(
            f"{item.name} has the coordinate {odd[0]:g}", expected="finite mm", where=where, line=item.line
        )
    if shapely.is_valid(shape) and shape.geom_type != "GeometryCollection":
        return shape, False
    mended = shapely.union_all([_polygons(shapely.make_valid(part)) for part in parts])
    if mended.area == 0:
        raise InputError(f"{item.name} encloses nothing", expected=_EXPECTED, where=where, line=item.line)
    return mended, not all(shapely.is_valid(part) for part in parts)


def _polygons(shape: BaseGeometry) -> BaseGeometry:
    """The polygonal part of a geometry."""
    if shape.geom_type in ("Polygon", "MultiPolygon"):
        return shape
    parts = shapely.get_parts(shape)
    return shapely.union_all(parts[shapely.get_dimensions(parts) == 2])


def _board_shape(board: Board) -> BaseGeometry:
    """The board's outline, else its rectangle."""
    if len(board.outline) >= 3:
        outline = _polygons(shapely.make_valid(shapely.Polygon(board.outline)))
        if outline.area > 0:
            return outline
    return shapely.box(0.0, 0.0, board.width_mm, board.height_mm)
