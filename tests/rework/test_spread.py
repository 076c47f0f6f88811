"""Limits as they are typed, interval arithmetic, corners and samples."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.errors import InputError
from coppermend.rework.figures.interval import Interval, log1p_ratio
from coppermend.rework.figures.spread import Spread, monte_carlo, parse_spread, worst_case


@pytest.mark.parametrize(
    ("text", "nominal", "low", "high"),
    [
        ("0.5F 20%", 0.5, 0.4, 0.6),
        ("0.5 F ±20 %", 0.5, 0.4, 0.6),
        ("0,5 F +/-20%", 0.5, 0.4, 0.6),
        ("0.1F -20+80%", 0.1, 0.08, 0.18),
        ("0.4..0.6F", 0.5, 0.4, 0.6),
        ("0.47 (0.4..0.6)", 0.47, 0.4, 0.6),
        ("470mF", 0.47, 0.47, 0.47),
        ("none", np.inf, np.inf, np.inf),
    ],
)
def test_limits_as_they_are_typed(text, nominal, low, high):
    """Per cent, lopsided, range, typical with range, exact, absent."""
    found = parse_spread(text, "F")

    assert (found.nominal, found.low, found.high) == pytest.approx((nominal, low, high))


@pytest.mark.parametrize("text", ["0.6..0.4", "1 (2..3)", "0.1F -200 banana", "..", "5 %"])
def test_limits_that_do_not_enclose_are_refused(text):
    """The text is named."""
    with pytest.raises(InputError) as caught:
        parse_spread(text, "F")

    assert caught.value.expected


@settings(max_examples=300)
@given(
    st.tuples(*[st.floats(0.1, 10) for _ in range(4)]),
    st.tuples(*[st.floats(0, 0.9) for _ in range(2)]),
    st.sampled_from(range(9)),
)
def test_an_interval_holds_every_value(ends, shares, which):
    """Whatever is picked from two intervals, each operation's result lies in its interval."""
    a, b = Interval(*sorted(ends[:2])), Interval(*sorted(ends[2:]))
    x, y = (i.low + s * (i.high - i.low) for i, s in zip((a, b), shares, strict=True))
    operations = (
        lambda p, q: p + q, lambda p, q: p - q, lambda p, q: p * q, lambda p, q: p / q,
        lambda p, q: np.log(p) * q, lambda p, q: np.exp(-p) + np.sqrt(q), lambda p, q: np.maximum(p, q) - np.minimum(p, 1.0),
        lambda p, q: np.power(p, 0.725) - np.log1p(q), lambda p, q: log1p_ratio(p) * -q,
    )  # fmt: skip

    assert float(operations[which](x, y)) in operations[which](a, b)


def test_division_by_an_interval_with_zero_has_no_bounds():
    """One-sided when the divisor only touches zero; unbounded otherwise."""
    touching = 1.0 / Interval(0.0, 2.0)
    crossing = 1.0 / Interval(-1.0, 1.0)
    nothing = 0.0 / Interval(0.0, 2.0)

    assert (touching.low, touching.high) == (pytest.approx(0.5), np.inf)
    assert (crossing.low, crossing.high) == (-np.inf, np.inf)
    assert nothing.low == 0.0


def test_undefined_interval_operations_say_so():
    """Reversed ends, negative powers, functions without a rule, ∞ − ∞, logarithms of zero."""
    with pytest.raises(ValueError, match="runs upward"):
        Interval(2.0, 1.0)
    with pytest.raises(ValueError, match="powers are for positive"):
        np.power(Interval(-1.0, 1.0), 2.0)
    with pytest.raises(TypeError):
        np.sin(Interval(0.0, 1.0))
    with pytest.raises(TypeError):
        np.add.reduce(Interval(0.0, 1.0))
    assert (Interval(0.0, np.inf) - Interval(0.0, np.inf)).high == np.inf
    assert np.log(Interval(0.0, 1.0)).low == -np.inf
    assert np.log1p(Interval(-2.0, 1.0)).low == -np.inf
    assert repr(Interval(1.0, 2.0)) == "Interval(1, 2)"


def test_log1p_ratio_holds_at_its_ends():
    """1 at zero and 0 without end, also in arrays."""
    assert log1p_ratio(0.0) == 1.0
    assert log1p_ratio(np.array([0.0, np.inf])).tolist() == [1.0, 0.0]


def formula(values):
    return {"y": values["a"] / values["b"], "fixed": 3.0}


SPREADS = {"a": Spread.within(10.0, 0.1), "b": Spread(2.0, 1.0, 4.0)}


def test_corners_give_the_extremes_of_a_quotient():
    """9/4 to 11/1, and the interval agrees as each input stands there once."""
    found = worst_case(formula, SPREADS)

    assert (found["y"].nominal, found["y"].low, found["y"].high) == pytest.approx((5.0, 2.25, 11.0))
    assert (found["y"].surely_low, found["y"].surely_high) == pytest.approx((2.25, 11.0))
    assert found["fixed"].high == 3.0


def test_samples_stay_within_the_corners():
    """10,000 samples over block edges lie inside, and nearly reach both ends."""
    found = monte_carlo(formula, SPREADS, 40_000, seed=1)

    assert found["y"].shape == (40_000,)
    assert found["fixed"].shape == ()
    assert 2.25 <= found["y"].min() < 2.4
    assert 10.5 < found["y"].max() <= 11.0


@pytest.mark.parametrize("samples", [0, 10_000_001])
def test_no_and_too_many_samples_are_refused(samples):
    """The limit is named."""
    with pytest.raises(InputError) as caught:
        monte_carlo(formula, SPREADS, samples)

    assert "10,000,000" in caught.value.expected


def test_too_many_loose_inputs_are_refused():
    """15 inputs would be 32,768 corners."""
    spreads = {f"x{n}": Spread(1.0, 0.5, 2.0) for n in range(15)}

    with pytest.raises(InputError) as caught:
        worst_case(lambda values: {"y": values["x0"]}, spreads)

    assert caught.value.expected == "at most 14"
