"""Pictures of a comparison as SVG: where images differ, and on which lines. Computes nothing of its own."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from markupsafe import Markup

from coppermend.rom.causes import Cause
from coppermend.rom.compare import Comparison, LineDifference

_CELL, _ACROSS = 14, 16
_ROW, _LEFT, _BAR = 22, 46, 120


def map_svg(blocks: Sequence[int], block_bytes: int, what: str) -> Markup:
    """A map of an image, 16 blocks a row, low addresses first: the darker, the more bytes differ (or are unstable)."""
    rows = -(-len(blocks) // _ACROSS)
    cells = []
    for number, count in enumerate(blocks):
        x, y = number % _ACROSS * _CELL, number // _ACROSS * _CELL
        grade = 0 if not count else min(4, 1 + count * 4 // max(block_bytes, 1))
        first = number * block_bytes
        cells.append(
            f'<rect class="g{grade}" x="{x}" y="{y}" width="{_CELL - 1}" height="{_CELL - 1}">'
            f"<title>{first:04X} to {first + block_bytes - 1:04X}: {count} {what}</title></rect>"
        )
    return Markup(
        f'<svg class="rom-map" viewBox="0 0 {_ACROSS * _CELL} {rows * _CELL}" role="img" '
        f'aria-label="Map of the image, low addresses first, {_ACROSS} blocks a row">{"".join(cells)}</svg>'
    )


def named_lines(causes: Sequence[Cause]) -> frozenset[str]:
    """The lines that the likeliest cause names, such as D3 or A11."""
    if not causes:
        return frozenset()
    return frozenset(
        f"{'D' if fault.kind.startswith('data') else 'A'}{line}"
        for fault in causes[0].faults
        if fault.kind != "data-order"
        for line in fault.lines
    )


def lines_svg(found: Comparison) -> Markup:
    """Bars for every data line (bits that rose to the right, that fell to the left) and every address line."""
    marked = named_lines(found.causes)
    groups = ((found.data_lines, "0 to 1", "1 to 0"), (found.address_lines, "while high", "while low"))
    height = sum(len(lines) + 1 for lines, _, _ in groups) * _ROW
    parts, y = [], 0
    for lines, right, left in groups:
        parts.append(_caption(y, left, right))
        y += _ROW
        most = max((max(line.rising, line.falling) for line in lines), default=0) or 1
        for line in lines:
            parts.append(_bar(line, y, most, marked))
            y += _ROW
    return Markup(
        f'<svg class="rom-lines" viewBox="0 0 {2 * _BAR + 2 * _LEFT + 110} {height}" role="img" '
        f'aria-label="Differences by data and address line">{"".join(parts)}</svg>'
    )


def _caption(y: int, left: str, right: str) -> str:
    middle = _LEFT + 55 + _BAR
    return (
        f'<text class="cap" x="{middle - 8}" y="{y + 15}" text-anchor="end">{left}</text>'
        f'<text class="cap" x="{middle + 8}" y="{y + 15}">{right}</text>'
    )


def _bar(line: LineDifference, y: int, most: int, marked: Collection[str]) -> str:
    middle = _LEFT + 55 + _BAR
    fall, rise = (round(_BAR * n / most) for n in (line.falling, line.rising))
    kind = ' class="named"' if line.line in marked else ""
    return (
        f'<g{kind}><text x="0" y="{y + 15}">{line.line}{" !" if kind else ""}</text>'
        f'<line x1="{middle}" y1="{y}" x2="{middle}" y2="{y + _ROW}"/>'
        f'<rect x="{middle - fall}" y="{y + 4}" width="{fall}" height="{_ROW - 8}"/>'
        f'<rect x="{middle}" y="{y + 4}" width="{rise}" height="{_ROW - 8}"/>'
        f'<text class="n" x="{middle - fall - 5}" y="{y + 15}" text-anchor="end">{line.falling:,}</text>'
        f'<text class="n" x="{middle + rise + 5}" y="{y + 15}">{line.rising:,}</text></g>'
    )


def hex_rows(
    data: bytes, marks: Collection[int], start: int = 0, most: int = 1024
) -> tuple[list[Markup], int]:
    """Rows of a hex view, marked bytes in ``mark``; when there are too many, rows with marks come alone.

    Returns:
        The rows, and how many are left out.
    """
    numbers: Sequence[int] = range(-(-len(data) // 16))
    if len(numbers) > most and marks:
        numbers = sorted({at // 16 for at in marks})
    return [_row(data, number * 16, marks, start) for number in numbers[:most]], max(len(numbers) - most, 0)


def _row(data: bytes, at: int, marks: Collection[int], start: int) -> Markup:
    piece = data[at : at + 16]
    cells = [f"<mark>{b:02X}</mark>" if at + n in marks else f"{b:02X}" for n, b in enumerate(piece)]
    text = Markup.escape("".join(chr(b) if 32 <= b < 127 else "." for b in piece))
    return Markup(f"<b>{start + at:04X}</b>  {' '.join(cells)}{'   ' * (16 - len(piece))}  {text}")
