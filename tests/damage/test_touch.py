"""What an area touches, beside a brute force over buffered shapes and pixels."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.board.atrisk import LIGHT
from coppermend.board.import_sources import Source
from coppermend.board.importing import import_board
from coppermend.board.model import Board, CopperArea, Pad, Part, PinRef, Section, Track, Via
from coppermend.board.parttypes import PartLibrary, standard_library
from coppermend.board.space import pad_shape, track_shape, via_shape
from coppermend.damage.area import DamageArea, Zone, parse_area
from coppermend.damage.touch import touch, touch_by_section, touch_to_json

LIBRARY = PartLibrary()


def box_area(*box: float, severity: float = 0.75) -> DamageArea:
    return DamageArea((Zone(shapely.box(*box), severity),))


def small_board() -> Board:
    """A DIP-14 at x 10..17.6, y 20..35 with a track on each layer, a via, and ground copper to the right."""
    return Board(
        "b",
        60.0,
        50.0,
        parts=(
            Part("U1", "7400", "", 10, 35, package="DIP-14", section="memory"),
            Part("R1", "resistor", "1k", 40, 10, package="AXIAL-10.16", section="reset"),
        ),
        pads=(
            Pad("U1", "1", 10, 35, 0.8, 1.6),
            Pad("U1", "7", 10, 19.76, 0.8, 1.6),
            Pad("U1", "14", 17.62, 35, 0.8, 1.6),
            Pad("R1", "1", 40, 10, 0.8, 1.6),
            Pad("R1", "2", 50.16, 10, 0.8, 1.6),
        ),
        nets={
            "A": (PinRef("U1", "1"), PinRef("R1", "1")),
            "GND": (PinRef("U1", "7"), PinRef("R1", "2")),
            "B": (PinRef("U1", "14"),),
        },
        vias=(Via("V1", "A", 25, 40, 0.4, 0.8),),
        tracks=(
            Track("A", "top", 10, 35, 25, 40, 0.3),
            Track("A", "bottom", 25, 40, 40, 10, 0.3),
            Track("GND", "top", 10, 19.76, 50.16, 10, 0.5),
        ),
        areas=(CopperArea("GND", "bottom", "POLYGON((42 2,58 2,58 48,42 48,42 2))"),),
        sections=(Section("reset"), Section("memory")),
    )


def test_a_spot_on_one_pad():
    """The pad, its track and its part are touched; share is the part of the pad's copper in damage."""
    touched = touch(small_board(), LIBRARY, box_area(5, 35, 15, 45))

    assert [(p.point, p.net, p.side) for p in touched.pads] == [("U1.1", "A", "both")]
    assert touched.pads[0].share == pytest.approx(0.5, abs=1e-3)
    assert [(t.number, t.net, t.layer) for t in touched.tracks] == [(1, "A", "top")]
    assert [(n.net, n.pads, n.vias, n.tracks) for n in touched.nets] == [("A", 1, 0, 1)]


def test_both_layers_count():
    """Damage has no side: a track below is touched as well as a via."""
    touched = touch(small_board(), LIBRARY, box_area(24, 38, 26, 41))

    assert [t.layer for t in touched.tracks] == ["bottom", "top"] or {t.layer for t in touched.tracks} == {
        "top",
        "bottom",
    }
    assert [v.name for v in touched.vias] == ["V1"]


def test_the_worst_zone_counts():
    """Where zones overlap, severity is the greatest, and everything is listed worst first."""
    area = DamageArea(
        (
            Zone(shapely.box(5, 15, 15, 45), 0.3),
            Zone(shapely.box(8, 18, 12, 22), 0.9),
            Zone(shapely.box(0, 0, 60, 50), 0.2),
        )
    )

    touched = touch(small_board(), LIBRARY, area)

    assert [(p.point, p.severity) for p in touched.pads[:2]] == [("U1.7", 0.9), ("U1.1", 0.3)]
    assert [n.net for n in touched.nets] == ["GND", "A", "B"]
    assert touched.severity_of_part["U1"] == 0.9


def test_a_zone_below_light_is_sound():
    """It touches nothing, and a note says so."""
    touched = touch(small_board(), LIBRARY, box_area(0, 0, 60, 50, severity=0.1))

    assert (touched.parts, touched.nets, touched.area_mm2) == ((), (), 0.0)
    assert touched.notes == ("zones with a severity below light count as sound",)


def test_filled_copper_alone_is_a_note():
    """A ground area that is damaged where nothing else is does not put the net at risk."""
    touched = touch(small_board(), LIBRARY, box_area(50, 30, 55, 40))

    assert touched.nets == ()
    assert touched.notes == (
        "a copper area of GND is damaged, but no pad, via or track: not counted as at risk",
    )


def test_filled_copper_of_a_net_at_risk_is_noted_too():
    """Pad 2 of R1 stands in the ground area."""
    touched = touch(small_board(), LIBRARY, box_area(49, 9, 55, 40))

    assert [n.net for n in touched.nets] == ["GND"]
    assert "a copper area of GND is damaged" in touched.notes


def test_a_body_without_touched_pads():
    """Damage under the middle of a part lists it with its share and no pads."""
    touched = touch(small_board(), LIBRARY, box_area(12, 25, 15, 30))

    (part,) = touched.parts
    assert (part.refdes, part.section, part.pads, part.severity) == ("U1", "memory", (), 0.75)
    assert 0 < part.share < 0.3


def test_damage_on_two_sides_is_suspect_beneath():
    """Strips left and right of a body list the part though the body itself is clean."""
    left, right = shapely.box(10.0, 22, 10.5, 32), shapely.box(17.2, 22, 18.0, 32)
    touched = touch(small_board(), LIBRARY, DamageArea((Zone(left, 0.9), Zone(right, 0.5))))

    (part,) = touched.parts
    assert (part.refdes, part.share, part.severity) == ("U1", 0.0, 0.5)
    assert touched.notes == ("damage on two sides of U1: suspect under its body",)


def test_damage_on_one_side_is_not():
    """A strip on the left alone hides nothing."""
    touched = touch(small_board(), LIBRARY, box_area(10.0, 22, 10.5, 32))

    assert touched.parts == () and touched.notes == ()


def test_a_body_that_lies_wholly_in_damage_hides_nothing():
    """What is known to be damaged is not suspected as well."""
    touched = touch(small_board(), LIBRARY, box_area(0, 5, 60, 50))

    assert "U1" in touched.severity_of_part
    assert not any("U1" in note for note in touched.notes)


def test_pads_come_from_packages_where_the_board_has_none():
    """Then a note says so."""
    bare = replace(small_board(), pads=(), tracks=(), vias=(), areas=())

    touched = touch(bare, LIBRARY, box_area(9, 34, 11, 36))

    assert [p.point for p in touched.pads] == ["U1.1"]
    assert "pads were computed from the packages" in touched.notes[0]


def test_a_pad_of_no_listed_part():
    """A pad whose part is not in the list still names it."""
    board = replace(small_board(), parts=())

    (part,) = touch(board, LIBRARY, box_area(9, 34, 11, 36)).parts

    assert (part.refdes, part.type, part.pads) == ("U1", "", ("U1.1",))


def test_a_board_with_nothing_on_it():
    """No parts, no copper: nothing is touched."""
    touched = touch(Board("b", 10, 10), LIBRARY, box_area(0, 0, 10, 10))

    assert (touched.parts, touched.nets, touched.area_mm2) == ((), (), 100.0)


def test_a_sound_map_touches_nothing():
    """A map without damage is a valid answer."""
    touched = touch(small_board(), LIBRARY, DamageArea(grid=np.zeros((200, 240), np.uint8), height_mm=50.0))

    assert (touched.parts, touched.pads, touched.nets, touched.area_mm2, touched.notes) == (
        (),
        (),
        (),
        0.0,
        (),
    )


def test_a_map_touches_filled_copper():
    """Areas are looked up by the map's outline."""
    grid = np.zeros((200, 240), np.uint8)
    grid[100:110, 200:210] = 200

    touched = touch(small_board(), LIBRARY, DamageArea(grid=grid, height_mm=50.0))

    assert touched.notes[0].startswith("a copper area of GND is damaged, but no pad")


def test_sections_in_board_order():
    """Groups follow the board's list of sections; what belongs to none comes last."""
    board = small_board()
    touched = touch(board, LIBRARY, box_area(0, 0, 60, 50))
    loose = replace(touched, parts=(*touched.parts, replace(touched.parts[0], refdes="X9", section="")))

    groups = touch_by_section(loose, board)

    assert [group.section for group in groups] == ["reset", "memory", ""]
    assert groups[0].parts == ("R1",) and groups[2].parts == ("X9",)
    assert set(groups[0].nets) == {"A", "GND"} and set(groups[1].nets) == {"A", "GND", "B"}


def test_json_has_the_documented_keys():
    """Every list and its keys; the document is plain JSON."""
    board = small_board()
    document = touch_to_json(touch(board, LIBRARY, box_area(0, 0, 60, 50)), board)

    assert list(document) == [
        "parts", "pads", "vias", "tracks", "nets", "sections", "counts", "area_mm2", "notes",
    ]  # fmt: skip
    assert set(document["pads"][0]) == {"point", "net", "side", "severity", "grade", "share"}
    assert set(document["vias"][0]) == {"name", "net", "severity", "grade", "share"}
    assert set(document["tracks"][0]) == {"number", "net", "layer", "severity", "grade", "share"}
    assert set(document["nets"][0]) == {
        "net", "role", "does", "sections", "severity", "grade", "pads", "vias", "tracks",
    }  # fmt: skip
    assert set(document["parts"][0]) == {"refdes", "type", "section", "severity", "grade", "share", "pads"}
    assert document["counts"] == {"parts": 2, "pads": 5, "vias": 1, "tracks": 3, "nets": 3}
    assert json.loads(json.dumps(document)) == document


def test_areas_are_kept_by_grade():
    """The record keeps where the damage lies, one geometry a grade, light first."""
    area = DamageArea((Zone(shapely.box(1, 1, 3, 3), 0.9), Zone(shapely.box(5, 5, 6, 6), 0.2)))

    kept = dict(touch(small_board(), LIBRARY, area).areas)

    assert list(kept) == ["light", "heavy"]
    assert shapely.from_wkt(kept["heavy"]).equals(shapely.box(1, 1, 3, 3))


coordinate = st.floats(2, 58).map(lambda value: round(value, 2))
size = st.floats(0.2, 6).map(lambda value: round(value, 2))


@st.composite
def boards(draw) -> Board:
    """Pads of every shape, vias and tracks of two nets at random places."""
    pads = tuple(
        Pad("U1", str(i), *xy, 0.0, w, "top", h, rounded)
        for i, (xy, w, h, rounded) in enumerate(
            draw(
                st.lists(st.tuples(st.tuples(coordinate, coordinate), size, size, st.booleans()), max_size=8)
            )
        )
    )
    vias = tuple(
        Via(f"V{i}", "A", x, y, 0.1, d)
        for i, (x, y, d) in enumerate(draw(st.lists(st.tuples(coordinate, coordinate, size), max_size=5)))
    )
    tracks = tuple(
        Track("B", "top", *ends, w)
        for *ends, w in draw(
            st.lists(st.tuples(coordinate, coordinate, coordinate, coordinate, size), max_size=8)
        )
    )
    return Board("b", 60, 60, pads=pads, vias=vias, tracks=tracks)


def copper_shapes(board: Board) -> dict[str, shapely.Geometry]:
    shapes = {pad.pin: pad_shape(pad) for pad in board.pads}
    shapes |= {via.name: via_shape(via) for via in board.vias}
    return shapes | {f"T{i}": track_shape(track) for i, track in enumerate(board.tracks, 1)}


def found(board: Board, area: DamageArea) -> dict[str, tuple[float, float]]:
    touched = touch(board, LIBRARY, area)
    rows = {p.point.removeprefix("U1."): p for p in touched.pads} | {v.name: v for v in touched.vias}
    rows |= {f"T{t.number}": t for t in touched.tracks}
    return {name: (row.severity, row.share) for name, row in rows.items()}


zones = st.lists(
    st.tuples(coordinate, coordinate, st.floats(0.5, 20), st.sampled_from([0.1, 0.2, 0.5, 0.9])),
    min_size=1,
    max_size=4,
)


@settings(max_examples=70)
@given(boards(), zones)
def test_drawn_zones_beside_brute_force(board, drawn):
    """Severity and share of every item equal what buffered shapes and plain intersections give."""
    area = DamageArea(tuple(Zone(shapely.Point(x, y).buffer(r), s) for x, y, r, s in drawn))
    damaged = [zone for zone in area.zones if zone.severity >= LIGHT]
    everything = shapely.union_all([zone.shape for zone in damaged])

    result = found(board, area)

    for name, shape in copper_shapes(board).items():
        worst = max((z.severity for z in damaged if z.shape.distance(shape) == 0), default=0.0)
        gap = min((z.shape.distance(shape) for z in damaged), default=9.0)
        share = shape.intersection(everything).area / shape.area
        if name not in result:
            assert share < 0.01, name  # a buffered disc is a polygon, a little smaller than the disc
        else:
            assert gap < 0.02 and result[name][0] >= worst - 1e-12
            assert result[name][1] == pytest.approx(share, abs=1e-6)


@settings(max_examples=50)
@given(boards(), zones)
def test_a_map_beside_brute_force(board, drawn):
    """Sampling finds what exact pixel squares give, to within half a pixel."""
    rows, columns = np.mgrid[0:240, 0:240]
    grid = np.zeros((240, 240), np.uint8)
    for x, y, r, severity in drawn:
        inside = np.hypot((columns + 0.5) / 4 - x, 60 - (rows + 0.5) / 4 - y) <= r
        grid[inside] = np.maximum(grid[inside], round(severity * 255))
    area = DamageArea(grid=grid, height_mm=60.0)
    pixels, everything = {z.severity: z.shape for z in area.zones}, area.shape
    shapely.prepare([*pixels.values(), everything])

    result = found(board, area)

    for name, shape in copper_shapes(board).items():
        core, wide = shape.buffer(-0.13), shape.buffer(0.01)
        severity, share = result.get(name, (0.0, 0.0))
        sure = max(
            (s for s, zone in pixels.items() if not core.is_empty and zone.intersects(core)), default=0.0
        )
        possible = max((s for s, zone in pixels.items() if zone.intersects(wide)), default=0.0)
        assert sure - 1e-9 <= severity <= possible + 1e-9, name
        exact = shape.intersection(everything).area / shape.area
        blur = 0.15 * shape.length / shape.area
        assert abs(share - exact) <= blur, name


@pytest.mark.shared
def test_on_a_real_board_beside_brute_force(shared_boards):
    """Pads, vias and tracks of a real board under a disc are those that buffered shapes meet."""
    folder = shared_boards / "trainer-computer"
    gerber = [Source(f.name, f.read_bytes()) for f in sorted((folder / "gerber").iterdir())]
    netlist = Source("board.d356", (folder / "board.d356").read_bytes())
    parts = Source("parts.csv", (folder / "parts.csv").read_bytes())
    library = standard_library()
    board, _ = import_board(name="t", ipc356=netlist, gerber=gerber, parts=parts, library=library)
    disc = shapely.Point(90, 70).buffer(20)

    touched = touch(board, library, parse_area(disc.wkt.encode(), board, "disc"))

    def counted(shapes) -> int:
        return int((shapely.distance(np.array(shapes), disc) <= 0).sum())

    assert len(touched.pads) == counted([pad_shape(p) for p in board.pads])
    assert len(touched.vias) == counted([via_shape(v) for v in board.vias])
    assert len(touched.tracks) == counted([track_shape(t) for t in board.tracks])
    assert all(net.does for net in touched.nets)
