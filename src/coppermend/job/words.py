"""Words of a text, and how near two words are: what search is made of. Pure; knows no database.

Case, accents and punctuation are dropped. A chunk with punctuation inside counts both in pieces and as a whole, so that
``PR-0117`` is found as ``pr-0117``, ``0117`` and ``pr0117``.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

_PIECE = re.compile(r"[^\W_]+")
_LONGEST = 40
_SHORTEST_FUZZY, _LONGEST_FUZZY = 4, 24
_NOT_WORDS = frozenset(("sha256", "area", "media_type"))


def plain_text(text: str) -> str:
    """Without case and accents.

    >>> plain_text("Gérard")
    'gerard'
    """
    parts = unicodedata.normalize("NFKD", text.casefold())
    return "".join(c for c in parts if not unicodedata.combining(c))


def words_of(text: str) -> dict[str, None]:
    """The words of a text in their order, each once; longer ones than 40 characters are codes, not words.

    >>> list(words_of("Serial PR-0117"))
    ['serial', 'pr', '0117', 'pr0117']
    """
    found: dict[str, None] = {}
    for chunk in plain_text(text).split():
        pieces = _PIECE.findall(chunk)
        for word in (*pieces, "".join(pieces)) if len(pieces) > 1 else pieces:
            if len(word) <= _LONGEST:
                found[word] = None
    return found


def texts_in(body: object) -> Iterator[str]:
    """Every text of an entry's body, whatever its key, except for checksums and outlines of areas."""
    if isinstance(body, str):
        yield body
    elif isinstance(body, Mapping):
        for key, value in body.items():
            if key not in _NOT_WORDS:
                yield from texts_in(value)
    elif isinstance(body, (list, tuple)):
        for value in body:
            yield from texts_in(value)


def words_of_body(body: Mapping[str, Any]) -> dict[str, None]:
    """The words in all texts of an entry's body."""
    return words_of("\n".join(texts_in(body)))


def is_fuzzy(word: str) -> bool:
    """Whether typing errors in ``word`` are forgiven: of 4 to 24 characters, and no code (more than half of it digits).

    A serial one digit off is another board's, and in a large record hundreds are.

    >>> is_fuzzy("penhallow"), is_fuzzy("sr00231")
    (True, False)
    """
    digits = sum(c.isdigit() for c in word)
    return _SHORTEST_FUZZY <= len(word) <= _LONGEST_FUZZY and 2 * digits <= len(word)


def grams(word: str) -> frozenset[str]:
    """Runs of three characters, with two blanks before and one after.

    >>> sorted(grams("abc"))
    ['  a', ' ab', 'abc', 'bc ']
    """
    padded = f"  {word} "
    return frozenset(padded[i : i + 3] for i in range(len(padded) - 2))


def slips(typed: str, word: str) -> int:
    """How many slips turn one word into the other: a character more, less, wrong, or two neighbours swapped.

    Reference: optimal string alignment distance (restricted Damerau-Levenshtein distance); F. J. Damerau,
    Communications of the ACM 7 (1964), 171-176.

    >>> slips("batery", "battery"), slips("lindqvsit", "lindqvist")
    (1, 1)
    """
    before: list[int] = []
    last = list(range(len(word) + 1))
    for i, a in enumerate(typed, 1):
        row = [i]
        for j, b in enumerate(word, 1):
            cost = min(row[j - 1] + 1, last[j] + 1, last[j - 1] + (a != b))
            if i > 1 and j > 1 and a == word[j - 2] and typed[i - 2] == b:
                cost = min(cost, before[j - 2] + 1)
            row.append(cost)
        before, last = last, row
    return last[-1]


def nearest(typed: str, candidates: Sequence[str], most: int = 8) -> tuple[str, ...]:
    """The words that ``typed`` was probably meant to be, nearest first.

    One slip in words of up to five characters, two in longer ones (common practice, no source).
    """
    allowed = 1 if len(typed) <= 5 else 2
    counted = sorted((slips(typed, word), word) for word in candidates)
    return tuple(word for slip, word in counted if slip <= allowed)[:most]
