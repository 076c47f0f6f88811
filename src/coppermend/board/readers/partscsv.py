"""Reader of a parts list in CSV (placement files too): text in, ``ImportedPart`` records out. No board.

Columns are found by their names in the first row, in any order: refdes, value, footprint, x_mm, y_mm,
rotation_deg, side; and, when there are any, type, package, section, socketed, notes. Others are ignored.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping
from typing import Literal, NamedTuple

from coppermend.board.model import Layer
from coppermend.errors import InputError

MAX_POSITION_MM = 10_000.0
_SIDES: Mapping[str, Layer] = {
    "": "top", "top": "top", "t": "top", "front": "top", "f": "top",
    "bottom": "bottom", "bot": "bottom", "b": "bottom", "back": "bottom",
}  # fmt: skip
_YES = {"1", "yes", "true", "y", "x"}
_NO = {"", "0", "no", "false", "n"}


class ImportedPart(NamedTuple):
    """One row: where the part sits [mm, deg] in the list's own frame, and what it is.

    ``x_mm`` and ``y_mm`` are None when the list holds no places. ``line`` is the row's line in the file.
    """

    refdes: str
    value: str = ""
    footprint: str = ""
    x_mm: float | None = None
    y_mm: float | None = None
    rotation_deg: float = 0.0
    side: Layer = "top"
    type: str = ""
    package: str = ""
    section: str = ""
    socketed: bool = False
    notes: str = ""
    line: int = 0


def parse_parts_csv(text: str, where: str = "parts list") -> tuple[ImportedPart, ...]:
    """Read a parts list.

    Args:
        text: The whole file; the separator is a comma, semicolon or tab, whichever the first row uses.
        where: Its name, for errors.

    Returns:
        The parts in file order, repeated refdes included.

    Raises:
        InputError: With file and line, when the first row lacks ``refdes``, a row has the wrong number of
            columns, or a number, side or yes/no cannot be read.
    """
    head = text.lstrip("\ufeff\r\n ").split("\n", 1)[0]
    separator = max(",;\t", key=head.count)
    rows = csv.reader(io.StringIO(text.lstrip("\ufeff"), newline=""), delimiter=separator, strict=True)
    line = 0
    try:
        columns: list[str] | None = None
        parts = []
        for row in rows:
            start, line = line + 1, rows.line_num
            if not any(cell.strip() for cell in row):
                continue
            if columns is None:
                columns = _columns(row)
                continue
            parts.append(_part(dict(zip(columns, _cells(row, columns), strict=True)), start))
    except csv.Error as error:
        raise InputError(f"broken CSV: {error}", where=where, line=max(line + 1, 1)) from None
    except InputError as error:
        raise InputError(error.found, expected=error.expected, where=where, line=start) from None
    if columns is None:
        raise InputError("no first row", expected="column names: refdes,value,...", where=where, line=1)
    return tuple(parts)


def _columns(row: list[str]) -> list[str]:
    names = [cell.strip().lower() for cell in row]
    if "refdes" not in names:
        raise InputError(f"first row {','.join(names)[:60]!r}", expected="a column named refdes")
    if twice := {name for name in names if name and names.count(name) > 1}:
        raise InputError(f"column {min(twice)} is there twice")
    return names


def _cells(row: list[str], columns: list[str]) -> list[str]:
    """The row's cells, one for each column; empty cells at the end may be missing or too many."""
    if any(cell.strip() for cell in row[len(columns) :]):
        raise InputError(f"{len(row)} cells", expected=f"{len(columns)}, as many as the first row")
    return [cell.strip() for cell in row[: len(columns)]] + [""] * (len(columns) - len(row))


def _part(cells: Mapping[str, str], line: int) -> ImportedPart:
    refdes = cells["refdes"]
    if not refdes:
        raise InputError("a row without refdes", expected="a refdes such as U3")
    x, y = (_number(cells.get(name, ""), name) for name in ("x_mm", "y_mm"))
    if (x is None) != (y is None):
        raise InputError(f"{refdes} has only one coordinate", expected="x_mm and y_mm, or neither")
    return ImportedPart(
        refdes=refdes,
        value=cells.get("value", ""),
        footprint=cells.get("footprint", ""),
        x_mm=x,
        y_mm=y,
        rotation_deg=_number(cells.get("rotation_deg", ""), "rotation_deg") or 0.0,
        side=_side(cells.get("side", "")),
        type=cells.get("type", ""),
        package=cells.get("package", ""),
        section=cells.get("section", ""),
        socketed=_yes(cells.get("socketed", "")),
        notes=cells.get("notes", ""),
        line=line,
    )


def _number(cell: str, name: Literal["x_mm", "y_mm", "rotation_deg"] | str) -> float | None:
    if not cell:
        return None
    try:
        value = float(cell)
    except ValueError:
        value = math.nan
    if not abs(value) <= MAX_POSITION_MM:
        raise InputError(f"{name} {cell[:30]!r}", expected=f"a number up to {MAX_POSITION_MM:g}")
    return value


def _side(cell: str) -> Layer:
    if (side := _SIDES.get(cell.lower())) is None:
        raise InputError(f"side {cell[:30]!r}", expected="top or bottom")
    return side


def _yes(cell: str) -> bool:
    if cell.lower() in _YES | _NO:
        return cell.lower() in _YES
    raise InputError(f"socketed {cell[:30]!r}", expected="yes or no")
