"""The shelf: parts in stock as a fold over movements that are only ever added. What lies there follows; nothing is overwritten."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import insert, select

from coppermend.errors import InputError, UnknownName
from coppermend.job import tables
from coppermend.job.migrate import wait_for_turn
from coppermend.job.money import parse_amount
from coppermend.job.shop import shop_entries, shop_entry
from coppermend.job.store import Store, now
from coppermend.job.validate import LONGEST_WORD, check_who
from coppermend.rework.stocked import Stock

MOST_PIECES = 1_000_000
DETAILS = ("place", "minimum", "supplier", "alternates", "note")


@dataclass(frozen=True, slots=True)
class Price:
    """What one piece cost [the shop's currency] when it came in."""

    at: datetime
    price: Decimal
    supplier: str = ""


@dataclass(frozen=True)
class Shelved:
    """One kind of part: ``quantity`` lies there, of which ``reserved`` (job -> pieces) are spoken for.

    ``alternates`` and ``supplier`` are free text; ``minimum`` is what should always be there.
    """

    type: str
    value: str
    package: str
    place: str = ""
    minimum: int = 0
    supplier: str = ""
    alternates: str = ""
    note: str = ""
    quantity: int = 0
    reserved: Mapping[str, int] = field(default_factory=dict)
    prices: tuple[Price, ...] = ()

    @property
    def key(self) -> str:
        """What names the part on the shelf."""
        return part_key(self.type, self.value, self.package)

    @property
    def free(self) -> int:
        """Pieces that no job has reserved; below 0 after a count found less than is reserved."""
        return self.quantity - sum(self.reserved.values())

    @property
    def price(self) -> Decimal | None:
        """The latest price of a piece; None when none was noted."""
        return self.prices[-1].price if self.prices else None

    @property
    def to_order(self) -> int:
        """Pieces to buy so that all reservations and the minimum are met."""
        return max(self.minimum - self.free, 0)

    def to_json(self) -> dict[str, Any]:
        """key, type, value, package, place, quantity, free, reserved, minimum, to_order, supplier, alternates, note, price, prices."""
        return {
            "key": self.key, "type": self.type, "value": self.value, "package": self.package, "place": self.place,
            "quantity": self.quantity, "free": self.free, "reserved": dict(self.reserved), "minimum": self.minimum,
            "to_order": self.to_order, "supplier": self.supplier, "alternates": self.alternates, "note": self.note,
            "price": None if self.price is None else str(self.price),
            "prices": [{"at": p.at.isoformat(), "price": str(p.price), "supplier": p.supplier} for p in self.prices],
        }  # fmt: skip


Shelf = Mapping[str, Shelved]
Move = tuple[str, dict[str, Any]]


def part_key(type_name: str, value: str, package: str) -> str:
    """The name of a part on the shelf; blanks and case do not tell parts apart.

    >>> part_key("Resistor", " 10k", "AXIAL-10.16")
    'resistor 10k axial-10.16'
    """
    return " ".join(" ".join((type_name, value, package)).lower().split())


def fold_shelf(entries: Iterable[Mapping[str, Any]]) -> dict[str, Shelved]:
    """What lies on the shelf after ``entries`` (kind, body, at), oldest first, by key in the order of first mention."""
    shelf: dict[str, Shelved] = {}
    for entry in entries:
        body = entry["body"]
        key = part_key(body["type"], body["value"], body["package"])
        part = shelf.get(key) or Shelved(body["type"], body["value"], body["package"])
        shelf[key] = _MOVES[entry["kind"]](part, body, entry["at"])
    return shelf


def _described(part: Shelved, body: Mapping[str, Any], at: datetime) -> Shelved:
    return replace(part, **{name: body[name] for name in DETAILS if name in body})


def _received(part: Shelved, body: Mapping[str, Any], at: datetime) -> Shelved:
    prices = part.prices
    if body.get("price") is not None:
        prices = (*prices, Price(at, Decimal(body["price"]), body.get("supplier", "")))
    return replace(part, quantity=part.quantity + body["quantity"], prices=prices)


def _counted(part: Shelved, body: Mapping[str, Any], at: datetime) -> Shelved:
    return replace(part, quantity=body["quantity"])


def _reserved(part: Shelved, body: Mapping[str, Any], at: datetime) -> Shelved:
    held = {**part.reserved, body["job"]: part.reserved.get(body["job"], 0) + body["quantity"]}
    return replace(part, reserved={job: count for job, count in held.items() if count > 0})


def _used(part: Shelved, body: Mapping[str, Any], at: datetime) -> Shelved:
    held = dict(part.reserved)
    left = held.pop(body["job"], 0) - body["quantity"]
    return replace(part, quantity=part.quantity - body["quantity"], reserved={**held, **({body["job"]: left} if left > 0 else {})})  # fmt: skip


_MOVES: Mapping[str, Callable[[Shelved, Mapping[str, Any], datetime], Shelved]] = {
    "part": _described, "received": _received, "counted": _counted, "reserved": _reserved, "used": _used,
}  # fmt: skip


def stock(shelf: Shelf, job: str = "") -> tuple[Stock, ...]:
    """The shelf as ``rework`` takes it: what is free, and what ``job`` itself has reserved."""
    return tuple(
        Stock(p.type, p.value, p.package, max(p.free + p.reserved.get(job, 0), 0),
              None if p.price is None else float(p.price), p.place)
        for p in shelf.values()
    )  # fmt: skip


def order_list(shelf: Shelf) -> dict[str, tuple[Shelved, ...]]:
    """What to buy, by supplier ("" for those without); each sorted by key."""
    wanted = sorted((p for p in shelf.values() if p.to_order), key=lambda p: (p.supplier.lower(), p.key))
    return {
        name: tuple(p for p in wanted if p.supplier == name)
        for name in dict.fromkeys(p.supplier for p in wanted)
    }


def read_shelf(store: Store) -> dict[str, Shelved]:
    """What lies on the shelf of a record.

    Raises:
        RecordError: If the record cannot be read.
    """
    return fold_shelf(shop_entries(store, "shelf"))


def receive(
    store: Store, part: Shelved, quantity: int, *, who: str, price: str = "", supplier: str = ""
) -> Shelved:
    """Put pieces on the shelf, with what one cost; a part that is new gets its place, minimum and the like from ``part``.

    Raises:
        InputError: If the part has no type, or quantity or price do not fit.
    """
    count = _pieces(quantity, least=1)
    cost = str(parse_amount(price, "price")) if price.strip() else None

    def moves(shelf: Shelf) -> list[Move]:
        body = {
            **names_of(part),
            "quantity": count,
            "price": cost,
            "supplier": _word(supplier or part.supplier, "supplier"),
        }
        return [*_described_moves(part, shelf), ("received", body)]

    return add_moves(store, who, moves)[part.key]


def count_part(store: Store, key: str, quantity: int, *, who: str) -> Shelved:
    """Note what a stock take found.

    Raises:
        UnknownName: If there is no such part.
        InputError: If the quantity does not fit.
    """
    found = _pieces(quantity, least=0)
    return add_moves(store, who, lambda shelf: [("counted", {**names_of(named(shelf, key)), "quantity": found})])[part_key(key, "", "")]  # fmt: skip


def fold_shelf_on(shelf: Shelf, moves: Sequence[Move]) -> dict[str, Shelved]:
    """The shelf after some more movements."""
    after, moment = dict(shelf), now()
    for kind, body in moves:
        key = part_key(body["type"], body["value"], body["package"])
        after[key] = _MOVES[kind](
            after.get(key) or Shelved(body["type"], body["value"], body["package"]), body, moment
        )
    return after


def put_all(store: Store, parts: Sequence[Shelved], *, who: str) -> int:
    """Take a list over: parts described anew, quantities as counted, prices noted where they differ. How many changed.

    Raises:
        InputError: If a part does not fit; nothing is then kept.
    """
    changed: set[str] = set()

    def moves(shelf: Shelf) -> list[Move]:
        made: list[Move] = []
        for part in parts:
            have = shelf.get(part.key)
            new = _described_moves(part, shelf)
            if part.price is not None and (have is None or have.price != part.price):
                new.append(
                    (
                        "received",
                        {
                            **names_of(part),
                            "quantity": 0,
                            "price": str(part.price),
                            "supplier": part.supplier,
                        },
                    )
                )
            if have is None or have.quantity != part.quantity:
                new.append(("counted", {**names_of(part), "quantity": _pieces(part.quantity, least=0)}))
            if new:
                changed.add(part.key)
            made += new
        return made

    add_moves(store, who, moves)
    return len(changed)


def named(shelf: Shelf, key: str) -> Shelved:
    """The part called ``key``.

    Raises:
        UnknownName: If there is none.
    """
    try:
        return shelf[part_key(key, "", "")]
    except KeyError:
        raise UnknownName("part", key[:80], "the shelf", "list them with: coppermend shelf list") from None


def _described_moves(part: Shelved, shelf: Shelf) -> list[Move]:
    have = shelf.get(part.key)
    told = {name: getattr(part, name) for name in DETAILS}
    for name, value in told.items():
        if isinstance(value, str):
            _word(value, name)
    _pieces(part.minimum, least=0)
    new = {n: v for n, v in told.items() if v not in ("", 0) or have is None} if have is None else {n: v for n, v in told.items() if v not in ("", 0) and v != getattr(have, n)}  # fmt: skip
    return [("part", {**names_of(part), **new})] if new else []


def names_of(part: Shelved) -> dict[str, Any]:
    """What a part is called, as the body of a movement says it.

    Raises:
        InputError: If a word is too long, cannot be printed, or there is no type.
    """
    for what in ("type", "value", "package"):
        _word(getattr(part, what), what)
    if not part.type.strip():
        raise InputError("a part without a type", expected="a type such as resistor, 7400, supercapacitor")
    return {"type": part.type, "value": part.value, "package": part.package}


def _word(text: str, what: str) -> str:
    if len(text) > LONGEST_WORD or not (text.isprintable() or not text):
        raise InputError(f"{what} is {text[:30]!r}", expected=f"up to {LONGEST_WORD} printable characters")
    return text


def _pieces(count: int, *, least: int) -> int:
    if not least <= count <= MOST_PIECES:
        raise InputError(f"{count} pieces", expected=f"{least} to {MOST_PIECES}")
    return count


def add_moves(store: Store, who: str, moves: Callable[[Shelf], list[Move]]) -> dict[str, Shelved]:
    """Add the movements that follow from the shelf as it is, with nobody in between; the shelf afterwards."""
    author = check_who(who)
    query = select(shop_entry).where(shop_entry.c.about == "shelf").order_by(shop_entry.c.id)
    with tables.writing(store.engine) as connection:
        wait_for_turn(connection)
        shelf = fold_shelf(dict(row) for row in connection.execute(query).mappings())
        made = moves(shelf)
        for kind, body in made:
            connection.execute(
                insert(shop_entry).values(at=now(), who=author, about="shelf", kind=kind, body=body)
            )
    return fold_shelf_on(shelf, made)
