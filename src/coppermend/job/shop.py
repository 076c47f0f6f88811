"""What the shop has set: name, currency, taxes, prices, paper and label sizes. Settings are entries too: the last counts."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, fields
from decimal import Decimal
from typing import Any

from sqlalchemy import JSON, Column, Integer, String, Table, bindparam, insert, select

from coppermend.errors import InputError, UnknownName
from coppermend.isolate.choice import Tools
from coppermend.job import tables
from coppermend.job.money import ROUNDINGS, Rounding, parse_amount, parse_rates
from coppermend.job.store import Store, now
from coppermend.job.tables import Utc
from coppermend.job.validate import check_who

# Entries that belong to the shop and to no job: ``about`` is "shop" (settings) or "shelf" (movements).
shop_entry = Table(
    "shop_entry",
    tables.metadata,
    Column("id", Integer, primary_key=True),
    Column("at", Utc, nullable=False),
    Column("who", String, nullable=False),
    Column("about", String, nullable=False, index=True),
    Column("kind", String, nullable=False),
    Column("body", JSON, nullable=False),
)

# Asked by every page: put together once, since that takes about as long as to ask it.
_ABOUT = select(shop_entry).where(shop_entry.c.about == bindparam("thing")).order_by(shop_entry.c.id)
_LONGEST = 2000
TOOLS: Mapping[str, str] = {
    "multimeter": "meter", "logic probe": "logic_probe", "frequency counter": "counter", "spare parts": "spares",
    "bus adapter": "adapter",
}  # fmt: skip


def tools_named(text: str) -> Tools:
    """The tools of a list such as "multimeter; logic probe", parted by semicolons or commas; "" is none at all.

    Raises:
        InputError: If a tool is none of ``TOOLS``.
    """
    names = {word.strip() for word in re.split("[;,]", text)} - {""}
    for name in sorted(names - TOOLS.keys()):
        raise InputError(f"no tool {name[:40]!r} is known", expected="; ".join(TOOLS))
    return Tools(**{field: name in names for name, field in TOOLS.items()})


@dataclass(frozen=True, slots=True)
class Shop:
    """The shop's settings as they were typed, checked; ``to_json`` and the fields' names are those of ``set``.

    ``taxes`` are names and percentages; ``parts_tax`` and ``labour_tax`` name one of them. ``hourly`` is the price of an
    hour [currency, without tax], ``markup`` what is put on the price of a part [%].
    """

    name: str = ""
    address: str = ""
    contact: str = ""
    tax_number: str = ""
    currency: str = "EUR"
    taxes: str = "none 0"
    parts_tax: str = "none"
    labour_tax: str = "none"
    tax_rounding: str = "total"
    hourly: str = "50.00"
    markup: str = "0"
    terms: str = ""
    paper: str = "a4"
    label: str = "tag"
    language: str = ""
    units: str = "mm"
    tools: str = "multimeter; logic probe; frequency counter; spare parts; bus adapter"
    logo: str = ""
    keep_years: str = ""

    @property
    def rates(self) -> Mapping[str, Decimal]:
        """Percentages by name."""
        return parse_rates(self.taxes)

    @property
    def keeps_years(self) -> int | None:
        """Years that personal data of finished jobs is kept; None for good."""
        return int(self.keep_years) if self.keep_years else None

    @property
    def owned(self) -> Tools:
        """The tools at the bench; isolate proposes no measurement that needs another."""
        return tools_named(self.tools)

    @property
    def rounding(self) -> Rounding:
        """How taxes are rounded."""
        return "line" if self.tax_rounding == "line" else "total"

    def to_json(self) -> dict[str, Any]:
        """Every setting by its name, as text."""
        return asdict(self)


SETTINGS: tuple[str, ...] = tuple(field.name for field in fields(Shop))
MEANING: Mapping[str, str] = {
    "name": "name of the shop", "address": "address, for papers", "contact": "telephone, mail",
    "tax_number": "tax or registration number", "currency": "ISO 4217 code such as EUR",
    "taxes": "names and percentages, such as: standard 20; none 0", "parts_tax": "rate of parts",
    "labour_tax": "rate of labour", "tax_rounding": "total or line", "hourly": "price of an hour without tax",
    "markup": "percent put on the price of parts", "terms": "terms of payment", "paper": "a4 or us-letter",
    "label": "size of labels: a name, or width x height in mm", "language": "en or de; empty follows the browser",
    "units": "mm, inch or mil: how lengths are shown", "tools": "what is at the bench, semicolons between",
    "logo": "SHA-256 of the kept logo; set by shop logo",
    "keep_years": "years that personal data of finished jobs is kept; empty keeps it",
}  # fmt: skip


def _currency(text: str) -> None:
    if not re.fullmatch(r"[A-Z]{3}", text):
        raise InputError(
            f"currency is {text[:20]!r}", expected="an ISO 4217 code of three capitals, such as EUR"
        )


def _one_of(name: str, *words: str) -> Callable[[str], None]:
    def check(text: str) -> None:
        if text not in words:
            raise InputError(f"{name} is {text[:20]!r}", expected=" or ".join(words))

    return check


def _years(text: str) -> None:
    if text and not (text.isascii() and text.isdigit() and 1 <= int(text[:4]) <= 99 and len(text) <= 2):
        raise InputError(f"keep_years is {text[:20]!r}", expected="a whole number from 1 to 99, or nothing")


def _sha256(text: str) -> None:
    if not re.fullmatch(r"(?:[0-9a-f]{64})?", text):
        raise InputError("logo is no SHA-256", expected="64 hexadecimal digits, or nothing")


_CHECKS: Mapping[str, Callable[[str], object]] = {
    "currency": _currency,
    "taxes": parse_rates,
    "tax_rounding": _one_of("tax_rounding", *ROUNDINGS),
    "hourly": lambda text: parse_amount(text, "hourly"),
    "markup": lambda text: parse_amount(text, "markup"),
    "paper": _one_of("paper", "a4", "us-letter"),
    "language": _one_of("language", "", "en", "de"),
    "units": _one_of("units", "mm", "inch", "mil"),
    "tools": tools_named,
    "logo": _sha256,
    "keep_years": _years,
}


def changed(shop: Shop, changes: Mapping[str, str]) -> Shop:
    """The settings with changes, all checked together.

    Raises:
        UnknownName: If there is no setting of a name.
        InputError: If a value does not fit, or a rate is named that there is not.
    """
    for name, text in changes.items():
        if name not in SETTINGS:
            raise UnknownName("setting", name, "the shop", f"one of {', '.join(SETTINGS)}")
        if len(text) > _LONGEST or any(ord(c) < 32 and c != "\n" for c in text):
            raise InputError(
                f"{name} is too long or holds control characters", expected=f"up to {_LONGEST} characters"
            )
        if check := _CHECKS.get(name):
            check(text)
    made = Shop(**{**asdict(shop), **changes})
    for name in ("parts_tax", "labour_tax"):
        if getattr(made, name) not in made.rates:
            raise InputError(f"{name} is {getattr(made, name)[:40]!r}", expected=f"one of the taxes: {', '.join(made.rates)}")  # fmt: skip
    return made


def read_shop(store: Store) -> Shop:
    """The settings as they stand.

    Raises:
        RecordError: If the record cannot be read.
    """
    values: dict[str, str] = {}
    for body in shop_entries(store, "shop"):
        values |= {name: text for name, text in body["body"].items() if name in SETTINGS}
    return Shop(**values)


def set_shop(store: Store, changes: Mapping[str, str], *, who: str) -> Shop:
    """Change settings; the settings as they then stand.

    Raises:
        UnknownName, InputError: As ``changed``.
        RecordError: If the record cannot be written.
    """
    made = changed(read_shop(store), changes)
    if changes:
        add_shop_entries(store, "shop", [("set", dict(changes))], who=who)
    return made


def shop_entries(store: Store, about: str) -> list[dict[str, Any]]:
    """Entries about one thing, oldest first: id, at, who, kind, body."""
    with tables.reading(store.engine) as connection:
        return [dict(row) for row in connection.execute(_ABOUT, {"thing": about}).mappings()]


def add_shop_entries(store: Store, about: str, made: list[tuple[str, dict[str, Any]]], *, who: str) -> None:
    """Add entries, all or none.

    Raises:
        InputError: If ``who`` is empty.
        RecordError: If the record cannot be written.
    """
    author = check_who(who)
    with tables.writing(store.engine) as connection:
        for kind, body in made:
            connection.execute(
                insert(shop_entry).values(at=now(), who=author, about=about, kind=kind, body=body)
            )
