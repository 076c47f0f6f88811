"""Tours beside published optima, and beside every order tried out."""

from __future__ import annotations

import csv
from itertools import permutations, product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.copper.route import travel_mm, walking_order
from coppermend.copper.tour import short_tour

TSPLIB = Path(__file__).resolve().parents[1] / "references" / "tsplib.csv"


def instance(name: str) -> tuple[np.ndarray, int]:
    """Distances as TSPLIB 95 defines them, and the best known length."""
    rows = [row for row in csv.DictReader(TSPLIB.open()) if row["instance"] == name]
    xy = np.array([(float(row["x"]), float(row["y"])) for row in rows])
    if rows[0]["metric"] == "EUC_2D":
        gaps = xy[:, None] - xy[None]
        return np.floor(np.hypot(gaps[..., 0], gaps[..., 1]) + 0.5), int(rows[0]["best_known"])
    degrees = np.trunc(xy)
    latitude, longitude = (3.141592 * (degrees + 5 * (xy - degrees) / 3) / 180).T
    q1 = np.cos(longitude[:, None] - longitude)
    q2, q3 = np.cos(latitude[:, None] - latitude), np.cos(latitude[:, None] + latitude)
    costs = np.floor(6378.388 * np.arccos(np.clip(0.5 * ((1 + q1) * q2 - (1 - q1) * q3), -1, 1)) + 1)
    np.fill_diagonal(costs, 0.0)
    return costs, int(rows[0]["best_known"])


def length(costs: np.ndarray, tour: list[int]) -> float:
    return float(sum(costs[a, b] for a, b in zip(tour, tour[1:] + tour[:1], strict=True)))


@pytest.mark.parametrize("name", ["berlin52", "eil51", "ulysses16"])
def test_within_two_per_cent_of_the_best_known(name):
    """With the default effort; in fact within a quarter per cent."""
    costs, best_known = instance(name)

    tour = [node >> 1 for node in short_tour(np.kron(costs, np.ones((2, 2))), 6 * len(costs))]

    assert sorted(tour) == list(range(len(costs)))
    assert best_known <= length(costs, tour) <= 1.02 * best_known


def walk_mm(ends: np.ndarray, order) -> float:
    return travel_mm(np.array([ends[i][::-1] if swapped else ends[i] for i, swapped in order]))


coordinate = st.integers(0, 40).map(float)
point = st.tuples(coordinate, coordinate)


@settings(max_examples=60)
@given(st.lists(st.tuples(point, point), min_size=1, max_size=5))
def test_up_to_five_probes_are_walked_the_shortest_way(probes):
    """Beside all orders and all ways of holding the tips."""
    ends = np.array(probes)
    count = len(ends)
    best = min(
        walk_mm(ends, zip(order, held, strict=True))
        for order in permutations(range(count))
        for held in product((False, True), repeat=count)
    )

    steps = walking_order(ends, [False] * count, kicks=60)

    assert sorted(step.number for step in steps) == list(range(count))
    assert walk_mm(ends, steps) == pytest.approx(best, abs=1e-6)


@settings(max_examples=30)
@given(st.integers(0, 10**6), st.integers(1, 40))
def test_the_length_is_kept_right(seed, count):
    """Every probe once, never longer than as given, the same again for the same probes."""
    chance = np.random.default_rng(seed)
    ends = np.round(chance.uniform(0, 200, (count, 2, 2)), 1)
    top = chance.uniform(size=count) < 0.3

    steps = walking_order(ends, top.tolist())

    assert sorted(step.number for step in steps) == list(range(count))
    assert steps == walking_order(ends, top.tolist())
    assert [bool(top[step.number]) for step in steps] == sorted(top.tolist())
    if not top.any():
        given_order = [(i, False) for i in range(count)]
        assert walk_mm(ends, steps) <= walk_mm(ends, given_order) + 1e-6


def test_no_things_and_one_thing():
    """An empty tour, and a tour of one."""
    assert short_tour(np.zeros((0, 0)), 5) == [] and short_tour(np.zeros((2, 2)), 5) == [0]
