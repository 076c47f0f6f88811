"""The return tag: 60 x 100 mm, with the job's code and the short list of what was done."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from itertools import accumulate

from coppermend.papers.code import qr_svg, tag_text
from coppermend.papers.typeset import to_pdf, to_png

# What fits under the code at 7.6 pt: rows of text, letters in a row, rows of a caution.
_ROWS, _LETTERS, _CAUTION_ROWS = 15, 43, 3


@dataclass(frozen=True, slots=True)
class TagContent:
    """What stands on a tag. ``done`` is one short line per piece of work, most telling first."""

    number: str
    board: str
    date: str
    who: str
    done: tuple[str, ...]
    verdict: str
    machine: str = ""
    serial: str = ""
    shop: str = ""
    cautions: tuple[str, ...] = ()
    bench_url: str = ""


def _data(tag: TagContent) -> dict[str, object]:
    lines = [_short(line) for line in tag.done]
    shown = _fitting(lines, max(_ROWS - _CAUTION_ROWS * len(tag.cautions), _CAUTION_ROWS))
    return {
        **asdict(tag),
        "done": shown or ["nothing recorded"],
        "done_title": "work done",
        "more": len(lines) - len(shown),
        "cautions": list(tag.cautions),
        "shop": _short(tag.shop, 36),
        "board": _short(tag.board, 44),
        "machine": _short(tag.machine, 44),
        "serial": _short(tag.serial, 24),
    }


def _fitting(lines: Sequence[str], rows: int) -> list[str]:
    """The first lines that take no more than ``rows`` rows, each broken into rows of ``_LETTERS``."""
    taken = list(accumulate(-(-len(line) // _LETTERS) for line in lines))
    return [line for line, total in zip(lines, taken, strict=True) if total <= rows]


def _short(line: str, limit: int = 2 * _LETTERS - 6) -> str:
    return line if len(line) <= limit else line[: limit - 1].rstrip() + "…"


def tag_pdf(tag: TagContent) -> bytes:
    """The tag as a one-page PDF, 60 x 100 mm."""
    return to_pdf("tag", _data(tag), {"code.svg": qr_svg(tag_text(tag.number, tag.bench_url))})


def tag_png(tag: TagContent, dots_per_inch: float = 203.0) -> bytes:
    """The tag as PNG, by default at 203 dots per inch, the usual thermal label printer (common practice, no source)."""
    pages = to_png(
        "tag",
        _data(tag),
        {"code.svg": qr_svg(tag_text(tag.number, tag.bench_url))},
        dots_per_inch=dots_per_inch,
    )
    return pages[0]
