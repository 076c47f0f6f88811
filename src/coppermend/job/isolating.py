"""The search for the fault as a job's record tells it. Reads and writes nothing."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary
from coppermend.board.same import Same
from coppermend.board.subject import Subject
from coppermend.errors import InputError
from coppermend.isolate.isolation import Isolation
from coppermend.isolate.observations import observation
from coppermend.job.earlierfaults import NO_HISTORY, FaultHistory
from coppermend.job.known import Shop, isolation_base
from coppermend.job.state import JobState, ObservationLine

_SEARCHES = 32
CONCERN_FROM = 0.2  # what is suspected less than this needs no proof of its own


@dataclass(frozen=True)
class Search:
    """A search with the entries that it used, in the order of its observations, and notes on those it could not."""

    isolation: Isolation
    used: tuple[ObservationLine, ...]
    notes: tuple[str, ...]

    @property
    def subjects(self) -> tuple[Subject, ...]:
        """What is under suspicion once anything was seen: it must be proven before the board leaves."""
        return self.isolation.subjects(CONCERN_FROM) if self.used else ()


def search_of(
    board: Board, library: PartLibrary, state: JobState, history: FaultHistory = NO_HISTORY
) -> Search:
    """The search after the record's observations; those that this board does not allow are told in ``notes``.

    What was put back on this job, and nets that were given a jumper, were just worked on and are suspected more.

    Args:
        board: The board.
        library: Part types.
        state: The job's state.
        history: What was at fault on other boards of the shop.

    Raises:
        InputError: If the recorded damage does not lie on this board.
    """
    reworked = tuple(sorted({*state.refit, *(jumper.net for jumper in state.jumpers)}))
    here, of_type = history.here, dict(history.of_type)
    same_type = tuple((p.refdes, of_type[p.type]) for p in board.parts if of_type.get(p.type))
    base = isolation_base(board, library, state.damage, Shop(here, same_type, reworked))
    found = _searched(Same(base), state.observations)
    return Search(found.isolation.copy(), found.used, found.notes)


@lru_cache(maxsize=_SEARCHES)
def _searched(base: Same[Isolation], observations: tuple[ObservationLine, ...]) -> Search:
    """Most entries of a job say nothing of its fault: the search stands as it stood."""
    search = base.thing.after_nothing()
    used, notes = [], []
    for line in observations:
        try:
            search.add(observation(search.board, line.point, line.kind, line.value, line.condition))
        except InputError as error:
            notes.append(f"entry {line.seq} is not used: {error}")
        else:
            used.append(line)
    return Search(search, tuple(used), tuple(notes))
