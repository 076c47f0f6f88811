"""The kit against what lies on the shelf: what to take, what could serve instead, what to order. Keeps no stock.

The shelf is handed in as plain values; where it is kept, and in which unit of money, is the caller's business.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from coppermend.board.folder_csv import Row, read_rows
from coppermend.errors import InputError, UnknownName
from coppermend.quantity import format_quantity, parse_quantity
from coppermend.rework.codes.search import make_value
from coppermend.rework.options import Prices, usual_prices
from coppermend.rework.records import KitLine
from coppermend.rework.substitutes import compare, part_called

_UNITS = {"resistor": "Ω", "capacitor": "F", "electrolytic": "F", "supercapacitor": "F", "inductor": "H"}
_PASSED_OVER = ("minimum", "supplier", "alternates", "note")
_CLOSE = 0.05  # of a value made of two parts: the tolerance that common resistors have anyway


@dataclass(frozen=True, slots=True)
class Stock:
    """One kind of part on the shelf. ``price`` is of one piece, None when not known; ``place`` says which drawer."""

    type: str
    value: str
    package: str
    quantity: int
    price: float | None = None
    place: str = ""


def parse_stock(data: bytes, where: str = "shelf") -> tuple[Stock, ...]:
    """Read what is on the shelf from CSV: type, value, package, quantity, price, place.

    Args:
        data: The file's bytes; price (of one piece) and place may be blank or absent, and what else a shelf is listed
            with (minimum, supplier, alternates, note) is passed over. An apostrophe that keeps a spreadsheet from
            taking a cell for a formula is no part of the cell.
        where: The file's name, for errors.

    Raises:
        InputError: If a column is missing, a quantity is no whole number of 0 or more, or a price is no number.
    """
    rows = read_rows(data, where, ("type", "value", "quantity"), ("package", "price", "place", *_PASSED_OVER))
    return tuple(_stock(row) for row in rows)


def _stock(row: Row) -> Stock:
    count = row.number("quantity", at_least=0)
    if not count.is_integer():
        raise row.fault(f"quantity is {row.text('quantity')!r}", "a whole number")
    price = row.number("price", at_least=0) if row.text("price") else None
    kind = row.name("type", "a part type such as resistor")
    words = (kind, *(row.text(column) for column in ("value", "package", "place")))
    name, value, package, place = (re.sub(r"^'(?=[=+\-@'])", "", word) for word in words)
    return Stock(name, value, package, int(count), price, place)


@dataclass(frozen=True, slots=True)
class Alternative:
    """Stock that could serve instead, and what to mind."""

    stock: Stock
    words: str

    def to_json(self) -> dict[str, Any]:
        """type, value, package, quantity, place, words."""
        stock = self.stock
        return {
            "type": stock.type, "value": stock.value, "package": stock.package, "quantity": stock.quantity,
            "place": stock.place, "words": self.words,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Supply:
    """One line of the kit and where it comes from. ``price`` is of all its pieces."""

    line: KitLine
    from_shelf: int
    places: tuple[str, ...]
    to_order: int
    price: float
    alternatives: tuple[Alternative, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """The kit line's keys, then from_shelf, places, to_order, price, alternatives."""
        return {
            **self.line.to_json(), "from_shelf": self.from_shelf, "places": list(self.places), "to_order": self.to_order,
            "price": round(self.price, 2), "alternatives": [one.to_json() for one in self.alternatives],
        }  # fmt: skip


def supply_kit(kit: Sequence[KitLine], shelf: Sequence[Stock] = (), prices: Prices | None = None) -> tuple[Supply, ...]:  # fmt: skip
    """Where each line of a kit comes from.

    A piece is taken off the shelf once, also when several lines could use it. Equal means equal type, value as a
    quantity ("0.1u" is "100 nF") and package; a line without package takes any.

    Args:
        kit: What is needed, of ``rework.refit.kit``.
        shelf: What there is; () for an empty shelf.
        prices: Usual prices by type, for what the shelf has no price of.

    Returns:
        One a line, in the kit's order; alternatives are only looked for where something must be ordered.
    """
    known = prices or usual_prices()
    left = {number: stock.quantity for number, stock in enumerate(shelf)}
    return tuple(_supply(line, shelf, left, known) for line in kit)


def _supply(line: KitLine, shelf: Sequence[Stock], left: dict[int, int], prices: Prices) -> Supply:
    wanted, taken, paid, places = line.quantity, 0, 0.0, []
    usual = prices.parts.get(line.type, prices.parts["other"])
    for number, stock in enumerate(shelf):
        take = min(wanted - taken, left[number]) if _same(line, stock) else 0
        if take > 0:
            left[number] -= take
            taken += take
            paid += take * (usual if stock.price is None else stock.price)
            places += [stock.place] if stock.place else []
    missing = wanted - taken
    others = _alternatives(line, missing, shelf, left) if missing else ()
    return Supply(line, taken, tuple(places), missing, paid + missing * usual, others)


def _same(line: KitLine, stock: Stock) -> bool:
    return (
        stock.type.lower() == line.type.lower()
        and (not line.package or not stock.package or stock.package.upper() == line.package.upper())
        and _equal(line, stock.value)
    )


def _equal(line: KitLine, value: str) -> bool:
    mine, other = _number(line.type, line.value), _number(line.type, value)
    if mine is not None and other is not None:
        return abs(mine - other) <= 1e-6 * abs(mine)
    return line.value.strip().lower() == value.strip().lower()


def _number(type_name: str, value: str) -> float | None:
    """A value as a quantity [unit of its type]; None for types that have none, and for what cannot be read."""
    unit = _UNITS.get(type_name.partition("-")[0])
    bare = re.sub(r"[\s/,]+\d+(?:[.,]\d+)?\s*(?:V|%)\s*$", "", value.strip(), flags=re.IGNORECASE)
    try:
        return parse_quantity(bare, unit) if unit else None
    except InputError:
        return None


def _alternatives(line: KitLine, missing: int, shelf: Sequence[Stock], left: dict[int, int]) -> tuple[Alternative, ...]:  # fmt: skip
    """Other stock that would do: a known substitute, another package, or two values joined."""
    rest = [(number, stock) for number, stock in enumerate(shelf) if left[number] > 0]
    found: list[Alternative] = []
    for _, stock in rest:
        if stock.type.lower() == line.type.lower() and _equal(line, stock.value):
            found.append(Alternative(stock, f"package {stock.package}, wanted {line.package}"))
        elif words := _substitute(line, stock):
            found.append(Alternative(stock, words))
    pair = _pair(line, [(stock, left[number]) for number, stock in rest], missing)
    return (*found, *((pair,) if pair else ()))


def _substitute(line: KitLine, stock: Stock) -> str:
    """What is to be said of a stocked part that meets every rating of the one that is wanted; "" when it does not."""
    try:
        found = compare(part_called(line.value or line.type), part_called(stock.value or stock.type))
    except (UnknownName, InputError):
        return ""  # figures of one of them are not known, or they are different things
    if not found.ok:
        return ""
    return "; ".join(("meets every rating", *found.adaptations))


def _pair(line: KitLine, rest: Sequence[tuple[Stock, int]], missing: int) -> Alternative | None:
    unit = _UNITS.get(line.type)
    target = _number(line.type, line.value)
    if unit is None or unit == "F" or target is None:
        return None  # joined capacitors change the place they need and the resistance they have
    stock = {}
    for one, count in rest:
        value = _number(one.type, one.value) if one.type == line.type else None
        if value and count >= missing:
            stock[value] = (one, count)
    for way in make_value(target, list(stock), unit):
        enough = all(stock[p][1] >= missing * way.parts.count(p) for p in way.parts)
        if len(way.parts) > 1 and enough and abs(way.error) <= _CLOSE:
            return Alternative(stock[way.parts[0]][0], f"{way.words}, {way.error * 100:+.1f} % off {format_quantity(target, unit)}")  # fmt: skip
    return None
