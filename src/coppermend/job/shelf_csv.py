"""The shelf as CSV, in and out. Cells that a spreadsheet would take for a formula are disarmed on the way out."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from datetime import UTC, datetime

from coppermend.errors import InputError
from coppermend.job.money import parse_amount
from coppermend.job.shelf import MOST_PIECES, Price, Shelved

COLUMNS = (
    "type",
    "value",
    "package",
    "quantity",
    "price",
    "place",
    "minimum",
    "supplier",
    "alternates",
    "note",
)
_ARMED = ("=", "+", "-", "@", "\t", "\r", "'")
_MOST_ROWS = 100_000


def disarmed(text: str) -> str:
    """A cell that no spreadsheet runs: an apostrophe goes before what could begin a formula, and before an apostrophe.

    Source: OWASP, CSV Injection (from memory).

    >>> disarmed("=1+1"), disarmed("-5 V"), disarmed("10k")
    ("'=1+1", "'-5 V", '10k')
    """
    return f"'{text}" if text.startswith(_ARMED) else text


def armed(text: str) -> str:
    """A cell as it was before ``disarmed``.

    >>> armed("'=1+1"), armed("'tis")
    ('=1+1', "'tis")
    """
    return text[1:] if text.startswith("'") and text[1:].startswith(_ARMED) else text


def shelf_csv(parts: Iterable[Shelved]) -> str:
    """The shelf with one row a part; ``coppermend refit --shelf`` reads it too."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for p in parts:
        words = [disarmed(t) for t in (p.type, p.value, p.package)]
        more = [disarmed(t) for t in (p.supplier, p.alternates, p.note)]
        writer.writerow(
            [*words, p.quantity, "" if p.price is None else p.price, disarmed(p.place), p.minimum, *more]
        )
    return out.getvalue()


def parse_shelf_csv(text: str, where: str) -> tuple[Shelved, ...]:
    """Parts from CSV with a head; columns in any order, ``type`` and ``quantity`` needed.

    Raises:
        InputError: Names the line, what was found and what was expected; also for an unknown or doubled column, or a part
            that stands twice.
    """
    reader = csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline=""))
    try:
        rows = [(reader.line_num, row) for row in reader if any(cell.strip() for cell in row)]
    except csv.Error as error:
        raise InputError(str(error), expected="CSV", where=f"{where}:{reader.line_num}") from None
    if not rows:
        raise InputError("is empty", expected=f"CSV with columns {', '.join(COLUMNS)}", where=where)
    head = [cell.strip().lower() for cell in rows[0][1]]
    if (
        strange := [name for name in head if name not in COLUMNS]
        or len(set(head)) < len(head)
        or not {"type", "quantity"} <= set(head)
    ):
        raise InputError(f"columns {', '.join(head)[:80]!r}", expected=f"type, quantity and any of {', '.join(COLUMNS)}, once each" if strange else "", where=f"{where}:1")  # fmt: skip
    if len(rows) > _MOST_ROWS:
        raise InputError(f"{len(rows)} rows", expected=f"at most {_MOST_ROWS}", where=where)
    parts: dict[str, Shelved] = {}
    for line, row in rows[1:]:
        part = _part(head, row, f"{where}:{line}")
        if part.key in parts:
            raise InputError(f"{part.key} stands twice", expected="one row a part", where=f"{where}:{line}")
        parts[part.key] = part
    return tuple(parts.values())


def _part(head: list[str], row: list[str], where: str) -> Shelved:
    if len(row) > len(head):
        raise InputError(f"{len(row)} cells", expected=f"{len(head)}", where=where)
    cells = {name: armed(cell.strip()) for name, cell in zip(head, row, strict=False)}
    if not cells.get("type"):
        raise InputError("no type", expected="a type such as resistor", where=where)
    prices: tuple[Price, ...] = ()
    if cells.get("price"):
        try:
            amount = parse_amount(cells["price"], "price")
        except InputError as error:
            raise InputError(error.found, expected="a price such as 0.12", where=where) from None
        prices = (Price(datetime.now(UTC), amount, cells.get("supplier", "")),)

    def words(name: str) -> str:
        return cells.get(name, "")

    return Shelved(
        cells["type"],
        words("value"),
        words("package"),
        words("place"),
        _count(words("minimum") or "0", "minimum", where),
        words("supplier"),
        words("alternates"),
        words("note"),
        _count(words("quantity"), "quantity", where),
        prices=prices,
    )


def _count(text: str, what: str, where: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) <= 7 and int(text) <= MOST_PIECES):
        raise InputError(
            f"{what} is {text[:20]!r}", expected=f"a whole number from 0 to {MOST_PIECES}", where=where
        )
    return int(text)
