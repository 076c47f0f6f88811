"""Sentences that the rooms below wrote in English, said in the language of the request.

Rooms know no languages: they say ``U3 has no pin 41``. ``tools/sentences.py`` takes the pattern ``{0} has no pin {1}`` out of
their code, ``locale/<language>/LC_MESSAGES/sentences.po`` holds its translation, and ``say`` finds the pattern again in the
finished sentence. What stood in its holes is said likewise where it is known; what is unknown stays as it is. Numbers that
were worked out get the language's own marks (``amounts``), but for those that tell what is to be typed.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from html import escape, unescape
from pathlib import Path

from babel.messages.pofile import read_po
from babel.numbers import get_decimal_symbol, get_group_symbol

from coppermend.web.amounts import Marks
from coppermend.web.language import ENGLISH, catalogue, spoken
from coppermend.web.seams import capital, parted, split, ways

_FOLDER = Path(__file__).parent / "locale"
_HOLE = re.compile(r"\{(\d+)(!r|:[nwp])?\}")
_WORD = re.compile(r"\w+")
_NAME = re.compile(
    r"[A-Z0-9]"
)  # names of parts, nets and pins; what people write in small letters is left as it is
_SINGLE = re.compile(r"[a-z][a-z-]+")
_TITLE = re.compile(r"<title>([^<]*)</title>")
_EXPECTED = "; expected "
# Where a text that is no known sentence may be made of known ones, tried in this order.
_SEAMS = ("\n", "; ", ". ", ": ", ", ")
_ASIDE = re.compile(r"([^()]+) \(([^()]+)\)")
_JOINTS = {" and ": "and", " or ": "or"}
_FEW_LETTERS = 8  # a pattern with fewer says little by itself: its holes take single words only
_MOST_DEEP = 6
_MOST_CHARACTERS = 2000
_ENGLISH_MARKS = Marks()
_KEPT = 20_000  # sentences remembered; a page shows some hundreds
# What repr wrote: text in quotes (the third kind was cut short where it was said), a number, a list, a constant.
_QUOTED = r"""'[^']*'|"[^"]*"|['"].{39}|-?\d[\d.e+-]*|[\[({].*?[\])}]|None|True|False"""
_ANY = {
    "": r"(.*?)",
    ":w": r"(.+?)",
    ":p": r"([A-Z]+\d+\.\w+|V\d+)",
    "!r": rf"({_QUOTED})",
    ":n": r"([-+−]?(?:\d[\d.,]*(?:e[-+]?\d+)?%?|inf|nan))",
}
_ONE = rf"({_QUOTED}|[-+−±]?\d[\d.,]* [^\s\d.,]{{1,3}}|\S*)"


@dataclass(frozen=True, slots=True)
class Pattern:
    """A sentence with holes, and what it becomes: ``{0}``, ``{1!r}`` (quoted), ``{2:n}`` (a number), ``{3:w}`` (words),
    ``{4:p}`` (a point).

    ``letters`` counts those of the English that stand outside the holes; ``words`` are those that every sentence of
    this pattern holds.
    """

    english: str
    other: str
    letters: int
    words: frozenset[str]

    @property
    def weak(self) -> bool:
        """Whether so little stands outside the holes that only single words may stand in them."""
        return self.letters < _FEW_LETTERS and "!r}" not in self.english


def pattern_of(english: str, other: str) -> Pattern:
    """A pattern with what finds it."""
    pieces = _HOLE.split(english)[::3]
    words: set[str] = set()
    for number, piece in enumerate(pieces):
        text = (" " if number == 0 else "\0") + piece + (" " if number == len(pieces) - 1 else "\0")
        words.update(_WORD.findall(re.sub(r"\w*\0\w*", " ", text)))
    return Pattern(english, other, sum(c.isalpha() for c in "".join(pieces)), frozenset(words))


def bare(text: str) -> str:
    """A sentence without what only joins it to others: commas, stops and blanks at its edges, brackets around it.

    >>> bare(", (in all {0} places)"), bare("no pin (it has none)")
    ('in all {0} places', 'no pin (it has none)')
    """
    return parted(text)[1]


def holes(text: str) -> list[int]:
    """Numbers of a pattern's holes, in order.

    >>> holes("{1!r} of {0}")
    [1, 0]
    """
    return [int(found[1]) for found in _HOLE.finditer(text)]


def say(text: str) -> str:
    """A sentence of a room in the language of this request; unknown ones, and all in English, come back as they are."""
    return say_in(spoken(), text)


def say_in(language: str, text: str) -> str:
    """A sentence of a room in ``language``; see ``say``."""
    if language == ENGLISH or not text or len(text) > _MOST_CHARACTERS:
        return text
    return type(text)(_said(language, str(text)))


def say_titles(svg: str) -> str:
    """Our own SVG with its titles in the language of this request."""
    if spoken() == ENGLISH:
        return svg
    return type(svg)(_TITLE.sub(lambda title: f"<title>{escape(say(unescape(title[1])))}</title>", str(svg)))


@lru_cache(maxsize=_KEPT)
def _said(language: str, text: str) -> str:
    return book(language).say(text)


@lru_cache(maxsize=4)
def book(language: str) -> Book:
    """All patterns of a language, read once; none of English."""
    if language == ENGLISH:
        return Book([])
    with (_FOLDER / language / "LC_MESSAGES" / "sentences.po").open("rb") as file:
        pairs = [(str(m.id), str(m.string)) for m in read_po(file, locale=language) if m.id and m.string]
    marks = Marks(get_decimal_symbol(language), get_group_symbol(language))
    return Book(pairs, catalogue(language).gettext, marks)


class Book:
    """Patterns found by the rarest of their words, so that a sentence is compared with few of them."""

    def __init__(
        self,
        pairs: Iterable[tuple[str, str]],
        single: Callable[[str], str] = str,
        marks: Marks = _ENGLISH_MARKS,
    ) -> None:
        self._single, self._marks = single, marks
        self.exact: dict[str, str] = {}
        patterns = []
        for english, other in pairs:
            if _HOLE.search(english):
                patterns.append(pattern_of(english, other))
            else:
                self.exact[_plain(english)] = _plain(other)
        count: dict[str, int] = {}
        for one in patterns:
            for word in one.words:
                count[word] = count.get(word, 0) + 1
        self._by_word: dict[str, list[Pattern]] = {}
        for one in sorted(patterns, key=lambda p: (-p.letters, len(holes(p.english)), p.english)):
            rarest = min(one.words, key=lambda w: (count[w], w), default="")
            self._by_word.setdefault(rarest, []).append(one)

    def say(self, text: str, deep: int = 0) -> str:
        """The text in this book's language, as far as it is known."""
        if deep > _MOST_DEEP or not _WORD.search(text):
            return text
        wrong, seam, wanted = text.partition(_EXPECTED)
        if seam:
            return f"{self.say(wrong, deep + 1)}; {self.exact.get('expected', 'expected')} {self._wanted(wanted)}"
        before, core, after = parted(text)
        found = self._clauses(core, deep)
        if found is None:
            found = self._whole(core, deep)
        if found is None:
            found = self._in_parts(core, deep)
        if found == core:
            found = self._marks.amount(core)
        return before + found + after

    def _wanted(self, text: str) -> str:
        """What was expected instead: its holes hold what is to be typed, and stay as they are."""
        before, core, after = parted(text)
        return before + (self._whole(core, _MOST_DEEP) or core) + after

    def _clauses(self, core: str, deep: int) -> str | None:
        """Several sentences with semicolons between; None unless each of them is known as a whole."""
        if "; " not in core:
            return None
        if core in self.exact or ((found := self.match(core)) and "; " in found[0].english):
            return None
        said = [self._whole(one, deep) for one in core.split("; ")]
        return "; ".join(filter(None, said)) if None not in said else None

    def match(self, text: str) -> tuple[Pattern, tuple[str, ...]] | None:
        """The pattern that says most of a whole sentence, and what stands in its holes."""
        words = set(_WORD.findall(text)) | {""}
        near = (one for word in words for one in self._by_word.get(word, ()))
        for one in sorted(near, key=lambda p: (-p.letters, len(holes(p.english)), p.english)):
            if one.words <= words and (found := _compiled(one.english, one.weak).fullmatch(text)):
                return one, found.groups()
        return None

    def _whole(self, core: str, deep: int) -> str | None:
        for way in ways(core):
            if (known := self.exact.get(way)) is not None:
                return capital(known) if way != core and core[0].isupper() else known
        if deep and _SINGLE.fullmatch(core):
            return self._single(core)
        found = [(*pair, way) for way in ways(core) if (pair := self.match(way))]
        if not found:
            return None
        pattern, taken, way = max(found, key=lambda one: one[0].letters)
        said = self._filled(pattern, taken, deep)
        return capital(said) if way != core and core[0].isupper() else said

    def _filled(self, pattern: Pattern, taken: tuple[str, ...], deep: int) -> str:
        kinds = {int(number): kind for number, kind in _HOLE.findall(pattern.english)}
        in_order = dict(zip(holes(pattern.english), taken, strict=True))
        pieces = _HOLE.split(pattern.other)
        said = [_plain(pieces[0])]
        for hole, after in zip(pieces[1::3], pieces[3::3], strict=True):
            said += [self._held(in_order[int(hole)], kinds[int(hole)], _plain(after), deep), _plain(after)]
        return "".join(said)

    def _held(self, value: str, kind: str, after: str, deep: int) -> str:
        """What stands in a hole; of what is to be typed nothing is changed."""
        if kind in ("!r", ":p") or (kind == ":n" and deep >= _MOST_DEEP):
            return value
        if kind == ":n":
            return self._marks.number(value)
        said = self._joined(value, deep + 1)
        return self._marks.before(value, after) if said == value and deep < _MOST_DEEP else said

    def _joined(self, text: str, deep: int, *, alone: bool = False) -> str:
        """What stood in a hole: a sentence, or several things with ``and`` or ``or`` between.

        Where it stood ``alone``, outside any pattern, one of them has to be known: else somebody may have written it.
        """
        said = self.say(text, deep)
        if said != text:
            return said
        for joint, word in _JOINTS.items():
            if joint in text and word in self.exact:
                parts = text.split(joint)
                joined = [self._joined(one, deep + 1) for one in parts]
                if alone and joined == parts:
                    continue
                if all(one != part or _NAME.search(part) for one, part in zip(joined, parts, strict=True)):
                    return f" {self.exact[word]} ".join(joined)
        return text

    def _in_parts(self, core: str, deep: int) -> str:
        for seam in _SEAMS:
            if seam in core:
                parts = split(core, seam)
                said = [self._joined(part, deep + 1, alone=True) for part in parts]
                if said != parts:
                    return seam.join(said)
        if aside := _ASIDE.fullmatch(core):
            return f"{self._joined(aside[1], deep + 1)} ({self._joined(aside[2], deep + 1)})"
        return core


def _plain(text: str) -> str:
    return text.replace("{{", "{").replace("}}", "}")


@cache
def _compiled(english: str, weak: bool) -> re.Pattern[str]:
    kinds: Mapping[str, str] = {**_ANY, "": _ONE} if weak else _ANY
    pieces = _HOLE.split(english)
    text = "".join(
        re.escape(_plain(piece))
        if number % 3 == 0
        else kinds[pieces[number + 1] or ""]
        if number % 3 == 1
        else ""
        for number, piece in enumerate(pieces)
    )
    return re.compile(text, re.DOTALL)
