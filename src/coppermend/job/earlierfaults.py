"""What was at fault on other boards of the shop, counted for the priors of a search. Reads the record, judges nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import groupby
from threading import Lock
from typing import NamedTuple

from sqlalchemy import Connection, Engine, func, select

from coppermend.board.model import Board
from coppermend.board.same import Same
from coppermend.errors import CoppermendError
from coppermend.isolate.observations import swapped
from coppermend.job import tables
from coppermend.job.state import JobState, fold
from coppermend.job.store import Store

_KINDS = ("observation", "board", "void")
_REMEMBERED = 16
_AT_ONCE = 500  # jobs read at a time: databases limit what one question may name


@dataclass(frozen=True)
class FaultHistory:
    """How often something was the fault: refdes or net on boards of one name, and part type on any other place.

    Tuples of (name, times), so that a search can be remembered by it.
    """

    here: tuple[tuple[str, int], ...] = ()
    of_type: tuple[tuple[str, int], ...] = ()


NO_HISTORY = FaultHistory()


class _Found(NamedTuple):
    """What was at fault in a job, and on which board."""

    board: str
    sha256: str
    faults: tuple[str, ...]


_NOTHING = _Found("", "", ())


def earlier_faults(store: Store, board: Board, besides: str = "") -> FaultHistory:
    """The faults of earlier jobs: the last thing that each repaired, and what a swap of one part cured.

    Args:
        store: The record.
        board: The board whose name counts as the same type.
        besides: The job that asks, left out.
    """
    here, of_type = Counter[str](), Counter[str]()
    types_on: dict[str, dict[str, str]] = {}
    for job, (name, sha256, faults) in _found(store).items():
        if job == besides:
            continue
        if (types := types_on.get(sha256)) is None:
            types = types_on[sha256] = {part.refdes: part.type for part in _parts_of(store, sha256)}
        for fault in faults:
            if name == board.name:
                here[fault] += 1
            if types.get(fault):
                of_type[types[fault]] += 1
    return FaultHistory(tuple(sorted(here.items())), tuple(sorted(of_type.items())))


def history_for(store: Store, board: Board, state: JobState) -> FaultHistory:
    """What an assessment of a job needs of the shop's history: nothing before the search for its fault began."""
    return earlier_faults(store, board, besides=state.number) if state.observations else NO_HISTORY


def _parts_of(store: Store, sha256: str) -> tuple:  # type: ignore[type-arg]
    try:
        return store.board(sha256).parts
    except CoppermendError:  # a board that can no longer be read has no types to count
        return ()


@dataclass
class _Remembered:
    """What was at fault in each job of a record, and how far the record and each job had come when it was looked at."""

    lock: Lock = field(default_factory=Lock)
    last: int = 0
    ends: dict[str, int] = field(default_factory=dict)
    found: dict[str, _Found] = field(default_factory=dict)


@lru_cache(maxsize=_REMEMBERED)
def _remembered(_engine: Same[Engine], _store: Same[Store]) -> _Remembered:
    return _Remembered()


def _found(store: Store) -> dict[str, _Found]:
    """By job, for every job that found something; only jobs that have grown since the last time are read again."""
    known = _remembered(Same(store.engine), Same(store))
    with known.lock, tables.reading(store.engine) as connection:
        last = connection.execute(
            select(func.max(tables.entry.c.id)).where(tables.entry.c.kind.in_(_KINDS))
        ).scalar()
        if last and last != known.last:
            ends = _ends(connection)
            grown = [job for job, end in ends.items() if known.ends.get(job) != end]
            for start in range(0, len(grown), _AT_ONCE):
                known.found.update(_fold_each(connection, grown[start : start + _AT_ONCE]))
            known.last, known.ends = last, ends
        return {job: found for job, found in known.found.items() if found.faults}


def _ends(connection: Connection) -> dict[str, int]:
    """The number of the last entry that counts, of every job in which something was observed."""
    searched = select(tables.entry.c.job).where(tables.entry.c.kind == "observation")
    query = select(tables.entry.c.job, func.max(tables.entry.c.seq)).where(
        tables.entry.c.kind.in_(_KINDS), tables.entry.c.job.in_(searched)
    )
    return dict(connection.execute(query.group_by(tables.entry.c.job)).all())


def _fold_each(connection: Connection, jobs: Sequence[str]) -> Iterator[tuple[str, _Found]]:
    query = select(tables.entry).where(tables.entry.c.kind.in_(_KINDS), tables.entry.c.job.in_(jobs))
    rows = connection.execute(query.order_by(tables.entry.c.job, tables.entry.c.seq)).mappings().all()
    for job, entries in groupby((tables.entry_from_row(row) for row in rows), key=lambda entry: entry.job):
        state = fold(entries)
        board, faults = state.board, tuple(dict.fromkeys(_at_fault(state)))
        yield job, _Found(board.name, board.sha256, faults) if board else _NOTHING


def _at_fault(state: JobState) -> Iterator[str]:
    repairs = [line.point for line in state.observations if line.kind == "repair"]
    yield from repairs[-1:]
    for line in state.observations:
        if line.kind == "swap" and line.value == "cured" and len(swapped(line.point)) == 1:
            yield line.point
