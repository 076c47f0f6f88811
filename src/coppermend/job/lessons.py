"""The shop's history gathered for learning: one past job each, from the record as it stands."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

from coppermend.job.entry import STAGES, Entry
from coppermend.job.learning import (
    Estimate,
    PastJob,
    Rate,
    comeback_rates,
    estimate_minutes,
    price_trend,
    quote_ratio,
)
from coppermend.job.number import numbers_in
from coppermend.job.shelf import read_shelf
from coppermend.job.state import JobState, fold
from coppermend.job.store import Store

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
    """What the record teaches. Jobs count once their return papers are made or they stand at return.

    A job has come back when the marks of a later one name its number, or a later one has its serial and board.

    Raises:
        RecordError: If the record cannot be read.
    """
    records = [store.entries(job.number) for job in store.jobs()]
    states = [fold(entries) for entries in records]
    quoted = {entries[0].job: _quoted(entries) for entries in records}
    states.sort(key=lambda state: (state.opened is None, state.opened, state.number))
    done = [state for state in states if state.stage == "return"]
    back = _came_back(states)
    past = [_past(state, state.number in back, quoted[state.number]) for state in done]
    by_board: dict[str, list[float]] = defaultdict(list)
    for one in past:
        if one.minutes:
            by_board[""].append(one.minutes)
            by_board[one.board].append(one.minutes)
    boards = dict.fromkeys(["", *(one.board for one in past)])
    return Lessons(
        comeback_rates(past),
        _stages(done),
        {board: estimate_minutes(by_board[board]) for board in boards},
        quote_ratio(past),
        _prices(store),
    )


def _came_back(states: list[JobState]) -> frozenset[str]:
    seen: dict[tuple[str, str], str] = {}
    back: set[str] = set()
    for state in states:
        back.update(number for number in numbers_in(state.marks) if number != state.number)
        if state.serial.strip() and state.board:
            key = (state.serial.strip().lower(), state.board.name)
            if key in seen:
                back.add(seen[key])
            seen[key] = state.number
    return frozenset(back)


def _past(state: JobState, came_back: bool, quoted: float | None) -> PastJob:
    minutes = sum(state.time.seconds.values()) / 60 or None
    return PastJob(
        state.number, state.board.name if state.board else "", state.remedies, came_back, minutes, quoted
    )


def _quoted(entries: Sequence[Entry]) -> float | None:
    """Minutes of the last quote that the record tells of; None without one."""
    told = [e.body.get("minutes") for e in entries if e.kind == "paper" and e.body.get("what") == "quote"]
    return float(told[-1]) if told and isinstance(told[-1], int | float) else None


def _stages(done: list[JobState]) -> dict[str, tuple[int, float]]:
    spent: dict[str, list[float]] = defaultdict(list)
    for state in done:
        for stage, seconds in state.time.seconds.items():
            if seconds:
                spent[stage].append(seconds / 60)
    return {stage: (len(spent[stage]), median(spent[stage])) for stage in STAGES if spent[stage]}


def _prices(store: Store) -> dict[str, float]:
    found = {}
    for key, part in read_shelf(store).items():
        trend = price_trend([(p.at.timestamp() / _YEAR_S, p.price) for p in part.prices])
        if trend is not None:
            found[key] = trend
    return found
