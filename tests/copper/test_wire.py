"""How a jumper's wire runs, and how thick it is."""

from __future__ import annotations

import pytest
import shapely

from coppermend.board.model import Board, Part
from coppermend.copper.wire import tall_bodies, track_carries_a, wire_gauge, wire_run


@pytest.mark.parametrize(
    ("mil", "rise_c", "expected_a"), [(10, 10, 0.8855), (20, 10, 1.464), (50, 20, 3.858), (100, 10, 4.701)]
)
def test_what_a_track_carries(mil, rise_c, expected_a):
    """IPC-2221 fit, outer layer, 1 oz taken as 35 µm, as three public calculators give it."""
    assert track_carries_a(mil * 0.0254, rise_c) == pytest.approx(expected_a, rel=1e-3)


def test_signals_take_the_thinnest_wire():
    """Also where no width is known; a very wide rail takes the thickest there is."""
    assert wire_gauge([5.0], power=False) == wire_gauge([], power=True) == 30
    assert wire_gauge([0.5, 2.0], power=True) == 22 and wire_gauge([50.0], power=True) == 18


def test_a_straight_wire():
    """Two points in line: no corner."""
    assert wire_run((0, 0), (10, 0), []) == (((0, 0), (10, 0)), 10.0, False)


def test_a_corner_goes_round_a_body():
    """One of the two corners is blocked: the other is taken, as long."""
    run = wire_run((0, 0), (20, 10), [shapely.box(15, -2, 25, 3)])

    assert run.corners == ((0, 0), (0, 10), (20, 10)) and (run.length_mm, run.crosses) == (30.0, False)


def test_a_detour_round_a_body_in_the_way():
    """A body 4 mm high to either side of the line: 2 x 4 mm more."""
    run = wire_run((0, 0), (20, 0), [shapely.box(5, -4, 15, 4)])

    assert (run.length_mm, len(run.corners), run.crosses) == (28.0, 4, False)


def test_no_way_round_is_told():
    """Walled in on all sides within the board's axes: the plain run, and that it crosses."""
    walls = [
        shapely.box(4, -50, 6, 50),
        shapely.box(-50, 4, 50, 6),
        shapely.box(-50, -6, 50, -4),
        shapely.box(-6, -50, -4, 50),
    ]

    run = wire_run((0, 0), (20, 0), walls)

    assert run.crosses and run.length_mm == 20.0


def test_a_body_over_an_end_is_not_avoided():
    """The wire must go there all the same."""
    assert not wire_run((0, 0), (20, 0), [shapely.box(-1, -1, 5, 5)]).crosses


def test_tall_bodies_of_a_side():
    """Only fitted parts of that side that stand 3 mm or higher."""
    parts = (
        Part("C1", package="RADIAL-POL-5.08-D6.3", x_mm=20, y_mm=20),
        Part("U1", package="DIP-14", x_mm=40, y_mm=20),
        Part("R1", package="AXIAL-10.16", x_mm=60, y_mm=20),
    )
    board = Board("b", 100.0, 100.0, parts=parts)

    assert len(tall_bodies(board, "top")) >= len(tall_bodies(board, "top", {"C1"})) + 1
    assert tall_bodies(board, "bottom") == tall_bodies(board, "both") == ()
