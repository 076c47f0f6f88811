"""The return tag in any size: the job's code and number, and as much of what was done as fits."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from itertools import accumulate
from typing import Any

from PIL import Image

from coppermend.errors import InputError
from coppermend.papers.code import modules, qr_svg, tag_text
from coppermend.papers.labelsize import SIZES, LabelSize
from coppermend.papers.marks import Mark
from coppermend.papers.typeset import to_pdf, to_png

TAG = SIZES["tag"]
PRINTER_DPI = (
    203,
    300,
)  # heads of thermal label printers: 8 and about 12 dots per mm (common practice, no source)
# What fits under the code of 60 x 100 mm at 7.6 pt: rows of text, letters in a row, rows of a caution.
_ROWS, _LETTERS, _CAUTION_ROWS, _ROW_MM, _SIDES_MM = 15, 43, 3, 3.3, 8.0
_NUMBER_MM, _LINE_MM = 6.2, 3.6  # heights of the number and of a line on a short label
_GREY = 128


@dataclass(frozen=True, slots=True)
class TagContent:
    """What stands on a tag. ``done`` is one short line per piece of work, most telling first; ``marks`` say it shorter."""

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
    marks: tuple[Mark, ...] = ()
    words: tuple[tuple[str, str], ...] = ()  # of the template, in another language


def _data(tag: TagContent, size: LabelSize, code_mm: float) -> dict[str, object]:
    words = dict(tag.words)
    wide, high = size.width_mm / size.scale, size.height_mm / size.scale
    letters = int(_LETTERS * (wide - _SIDES_MM) / (TAG.width_mm - _SIDES_MM))
    rows = _ROWS + int((high - TAG.height_mm) / _ROW_MM)
    lines = [_short(line, 2 * letters - 6) for line in tag.done]
    shown = _fitting(lines, letters, max(rows - _CAUTION_ROWS * len(tag.cautions), _CAUTION_ROWS))
    return {
        **asdict(tag),
        "words": words,
        "done": shown or [words.get("nothing recorded", "nothing recorded")],
        "done_title": words.get("work done", "work done"),
        "more": len(lines) - len(shown),
        "cautions": list(tag.cautions),
        "shop": _short(tag.shop, 36),
        "board": _short(tag.board, 44),
        "machine": _short(tag.machine, 44),
        "serial": _short(tag.serial, 24),
        "width_mm": size.width_mm,
        "height_mm": size.height_mm,
        "scale": size.scale,
        "code_mm": code_mm,
    }


def _signs(tag: TagContent) -> str:
    return " ".join(mark.sign for mark in tag.marks)


def _label_data(tag: TagContent, size: LabelSize, code_mm: float) -> dict[str, object]:
    high = size.height_mm - 3 - (0 if size.beside else code_mm + 0.6)
    by_weight = (
        (tag.board, "semibold"), (_signs(tag), "bold"), (f"{tag.date}  {tag.who}", "regular"), (tag.machine, "regular"),
        (f"{dict(tag.words).get('serial', 'serial')} {tag.serial}" if tag.serial else "", "regular"), (tag.shop, "regular"),
    )  # fmt: skip
    lines = [{"words": words, "weight": weight} for words, weight in by_weight if words.strip()]
    room = max(int((high - _NUMBER_MM) / _LINE_MM), 0)
    return {
        "number": tag.number, "lines": lines[:room], "code_mm": code_mm, "beside": size.beside,
        "bare": size.layout == "bare", "width_mm": size.width_mm, "height_mm": size.height_mm,
    }  # fmt: skip


def _fitting(lines: Sequence[str], letters: int, rows: int) -> list[str]:
    """The first lines that take no more than ``rows`` rows, each broken into rows of ``letters``."""
    taken = list(accumulate(-(-len(line) // letters) for line in lines))
    return [line for line, total in zip(lines, taken, strict=True) if total <= rows]


def _short(line: str, limit: int) -> str:
    return line if len(line) <= limit else line[: limit - 1].rstrip() + "…"


def _set(tag: TagContent, size: LabelSize, code_mm: float, text: str) -> tuple[str, dict[str, Any], dict[str, bytes]]:  # fmt: skip
    pictures = {"code.svg": qr_svg(text)}
    if size.layout == "full":
        return "tag", _data(tag, size, code_mm), pictures
    return "label", _label_data(tag, size, code_mm), pictures


def tag_pdf(tag: TagContent, size: LabelSize = TAG) -> bytes:
    """The tag as a one-page PDF of just that size."""
    text = tag_text(tag.number, tag.bench_url, size.code_mm)
    return to_pdf(*_set(tag, size, size.code_mm, text))


def tag_png(tag: TagContent, size: LabelSize = TAG, dots_per_inch: int = 203) -> bytes:
    """The tag for a thermal label printer: PNG in black and white, one pixel a dot, modules of whole dots.

    Raises:
        InputError: If the resolution is not from 150 to 600, or the label has no room for modules of two dots.
    """
    if not 150 <= dots_per_inch <= 600:
        raise InputError(f"{dots_per_inch} dots per inch", expected="150 to 600; printers have 203 or 300")
    dot_mm = 25.4 / dots_per_inch
    text = tag_text(tag.number, tag.bench_url, size.code_mm)
    dots = int(size.code_mm / dot_mm / modules(text))
    if dots < 2:
        raise InputError(f"a label of {size.words} has no room for its code at {dots_per_inch} dots per inch",
                         expected="a larger label or a finer printer")  # fmt: skip
    code_mm = dots * modules(text) * dot_mm
    pages = to_png(*_set(tag, size, code_mm, text), dots_per_inch=dots_per_inch)
    with Image.open(io.BytesIO(pages[0])) as grey:
        dotted = grey.convert("L").point(lambda level: 255 * (level >= _GREY)).convert("1")
    out = io.BytesIO()
    dotted.save(out, "PNG", dpi=(dots_per_inch, dots_per_inch))
    return out.getvalue()
