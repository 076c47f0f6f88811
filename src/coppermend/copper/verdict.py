"""What a value that was typed or metered says about a probe, in one word. Keeps nothing."""

from __future__ import annotations

from typing import Literal

from coppermend.copper.records import Probe
from coppermend.copper.resistance import limit_ohm, short_limit_ohm

Verdict = Literal["good", "open", "apart", "short"]


def verdict(probe: Probe, ohms: float | None) -> Verdict:
    """Whether a reading [Ω], None for OL, is sound.

    Returns:
        "good" or "open" where copper should conduct; "apart" or "short" between two nets.
    """
    if probe.purpose == "isolation":
        return "short" if ohms is not None and ohms <= limit_of(probe) else "apart"
    return "good" if ohms is not None and ohms <= limit_of(probe) else "open"


def limit_of(probe: Probe) -> float:
    """The highest reading that is sound for a continuity probe, or that is a short for an isolation probe [Ω]."""
    if probe.purpose == "isolation":
        return short_limit_ohm(probe.expect_ohms)
    return limit_ohm(probe.expect_ohms or 0.0)
