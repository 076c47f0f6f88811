"""Power is refused until battery removal, every rail's resistance and the discharge are on record."""

from __future__ import annotations

import pytest

from coppermend.proving.powerup import PowerFacts, power_up_allowed

READY = {
    "batteries": ("BT1",),
    "batteries_off": frozenset({"BT1"}),
    "rails": ("+5V", "+12V"),
    "rails_ohm": {"+5V": 120.0, "+12V": None},
    "charge_gone": True,
}


def test_everything_on_record_allows_power():
    """All three logged, an open rail included."""
    assert power_up_allowed(PowerFacts(**READY)).to_json() == {"allowed": True, "missing": []}


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"batteries_off": frozenset()}, "Battery BT1 is not recorded as removed."),
        ({"rails_ohm": {"+5V": 120.0}}, "Resistance of +12V to ground is not recorded."),
        ({"charge_gone": False}, "Discharge of stored voltage is not confirmed by measurement."),
        ({"rails_ohm": {"+5V": 0.2, "+12V": 90.0}}, "+5V reads 0.2 Ω to ground: find the short first."),
    ],
)
def test_each_missing_fact_alone_refuses_power(change, sentence):
    """Any one of them is enough, and is named."""
    answer = power_up_allowed(PowerFacts(**{**READY, **change}))

    assert (answer.allowed, answer.missing) == (False, (sentence,))


def test_nothing_on_record_names_everything():
    """A board without battery or rails still needs the discharge."""
    assert power_up_allowed(PowerFacts()).missing == (
        "Discharge of stored voltage is not confirmed by measurement.",
    )
