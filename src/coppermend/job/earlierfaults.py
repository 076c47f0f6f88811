"""What was at fault on other boards of the shop, counted for the priors of a search. Reads the record, judges nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby

from sqlalchemy import Engine, func, select

from coppermend.board.model import Board
from coppermend.board.same import Same
from coppermend.errors import CoppermendError
from coppermend.isolate.observations import swapped
from coppermend.job import tables
from coppermend.job.state import JobState, fold
from coppermend.job.store import Store

_KINDS = ("observation", "board", "void")
_REMEMBERED = 16


@dataclass(frozen=True)
class FaultHistory:
    """How often something was the fault: refdes or net on boards of one name, and part type on any other place.

    Tuples of (name, times), so that a search can be remembered by it.
    """

    here: tuple[tuple[str, int], ...] = ()
    of_type: tuple[tuple[str, int], ...] = ()


NO_HISTORY = FaultHistory()


def earlier_faults(store: Store, board: Board, besides: str = "") -> FaultHistory:
    """The faults of earlier jobs: the last thing that each repaired, and what a swap of one part cured.

    Args:
        store: The record.
        board: The board whose name counts as the same type.
        besides: The job that asks, left out.
    """
    with tables.reading(store.engine) as connection:
        last = connection.execute(
            select(func.max(tables.entry.c.id)).where(tables.entry.c.kind.in_(_KINDS))
        ).scalar()
    here, of_type = Counter[str](), Counter[str]()
    for job, name, sha256, faults in _faults(Same(store.engine), Same(store), last or 0):
        if job == besides:
            continue
        types = {part.refdes: part.type for part in _parts_of(store, sha256)}
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


@lru_cache(maxsize=_REMEMBERED)
def _faults(
    engine: Same[Engine], _store: Same[Store], _last: int
) -> tuple[tuple[str, str, str, tuple[str, ...]], ...]:
    """(job, board's name, its SHA-256, what was at fault) for every job that found something."""
    with tables.reading(engine.thing) as connection:
        query = select(tables.entry).where(tables.entry.c.kind.in_(_KINDS))
        rows = connection.execute(query.order_by(tables.entry.c.job, tables.entry.c.seq)).mappings().all()
    found = []
    for job, entries in groupby((tables.entry_from_row(row) for row in rows), key=lambda entry: entry.job):
        state = fold(entries)
        if state.board and (faults := tuple(dict.fromkeys(_at_fault(state)))):
            found.append((job, state.board.name, state.board.sha256, faults))
    return tuple(found)


def _at_fault(state: JobState) -> Iterator[str]:
    repairs = [line.point for line in state.observations if line.kind == "repair"]
    yield from repairs[-1:]
    for line in state.observations:
        if line.kind == "swap" and line.value == "cured" and len(swapped(line.point)) == 1:
            yield line.point
