"""Where copper is: shapes against plain geometry, and the tree against a search without one."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.board.model import Board, CopperArea, Pad, PinRef, Track, Via
from coppermend.board.space import BOTH, BOTTOM, TOP, area_shape, pad_shape, track_shape, via_shape

DISC = 5e-3  # a circle drawn with 64 corners covers 0.16 % less than the circle


def test_a_round_pad_is_a_disc():
    """Area of a disc: pi r^2 (geometry)."""
    assert pad_shape(Pad("R1", "1", 1, 2, 0.8, 2.0)).area == pytest.approx(math.pi, rel=DISC)


@pytest.mark.parametrize(("width", "height"), [(3.0, 1.0), (1.0, 3.0)])
def test_an_oblong_round_pad_has_round_ends(width, height):
    """Round ends: a square of the run plus a disc of the short side, within the given width and height."""
    shape = pad_shape(Pad("R1", "1", 5, 5, 0.8, width, height_mm=height))

    assert shape.area == pytest.approx(2.0 + math.pi / 4, rel=DISC)
    assert shape.bounds == pytest.approx((5 - width / 2, 5 - height / 2, 5 + width / 2, 5 + height / 2))


def test_other_pads_are_rectangles():
    """A pad that is not round fills its width times its height."""
    assert pad_shape(Pad("J1", "1", 0, 0, 0, 2.4, height_mm=8, round=False)).bounds == (-1.2, -4, 1.2, 4)


def test_vias_and_tracks():
    """A via is a disc; a track is a bar with a half disc at both ends."""
    assert via_shape(Via("V1", "A", 0, 0, 0.4, 2.0)).area == pytest.approx(math.pi, rel=DISC)
    assert track_shape(Track("A", "top", 0, 0, 10, 0, 2.0)).area == pytest.approx(20 + math.pi, rel=DISC)


def test_an_area_that_crosses_itself_is_mended():
    """A bow tie of two triangles of 1 mm^2 each is kept as both triangles, without stray lines."""
    bow_tie = CopperArea("A", "top", "POLYGON ((0 0, 2 2, 2 0, 0 2, 0 0))")
    spike = CopperArea("A", "top", "POLYGON ((0 0, 2 0, 2 2, 5 5, 2 2, 0 2, 0 0))")

    assert area_shape(bow_tie).area == pytest.approx(2.0) and area_shape(bow_tie).is_valid
    assert area_shape(spike).geom_type == "Polygon" and area_shape(spike).area == pytest.approx(4.0)


BOARD = Board(
    "B", 100, 100,
    nets={"A": (PinRef("R1", "1"),)},
    pads=(Pad("R1", "1", 10, 10, 0.8, 2.0), Pad("J1", "1", 20, 10, 0, 2, "bottom", 8, False)),
    vias=(Via("V1", "A", 30, 10, 0.4, 1.0),),
    tracks=(Track("B", "top", 40, 10, 60, 10, 0.5),),
    areas=(CopperArea("GND", "bottom", "POLYGON ((70 0, 90 0, 90 20, 70 20, 70 0))"),),
)  # fmt: skip


def test_items_carry_net_and_layer():
    """Every item knows what it is, which one, its net and its layers."""
    space = BOARD.space

    assert list(space.kinds) == ["pad", "pad", "via", "track", "area"]
    assert list(space.numbers) == [0, 1, 0, 0, 0]
    assert list(space.nets) == ["A", "", "A", "B", "GND"]
    assert list(space.layers) == [BOTH, BOTTOM, BOTH, TOP, BOTTOM]


def test_shapes_of_items():
    """The polygons of all items are those of the single shapes."""
    shapes = BOARD.space.shapes(np.arange(5))

    assert [round(s.area, 1) for s in shapes] == [3.1, 16.0, 0.8, 10.2, 400.0]
    assert shapes[3].equals(track_shape(BOARD.tracks[0]))


@pytest.mark.parametrize(
    ("x", "clearance_mm", "items"),
    [
        (11.0, 0.0, [0]),
        (11.01, 0.0, []),
        (11.01, 0.02, [0]),
        (15.0, 4.0, [0, 1]),
        (29.5, 0.0, [2]),
        (60.25, 0.0, [3]),
        (80.0, 0.0, [4]),
        (50.0, 0.0, [3]),
        (65.0, 50.0, [1, 2, 3, 4]),
    ],
)
def test_touching_is_exact(x, clearance_mm, items):
    """Copper that just meets a point counts, copper 0.01 mm away does not, clearance reaches further."""
    found = BOARD.space.touching(shapely.Point(x, 10), clearance_mm)

    assert set(items) <= set(found) if clearance_mm == 50 else list(found) == items


def test_nothing_touches_nothing():
    """An empty area and an empty board have no touching items, and say so with an empty array."""
    assert BOARD.space.touching(shapely.Polygon()).shape == (0,)
    assert Board("E", 1, 1).space.touching(shapely.box(0, 0, 9, 9)).shape == (0,)
    assert Board("E", 1, 1).space.shapes(np.zeros(0, dtype=int)).shape == (0,)


spots = st.tuples(st.integers(0, 100), st.integers(0, 100))
small = st.integers(1, 80).map(lambda n: n / 10)


@st.composite
def random_boards(draw):
    pads = [
        Pad("P", str(i), x, y, 0.5, draw(small), "both", draw(small), draw(st.booleans()))
        for i, (x, y) in enumerate(draw(st.lists(spots, max_size=8)))
    ]
    ends = draw(st.lists(st.tuples(spots, spots, small), max_size=8))
    tracks = [Track("A", "top", *a, *b, width) for a, b, width in ends]
    return Board("B", 100, 100, pads=tuple(pads), tracks=tuple(tracks))


@settings(max_examples=100)
@given(random_boards(), spots, small, small)
def test_the_tree_finds_what_a_plain_search_finds(board, middle, radius, clearance_mm):
    """Touching agrees with measuring every distance to the drawn shapes, but for what lies on the rim."""
    area = shapely.Point(middle).buffer(radius)
    shapes = [*map(pad_shape, board.pads), *map(track_shape, board.tracks)]
    distances = np.array([shape.distance(area) for shape in shapes])

    found = np.isin(np.arange(len(shapes)), board.space.touching(area, clearance_mm))

    rim = np.abs(distances - clearance_mm) < 0.05  # drawn discs have 64 corners
    assert (found == (distances <= clearance_mm))[~rim].all()
