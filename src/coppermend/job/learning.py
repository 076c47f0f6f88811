"""What the shop's own history teaches: how often boards come back, how long work takes, whether quotes hold. Pure."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from scipy import stats

from coppermend.errors import InputError
from coppermend.job.sums import Sums, sums_of

# A shop's first guess, worth so many jobs: bench time of a job, and its spread. Common practice, no source.
SHORTEST_TREND_YEARS = 0.25
_STEEPEST = 50.0  # beyond any price; keeps the power finite
PRIOR_MINUTES, PRIOR_FACTOR, PRIOR_JOBS = 180.0, 2.0, 3.0


@dataclass(frozen=True, slots=True)
class Rate:
    """A share with its confidence interval: ``low`` to ``high`` by Wilson, ``exact_low`` to ``exact_high`` by Clopper and Pearson."""

    group: str
    count: int
    of: int
    low: float
    high: float
    exact_low: float
    exact_high: float

    @property
    def share(self) -> float | None:
        """The share itself; None of nothing."""
        return self.count / self.of if self.of else None

    def to_json(self) -> dict[str, Any]:
        """group, count, of, share, low, high, exact_low, exact_high."""
        return {
            "group": self.group, "count": self.count, "of": self.of, "share": self.share, "low": self.low,
            "high": self.high, "exact_low": self.exact_low, "exact_high": self.exact_high,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Estimate:
    """Bench time of the next job [min]: ``middle``, and the interval that holds it with ``confidence``; ``jobs`` it rests on."""

    middle: float
    low: float
    high: float
    confidence: float
    jobs: int

    @property
    def words(self) -> str:
        """In one sentence."""
        rests = f"{self.jobs} jobs of the shop" if self.jobs else "no job of the shop yet: a first guess"
        return f"{self.middle:.0f} min, {self.confidence:.0%} between {self.low:.0f} and {self.high:.0f} ({rests})"

    def to_json(self) -> dict[str, Any]:
        """middle, low, high, confidence, jobs."""
        return {
            "middle": self.middle, "low": self.low, "high": self.high, "confidence": self.confidence, "jobs": self.jobs,
        }  # fmt: skip


def wilson(count: int, of: int, confidence: float = 0.95) -> tuple[float, float]:
    """Wilson's score interval of a share, without continuity correction; (0, 1) of nothing.

    Reference: E. B. Wilson, Probable inference, the law of succession, and statistical inference, JASA 22 (1927) 209-212.

    Raises:
        InputError: If ``count`` is not from 0 to ``of``, or the confidence not between 0 and 1.

    >>> [round(end, 4) for end in wilson(15, 148)]
    [0.0624, 0.1605]
    """
    _check(count, of, confidence)
    if of == 0:
        return 0.0, 1.0
    z = float(stats.norm.ppf(0.5 + confidence / 2))
    share, spread = count / of, z * z / of
    middle = (share + spread / 2) / (1 + spread)
    half = z / (1 + spread) * math.sqrt(share * (1 - share) / of + spread / (4 * of))
    return (0.0 if count == 0 else middle - half), (1.0 if count == of else middle + half)


def clopper_pearson(count: int, of: int, confidence: float = 0.95) -> tuple[float, float]:
    """The exact interval of a share, never too narrow; (0, 1) of nothing.

    Reference: C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404-413, by quantiles of the beta distribution.

    Raises:
        InputError: As ``wilson``.
    """
    _check(count, of, confidence)
    tail = (1 - confidence) / 2
    low = float(stats.beta.ppf(tail, count, of - count + 1)) if count else 0.0
    high = float(stats.beta.ppf(1 - tail, count + 1, of - count)) if count < of else 1.0
    return low, high


def _check(count: int, of: int, confidence: float) -> None:
    if not 0 <= count <= of or not 0 < confidence < 1:
        raise InputError(
            f"{count} of {of} at confidence {confidence}", expected="0 to all, and between 0 and 1"
        )


def rate(group: str, count: int, of: int, confidence: float = 0.95) -> Rate:
    """A share with both intervals."""
    return Rate(group, count, of, *wilson(count, of, confidence), *clopper_pearson(count, of, confidence))


def estimate_minutes(
    minutes: Sequence[float], confidence: float = 0.8, guess: float = PRIOR_MINUTES
) -> Estimate:
    """Bench time of the next job, from those of earlier ones of its kind [min]; see ``estimate``.

    Raises:
        InputError: If a time is not above 0, or the confidence not between 0 and 1.

    >>> estimate_minutes([]).middle
    180.0
    """
    if any(not 0 < one < math.inf for one in minutes):
        raise InputError("a time that is not above 0", expected="minutes of finished jobs")
    return estimate(sums_of(math.log(one) for one in minutes), confidence, guess)


def estimate(times: Sums, confidence: float = 0.8, guess: float = PRIOR_MINUTES) -> Estimate:
    """Bench time of the next job, from the sums of the logarithms of earlier ones [ln min].

    Times are taken as log-normal. A first guess (180 min, or what the job's own plan comes to; within a factor of 2 for two
    jobs in three) counts as three jobs, so that one odd job moves the estimate little and thirty outweigh the guess. The
    interval is that of Student's t for the next job.

    Reference: normal-inverse-gamma prior and its posterior predictive, Gelman et al., Bayesian Data Analysis, 3rd ed., section 3.3.

    Raises:
        InputError: If the guess is not above 0, or the confidence not between 0 and 1.
    """
    if not 0 < confidence < 1 or not 0 < guess < math.inf:
        raise InputError("a guess that is not above 0, or a confidence not between 0 and 1")
    n, prior, variance = times.count, math.log(guess), math.log(PRIOR_FACTOR) ** 2
    weight, freedom = PRIOR_JOBS + n, PRIOR_JOBS + n
    middle = (PRIOR_JOBS * prior + n * times.mean) / weight
    squares = PRIOR_JOBS * variance + times.deviation
    squares += PRIOR_JOBS * n / weight * (times.mean - prior) ** 2
    scale = math.sqrt(squares / freedom * (1 + 1 / weight))
    reach = float(stats.t.ppf(0.5 + confidence / 2, freedom)) * scale
    return Estimate(
        round(math.exp(middle), 6), math.exp(middle - reach), math.exp(middle + reach), confidence, n
    )


def quote_ratio(logs: Sums) -> tuple[float, float, float, int] | None:
    """Actual over quoted time from the sums of its logarithms: geometric mean, its 95 % interval by Student's t, and jobs.

    None below two jobs.
    """
    if logs.count < 2:
        return None
    error = math.sqrt(logs.deviation / (logs.count - 1) / logs.count)
    reach = float(stats.t.ppf(0.975, logs.count - 1)) * error
    return math.exp(logs.mean), math.exp(logs.mean - reach), math.exp(logs.mean + reach), logs.count


def price_trend(prices: Sequence[tuple[float, Decimal]]) -> float | None:
    """Change of a price per year [1 = 100 %]: Theil and Sen's median slope of its logarithm over years; None below 90 days.

    Reference: P. K. Sen, JASA 63 (1968) 1379-1389; unmoved by a single odd price.

    Args:
        prices: Moments in years, and prices above 0.
    """
    usable = [(year, math.log(float(price))) for year, price in prices if price > 0]
    years = [year for year, _ in usable]
    if not usable or max(years) - min(years) < SHORTEST_TREND_YEARS:
        return None  # two purchases of one week say nothing about a year
    by_day: dict[int, list[float]] = defaultdict(list)
    for year, logarithm in usable:
        by_day[int(year * 365.2425)].append(logarithm)
    usable = [(day / 365.2425, math.fsum(logs) / len(logs)) for day, logs in by_day.items()]
    slope = stats.theilslopes([y for _, y in usable], [x for x, _ in usable])[0]
    return math.expm1(min(float(slope), _STEEPEST))


def rates_svg(rates: Sequence[Rate], title: str) -> str:
    """Shares and their intervals as SVG: one row a group, a bar from low to high, a dot at the share. Ink only."""
    row, left, wide = 22, 190, 300
    height = row * len(rates) + 44
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{left + wide + 110}" height="{height}" viewBox="0 0 {left + wide + 110} {height}" role="img" aria-label="{_text(title)}" '
        'font-family="sans-serif" font-size="11" fill="currentColor">'
    ]
    for tick in range(0, 101, 25):
        x = left + wide * tick / 100
        parts.append(f'<path d="M{x:g} 20V{height - 20}" stroke="currentColor" stroke-opacity=".25"/>')
        parts.append(f'<text x="{x:g}" y="{height - 6}" text-anchor="middle">{tick} %</text>')
    for number, one in enumerate(rates):
        y = 32 + row * number
        name = one.group if len(one.group) <= 30 else f"{one.group[:29]}…"
        parts.append(f'<text x="{left - 8}" y="{y + 4}" text-anchor="end">{_text(name)}</text>')
        ends = (left + wide * one.low, left + wide * one.high)
        parts.append(
            f'<path d="M{ends[0]:.1f} {y}H{ends[1]:.1f}" stroke="currentColor" stroke-width="3" stroke-opacity=".5"/>'
        )
        if one.share is not None:
            parts.append(f'<circle cx="{left + wide * one.share:.1f}" cy="{y}" r="4"/>')
        parts.append(f'<text x="{left + wide + 10}" y="{y + 4}">{one.count} of {one.of}</text>')
    return "".join((*parts, "</svg>"))


def _text(words: str) -> str:
    return words.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace('"', "&quot;")
