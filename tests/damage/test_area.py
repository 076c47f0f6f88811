"""Damaged areas as WKT and GeoJSON: what is read, what is mended, and what is refused in one clear line."""

from __future__ import annotations

import json

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from coppermend.board.model import Board
from coppermend.damage.area import UNSTATED_SEVERITY, DamageArea, Zone, area_to_geojson, parse_area
from coppermend.errors import InputError

BOARD = Board("b", 100.0, 80.0)
SQUARE = "POLYGON ((10 10, 30 10, 30 30, 10 30, 10 10))"


def read(text: str | bytes | dict, board: Board = BOARD) -> DamageArea:
    data = json.dumps(text) if isinstance(text, dict) else text
    return parse_area(data.encode() if isinstance(data, str) else data, board, "area.txt")


def feature(geometry: object, **properties: object) -> dict:
    return {"type": "Feature", "properties": properties, "geometry": geometry}


SQUARE_JSON = json.loads(shapely.to_geojson(shapely.from_wkt(SQUARE)))


def test_a_drawn_area_without_severity_counts_as_heavy():
    """A plain WKT polygon is one zone of the stated default."""
    area = read(SQUARE)

    assert area.zones == (Zone(shapely.from_wkt(SQUARE), UNSTATED_SEVERITY),)
    assert (area.area_mm2, area.notes) == (400.0, ())


def test_several_wkt_lines_are_several_zones():
    """Each line is a geometry of its own; blank lines and CRLF do not matter."""
    area = read("POLYGON((0 0,1 0,1 1,0 0))\r\n\r\nMULTIPOLYGON(((5 5,6 5,6 6,5 5)))\r\n")

    assert [zone.shape.geom_type for zone in area.zones] == ["Polygon", "MultiPolygon"]


def test_wkt_may_run_over_lines():
    """One geometry broken over several lines is still one."""
    assert read(SQUARE.replace(", ", ",\n  ")).area_mm2 == 400.0


def test_a_feature_states_its_severity():
    """Properties of each feature count; one without severity is heavy."""
    area = read(
        {"type": "FeatureCollection", "features": [feature(SQUARE_JSON, severity=0.3), feature(SQUARE_JSON)]}
    )

    assert [zone.severity for zone in area.zones] == [0.3, UNSTATED_SEVERITY]


@pytest.mark.parametrize(
    "document",
    [
        SQUARE_JSON,
        feature(SQUARE_JSON),
        {"type": "MultiPolygon", "coordinates": [SQUARE_JSON["coordinates"]]},
        {"type": "GeometryCollection", "geometries": [SQUARE_JSON]},
        {"type": "Polygon", "coordinates": [[[*p, 7.0] for p in SQUARE_JSON["coordinates"][0]]]},
    ],
)
def test_every_polygonal_geojson_is_read(document):
    """Geometry, feature, collection and heights (dropped) all give the same area."""
    area = read(document)

    assert area.shape.equals(shapely.from_wkt(SQUARE)) and not area.shape.has_z


def test_a_hole_stays_sound():
    """The inside of a ring is no damage."""
    area = read("POLYGON((10 10,30 10,30 30,10 30,10 10),(15 15,25 15,25 25,15 25,15 15))")

    assert area.area_mm2 == 300.0


def test_a_self_crossing_outline_is_mended():
    """A bow tie becomes its two triangles, and a note says so."""
    area = read("POLYGON((10 10,30 30,30 10,10 30,10 10))")

    assert area.area_mm2 == pytest.approx(200.0) and area.shape.is_valid
    assert area.notes == ("the geometry crossed itself and was mended",)


def test_what_reaches_over_the_edge_is_cut_off():
    """Only the part on the board counts, and a note says so."""
    area = read("POLYGON((90 70,110 70,110 90,90 90,90 70))")

    assert area.area_mm2 == pytest.approx(100.0)
    assert area.notes == ("the geometry reached over the board's edge and was cut there",)


def test_the_outline_of_the_board_counts():
    """Where the board has an outline, damage outside of it is cut off."""
    board = Board("b", 100.0, 80.0, outline=((0, 0), (20, 0), (20, 80), (0, 80)))

    assert read(SQUARE, board).area_mm2 == pytest.approx(200.0)


def test_a_degenerate_outline_of_the_board_does_not():
    """An outline that encloses nothing gives way to width and height."""
    assert read(SQUARE, Board("b", 100.0, 80.0, outline=((0, 0), (5, 5), (9, 9)))).area_mm2 == 400.0


def test_overlapping_polygons_are_one_area():
    """Area is not counted twice, and an invalid multipolygon is mended."""
    area = read("MULTIPOLYGON(((10 10,30 10,30 30,10 30,10 10)),((20 10,40 10,40 30,20 30,20 10)))")

    assert area.area_mm2 == pytest.approx(600.0)


REFUSED = {
    "point": ("POINT(3 3)", "a Point is no area"),
    "line": ("LINESTRING(1 1, 5 5)", "a LineString is no area"),
    "mixed": ("GEOMETRYCOLLECTION(POINT(1 1), POLYGON((0 0,1 0,1 1,0 0)))", "a GeometryCollection is no area"),
    "empty polygon": ("POLYGON EMPTY", "the geometry is empty"),
    "not a number": ("POLYGON((0 0, nan 1, 1 1, 0 0))", "has the coordinate nan; expected finite mm"),
    "infinite": ("POLYGON((0 0, inf 1, 1 1, 0 0))", "has the coordinate inf"),
    "a light-year off": ("POLYGON((0 0, 1e308 0, 1e308 1e308, 0 0))", "has the coordinate 1e+308"),
    "flat": ("POLYGON((0 0, 5 5, 9 9, 0 0))", "encloses nothing"),
    "off the board": ("POLYGON((200 10,210 10,210 20,200 10))", "lies off the board; expected x from 0 to 100 mm"),
    "unclosed": ("POLYGON((0 0, 5 0, 5 5))", "is no area"),
    "prose": ("all around the battery", "'all around the battery' is no area"),
    "nothing": ("  \n ", "the file is empty"),
    "binary": ("POLY\0GON", "binary data"),
    "latin": ("größe".encode("latin-1"), "not text, and no PNG"),
    "list": ("[1, 2]", "a JSON list"),
    "cut json": ('{"type": "Polygon",', "broken JSON"),
    "json point": ({"type": "Point", "coordinates": [1, 1]}, "the geometry is a 'Point'"),
    "no features": ({"type": "FeatureCollection", "features": []}, "without features"),
    "odd feature": ({"type": "FeatureCollection", "features": [3]}, "the geometry is no object"),
    "no geometry": (feature(None), "the geometry has no geometry"),
    "severity 2": (feature(SQUARE_JSON, severity=2), "has severity 2"),
    "severity text": (feature(SQUARE_JSON, severity="bad"), "has severity 'bad'"),
    "severity true": (feature(SQUARE_JSON, severity=True), "has severity True"),
    "severity nan": ('{"type":"Feature","properties":{"severity":NaN},"geometry":null}', "has severity nan"),
    "no rings": ({"type": "Polygon", "coordinates": []}, "malformed"),
    "short ring": ({"type": "Polygon", "coordinates": [[[0, 0], [1, 1]]]}, "malformed"),
    "text in ring": ({"type": "Polygon", "coordinates": [[["0", 0], [1, 0], [1, 1], [0, 0]]]}, "malformed"),
    "no coordinates": ({"type": "MultiPolygon"}, "malformed"),
    "huge number": ('{"type":"Polygon","coordinates":' + "9" * 5000 + "}", "JSON that no area needs"),
    "deep": ('{"a":' * 100_000, "JSON that no area needs"),
    "deep wkt": ("GEOMETRYCOLLECTION(" * 200_000 + "POINT(0 0)" + ")" * 200_000, "is no area"),
    "collections in collections": (
        {"type": "GeometryCollection", "geometries": [{"type": "GeometryCollection", "geometries": []}]},
        "the geometry is a 'GeometryCollection'",
    ),
    "nested wkt": ("GEOMETRYCOLLECTION(GEOMETRYCOLLECTION(POLYGON((0 0,1 0,1 1,0 0))))", "is no area"),
    "infinite json": ('{"type":"Polygon","coordinates":[[[0,0],[1e999,0],[1,1],[0,0]]]}', "has the coordinate inf"),
}  # fmt: skip


@pytest.mark.parametrize(("text", "says"), REFUSED.values(), ids=REFUSED)
def test_what_is_no_area_is_refused(text, says):
    """One clear error that names the file and what is wrong."""
    with pytest.raises(InputError) as caught:
        read(text)

    assert caught.value.where == "area.txt"
    assert says in str(caught.value)


def test_an_error_in_wkt_names_its_line():
    """The second line is broken."""
    with pytest.raises(InputError) as caught:
        read(f"{SQUARE}\nPOLYGON((0 0, 1 1")

    assert caught.value.line == 2


def test_an_error_in_a_feature_names_it():
    """The second feature of two is at fault."""
    with pytest.raises(InputError, match="feature 2 has severity -1"):
        read(
            {
                "type": "FeatureCollection",
                "features": [feature(SQUARE_JSON), feature(SQUARE_JSON, severity=-1)],
            }
        )


def test_a_file_that_is_too_large_is_refused(monkeypatch):
    """The limit holds before anything is parsed."""
    monkeypatch.setattr("coppermend.damage.area.MAX_BYTES", 10)

    with pytest.raises(InputError, match="bytes are too many"):
        read(SQUARE)


@given(
    st.lists(
        st.tuples(st.integers(0, 90), st.integers(0, 70), st.integers(1, 10), st.floats(0, 1)),
        min_size=1,
        max_size=5,
    )
)
def test_an_area_survives_geojson(boxes):
    """What ``area_to_geojson`` writes is read back to equal zones."""
    features = [
        feature(json.loads(shapely.to_geojson(shapely.box(x, y, x + size, y + size))), severity=severity)
        for x, y, size, severity in boxes
    ]
    area = read({"type": "FeatureCollection", "features": features})

    again = read(area_to_geojson(area))

    assert again == area


@given(st.one_of(st.binary(max_size=200), st.text(max_size=200).map(str.encode)))
def test_any_bytes_are_read_or_refused(data):
    """No input at all ends in another error than ours."""
    try:
        area = read(data)
    except InputError as error:
        assert str(error).startswith("area.txt: ") or str(error).startswith("area.txt:")
    else:
        assert area.area_mm2 >= 0


@given(st.data())
def test_a_spoiled_document_is_read_or_refused(data):
    """GeoJSON with a piece cut out, doubled or replaced never ends in another error than ours."""
    text = json.dumps({"type": "FeatureCollection", "features": [feature(SQUARE_JSON, severity=0.5)]})
    start = data.draw(st.integers(0, len(text)))
    stop = data.draw(st.integers(start, len(text)))
    filler = data.draw(st.sampled_from(["", "null", "[]", "{}", "1e999", '"x"', "-1", text[start:stop] * 2]))
    try:
        area = read(text[:start] + filler + text[stop:])
    except InputError as error:
        assert error.where == "area.txt"
    else:
        assert area.shape.is_valid
