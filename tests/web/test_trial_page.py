"""Trying the search on planted faults from a page: the same report as the command's, told of, stopped, saved."""

from __future__ import annotations

import itertools
import json
import os
import pickle
import re
import time
from functools import partial
from multiprocessing import Pipe, active_children
from pathlib import Path
from threading import Event, Thread

import numpy as np
import pytest

from coppermend.board.model import Board, Part, PinRef, Rail
from coppermend.board.parttypes import standard_library
from coppermend.errors import Cancelled, InputError, UnknownName
from coppermend.isolate.trial import Report, Search, trial_document, trial_on
from coppermend.underway import heard_by, tell
from coppermend.web.apart import apart, work_there
from coppermend.web.trial_drawing import measurements_svg


def _count(number: int) -> int:
    tell(0, 1, "counting")
    if number < 0:
        raise UnknownName("number", str(number), "the list")
    return number // (0 if number == 13 else 1)


def _small(kind: str) -> Board:
    """Three inverters in a row between two ends of a connector, or parts that nobody knows."""
    nets = {
        "IN": "J1.1 U1.1",
        "N1": "U1.2 U2.1",
        "N2": "U2.2 U3.1",
        "OUT": "U3.2 J1.2",
        "+5V": "J1.3",
        "GND": "J1.4",
    }
    for refdes in ("U1", "U2", "U3"):
        nets |= {"+5V": f"{nets['+5V']} {refdes}.14", "GND": f"{nets['GND']} {refdes}.7"}
    return Board(
        "Small", 100.0, 80.0, nets={net: tuple(PinRef.parse(pin) for pin in pins.split()) for net, pins in nets.items()},
        parts=(*(Part(refdes, kind, section="logic") for refdes in ("U1", "U2", "U3")), Part("J1", "header")),
        rails=(Rail("+5V", 5.0, 0.05), Rail("GND", 0.0, 0.0)),
    )  # fmt: skip


def test_a_trial_from_the_page_is_the_trial_of_the_command(at_work):
    """Two faults planted: the page shows what the room finds, saves it as the command prints it, and leads back to the job."""
    sha256 = at_work.desk.store.add_board(_small("7404"))
    board = at_work.desk.board(sha256)
    asked = {"faults": "2", "seed": "4", "go": "1", "job": at_work.number}

    shown = at_work.client.get(f"/boards/{sha256}/trial", params=asked)
    saved = at_work.client.get(f"/boards/{sha256}/trial", params={**asked, "as": "json"})

    report = trial_on(board, standard_library(), 2, 4)
    assert saved.json() == json.loads(json.dumps(trial_document(board, 4, report)))
    assert 'filename="trial-2-4.json"' in saved.headers["content-disposition"]
    assert "2 planted faults" in shown.text and f'<td class="num strong">{report.mean:.2f}</td>' in shown.text
    assert f'href="/jobs/{at_work.number}/isolate"' in shown.text
    assert f'href="/boards/{at_work.board}/trial?job={at_work.number}"' in at_work.get("/isolate").text


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"faults": "0"}, "0 faults are asked for; expected 1 to 5000"),
        ({"faults": "5001"}, "5001 faults"),
        ({"faults": "many"}, "faults is &#39;many&#39;; expected a whole number"),
        ({"seed": "-1"}, "seed is &#39;-1&#39;"),
    ],
)
def test_what_cannot_be_planted_is_refused_with_what_was_typed(at_work, asked, words):
    """One clear line beside the form, which keeps what was typed; nothing is begun."""
    answer = at_work.client.get(f"/boards/{at_work.board}/trial", params={**asked, "go": "1"})

    assert answer.status_code == 400 and words in answer.text
    assert f'value="{next(iter(asked.values()))}"' in answer.text


def test_a_long_trial_can_be_left_and_stopped(at_work):
    """The page that tells of it leads back to the form as it was filled in, and the other process ends."""
    at_work.desk.errands.patience_s = 0.0
    asked = {"faults": "900", "seed": "3", "go": "1", "job": at_work.number}

    begun = at_work.client.get(f"/boards/{at_work.board}/trial", params=asked, follow_redirects=False)
    stopped = at_work.client.post(begun.headers["location"] + "/cancel", follow_redirects=False)

    assert (
        stopped.headers["location"] == f"/boards/{at_work.board}/trial?faults=900&seed=3&job={at_work.number}"
    )
    assert 'value="900"' in at_work.client.get(stopped.headers["location"]).text
    errand = at_work.errand(begun.headers["location"])
    assert errand.ended(60) and errand.state == "cancelled"


def test_the_drawing_tells_found_from_missed():
    """One bar a number of measurements, in two kinds; the marks stand in order from the left, each a row lower."""
    searches = tuple(
        Search(("part", "U1"), "dead", n, place, "isolated") for n, place in ((2, 1), (2, 3), (2, 4), (5, 0))
    )

    svg = measurements_svg(Report(4, 0.5, 2.75, 6.0, 9.0, 3.0, searches))

    assert re.findall(r'class="(found|missed)"', svg) == ["found", "missed", "missed"]
    marks = re.findall(r'class="mark (\w+)" d="M([\d.]+) ([\d.]+)V', svg)
    assert [kind for kind, _, _ in marks] == ["own", "bound", "other", "other"]
    assert marks == sorted(marks, key=lambda mark: (float(mark[1]), float(mark[2])))


def test_work_apart_is_stopped_in_the_middle_of_a_step():
    """A process that never comes to its next step is ended when the listener wants it."""
    looks = itertools.count()

    def hear(*_):
        if next(looks) == 3:
            raise Cancelled

    with heard_by(hear), pytest.raises(Cancelled):
        apart(time.sleep, 600)

    assert not active_children()


def test_a_process_that_ends_without_an_answer_is_told_of():
    """The code it ended with is named."""
    with pytest.raises(RuntimeError, match="code 3 "):
        apart(os._exit, 3)


@pytest.mark.skipif(
    not Path("/proc/self/task").exists(), reason="the system does not tell the rank of a thread"
)
def test_all_threads_of_work_apart_step_back():
    """Those too that a numeric library started when it was loaded, as the array that is given has it be."""
    ranks = (
        "[int(open(f'/proc/self/task/{one}/stat').read().rpartition(')')[2].split()[16]) for one in tasks()]"
    )
    here = os.getpriority(os.PRIO_PROCESS, 0)

    found = apart(eval, ranks, {"tasks": partial(os.listdir, "/proc/self/task"), "array": np.zeros(1)})

    assert set(found) == {min(19, here + 10)}


def test_one_work_waits_for_another():
    """The second tells that it waits, and can be stopped while it does."""
    started, enough, told = Event(), Event(), []

    def first() -> None:
        def hear(*_):
            started.set()
            if enough.is_set():
                raise Cancelled

        with heard_by(hear), pytest.raises(Cancelled):
            apart(time.sleep, 600)

    def stop(*step):
        told.append(step)
        raise Cancelled

    thread = Thread(target=first)
    thread.start()
    assert started.wait(60)
    with heard_by(stop), pytest.raises(Cancelled):
        apart(abs, -1)
    enough.set()
    thread.join(60)

    assert told == [(0, 0, "Waiting for work of the same kind to end")] and not thread.is_alive()


@pytest.mark.parametrize(("number", "kind"), [(7, "done"), (-1, "refused"), (13, "failed")])
def test_the_other_process_tells_and_answers(monkeypatch, number, kind):
    """Its steps come first, then the answer, the error raised on purpose whole, or what a mistake says."""
    monkeypatch.setattr("signal.signal", lambda *_: None)
    monkeypatch.setattr("os.nice", lambda _: 0)
    here, there = Pipe(duplex=False)

    work_there(there, pickle.dumps((_count, (number,))))

    assert here.recv() == ("told", (0, 1, "counting"))
    got, said = here.recv()
    assert got == kind
    if kind == "refused":
        assert isinstance(said, UnknownName) and said.hint == "" and "no number '-1' in the list" in str(said)
    else:
        assert said == 7 if kind == "done" else "ZeroDivisionError" in said


def test_a_board_on_which_nothing_shows_is_refused():
    """Without parts of known types there is no fault to look for."""
    with pytest.raises(InputError, match="no fault on Small shows; expected parts of known types"):
        trial_on(_small("unheard-of"), standard_library(), 1, 1)
