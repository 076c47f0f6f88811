"""Papers in another language: who makes one hands a function in that says a sentence of ours in it. Knows no language."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from coppermend.papers.sheet import Sheet, Table

Say = Callable[[str], str]
Words = tuple[tuple[str, str], ...]
# What stands in the templates themselves.
TEMPLATE_WORDS = (
    "job", "date", "serial", "customer", "page", "Return report", "The complaint", "Condition on arrival", "What was found",
    "What was done, and why", "Connections measured", "Tests", "Not proven", "Please note", "worked on by", "shop", "Where", "What",
    "Why", "Net", "From", "To", "What it does", "Measured", "Verdict", "Result", "Test", "Note", "and", "more: see the report", "Return tag", "work done",
    "nothing recorded", "1 of 1",
)  # fmt: skip
# Single words that stand in cells of tables; any other word by itself is a name, a type or a value.
_CELL_WORDS = frozenset(
    ("off", "on", "none", "discard", "test", "refit", "top", "bottom", "both", "board", "nothing", "min")
)


class Said(str):
    """A sentence that is in the paper's language already."""

    __slots__ = ()


def plain(text: str) -> str:
    """The sentence as it is: English."""
    return text


def template_words(say: Say) -> Words:
    """The words of the templates beside what they become; none in English."""
    return () if say is plain else tuple((word, say(word)) for word in TEMPLATE_WORDS)


def sheet_said(sheet: Sheet, say: Say) -> Sheet:
    """A shop paper in another language. What people wrote stays: names, values, the complaint in ``lead``, the terms."""
    if say is plain:
        return sheet
    return replace(
        sheet,
        title=say(sheet.title),
        fields=tuple((say(name), value) for name, value in sheet.fields),
        tables=tuple(_table_said(table, say) for table in sheet.tables),
        pictures=tuple(replace(picture, caption=say(picture.caption)) for picture in sheet.pictures),
        sums=tuple((say(name), amount) for name, amount in sheet.sums),
        notes=_all(sheet.notes, say),
        cautions=_all(sheet.cautions, say),
        signature=say(sheet.signature),
        words=template_words(say),
    )


def _all(lines: Iterable[str], say: Say) -> tuple[str, ...]:
    return tuple(line if isinstance(line, Said) else say(line) for line in lines)


def _table_said(table: Table, say: Say) -> Table:
    def cell(text: str) -> str:
        known = isinstance(text, Said) or (" " not in text and text not in _CELL_WORDS)
        return text if known else say(text)

    rows = tuple(tuple(map(cell, row)) for row in table.rows)
    return replace(
        table, title=say(table.title), heads=_all(table.heads, say), rows=rows, empty=say(table.empty)
    )
