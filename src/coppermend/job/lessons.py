"""What the shop's own history teaches, gathered from the record as it stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from coppermend.job import learnt, tables
from coppermend.job.entry import STAGES
from coppermend.job.learning import Estimate, Rate, estimate, price_trend, quote_ratio, rate
from coppermend.job.shelf import read_shelf
from coppermend.job.store import Store
from coppermend.job.sums import Sums
from coppermend.underway import tell, told

_STEPS = 3
_YEAR_S = 365.2425 * 24 * 3600


@dataclass(frozen=True)
class Lessons:
    """What the history says: comeback rates by group, minutes by stage (jobs, median), an estimate by board ("" for all), and more.

    ``quotes`` is actual over quoted time with its interval and jobs, ``prices`` the change per year by part.
    """

    comebacks: Mapping[str, tuple[Rate, ...]]
    stages: Mapping[str, tuple[int, float]]
    estimates: Mapping[str, Estimate]
    quotes: tuple[float, float, float, int] | None
    prices: Mapping[str, float]

    def to_json(self) -> dict[str, Any]:
        """Comebacks [rate by all, board, remedy], stages [jobs, median_minutes], estimates, quotes or null, prices."""
        keys = ("ratio", "low", "high", "jobs")
        return {
            "comebacks": {name: [one.to_json() for one in rates] for name, rates in self.comebacks.items()},
            "stages": {s: {"jobs": n, "median_minutes": m} for s, (n, m) in self.stages.items()},
            "estimates": {board: one.to_json() for board, one in self.estimates.items()},
            "quotes": dict(zip(keys, self.quotes, strict=True)) if self.quotes else None,
            "prices": dict(self.prices),
        }


def lessons(store: Store) -> Lessons:
    """What the record teaches of jobs that stand at return. No record is read for it: see ``learnt``.

    A job has come back when a later one is linked to it.

    Raises:
        RecordError: If the record cannot be read.
    """
    with tables.reading(store.engine) as connection:
        tell(0, _STEPS, "Counting what came back")
        boards, remedies = learnt.groups_by_board(connection), learnt.groups_by_remedy(connection)
        tell(1, _STEPS, "Comparing times and quotes")
        times, ratios = learnt.times_by_board(connection), learnt.ratios(connection)
        medians = {
            stage: learnt.median_minutes(connection, stage)
            for stage in told(STAGES, len(STAGES), "Comparing times and quotes")
        }
    tell(2, _STEPS, "Following prices")
    of_all = rate("all jobs", sum(g.came_back for g in boards), sum(g.jobs for g in boards))
    every = sum(times.values(), Sums())
    return Lessons(
        {"all": (of_all,), "board": _rates(boards), "remedy": _rates(remedies)},
        {stage: found for stage, found in medians.items() if found},
        {"": estimate(every), **{group.name: estimate(times[group.name]) for group in boards if group.name}},
        quote_ratio(ratios),
        _prices(store),
    )


def _rates(groups: Sequence[learnt.Group]) -> tuple[Rate, ...]:
    return tuple(rate(g.name or "board not noted", g.came_back, g.jobs) for g in groups)


def times_so_far(store: Store, board: str) -> Sums:
    """Logarithms of the bench time of finished jobs on a board [ln min], summed: for a quote's estimate."""
    with tables.reading(store.engine) as connection:
        return learnt.times_of_board(connection, board)


def _prices(store: Store) -> dict[str, float]:
    found = {}
    for key, part in read_shelf(store).items():
        trend = price_trend([(p.at.timestamp() / _YEAR_S, p.price) for p in part.prices])
        if trend is not None:
            found[key] = trend
    return found
