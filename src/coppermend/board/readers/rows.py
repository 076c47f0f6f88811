"""Rows of a small CSV of the bench (readings, observations), whatever a spreadsheet did to it. Knows no meaning."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence

from coppermend.errors import InputError


def bench_rows(
    text: str, header: Sequence[str], expected: str, where: str
) -> Iterator[tuple[list[str], int]]:
    """Each row's cells without blanks around, and its line number; blank rows and a leading header are left out.

    Args:
        text: CSV with commas or semicolons, the first line tells which; a byte order mark is dropped.
        header: The first column names in lower case; a first row that has them is no data.
        expected: What a row should be, for errors.
        where: File name for errors.

    Raises:
        InputError: If the quoting is broken, naming the line; when the row is reached.
    """
    body = text.removeprefix("\N{ZERO WIDTH NO-BREAK SPACE}")
    first = body.split("\n", 1)[0]
    rows = csv.reader(io.StringIO(body, newline=""), delimiter=";" if ";" in first else ",", strict=True)
    started = False
    try:
        for row in rows:
            cells = [cell.strip() for cell in row]
            if not any(cells) or (not started and [c.lower() for c in cells[: len(header)]] == list(header)):
                continue
            started = True
            yield cells, rows.line_num
    except csv.Error as error:
        raise InputError(f"broken CSV: {error}", expected=expected, where=where, line=rows.line_num) from None
