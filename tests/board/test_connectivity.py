"""Copper that hangs together: against a plain search through drawn shapes, and layer by layer."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.board.connectivity import connected_copper, copper_contacts, item_name
from coppermend.board.model import Board, CopperArea, Pad, Track, Via


def board(*, pads=(), vias=(), tracks=(), areas=()) -> Board:
    return Board("B", 100, 100, pads=tuple(pads), vias=tuple(vias), tracks=tuple(tracks), areas=tuple(areas))


def track(x1, y1, x2, y2, layer="top", width=0.4) -> Track:
    return Track("N", layer, x1, y1, x2, y2, width)


def labels(**items) -> list[int]:
    return connected_copper(board(**items)).tolist()


def test_crossing_tracks_join_on_one_layer_only():
    """Tracks that cross join on the same layer, and pass each other on different layers."""
    assert labels(tracks=[track(0, 5, 9, 5), track(5, 0, 5, 9)]) == [0, 0]
    assert labels(tracks=[track(0, 5, 9, 5), track(5, 0, 5, 9, "bottom")]) == [0, 1]


def test_a_via_joins_the_layers():
    """A via where two tracks cross makes one piece of them."""
    crossing = [track(0, 5, 9, 5), track(5, 0, 5, 9, "bottom")]

    assert labels(vias=[Via("V1", "N", 5, 5, 0.4)], tracks=crossing) == [0, 0, 0]
    assert labels(vias=[Via("V1", "N", 5, 7, 0.4)], tracks=crossing) == [0, 1, 0]


@pytest.mark.parametrize(("side", "joined"), [("both", [0, 0, 0]), ("top", [0, 0, 1]), ("bottom", [0, 1, 0])])
def test_pads_join_the_layers_they_are_on(side, joined):
    """A through pad joins both layers, a surface pad only its own."""
    pad = Pad("R1", "1", 5, 5, 0.8, 2.0, side)

    assert labels(pads=[pad], tracks=[track(0, 5, 5, 5), track(5, 5, 9, 5, "bottom")]) == joined


def test_a_bare_hole_joins_nothing():
    """A pad that is drilled to its rim has no copper left to join with."""
    crossing = [track(0, 5, 5, 5), track(5, 5, 9, 5, "bottom")]

    assert labels(pads=[Pad("H1", "1", 5, 5, 3.0, 3.0)], tracks=crossing) == [0, 1, 2]


@pytest.mark.parametrize(("gap_mm", "joined"), [(0.0, [0, 0]), (0.001, [0, 1])])
def test_a_micrometre_is_a_gap(gap_mm, joined):
    """Round ends that just meet are joined; a micrometre apart they are not."""
    assert labels(tracks=[track(0, 0, 5, 0), track(5.4 + gap_mm, 0, 9, 0)]) == joined


def test_areas_join_what_lies_in_them():
    """An area joins what it covers or meets on its layer, and not what lies in its holes."""
    ring = "POLYGON ((0 0, 20 0, 20 20, 0 20, 0 0), (5 5, 15 5, 15 15, 5 15, 5 5))"
    pads = [Pad("R1", "1", 2, 2, 0.8, 1), Pad("R1", "2", 10, 10, 0.8, 1), Pad("R1", "3", 5.4, 10, 0.8, 1)]

    assert labels(pads=pads, areas=[CopperArea("N", "top", ring)]) == [0, 1, 0, 0]


def test_areas_that_meet():
    """Two areas that share an edge are one piece; on different layers they are two."""
    left, right = "POLYGON ((0 0, 5 0, 5 5, 0 5, 0 0))", "POLYGON ((5 0, 9 0, 9 5, 5 5, 5 0))"

    assert labels(areas=[CopperArea("N", "top", left), CopperArea("N", "top", right)]) == [0, 0]
    assert labels(areas=[CopperArea("N", "top", left), CopperArea("N", "bottom", right)]) == [0, 1]


def test_nothing():
    """A board without copper has no contacts and no labels, in arrays of the documented shape."""
    assert copper_contacts(board()).shape == (0, 2)
    assert connected_copper(board()).shape == (0,)


def test_chosen_contacts():
    """Labels can be made from some of the contacts only."""
    chain = board(tracks=[track(0, 0, 5, 0), track(5, 0, 9, 0), track(9, 0, 14, 0)])

    assert copper_contacts(chain).tolist() == [[0, 1], [1, 2]]
    assert connected_copper(chain, np.array([[1, 2]])).tolist() == [0, 1, 1]


def test_names():
    """Items are called by their point, or by their row in the file."""
    every = board(
        pads=[Pad("U3", "9", 1, 1, 0.8, 1)], vias=[Via("V7", "N", 3, 3, 0.4)],
        tracks=[track(0, 0, 5, 0)], areas=[CopperArea("N", "top", "POLYGON ((5 0, 9 0, 9 5, 5 0))")],
    )  # fmt: skip

    assert [item_name(every, i) for i in range(4)] == ["U3.9", "V7", "track 1", "area 1"]


# Discs of 64 corners lie up to 0.0006 mm inside the circle; no gap on this grid is as narrow as 0.001 mm.
DRAWN = 0.001
grid = st.integers(0, 12)
layers = st.sampled_from(["top", "bottom"])


@settings(max_examples=100)
@given(
    st.lists(st.builds(track, grid, grid, grid, grid, layers), max_size=10),
    st.lists(st.builds(lambda x, y: Via("V1", "N", x, y, 0.4), grid, grid), max_size=4),
)
def test_labels_agree_with_a_plain_search(tracks, vias):
    """Labels are those of a flood fill over shapes of shapely, pair by pair."""
    made = board(tracks=tracks, vias=vias)
    shapes, layer = made.space.shapes(np.arange(len(made.space.kinds))), made.space.layers
    n = len(shapes)
    meet = [
        [bool(layer[i] & layer[j]) and shapes[i].distance(shapes[j]) < DRAWN for j in range(n)]
        for i in range(n)
    ]

    label = [-1] * n
    for start in range(n):
        queue = [start] if label[start] < 0 else []
        while queue:
            item = queue.pop()
            if label[item] < 0:
                label[item] = max(label) + 1 if item == start else label[start]
                queue += [other for other in range(n) if meet[item][other]]

    assert connected_copper(made).tolist() == label
