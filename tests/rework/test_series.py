"""Preferred numbers beside the published lists, and values made from them."""

from __future__ import annotations

import csv
from collections import defaultdict
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.errors import InputError
from coppermend.rework.codes.search import make_value, stock_of
from coppermend.rework.codes.series import in_series, nearest, preferred_numbers, series_values

_LISTS = Path(__file__).parent.parent / "references" / "iec60063.csv"


def published():
    lists = defaultdict(list)
    for row in csv.DictReader(_LISTS.open()):
        lists[f"E{row['series']}"].append(int(row["value"]))
    return lists


@pytest.mark.parametrize("series", ["E3", "E6", "E12", "E24", "E48", "E96", "E192"])
def test_the_rule_regenerates_the_published_list(series):
    """Every member of every series of IEC 60063."""
    assert list(preferred_numbers(series)) == published()[series]


def test_e192_has_920_where_the_rule_says_919():
    """The one listed exception of IEC 60063."""
    assert 920 in preferred_numbers("E192")
    assert 919 not in preferred_numbers("E192")


def test_an_e24_value_need_not_be_in_e96():
    """47 lies between 46.4 and 47.5."""
    assert in_series(47.0, "E24")
    assert not in_series(47.0, "E96")
    assert set(nearest(47.0, "E96")) == {46.4, 47.5}


@settings(max_examples=200)
@given(st.floats(1e-12, 1e12), st.sampled_from(["E3", "E12", "E24", "E96", "E192"]))
def test_nearest_values_enclose(value, series):
    """What is returned lies on both sides and is a member."""
    found = nearest(value, series)

    assert min(found) <= value * (1 + 1e-9)
    assert max(found) >= value * (1 - 1e-9)
    assert all(in_series(v, series) for v in found)


def test_a_range_of_a_series_includes_its_ends():
    """Two decades of E3."""
    assert series_values("E3", 1, 100) == (1.0, 2.2, 4.7, 10.0, 22.0, 47.0, 100.0)


@pytest.mark.parametrize("bad", [("E5", 1, 2), ("E6", 0, 2), ("E6", 3, 2), ("E6", 1, float("inf"))])
def test_impossible_ranges_are_refused(bad):
    """No such series, zero, reversed, without end."""
    with pytest.raises(InputError) as caught:
        series_values(*bad)

    assert caught.value.expected


@pytest.mark.parametrize("value", [0.0, -1.0, float("nan")])
def test_nothing_is_near_zero(value):
    """Zero, negative and not-a-number have no neighbours, and are in no series."""
    assert not in_series(value, "E24")
    with pytest.raises(InputError) as caught:
        nearest(value, "E24")
    assert caught.value.expected == "a positive value"


def test_a_single_part_wins_over_a_pair_of_equal_error():
    """1 kΩ is one part, though 500 + 500 would do."""
    assert make_value(1000.0, [500.0, 1000.0])[0].way == "one"


@pytest.mark.parametrize(("unit", "way"), [("Ω", "parallel"), ("F", "series"), ("H", "parallel")])
def test_halves_are_made_the_right_way_round(unit, way):
    """Two equal resistors in parallel, but two equal capacitors in series, make half."""
    found = make_value(50.0, [100.0], unit)[0]

    assert (found.way, found.value) == (way, 50.0)


@settings(max_examples=60)
@given(st.floats(100, 1000), st.lists(st.floats(50, 2000), min_size=1, max_size=6))
def test_the_search_is_exhaustive(target, stock):
    """No single part or pair comes closer than the first answer."""
    best = make_value(target, stock)[0]
    every = (
        list(stock) + [a + b for a in stock for b in stock] + [a * b / (a + b) for a in stock for b in stock]
    )

    assert abs(best.value - target) <= min(abs(v - target) for v in every) + 1e-9 * target


def test_a_pair_of_e12_comes_within_half_a_per_cent():
    """7.25 kΩ from E12 parts."""
    best = make_value(7250.0, stock_of("E12", 7250.0))[0]

    assert abs(best.error) < 0.005
    assert best.to_json()["way"] == best.way


@pytest.mark.parametrize(
    ("target", "stock", "unit"), [(0.0, [1.0], "Ω"), (1.0, [-1.0], "Ω"), (1.0, [1.0], "V")]
)
def test_values_that_cannot_be_are_refused(target, stock, unit):
    """Zero wanted, negative stock, a unit that does not add."""
    with pytest.raises(InputError) as caught:
        make_value(target, stock, unit)

    assert caught.value.expected


def test_an_empty_shelf_makes_nothing_and_pairs_can_be_left_out():
    """No stock, no way; without pairs only single parts."""
    assert make_value(1.0, []) == ()
    assert {m.way for m in make_value(1500.0, [1000.0, 2200.0], pairs=False)} == {"one"}


def test_a_target_of_zero_has_no_stock():
    """Refused before the search."""
    with pytest.raises(InputError) as caught:
        stock_of("E24", 0.0)

    assert caught.value.expected == "a value above zero"
