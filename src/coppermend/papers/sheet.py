"""Shop papers of one kind: a heading, fields, tables, sums and notes. Knows how they look, not what they mean."""

from __future__ import annotations

from dataclasses import asdict, dataclass

from coppermend.papers.code import qr_svg, tag_text
from coppermend.papers.report import Paper
from coppermend.papers.typeset import to_pdf


@dataclass(frozen=True, slots=True)
class Table:
    """A table: its title, heads, rows of words; ``widths`` are shares of the width (0: as wide as its words).

    ``numbers`` names columns that are set flush right; ``ticks`` puts a box to tick before each row.
    """

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[float, ...]
    numbers: tuple[int, ...] = ()
    ticks: bool = False
    empty: str = "nothing"


@dataclass(frozen=True, slots=True)
class Sheet:
    """A paper in words ready to print. ``sums`` are name and amount, the last one in bold."""

    title: str
    number: str
    date: str
    shop: str = ""
    address: str = ""
    fields: tuple[tuple[str, str], ...] = ()
    lead: str = ""
    tables: tuple[Table, ...] = ()
    sums: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    signature: str = ""
    bench_url: str = ""


def sheet_pdf(sheet: Sheet, paper: Paper = "a4") -> bytes:
    """The sheet as PDF, as many pages as it needs, heads repeated on each."""
    code = qr_svg(tag_text(sheet.number, sheet.bench_url, side_mm=22))
    return to_pdf("sheet", {**asdict(sheet), "paper": paper}, {"code.svg": code})
