"""Spreadsheet tables in and out: rows with checked cells, forgiving what spreadsheets do to CSV. No meaning.

Forgiven: byte order mark, CRLF, a ``sep=;`` line, ``;`` or tab between cells (a decimal comma is then a
decimal point), blank rows, blanks around cells, columns in any order, columns that start with ``x_``.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TypeVar

from coppermend.board.readers.text import decode_text
from coppermend.errors import InputError

# Copper areas are long cells. The limit is the csv module's own and global; it only guards memory, and the
# whole file is in memory already.
csv.field_size_limit(2**31 - 1)

LIMIT_MM = 10_000.0  # no board is 10 m long: a number beyond this is a slip, and would upset the geometry
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_YES, _NO = ("yes", "y", "true", "1", "x"), ("", "no", "n", "false", "0")
Choice = TypeVar("Choice", bound=str)


def finite(number: float) -> bool:
    """Whether a number is usable as a length, an angle or a coordinate here."""
    return math.isfinite(number) and abs(number) <= LIMIT_MM


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its cells by column name, the file it is in, and the line it starts on."""

    cells: dict[str, str]
    where: str
    line: int
    decimal_comma: bool = False

    def fault(self, found: str, expected: str) -> InputError:
        """The error that this row is at fault."""
        return InputError(found, expected=expected, where=self.where, line=self.line)

    def text(self, column: str) -> str:
        """The cell, "" when it is blank or its column is absent."""
        return self.cells.get(column, "")

    def name(self, column: str, example: str) -> str:
        """The cell, which must not be blank.

        Raises:
            InputError: If it is blank.
        """
        if found := self.text(column):
            return found
        raise self.fault(f"{column} is blank", example)

    def number(self, column: str, default: float | None = None, *, at_least: float = -LIMIT_MM) -> float:
        """The cell as a number; ``default`` when it is blank and there is one.

        Raises:
            InputError: If it is blank without a default, no number, not finite, or out of range.
        """
        found = self.text(column)
        if not found and default is not None:
            return default
        plain = found.replace(",", ".") if self.decimal_comma else found
        value = float(plain) if _NUMBER.fullmatch(plain) else math.nan
        if finite(value) and value >= at_least:
            return value
        least = "-10000" if at_least == -LIMIT_MM else f"{at_least:g}"
        raise self.fault(f"{column} is {found!r}", f"a number from {least} to 10000, such as 12.7")

    def choice(self, column: str, choices: Sequence[Choice], default: Choice | None = None) -> Choice:
        """The cell as one of ``choices`` (case ignored); ``default`` when it is blank and there is one.

        Raises:
            InputError: If it is none of them.
        """
        found = self.text(column)
        if not found and default is not None:
            return default
        for known in choices:
            if found.lower() == known:
                return known
        raise self.fault(f"{column} is {found!r}", " or ".join(choices))

    def flag(self, column: str, default: bool = False) -> bool:
        """The cell as yes or no; ``default`` when it is blank.

        Raises:
            InputError: If it is neither.
        """
        found = self.text(column).lower()
        if not found:
            return default
        if found in _YES or found in _NO:
            return found in _YES
        raise self.fault(f"{column} is {found!r}", "yes or no")


def read_rows(data: bytes, where: str, required: Sequence[str], optional: Sequence[str] = ()) -> list[Row]:
    """The rows of a CSV file with a header line.

    Args:
        data: The file's bytes.
        where: The file's name, for errors.
        required: Columns that must be there.
        optional: Columns that may be there.

    Returns:
        Rows in file order; [] when there is a header only. Cells are stripped, line ends in them are LF.

    Raises:
        InputError: If there is no header, a column is missing, unknown or there twice, a row has more
            cells than the header, or a quote is not closed.
    """
    text = decode_text(data, where)
    separator = _separator(text, {*required, *optional})
    lines = _lines(text, separator, where)
    header_line, header = next(lines, (1, []))
    columns = _columns(header, (*required, *optional), where, header_line)
    if missing := [name for name in required if name not in columns]:
        expected = f"a header line: {','.join(required)}"
        raise InputError(f"no column {missing[0]!r}", expected=expected, where=where, line=header_line)
    return [_row(cells, columns, where, line, separator != ",") for line, cells in lines]


def _separator(text: str, known: set[str]) -> str:
    """What stands between the cells: that which splits one of the first lines into most known columns."""
    for line in text.lstrip().split("\n", 2)[:2]:
        cells = {s: {c.strip().strip('"').lower() for c in line.split(s)} for s in (",", ";", "\t")}
        best = max(cells, key=lambda s: len(cells[s] & known))
        if cells[best] & known:
            return best
    return ","


def _lines(text: str, separator: str, where: str) -> Iterator[tuple[int, list[str]]]:
    """(line number, stripped cells) of every row that is not blank."""
    reader = csv.reader(
        io.StringIO(text, newline=""), delimiter=separator, skipinitialspace=separator != "\t", strict=True
    )
    line = 1
    try:
        for cells in reader:
            stripped = [cell.replace("\r\n", "\n").replace("\r", "\n").strip() for cell in cells]
            if any(stripped) and not (line == 1 and re.fullmatch("sep=.?", "".join(stripped))):
                yield line, stripped
            line = reader.line_num + 1
    except csv.Error as error:
        raise InputError(
            f"a cell cannot be read ({error})", expected="quotes in pairs", where=where, line=line
        ) from None


def _columns(header: list[str], known: Sequence[str], where: str, line: int) -> list[str]:
    columns = [name.lower() for name in header]
    for name in columns:
        if name and name not in known and not name.startswith("x_"):
            raise InputError(
                f"unknown column {name[:40]!r}",
                expected=f"columns from {', '.join(known)} (your own may start with x_)",
                where=where,
                line=line,
            )
        if name and columns.count(name) > 1:
            raise InputError(f"column {name!r} is there twice", where=where, line=line)
    return columns


def _row(cells: list[str], columns: list[str], where: str, line: int, decimal_comma: bool) -> Row:
    nameless = [c for i, c in enumerate(cells) if c and (i >= len(columns) or not columns[i])]
    if nameless:
        raise InputError(
            f"{nameless[0][:40]!r} stands in no named column",
            expected=f"{len(columns)} cells (quote a cell that holds a separator)",
            where=where,
            line=line,
        )
    return Row(dict(zip(columns, cells, strict=False)), where, line, decimal_comma)


def format_rows(columns: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """CSV text with a header line and LF line ends."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return out.getvalue()


def format_mm(value: float) -> str:
    """A length or an angle with up to 4 decimals and no trailing zeros.

    >>> format_mm(12.70), format_mm(3), format_mm(-0.00001)
    ('12.7', '3', '0')
    """
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
