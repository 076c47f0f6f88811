"""Pieces of pages that say what they said before: what the damage touched, the card of a proof, a line of the record.

An entry changes little of a job's page; to print all the rest of it anew is most of the work. A piece is what a macro
prints, and is held for as long as the macro is given the same things in the same language and units.
"""

from __future__ import annotations

from collections import OrderedDict
from threading import Lock
from typing import Any

from jinja2.runtime import Macro
from markupsafe import Markup

from coppermend.web.language import measured, spoken

_MOST_CHARACTERS = 6_000_000  # of all pieces together: some hundred jobs in two languages
_BY_VALUE = frozenset((str, Markup, int, float, bool, type(None)))
_CHANGES = (list, dict, set)


class Pieces:
    """What macros printed, up to so many characters; of more, what was asked for longest ago goes. Safe for threads."""

    def __init__(self, most_characters: int = _MOST_CHARACTERS) -> None:
        self.most_characters, self.characters = most_characters, 0
        # The things are held beside what was printed of them: while it is, no other thing can have their identity.
        self._held: OrderedDict[tuple[Any, ...], tuple[Markup, tuple[object, ...]]] = OrderedDict()
        self._lock = Lock()

    def __len__(self) -> int:
        return len(self._held)

    def __call__(self, macro: Macro, *things: object) -> Markup:
        """What ``macro`` prints of ``things``: ``{{ kept(proof_card, job.number, proof, none) }}`` in a template.

        Args:
            macro: A macro imported without context, so that it prints nothing but what it is given.
            things: Texts, numbers and tuples count by value; anything else is frozen, and the very same has to be given.

        Raises:
            TypeError: If a thing is a list, dict or set, which could change unseen.
        """
        key = (spoken(), measured().unit, id(macro), *map(_key, things))
        with self._lock:
            if (found := self._held.get(key)) is not None:
                self._held.move_to_end(key)
                return found[0]
        made = Markup(macro(*things))
        with self._lock:
            if key not in self._held:
                self._held[key] = made, (macro, things)
                self.characters += len(made)
            while self.characters > self.most_characters:
                _, (gone, _) = self._held.popitem(last=False)
                self.characters -= len(gone)
        return made


def _key(thing: object) -> object:
    """What stands for a thing in a key; 1, 1.0 and True print differently and are told apart."""
    kind = type(thing)
    if kind in _BY_VALUE:
        return kind, thing
    if isinstance(thing, tuple):
        return kind, *map(_key, thing)
    if isinstance(thing, _CHANGES):
        raise TypeError(f"a piece is given a {kind.__name__}, which could change unseen")
    return id(thing)
