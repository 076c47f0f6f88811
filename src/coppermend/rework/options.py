"""Remedies compared by price, time and what they cost over the years, with the break-even. Engineering: elsewhere."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from itertools import combinations
from typing import Any

from coppermend.errors import InputError
from coppermend.rework.records import Remedy


@dataclass(frozen=True, slots=True)
class Prices:
    """What work and parts cost, without a currency; ``life_years`` is by the first words of a remedy's id."""

    hourly: float
    years: float
    part_off_min: float
    part_on_min: float
    jumper_min: float
    plug_wire_min: float
    call_price: float
    parts: Mapping[str, float]
    life_years: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Option:
    """What one remedy costs: at first, and each year through renewals. ``life_years`` None: nothing to renew.

    ``years`` is how far ahead options are compared.
    """

    id: str
    title: str
    ok: bool
    parts_price: float
    minutes: float
    first_price: float
    life_years: float | None
    yearly_price: float
    risks: tuple[str, ...]
    years: float = 10.0

    @property
    def whole_price(self) -> float:
        """Price over the ``years`` that options are compared over."""
        return self.total(self.years)

    def total(self, years: float) -> float:
        """Price over so many years."""
        return self.first_price + self.yearly_price * years

    def to_json(self) -> dict[str, Any]:
        """id, title, ok, parts_price, minutes, first_price, life_years, yearly_price, years, whole_price, risks."""
        return {
            "id": self.id, "title": self.title, "ok": self.ok, "parts_price": round(self.parts_price, 2),
            "minutes": self.minutes, "first_price": round(self.first_price, 2), "life_years": self.life_years,
            "yearly_price": round(self.yearly_price, 2), "years": self.years, "whole_price": round(self.whole_price, 2), "risks": list(self.risks),
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class BreakEven:
    """Two options that exclude each other: ``cheaper_first`` costs less until ``years``, then ``cheaper_later``.

    ``years`` is None when one stays the cheaper; it is ``cheaper_first``.
    """

    cheaper_first: str
    cheaper_later: str
    years: float | None

    @property
    def words(self) -> str:
        """In one sentence."""
        if self.years is None:
            return f"{self.cheaper_first} costs less than {self.cheaper_later} however long it is kept"
        return (
            f"{self.cheaper_first} costs less for the first {self.years:.1f} years, then {self.cheaper_later}"
        )

    def to_json(self) -> dict[str, Any]:
        """cheaper_first, cheaper_later, years, words."""
        return {
            "cheaper_first": self.cheaper_first, "cheaper_later": self.cheaper_later,
            "years": self.years, "words": self.words,
        }  # fmt: skip


def parse_prices(text: str, where: str = "prices") -> Prices:
    """Read prices from TOML.

    Raises:
        InputError: If the TOML is broken, or a price is missing, no number or negative.
    """
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(str(error), where=where) from None
    single = ("hourly", "years", "part_off_min", "part_on_min", "jumper_min", "plug_wire_min", "call_price")
    values = {name: _price(table.get(name), name, where) for name in single}
    groups = {name: table.get(name) for name in ("parts", "life_years")}
    for name, group in groups.items():
        if not isinstance(group, dict):
            raise InputError(f"{name} is missing", expected=f"a table [{name}]", where=where)
    read = {
        n: {k: _price(v, f"{n}.{k}", where) for k, v in dict(group or {}).items()}
        for n, group in groups.items()
    }
    if "other" not in read["parts"]:
        raise InputError(
            "parts.other is missing", expected="the price of a part that is not listed", where=where
        )
    if short := [name for name, life in read["life_years"].items() if life == 0]:
        raise InputError(f"life_years.{short[0]} is 0", expected="more than 0", where=where)
    return Prices(**values, parts=read["parts"], life_years=read["life_years"])


def _price(value: Any, name: str, where: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value < math.inf:
        raise InputError(f"{name} is {value!r}", expected="a number of 0 or more", where=where)
    return float(value)


@lru_cache(maxsize=1)
def usual_prices() -> Prices:
    """The prices that come with the program."""
    text = resources.files("coppermend.rework.data").joinpath("prices.toml").read_text(encoding="utf-8")
    return parse_prices(text, "prices.toml")


def compare_options(remedies: Sequence[Remedy], prices: Prices | None = None) -> tuple[Option, ...]:
    """Each remedy that brings parts, with what it costs and what to beware of.

    The life of a coin cell is that of its worst-case check; others are from the prices.

    Returns:
        In the order given; notes without parts are left out.
    """
    known = prices or usual_prices()
    return tuple(_option(remedy, known) for remedy in remedies if not remedy.note_only)


def _option(remedy: Remedy, prices: Prices) -> Option:
    pieces = sum(line.quantity for line in remedy.parts_on)
    parts = sum(
        line.quantity * prices.parts.get(line.type, prices.parts["other"]) for line in remedy.parts_on
    )
    minutes = (
        len(remedy.parts_off) * prices.part_off_min
        + pieces * prices.part_on_min
        + _wiring_min(remedy, prices)
    )
    first = parts + minutes / 60 * prices.hourly
    life = _life_years(remedy, prices)
    renewal = (
        parts + pieces * (prices.part_off_min + prices.part_on_min) / 60 * prices.hourly + prices.call_price
    )
    return Option(
        id=remedy.id,
        title=remedy.title,
        ok=remedy.ok,
        parts_price=parts,
        minutes=minutes,
        first_price=first,
        life_years=life,
        yearly_price=renewal / life if life else 0.0,
        years=prices.years,
        risks=tuple(check.note or f"{check.name}: {check.value}" for check in remedy.checks if not check.ok),
    )


def _wiring_min(remedy: Remedy, prices: Prices) -> float:
    """Minutes for the wires: one that only goes down to a plug's contact is quick."""
    plugs = {plug for plug, _ in remedy.plugs}
    quick = sum(any(end.rpartition(".")[0] in plugs for end in jumper) for jumper in remedy.jumpers)
    return (len(remedy.jumpers) - quick) * prices.jumper_min + quick * prices.plug_wire_min


def _life_years(remedy: Remedy, prices: Prices) -> float | None:
    for check in remedy.checks:
        if check.name.startswith("life of the cell") and (found := re.match(r"[\d.]+", check.value)):
            return max(float(found[0]), 1 / 365)
    return next((life for name, life in prices.life_years.items() if remedy.id.startswith(name)), None)


def break_evens(remedies: Sequence[Remedy], prices: Prices | None = None) -> tuple[BreakEven, ...]:
    """For each two remedies that exclude each other: which costs less, and until when.

    Source: first price plus yearly price times years, set equal.
    """
    options = {option.id: option for option in compare_options(remedies, prices)}
    by_id = {remedy.id: remedy for remedy in remedies}
    return tuple(
        break_even(options[a], options[b])
        for a, b in combinations(options, 2)
        if b in by_id[a].excludes or a in by_id[b].excludes
    )


def break_even(one: Option, other: Option) -> BreakEven:
    """When the option that is cheaper at first stops being so."""
    first, later = sorted((one, other), key=lambda o: (o.first_price, o.yearly_price))
    if first.yearly_price <= later.yearly_price:
        return BreakEven(first.id, later.id, None)
    years = (later.first_price - first.first_price) / (first.yearly_price - later.yearly_price)
    return BreakEven(first.id, later.id, years)
