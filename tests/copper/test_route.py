"""The walk over the probes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coppermend.copper.route import travel_mm, walking_order


def test_nearest_first_and_tips_swapped():
    """The far probe comes last, and its points change tips when that is shorter."""
    ends = np.array([[(90, 0), (0, 0)], [(1, 1), (80, 1)], [(2, 0), (85, 0)]], dtype=float)

    steps = walking_order(ends, [False] * 3)

    assert [(step.number, step.swapped) for step in steps] == [(1, False), (2, False), (0, True)]


def test_the_board_is_turned_over_once():
    """What only the top shows comes after everything else, however near."""
    ends = np.array([[(1, 0), (2, 0)], [(50, 0), (60, 0)], [(2, 0), (3, 0)]], dtype=float)

    assert [step.number for step in walking_order(ends, [True, False, True])] == [1, 2, 0]


def test_travel_of_both_tips():
    """3-4-5 triangles by hand: one tip goes 5 mm, the other 10 mm."""
    ends = np.array([[(0, 0), (10, 0)], [(3, 4), (10, 10)]], dtype=float)

    assert travel_mm(ends) == pytest.approx(15.0)
    assert travel_mm(ends[:1]) == travel_mm(ends[:0]) == 0.0


@given(st.lists(st.tuples(*[st.integers(0, 50)] * 4, st.booleans()), max_size=12))
def test_every_probe_is_walked_once(rows):
    """The steps are an order of all probes."""
    ends = np.array([row[:4] for row in rows], dtype=float).reshape(-1, 2, 2)

    steps = walking_order(ends, [row[4] for row in rows])

    assert sorted(step.number for step in steps) == list(range(len(rows)))
