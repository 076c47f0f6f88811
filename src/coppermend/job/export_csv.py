"""The tables of an export as CSV beside their JSON lines, for spreadsheets; and back again, byte for byte.

One row a row, columns in the order of the table; moments as ISO 8601, whole bodies as JSON in one cell, an empty cell for
nothing at all and a lone apostrophe for an empty text. Cells that a spreadsheet would run are disarmed as in ``shelf_csv``.
RFC 4180 with UTF-8.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from sqlalchemy import JSON, Boolean, Column, Float, Integer

from coppermend.errors import InputError
from coppermend.job import people, shop, tables
from coppermend.job.plain import to_json_text
from coppermend.job.shelf_csv import armed, disarmed

_DEFINED_IN = (tables, people, shop)  # modules whose tables make up a record
_NOTHING_WRITTEN = "'"
_LONGEST_CELL = 32 * 1024 * 1024


def csv_of_lines(lines: Iterable[bytes], columns: Sequence[str]) -> Iterator[bytes]:
    """A table's JSON lines as CSV, piece by piece; the first piece is the head."""
    yield _row(columns)
    for line in lines:
        row: dict[str, Any] = json.loads(line)
        yield _row([_cell(row[name]) for name in columns])


def _row(cells: Sequence[str]) -> bytes:
    out = io.StringIO()
    csv.writer(out, lineterminator="\r\n").writerow(cells)
    return out.getvalue().encode()


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if value == "":
        return _NOTHING_WRITTEN
    if isinstance(value, str):
        return disarmed(value)
    return to_json_text(value)


def lines_of_csv(text: Iterable[str], table: str, where: str) -> Iterator[bytes]:
    """The JSON lines from which ``csv_of_lines`` made the CSV of a table.

    Raises:
        InputError: If the record has no such table or column, or a cell is not what its column holds; file and line named.
    """
    known = tables.metadata.tables.get(table)
    csv.field_size_limit(_LONGEST_CELL)
    reader = csv.reader(text, strict=True)
    try:
        head = next(reader, [])
        if known is None or not head or not set(head) <= set(known.columns.keys()):
            raise InputError("is no table of a record", expected="as it was exported", where=where, line=1)
        columns = [known.columns[name] for name in head]
        for cells in reader:
            if len(cells) != len(columns):
                raise InputError(
                    f"{len(cells)} cells", expected=f"{len(columns)}", where=where, line=reader.line_num
                )
            values = {c.name: _value(c, cell) for c, cell in zip(columns, cells, strict=True)}
            yield to_json_text(values).encode() + b"\n"
    except (csv.Error, ValueError) as error:
        raise InputError(
            f"cannot be read: {error}", expected="as it was exported", where=where, line=reader.line_num
        ) from None


def _value(column: Column[Any], cell: str) -> Any:
    if cell == "":
        return None
    if isinstance(column.type, JSON | Integer | Float | Boolean):
        return json.loads(cell)
    return "" if cell == _NOTHING_WRITTEN else armed(cell)
