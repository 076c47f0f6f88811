"""Learning: intervals beside published and reference values, estimates that start sensibly and follow the shop."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from decimal import Decimal
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from coppermend.errors import InputError
from coppermend.job import comebacks, learnt, tables
from coppermend.job.learning import (
    clopper_pearson,
    estimate,
    estimate_minutes,
    price_trend,
    quote_ratio,
    rate,
    rates_svg,
    wilson,
)
from coppermend.job.lessons import lessons, times_so_far
from coppermend.job.shelf import Shelved, receive
from coppermend.job.store import Store
from coppermend.job.sums import Sums, sums_of

BOTH = True


@pytest.mark.parametrize(
    ("count", "of", "low", "high"), [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)]
)  # fmt: skip
def test_wilson_agrees_with_published_examples(count: int, of: int, low: float, high: float):
    """R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, Table I, method 3 (from memory)."""
    assert wilson(count, of) == pytest.approx((low, high), abs=5e-5)


@given(st.integers(1, 400), st.data(), st.sampled_from([0.8, 0.95, 0.99]))
def test_intervals_agree_with_the_reference_library(of: int, data: st.DataObject, confidence: float):
    """SciPy's binomtest, methods "wilson" and "exact"."""
    count = data.draw(st.integers(0, of))
    reference = stats.binomtest(count, of)

    assert wilson(count, of, confidence) == pytest.approx(
        tuple(reference.proportion_ci(confidence, "wilson")), abs=1e-9
    )
    assert clopper_pearson(count, of, confidence) == pytest.approx(
        tuple(reference.proportion_ci(confidence, "exact")), abs=1e-7
    )


def test_nothing_is_known_of_no_jobs():
    """From none to all, and no share."""
    assert wilson(0, 0) == clopper_pearson(0, 0) == (0.0, 1.0)
    assert rate("x", 0, 0).share is None


@pytest.mark.parametrize(("count", "of", "confidence"), [(2, 1, 0.95), (-1, 1, 0.95), (0, 1, 1.0)])
def test_counts_that_cannot_be(count: int, of: int, confidence: float):
    """Refused."""
    with pytest.raises(InputError):
        wilson(count, of, confidence)


def test_estimate_starts_at_the_first_guess_and_follows_the_shop():
    """One odd job moves it little; thirty alike outweigh the guess; the interval shrinks as jobs come."""
    none, odd, many = estimate_minutes([]), estimate_minutes([1000]), estimate_minutes([60] * 30)

    assert none.middle == 180 and "first guess" in none.words
    assert 180 < odd.middle < 300
    assert many.middle == pytest.approx(60, rel=0.12)
    assert many.high / many.low < odd.high / odd.low


def test_interval_of_the_estimate_holds_the_next_job():
    """300 shops drawn around the first guess, ten jobs each: the 80 % interval holds the eleventh in 76 to 90 of 100."""
    draw = np.random.default_rng(5)
    held = 0
    for _ in range(300):
        times = np.exp(draw.normal(math.log(180) + draw.normal(0, 0.4), 0.5, 11))
        found = estimate_minutes(list(times[:10]))
        held += found.low <= times[10] <= found.high

    assert 0.76 <= held / 300 <= 0.90


def test_times_must_be_above_zero():
    """Refused."""
    with pytest.raises(InputError):
        estimate_minutes([0])


def test_quotes_against_what_it_took():
    """Twice 1.5 times and once 2/3 of the quote, the interval as SciPy has it; below two jobs nothing is said."""
    logs = [math.log(minutes / 100) for minutes in (150, 150, 200 / 3)]

    ratio = quote_ratio(sums_of(logs))

    assert ratio is not None and ratio[0] == pytest.approx(1.5 ** (1 / 3)) and ratio[3] == 3
    reference = stats.t.interval(0.95, 2, np.mean(logs), stats.sem(logs))
    assert ratio[1:3] == pytest.approx(tuple(np.exp(reference)))
    assert quote_ratio(sums_of(logs[:1])) is None


def test_price_trend_is_unmoved_by_one_odd_price():
    """Ten per cent a year, once bought dear."""
    prices = [(year, Decimal(str(round(2 * 1.1**year, 4)))) for year in range(7)]
    prices[3] = (3, Decimal(50))

    assert price_trend(prices) == pytest.approx(0.1, abs=0.01)
    assert price_trend(prices[:1]) is None and price_trend([(1, Decimal(0)), (2, Decimal(0))]) is None


def test_prices_of_one_week_make_no_trend():
    """Two purchases within 90 days say nothing; a hundredfold jump on the same day as others stays finite."""
    assert price_trend([(2026.0, Decimal("0.02")), (2026.00000003, Decimal("0.03"))]) is None
    assert price_trend([(2026.0, Decimal(1)), (2026.24, Decimal(9))]) is None
    steep = price_trend([(0.0, Decimal("0.0001")), (0.25, Decimal(99999)), (0.25000001, Decimal("0.01"))])
    assert steep is not None and math.isfinite(steep)


def test_plot_is_sound_whatever_the_groups_are_called():
    """XML that parses, one dot a group, hostile names as text."""
    svg = rates_svg([rate('<script>"&' * 9, 1, 4), rate("b", 0, 0)], "Came <back>")

    tree = ElementTree.fromstring(svg)
    assert len(tree.findall("{*}circle")) == 1 and "<script>" not in svg


def finished(store: Store, n: int, minutes: float, remedies: tuple[str, ...], **header: str) -> str:
    """A job at return, with a quote of 100 min and time noted at two stages."""
    at = datetime(2026, 1, n, tzinfo=UTC)
    number = store.new_job({"customer": "x", **header}, who="Bo", at=at)
    sha256 = store.attach(b"quote", "quote.pdf")
    for kind, stage, body in (
        *(("remedy", "plan", {"id": name, "chosen": True}) for name in remedies),
        ("paper", "return", {"what": "quote", "sha256": sha256, "name": "quote.pdf", "minutes": 100.0}),
        ("timer", "strip", {"does": "add", "minutes": minutes / 4}),
        ("stage", "return", {"stage": "return"}),
        ("timer", "copper", {"does": "add", "minutes": 3 * minutes / 4}),  # forgotten, and added afterwards
    ):
        store.append(number, kind, stage, body, who="Bo")
    return number


def test_lessons_of_a_record(store: Store):
    """Counts, medians, ratios and estimates are those of the jobs folded one by one; a job that is not finished counts nowhere."""
    minutes = (80, 200, 120)
    jobs = [
        finished(
            store, n + 1, minutes[n], ("cell",) if n else ("cell", "diode"), serial="SR-7" if n < 2 else ""
        )
        for n in range(3)
    ]
    store.new_job({"customer": "y", "marks": f"tag {jobs[2]}"}, who="Bo")
    receive(store, Shelved("resistor", "10k", ""), 1, who="Bo", price="1")
    receive(store, Shelved("resistor", "10k", ""), 1, who="Bo", price="2")

    found = lessons(store)

    assert [(r.group, r.count, r.of) for r in found.comebacks["all"]] == [("all jobs", 2, 3)]
    assert [(r.group, r.count, r.of) for r in found.comebacks["board"]] == [("board not noted", 2, 3)]
    assert [(r.group, r.count, r.of) for r in found.comebacks["remedy"]] == [("cell", 2, 3), ("diode", 1, 1)]
    assert found.stages == {"strip": (3, 30.0), "copper": (3, 90.0)}
    assert found.estimates[""].middle == pytest.approx(estimate_minutes(minutes).middle)
    assert found.estimates[""].high == pytest.approx(estimate_minutes(minutes).high)
    expected = quote_ratio(sums_of(math.log(m / 100) for m in minutes))
    assert found.quotes == pytest.approx(expected)
    assert found.prices == {} and found.to_json()["quotes"]["jobs"] == 3
    assert times_so_far(store, "").count == 3 and times_so_far(store, "another") == Sums()


def test_lessons_follow_every_correction(store: Store):
    """A job that goes back to an earlier stage, or whose entries are taken back, teaches that no longer; made anew they are equal."""
    first, second = finished(store, 1, 80, ("cell",)), finished(store, 2, 120, ("cell", "diode"))
    entries = {e.kind: e.seq for e in store.entries(second)}
    store.append(second, "void", "plan", {"seq": 3}, who="Bo")  # the diode
    store.append(second, "void", "copper", {"seq": entries["timer"]}, who="Bo")
    store.append(first, "stage", "prove", {"stage": "prove"}, who="Bo")

    found = lessons(store)
    with tables.writing(store.engine) as connection:
        comebacks.rebuild(connection)
        learnt.rebuild(connection)

    assert [(r.group, r.of) for r in found.comebacks["remedy"]] == [("cell", 1)]
    assert found.stages == {"strip": (1, 30.0)}
    assert lessons(store) == found


def test_estimate_from_the_plan(store: Store):
    """Without history the estimate is the plan's own time; thirty jobs of the board outweigh it."""
    assert estimate(Sums(), guess=240).middle == pytest.approx(240)
    assert estimate(sums_of([math.log(100)] * 30), guess=240).middle == pytest.approx(100, rel=0.1)
    with pytest.raises(InputError):
        estimate(Sums(), guess=0)
