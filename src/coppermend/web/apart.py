"""Work that keeps a processor busy for long, in a process of its own: the pages of the bench stay as quick as they were.

A thread would not do: Python runs one at a time, so that every page would wait for the work again and again.
"""

from __future__ import annotations

import os
import pickle
import signal
import traceback
from collections.abc import Callable
from multiprocessing import get_context
from multiprocessing.connection import Connection
from threading import Lock
from typing import Any, TypeVar

from coppermend.errors import CoppermendError
from coppermend.underway import heard_by, tell

T = TypeVar("T")
_LOOK_EVERY_S = 0.1
# What people wait for at a page goes before. On a busy machine of two processors a page took 25 ms, beside a trial of rank 0
# 47 ms, of rank 5 42 ms, of rank 10 30 ms (median, measured); a last rank would hold the trial up beside any other work.
_NICE = 10
# Spawned, not forked: the bench has threads, and a lock that one of them holds would stay locked in a fork.
_processes = get_context("spawn")
_one_at_a_time = Lock()


def apart(work: Callable[..., T], *given: Any) -> T:
    """What ``work(*given)`` gives, worked out in a process of its own, at a low rank, one such work at a time.

    What it tells of its steps is told here, and stopping there stops it at once, in the middle of a step.

    Args:
        work: A function of a module, found by its name in the other process.
        given: What it takes; copied.

    Raises:
        CoppermendError: What the work raised.
        Cancelled: If the listener wants it stopped.
        RuntimeError: If the process ended without an answer, or made a mistake; with what it said.
    """
    while not _one_at_a_time.acquire(timeout=_LOOK_EVERY_S):
        tell(0, 0, "Waiting for work of the same kind to end")
    try:
        return _alone(work, given)
    finally:
        _one_at_a_time.release()


def _alone(work: Callable[..., T], given: tuple[Any, ...]) -> T:
    here, there = _processes.Pipe(duplex=False)
    # Packed, so that the other process steps back before it loads what the work needs: threads that a numeric library
    # starts while it is loaded keep the rank of that moment (Linux ranks threads, not processes: nice(2)).
    asked = pickle.dumps((work, given))
    process = _processes.Process(target=work_there, args=(there, asked), daemon=True)
    process.start()
    there.close()  # so that its end is seen here when the process has gone
    told = (0, 0, "")
    try:
        while True:
            tell(*told)  # raises when the work is to be stopped
            if not here.poll(_LOOK_EVERY_S):
                continue
            kind, said = here.recv()
            if kind == "told":
                told = said
            elif kind == "done":
                answer: T = said
                return answer
            elif kind == "refused":
                raise said
            else:
                raise RuntimeError(said)
    except EOFError:
        process.join()
        raise RuntimeError(f"the work ended with code {process.exitcode} and no answer") from None
    finally:
        process.kill()
        process.join()
        here.close()


def work_there(there: Connection, asked: bytes) -> None:
    """What the other process does: the work, sending (``told``, step), and at the end ``done``, ``refused`` or ``failed``.

    ``asked`` is the work and what it is given, pickled.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the bench stops it
    if hasattr(os, "nice"):  # where there is none, the work is at the pages' own rank
        os.nice(_NICE)
    try:
        work, given = pickle.loads(asked)
        with heard_by(lambda *step: there.send(("told", step))):
            answer = ("done", work(*given))
    except CoppermendError as error:
        answer = ("refused", error)
    except Exception:  # a fault of the program, told by the page that asks for the outcome
        answer = ("failed", traceback.format_exc())
    there.send(answer)
