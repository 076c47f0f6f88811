"""Hold-up from a few readings: published and closed-form cases, honest ranges, and when the wait can be cut short."""

from __future__ import annotations

from math import exp, inf, log
from random import Random

import pytest

from coppermend.errors import InputError
from coppermend.proving.holdup import Decay, hold_up


def test_published_worked_example_of_a_constant_current():
    """0.2 F from 2.5 V to 1.8 V with 10.2 µA lasts 13 725 s (a capacitor maker's technical guide)."""
    rate = 10.2e-6 / 0.2 * 3600
    readings = [Decay(h, 2.5 - rate * h) for h in (0, 1, 2)]

    found = hold_up(readings, 1.8, 1, farads=0.2, meter_v=1e-6)

    assert found.hours * 3600 == pytest.approx(13725.49, rel=1e-3)
    assert found.leak_a == pytest.approx(10.2e-6, rel=1e-6)


def test_a_resistance_keeps_longer_than_a_straight_line_says():
    """R C ln(V0/V1) with 0.1 F and 1 MΩ from 4.7 V to 2.0 V is 85 441 s; the range reaches from the straight line to it."""
    tau = 0.1e6 / 3600
    readings = [Decay(h, 4.7 * exp(-h / tau)) for h in (0, 0.5)]

    found = hold_up(readings, 2.0, 10, meter_v=1e-6)

    assert found.most_hours * 3600 == pytest.approx(85441.5, rel=1e-3)
    assert found.least_hours < found.most_hours and found.hours == pytest.approx(found.least_hours, rel=1e-3)


@pytest.mark.parametrize("seed", range(40))
def test_truth_lies_in_the_range(seed):
    """Noisy readings of a current and a resistance together, solved in closed form: the true time is inside the range."""
    dice = Random(seed)
    farads, amps, ohms = dice.uniform(0.1, 1.0), dice.uniform(2e-6, 2e-5), dice.uniform(0.5e6, 5e6)
    start, least = 4.7, 2.0
    tau = ohms * farads / 3600

    def volts(hours):
        return (start + amps * ohms) * exp(-hours / tau) - amps * ohms

    true = tau * log((start + amps * ohms) / (least + amps * ohms))
    times = [0.0, true * 0.1, true * 0.3]
    readings = [Decay(h, volts(h) + dice.gauss(0, 0.002)) for h in times]

    found = hold_up(readings, least, 1, meter_v=0.004)

    assert found.least_hours <= true * 1.02 and found.most_hours >= true * 0.98


def test_verdicts():
    """Well above, well below, and not yet to be told."""
    slow, fast = [Decay(0, 4.7), Decay(10, 4.6)], [Decay(0, 4.7), Decay(2, 3.7)]

    assert hold_up(slow, 2.0, 24).verdict == "long enough"
    assert "can be cut short" in hold_up(slow, 2.0, 24).words
    assert hold_up(fast, 2.0, 240).verdict == "too short"
    again = hold_up([Decay(0, 4.7), Decay(0.2, 4.698)], 2.0, 200)
    assert again.verdict == "measure again" and again.again_at_hours > 0.2


def test_no_decay_yet_has_no_end_in_sight():
    """Two equal readings: the middle is unlimited, the least still comes from the meter's spread."""
    found = hold_up([Decay(0, 4.7), Decay(5, 4.7)], 2.0, 2000)

    assert found.hours == inf and found.least_hours < 2000 and found.to_json()["hours"] is None
    assert found.leak_a is None and "without end in sight" in found.words


def test_more_readings_narrow_the_range():
    """A third, later reading makes the range smaller."""
    two = hold_up([Decay(0, 4.7), Decay(1, 4.66)], 2.0, 60)
    three = hold_up([Decay(0, 4.7), Decay(1, 4.66), Decay(6, 4.46)], 2.0, 60)

    assert three.most_hours - three.least_hours < two.most_hours - two.least_hours


@pytest.mark.parametrize(
    ("readings", "least", "told"),
    [
        ([Decay(1, 4.7)], 2.0, "two times"),
        ([Decay(1, 4.7), Decay(1, 4.6)], 2.0, "two times"),
        ([Decay(0, 4.7), Decay(1, -1)], 2.0, "not positive"),
        ([Decay(0, float("nan")), Decay(1, 4)], 2.0, "not positive"),
        ([Decay(-1, 4.7), Decay(1, 4)], 2.0, "not positive"),
        ([Decay(0, 4.7), Decay(1, 1.9)], 2.0, "is not above 2 V"),
    ],
)
def test_readings_that_say_nothing_are_refused(readings, least, told):
    """One clear line."""
    with pytest.raises(InputError) as caught:
        hold_up(readings, least, 24)

    assert told in caught.value.found and caught.value.expected
