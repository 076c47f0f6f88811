"""Faults of earlier jobs are counted by place on the same board and by type on any other; the asking job is left out."""

from __future__ import annotations

import dataclasses

from coppermend.board.model import Board
from coppermend.errors import RecordError
from coppermend.job import earlierfaults
from coppermend.job.earlierfaults import NO_HISTORY, FaultHistory, earlier_faults, history_for
from coppermend.job.state import fold
from coppermend.job.store import Store


def on_board(store: Store, board: Board, *seen: tuple[str, str, str]) -> str:
    """A job on a board in which (kind, point, value) were observed."""
    number = store.new_job({"customer": "Ana"}, who="Bo")
    sha256 = store.add_board(board)
    store.append(number, "board", "receive", {"name": board.name, "sha256": sha256}, who="Bo")
    for kind, point, value in seen:
        store.append(
            number, "observation", "isolate", {"kind": kind, "point": point, "value": value}, who="Bo"
        )
    return number


def test_the_last_repair_and_what_a_swap_cured_count(store: Store, small: Board):
    """Of two repairs the last; a swap of one part that cured; neither one that did not, nor one of two parts at once."""
    on_board(store, small, ("repair", "R1", "replaced"), ("repair", "U1", "replaced"))
    on_board(store, small, ("swap", "U1", "cured"), ("swap", "U2", "same"), ("swap", "D1+R1", "cured"))
    other = dataclasses.replace(small, name="Other")
    on_board(store, other, ("repair", "U2", "replaced"))

    found = earlier_faults(store, small)

    assert found == FaultHistory((("U1", 2),), (("7400", 1), ("7404", 2)))


def test_the_asking_job_and_what_was_undone_do_not_count(store: Store, small: Board):
    """A job learns from others only, and a repair that was voided was none."""
    asking = on_board(store, small, ("repair", "U1", "replaced"))
    undone = on_board(store, small, ("repair", "U2", "replaced"))
    store.append(undone, "void", "isolate", {"seq": 3}, who="Bo")

    assert earlier_faults(store, small, besides=asking) == NO_HISTORY
    assert earlier_faults(store, small).here == (("U1", 1),)
    assert history_for(store, small, fold(store.entries(asking))) == NO_HISTORY


def test_before_the_search_nothing_is_asked(store: Store, small: Board):
    """A job without an observation takes no history, whatever there is."""
    on_board(store, small, ("repair", "U1", "replaced"))
    fresh = fold(store.entries(on_board(store, small)))

    assert history_for(store, small, fresh) is NO_HISTORY


def test_a_board_that_cannot_be_read_has_no_types(store: Store, small: Board, monkeypatch):
    """Its faults still count by place."""
    on_board(store, small, ("repair", "U1", "replaced"))

    def damaged(_: str) -> Board:
        raise RecordError("attachment is damaged on disk")

    monkeypatch.setattr(store, "board", damaged)
    assert earlier_faults(store, small) == FaultHistory((("U1", 1),), ())


def test_only_what_has_grown_is_read_again(store: Store, small: Board, monkeypatch):
    """With any number of jobs in the record, one new observation costs the reading of one job; voids are seen too."""
    monkeypatch.setattr(earlierfaults, "_AT_ONCE", 2)
    jobs = [on_board(store, small, ("repair", name, "replaced")) for name in ("U1", "U2", "U1", "R1", "U1")]
    on_board(store, small)
    read: list[str] = []

    def spied(entries):
        entries = list(entries)
        read.append(entries[0].job)
        return fold(entries)

    monkeypatch.setattr(earlierfaults, "fold", spied)

    def here_after_reading() -> tuple[dict[str, int], list[str]]:
        read.clear()
        return dict(earlier_faults(store, small).here), list(read)

    assert here_after_reading() == ({"R1": 1, "U1": 3, "U2": 1}, jobs)
    assert here_after_reading()[1] == []
    store.append(
        jobs[1], "observation", "isolate", {"kind": "repair", "point": "D1", "value": "replaced"}, who="Bo"
    )
    assert here_after_reading() == ({"D1": 1, "R1": 1, "U1": 3}, [jobs[1]])
    store.append(jobs[3], "void", "isolate", {"seq": 3}, who="Bo")
    assert here_after_reading() == ({"D1": 1, "U1": 3}, [jobs[3]])
