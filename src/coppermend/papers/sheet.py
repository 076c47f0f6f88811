"""Shop papers of one kind: a heading, fields, tables, sums and notes. Knows how they look, not what they mean."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace

from coppermend.papers.code import qr_svg, tag_text
from coppermend.papers.report import Paper, Picture
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
    pictures: tuple[Picture, ...] = ()
    sums: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    signature: str = ""
    bench_url: str = ""
    logo: bytes = b""  # SVG
    words: tuple[tuple[str, str], ...] = ()  # of the template, in another language


def sheet_pdf(sheet: Sheet, paper: Paper = "a4") -> bytes:
    """The sheet as PDF, as many pages as it needs, heads repeated on each."""
    code = qr_svg(tag_text(sheet.number, sheet.bench_url, side_mm=22))
    pictures = {picture.file: picture.data for picture in sheet.pictures}
    data = {**asdict(replace(sheet, pictures=())), "logo": bool(sheet.logo), "words": dict(sheet.words)}
    data["pictures"] = [{"file": p.file, "caption": p.caption} for p in sheet.pictures]
    return to_pdf("sheet", {**data, "paper": paper}, {**pictures, "code.svg": code, "logo.svg": sheet.logo})
