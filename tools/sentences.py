"""The rooms' sentences: take them out of Python as patterns, and bring each language's catalogue up to date.

The rooms below the pages write plain English and know nothing of languages. A sentence such as
``f"{part} has no pin {pin}"`` becomes the pattern ``{0} has no pin {1}``, which ``web/sentences.py`` finds again in what
was said. Every text of more than one word is taken, unless it is code, a source or markup; single words of a room that
pages show, and sentences put together of pieces, are listed in ``sentences_put_together.txt``.

Usage:
    python tools/sentences.py          bring every catalogue up to date; fails when a sentence is not translated
"""

from __future__ import annotations

import ast
import itertools
import re
import sys
import tomllib
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po

from catalogue import LOCALES, write_all
from coppermend.web.sentences import bare, holes

ROOT = Path(__file__).parents[1]
SOURCES = ROOT / "src" / "coppermend"
ROOMS = ("board", "damage", "isolate", "rework", "copper", "rom", "proving", "job", "papers", "web")
ALSO = ("quantity.py", "errors.py")
# Files whose texts are code, tables of other things, or never shown on a page.
_NOT = re.compile(
    r"job/(migrations/.*|tables|database|migrate|export|search)\.py|rom/(opcodes|program|assemble)\.py"
    r"|board/draw_(svg|copper|parts)\.py|web/(rom_drawing|security|words|vocabulary)\.py|rework/figures/plot\.py"
)
# What looks like markup, a regular expression, SQL, a program's own line or a format, and not like speech.
_CODE = re.compile(
    r"^\s*<|\\[dwsSb.]|\(\?|\[\^|\]\+|SELECT |PRAGMA|BEGIN |INSERT |%[(]|^[A-Z_ ]+$|\{\{|%[A-Z]{2}|^rotate|Liberation"
)
_SPEECH = re.compile(r"[A-Za-z]{2}")
_REFUSALS = {"InputError", "UnknownName", "RecordError", "WhoMissing"}
_TOLD = {
    "tell",
    "told",
    "_",
    "translate",
    "mark",
    "gettext",
    "ngettext",
    "translate_plural",
    "Caution",
    "caution",
    "refusal",
}
_SOURCE_WORDS = {"source", "reference"}
_TELLING = {"description", "notes"}  # keys of the tables that come with the rooms
_NUMBER = re.compile(r"[+,]?(?:\.\d+)?\d*[dgefn%]")
_FORMAT = re.compile(r"(?<!\{)\{\w*\}(?!\})")  # what str.format fills
_MOST_WAYS = 8
# What rooms say and no single text of theirs shows: words by themselves, and sentences put together of pieces.
PUT_TOGETHER = Path(__file__).with_name("sentences_put_together.txt")


@lru_cache(maxsize=1)
def patterns() -> dict[str, set[str]]:
    """Every pattern that a room may say, with the files that say it."""
    found: dict[str, set[str]] = {}
    for path in files():
        for text in said_in(path):
            found.setdefault(text, set()).add(path.relative_to(ROOT).as_posix())
    for path in sorted(SOURCES.glob("*/data/*.toml")):
        for text in told_in(tomllib.loads(path.read_text("utf-8"))):
            found.setdefault(bare(text), set()).add(path.relative_to(ROOT).as_posix())
    for text in PUT_TOGETHER.read_text("utf-8").splitlines():
        if text and not text.startswith("#"):
            found.setdefault(text, set()).add(PUT_TOGETHER.relative_to(ROOT).as_posix())
    return found


def files() -> Iterator[Path]:
    """The rooms' Python files that may hold sentences."""
    for room in ROOMS:
        for path in sorted((SOURCES / room).rglob("*.py")):
            if not _NOT.fullmatch(path.relative_to(SOURCES).as_posix()):
                yield path
    for name in ALSO:
        yield SOURCES / name


def said_in(path: Path) -> list[str]:
    """The patterns of one file, each once, in the order of the file."""
    tree = ast.parse(path.read_text("utf-8"))
    reader = _Reader(refusals_only=path.parent.name == "web")
    reader.visit(tree)
    return list(dict.fromkeys(one for text in reader.found if (one := bare(text)) and wanted(one)))


def told_in(table: object) -> Iterator[str]:
    """What tables of parts and devices say to people."""
    if isinstance(table, dict):
        for key, value in table.items():
            if key in _TELLING and isinstance(value, str):
                yield value
            else:
                yield from told_in(value)


def wanted(text: str) -> bool:
    """Whether a text is a sentence or a part of one: more than one word, and no code."""
    literal = " ".join(re.sub(r"\{\d+(?:!r|:[nwp])?\}", "0", text).split())
    return (
        " " in literal
        and bool(_SPEECH.search(re.sub(r"\{\d+(?:!r|:[nwp])?\}", "", text)))
        and not _CODE.search(text)
    )


class _Reader(ast.NodeVisitor):
    """Collects what strings of a module may become; docstrings, messages that are marked otherwise and sources are left out."""

    def __init__(self, *, refusals_only: bool) -> None:
        self.found: list[str] = []
        self.listens = not refusals_only

    def visit_Expr(self, node: ast.Expr) -> None:
        if not isinstance(node.value, ast.Constant):
            self.generic_visit(node)

    def visit_Call(self, node: ast.Call) -> None:
        name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
        if name in _TOLD:
            return
        before, self.listens = self.listens, self.listens or name in _REFUSALS
        self.generic_visit(node)
        self.listens = before

    def visit_keyword(self, node: ast.keyword) -> None:
        if node.arg not in _SOURCE_WORDS:
            self.generic_visit(node)

    def visit_Subscript(self, node: ast.Subscript) -> None:
        self.visit(node.value)

    def visit_Constant(self, node: ast.Constant) -> None:
        if self.listens and isinstance(node.value, str):
            self.found.append(_numbered(_with_holes(node.value)))

    def visit_JoinedStr(self, node: ast.JoinedStr) -> None:
        if self.listens:
            ways = list(itertools.islice(_ways(node), _MOST_WAYS + 1))
            self.found += [_numbered(way) for way in (ways if len(ways) <= _MOST_WAYS else [_plain(node)])]
        for value in node.values:
            if isinstance(value, ast.FormattedValue):
                self.visit(value.value)


def _with_holes(text: str) -> list[str]:
    """The pieces of a text that ``str.format`` fills later; of any other one the text itself."""
    pieces = _FORMAT.split(text)
    return [one for piece in pieces for one in (piece, "{}")][:-1]


def _ways(node: ast.expr) -> Iterator[list[str]]:
    """What an expression may become: pieces, of which "{}", "{!r}" and "{:n}" are holes."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield [node.value]
    elif isinstance(node, ast.JoinedStr):
        for choice in itertools.product(*(list(_ways(value)) for value in node.values)):
            yield [piece for pieces in choice for piece in pieces]
    elif isinstance(node, ast.FormattedValue):
        if node.conversion == ord("r"):
            yield ["{!r}"]
        elif isinstance(node.format_spec, ast.JoinedStr) and _NUMBER.fullmatch(_written(node.format_spec)):
            yield ["{:n}"]
        else:
            yield from _ways(node.value)
    elif isinstance(node, ast.IfExp) and _all_said(node):
        yield from _ways(node.body)
        yield from _ways(node.orelse)
    else:
        yield ["{}"]


def _all_said(node: ast.expr) -> bool:
    if isinstance(node, ast.IfExp):
        return _all_said(node.body) and _all_said(node.orelse)
    return isinstance(node, ast.JoinedStr) or (isinstance(node, ast.Constant) and isinstance(node.value, str))


def _plain(node: ast.JoinedStr) -> list[str]:
    return [value.value if isinstance(value, ast.Constant) else "{}" for value in node.values]  # type: ignore[misc]


def _written(node: ast.JoinedStr) -> str:
    return "".join(str(value.value) if isinstance(value, ast.Constant) else "?" for value in node.values)


def _numbered(pieces: list[str]) -> str:
    """Pieces as one pattern; holes that touch become one, since nothing but quotes tells where one ends."""
    text, number, touching = "", 0, False
    for piece in pieces:
        if piece in ("{}", "{!r}", "{:n}"):
            if touching and not text.endswith("!r}"):
                text = re.sub(r"\{(\d+):n\}$", r"{\1}", text)
            else:
                text += "{" + str(number) + piece[1:]
                number += 1
            touching = True
        elif piece:
            text, touching = text + piece.replace("{", "{{").replace("}", "}}"), False
    return text


def updated(language: str) -> Catalog:
    """The catalogue of a language with new sentences added and those gone left out."""
    known: dict[str, str] = {}
    if path_of(language).exists():
        with path_of(language).open("rb") as file:
            known = {str(message.id): str(message.string) for message in read_po(file) if message.id}
    catalogue = Catalog(language, project="Coppermend", charset="utf-8")
    for text, places in patterns().items():
        catalogue.add(text, known.get(text, ""), [(place, 1) for place in sorted(places)])
    return catalogue


def troubles(catalogue: Catalog) -> list[str]:
    """What is wrong with a catalogue, a line each: untranslated, or other holes than the English."""
    found = []
    for message in catalogue:
        if message.id and not message.string:
            found.append(f"not translated: {message.id}")
        elif message.id and set(holes(str(message.string))) != set(holes(str(message.id))):
            found.append(f"other holes than: {message.id}")
    return found


def path_of(language: str) -> Path:
    """Where the sentences of a language lie."""
    return LOCALES / language / "LC_MESSAGES" / "sentences.po"


if __name__ == "__main__":
    sys.exit(write_all(updated, path_of, troubles))
