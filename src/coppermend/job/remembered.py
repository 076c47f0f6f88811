"""The dear pieces of an assessment, remembered: an entry changes one of them, and the others stay as they were.

Each is keyed by all that it depends on: frozen things by identity (``Same``), lines of the record by value.
"""

from __future__ import annotations

from functools import lru_cache

from coppermend.board.atrisk import Touch
from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary
from coppermend.board.same import Same
from coppermend.copper.isolation import IsolationScope
from coppermend.copper.plan import plan_probes
from coppermend.copper.readings import FittedJumper, Reading
from coppermend.copper.records import CopperPlan
from coppermend.job.state import JobState
from coppermend.job.worklists import WorkLists, work_lists
from coppermend.rework.records import Remedy

_JOBS = 32


def remembered_lists(
    board: Board, library: PartLibrary, touched: Touch, offered: tuple[Remedy, ...], state: JobState
) -> WorkLists:
    """``work_lists``, worked out anew only when remedies, or what came off or went back on, have changed."""
    off, back = tuple(sorted(state.strip.items())), tuple(sorted(state.refit.items()))
    return _lists(Same(board), Same(library), Same(touched), Same(offered), tuple(state.remedies), off, back)


@lru_cache(maxsize=_JOBS)
def _lists(  # noqa: PLR0917  (a cache tells keys apart by position)
    board: Same[Board], library: Same[PartLibrary], touched: Same[Touch], offered: Same[tuple[Remedy, ...]],
    remedies: tuple[str, ...], off: tuple[tuple[str, str], ...], back: tuple[tuple[str, str], ...],
) -> WorkLists:  # fmt: skip
    state = JobState(remedies=remedies, strip=dict(off), refit=dict(back))
    return work_lists(board.thing, library.thing, touched.thing, offered.thing, state)


def remembered_plan(  # noqa: PLR0917  (what the plan depends on)
    board: Board, library: PartLibrary, touched: Touch, readings: tuple[Reading, ...],
    jumpers: tuple[FittedJumper, ...], removed: frozenset[str], isolation: IsolationScope = "likely",
) -> CopperPlan:  # fmt: skip
    """``plan_probes``, worked out anew only when a reading, a jumper or what is off the board has changed."""
    return _plan(Same(board), Same(library), Same(touched), readings, jumpers, removed, isolation)


@lru_cache(maxsize=_JOBS)
def _plan(  # noqa: PLR0917  (a cache tells keys apart by position)
    board: Same[Board], library: Same[PartLibrary], touched: Same[Touch], readings: tuple[Reading, ...],
    jumpers: tuple[FittedJumper, ...], removed: frozenset[str], isolation: IsolationScope,
) -> CopperPlan:  # fmt: skip
    return plan_probes(
        board.thing, library.thing, touched.thing, readings, jumpers, removed=removed, isolation=isolation
    )
