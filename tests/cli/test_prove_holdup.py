"""``prove holdup``: yes, no, or read again; and bad readings in one line."""

from __future__ import annotations

from typing import Any

import pytest


def test_long_enough_is_yes(call: Any) -> None:
    """Status 0, with the leakage in amperes when the capacitance is given."""
    answer = call("prove", "holdup", "0:4.70", "10:4.60", "--farads", "0.47", "--json")
    text = call("prove", "holdup", "0:4.70", "10:4.60", "--farads", "0.47").out

    assert answer.status == 0 and answer.document["leak_a"] == pytest.approx(0.1 / 10 * 0.47 / 3600)
    assert "leakage 1.31 µA" in text and "can be cut short" in " ".join(text.split())


def test_too_short_is_no(call: Any) -> None:
    """Status 1."""
    assert call("prove", "holdup", "0:4.70", "2:3.70", "--wanted", "240").status == 1


@pytest.mark.parametrize("bad", ["4.7", "x:4.7", "1:many", "1:4.7A"])
def test_a_bad_reading_is_refused(bad: str, call: Any) -> None:
    """Names what it was and what was expected."""
    answer = call("prove", "holdup", "0:4.70", bad)

    assert answer.status == 2 and "expected HOURS:VOLTS such as 0.5:4.62" in answer.err
