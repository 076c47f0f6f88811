"""Long work behind a page: done in a thread of its own, told step by step, cancelled on request. Knows no pages.

What is quick is answered at once; what is not gets a page that tells how far it is.
"""

from __future__ import annotations

import secrets
import time
from collections import OrderedDict
from collections.abc import Callable
from contextvars import copy_context
from dataclasses import dataclass, field
from threading import Event, Lock, Thread
from typing import Any, Literal

from coppermend.errors import Cancelled, CoppermendError, UnknownName
from coppermend.underway import heard_by

PATIENCE_S = 0.7  # what takes less is answered without a page in between; common practice, no source
_MOST = 20
_KEPT_S = 3600.0
State = Literal["running", "done", "failed", "cancelled"]


@dataclass
class Errand:
    """One piece of long work: where it stands, and once it is done what came of it (``value`` or ``error``).

    ``back`` is the page it was started from; ``makes`` says whether a page to look at comes of it, a file to be saved, or
    something that is in the record then; ``show`` makes the answer to a request from what came of it.
    """

    title: str
    back: str
    show: Callable[..., Any]
    makes: Literal["page", "file", "record"] = "page"
    id: str = field(default_factory=lambda: secrets.token_urlsafe(9))
    done: int = 0
    total: int = 0
    words: str = ""
    state: State = "running"
    value: Any = None
    error: BaseException | None = None
    ended_at: float = 0.0
    _cancel: Event = field(default_factory=Event)
    _ended: Event = field(default_factory=Event)

    def cancel(self) -> None:
        """Ask for it to stop; it does at its next step."""
        self._cancel.set()

    def ended(self, within_s: float) -> bool:
        """Wait for the end for at most ``within_s`` [s]; whether it has come."""
        return self._ended.wait(within_s)

    def outcome(self) -> Any:
        """What came of it.

        Raises:
            CoppermendError: What the work raised; ``Cancelled`` when it was stopped.
        """
        if self.error is not None:
            raise self.error
        return self.value

    def _hear(self, done: int, total: int, words: str) -> None:
        if self._cancel.is_set():
            raise Cancelled
        self.done, self.total, self.words = done, total, words

    def _run(self, work: Callable[[], Any]) -> None:
        try:
            with heard_by(self._hear):
                self.value = work()
            self.state = "done"
        except Cancelled as error:
            self.error, self.state = error, "cancelled"
        except CoppermendError as error:
            self.error, self.state = error, "failed"
        except Exception as error:  # told by the page that asks for the outcome, as any fault of the program
            self.error, self.state = error, "failed"
        finally:
            self.ended_at = time.monotonic()
            self._ended.set()


class Errands:
    """The errands of a bench, those that ended within the last hour included; safe for threads.

    ``patience_s`` is how long a request waits for the end before it shows the page that tells; at 0 it
    shows that at once.
    """

    def __init__(self, patience_s: float = PATIENCE_S) -> None:
        self.patience_s = patience_s
        self._held: OrderedDict[str, Errand] = OrderedDict()
        self._lock = Lock()

    def start(self, errand: Errand, work: Callable[[], Any]) -> Errand:
        """Begin the work in a thread that speaks the language of this request."""
        with self._lock:
            self._forget()
            self._held[errand.id] = errand
        here = copy_context()
        Thread(target=here.run, args=(errand._run, work), name=f"errand {errand.id}", daemon=True).start()
        return errand

    def get(self, id_: str) -> Errand:
        """The errand called ``id_``.

        Raises:
            UnknownName: If there is none, or it ended long ago.
        """
        if found := self.find(id_):
            return found
        raise UnknownName("piece of work", id_[:20], hint="it may have ended long ago; begin it again")

    def find(self, id_: str) -> Errand | None:
        """The errand called ``id_``, if it is still held."""
        with self._lock:
            return self._held.get(id_)

    def close(self) -> None:
        """Cancel all that runs, and let go of what came of the others."""
        with self._lock:
            for errand in self._held.values():
                errand.cancel()
            self._held.clear()

    def _forget(self) -> None:
        ended = [one for one in self._held.values() if one.state != "running"]
        too_many = ended[: max(0, len(ended) - _MOST)]
        for one in ended:
            if one in too_many or time.monotonic() - one.ended_at > _KEPT_S:
                del self._held[one.id]
