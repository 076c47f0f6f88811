"""How long work tells how far it is, and how it is stopped: whoever started it listens, the work tells. Shows nothing.

The listener belongs to the thread (a context variable) instead of being handed down, since much of the work is remembered
by what it depends on, and who listens is no part of that.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TypeVar

T = TypeVar("T")
Hear = Callable[[int, int, str], None]
_hear: ContextVar[Hear | None] = ContextVar("hear", default=None)


def tell(done: int, total: int, words: str) -> None:
    """Say that ``done`` of ``total`` steps are behind and what comes now; nothing happens when nobody listens.

    Work that keeps something calls this before, never after, the moment from which it is kept.

    Raises:
        Cancelled: If the listener wants the work stopped.
    """
    hear = _hear.get()
    if hear is not None:
        hear(done, total, words)


def told(things: Iterable[T], total: int, words: str, *, every: int = 1) -> Iterator[T]:
    """The things, telling before each (or each of ``every``) which of ``total`` it is.

    >>> with heard_by(lambda done, total, words: print(words, done, "of", total)):
    ...     kept = list(told("ab", 2, "letters"))
    letters 0 of 2
    letters 1 of 2
    """
    for number, thing in enumerate(things):
        if number % every == 0:
            tell(number, total, words)
        yield thing


@contextmanager
def heard_by(hear: Hear) -> Iterator[None]:
    """Inside, what is told goes to ``hear(done, total, words)``, which may raise ``Cancelled``."""
    before = _hear.set(hear)
    try:
        yield
    finally:
        _hear.reset(before)


@contextmanager
def unheard() -> Iterator[None]:
    """Inside, nothing is told, so that nothing stops: for what has to come to its end."""
    before = _hear.set(None)
    try:
        yield
    finally:
        _hear.reset(before)
