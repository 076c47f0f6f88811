"""Substitutes: whether a part can stand in for another, rating by rating. Figures are in ``data/parts.toml``."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Any, Literal, NamedTuple

from coppermend.errors import InputError, UnknownName
from coppermend.quantity import format_quantity
from coppermend.rework.figures.levels import FAMILIES, Family

Rule = Literal["at least", "at most"]


class Rating(NamedTuple):
    """One rating that matters: which way a substitute may differ, its title and unit."""

    rule: Rule
    title: str
    unit: str


RATINGS: Mapping[str, Rating] = {
    "vceo_v": Rating("at least", "collector-emitter voltage", "V"),
    "ic_a": Rating("at least", "collector current", "A"),
    "hfe": Rating("at least", "current gain", ""),
    "ptot_w": Rating("at least", "dissipation", "W"),
    "ft_hz": Rating("at least", "transition frequency", "Hz"),
    "vrrm_v": Rating("at least", "reverse voltage", "V"),
    "if_a": Rating("at least", "forward current", "A"),
    "vf_v": Rating("at most", "forward voltage", "V"),
    "ir_a": Rating("at most", "reverse leakage", "A"),
    "trr_s": Rating("at most", "reverse recovery", "s"),
    "bits": Rating("at least", "bits", ""),
    "access_s": Rating("at most", "access time", "s"),
    "hold_v": Rating("at most", "retention voltage", "V"),
    "hold_a": Rating("at most", "retention current", "A"),
    "capacitance_f": Rating("at least", "capacitance", "F"),
    "rated_v": Rating("at least", "rated voltage", "V"),
    "temperature_c": Rating("at least", "rated temperature", "°C"),
    "life_h": Rating("at least", "rated life, hours", ""),
    "esr_ohm": Rating("at most", "series resistance", "Ω"),
    "ripple_a": Rating("at least", "ripple current", "A"),
    "vih_v": Rating("at most", "input high level", "V"),
    "vil_v": Rating("at least", "input low level", "V"),
    "voh_v": Rating("at least", "output high level", "V"),
    "vol_v": Rating("at most", "output low level", "V"),
    "ioh_a": Rating("at least", "output current high", "A"),
    "iol_a": Rating("at least", "output current low", "A"),
    "iih_a": Rating("at most", "input current high", "A"),
    "iil_a": Rating("at most", "input current low", "A"),
}


@dataclass(frozen=True, slots=True)
class KnownPart:
    """A part with its ratings by name, its lead order or pin-out class, and where the figures are from."""

    name: str
    kind: str
    pins: str
    ratings: Mapping[str, float]
    source: str


@dataclass(frozen=True, slots=True)
class Compared:
    """One rating of both parts; ``new`` None when the substitute's is not known, which counts as failing."""

    rating: str
    title: str
    old: float
    new: float | None
    rule: Rule
    ok: bool
    unit: str

    @property
    def words(self) -> str:
        """What is wrong or right, in one sentence part."""
        new = "not known" if self.new is None else format_quantity(self.new, self.unit)
        return f"{self.title} {new}, {self.rule} {format_quantity(self.old, self.unit)}"


@dataclass(frozen=True, slots=True)
class Comparison:
    """A substitute beside the part it shall stand in for. ``adaptations`` are what has to be done to fit it."""

    old: KnownPart
    new: KnownPart
    rows: tuple[Compared, ...]
    adaptations: tuple[str, ...]

    @property
    def ok(self) -> bool:
        """Whether it meets or exceeds every rating that matters."""
        return all(row.ok for row in self.rows)

    @property
    def failing(self) -> tuple[str, ...]:
        """The ratings that fail, in words."""
        return tuple(row.words for row in self.rows if not row.ok)

    def to_json(self) -> dict[str, Any]:
        """old, new, ok, rows [rating, title, old, new, rule, ok, unit], failing, adaptations, sources."""
        return {
            "old": self.old.name,
            "new": self.new.name,
            "ok": self.ok,
            "rows": [
                {"rating": r.rating, "title": r.title, "old": r.old, "new": r.new, "rule": r.rule, "ok": r.ok, "unit": r.unit}
                for r in self.rows
            ],
            "failing": list(self.failing),
            "adaptations": list(self.adaptations),
            "sources": [self.old.source, self.new.source],
        }  # fmt: skip


def parse_known_parts(text: str, where: str = "parts") -> dict[str, KnownPart]:
    """Read parts with their ratings from TOML.

    Raises:
        InputError: If the TOML is broken, or a part lacks kind, pins or source, or has an unknown rating.
    """
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(str(error), where=where) from None
    return {name: _known(name, table, where) for name, table in tables.items()}


def _known(name: str, table: Any, where: str) -> KnownPart:
    if not isinstance(table, dict):
        raise InputError(f"{name!r} is no table", expected='["NAME"] with kind, pins, source', where=where)
    given = {key: table.get(key) for key in ("kind", "pins", "source")}
    words = {key: text for key, text in given.items() if isinstance(text, str) and text}
    if missing := [key for key in given if key not in words]:
        raise InputError(f"part {name!r} lacks {missing[0]}", where=where)
    ratings = {key: value for key, value in table.items() if key not in given}
    for key, value in ratings.items():
        if key not in RATINGS or isinstance(value, bool) or not isinstance(value, int | float):
            expected = f"numbers for {', '.join(RATINGS)}"
            raise InputError(f"part {name!r} has {key} {value!r}", expected=expected, where=where)
    return KnownPart(
        name, words["kind"], words["pins"], {k: float(v) for k, v in ratings.items()}, words["source"]
    )


@lru_cache(maxsize=1)
def known_parts() -> Mapping[str, KnownPart]:
    """The parts that come with the program, and the logic families of ``levels``, by name in capitals."""
    text = resources.files("coppermend.rework.data").joinpath("parts.toml").read_text(encoding="utf-8")
    parts = parse_known_parts(text, "parts.toml")
    return {
        **{name.upper(): part for name, part in parts.items()},
        **{n.upper(): _family(f) for n, f in FAMILIES.items()},
    }


def _family(family: Family) -> KnownPart:
    names = ("vih_v", "vil_v", "voh_v", "vol_v", "ioh_a", "iol_a", "iih_a", "iil_a")
    ratings = {name: float(getattr(family, name)) for name in names}
    return KnownPart(family.name, "logic family", "same function, same package", ratings, family.source)


def part_called(name: str) -> KnownPart:
    """A known part by name, case ignored.

    Raises:
        UnknownName: Lists those that are known.
    """
    if found := known_parts().get(name.strip().upper()):
        return found
    raise UnknownName(
        "part", name, "the ratings", f"known are {', '.join(p.name for p in known_parts().values())}"
    )


def compare(old: KnownPart, new: KnownPart) -> Comparison:
    """Whether ``new`` can stand in for ``old``: each rating that ``old`` has must be met or exceeded.

    Raises:
        InputError: If they are different kinds of part.

    >>> compare(part_called("74LS"), part_called("74HC")).failing[0]
    'input high level 3.15 V, at most 2 V'
    """
    if old.kind != new.kind:
        raise InputError(f"{new.name} is {new.kind}, {old.name} is {old.kind}", expected="parts of one kind")
    rows = tuple(_row(name, value, new.ratings.get(name)) for name, value in old.ratings.items())
    adaptations = (
        () if old.pins == new.pins else (f"leads: {new.name} has {new.pins}, the place has {old.pins}",)
    )
    return Comparison(old, new, rows, adaptations)


def _row(name: str, old: float, new: float | None) -> Compared:
    rating = RATINGS[name]
    slack = 1e-9 * abs(old)
    met = new is not None and (new >= old - slack if rating.rule == "at least" else new <= old + slack)
    return Compared(name, rating.title, old, new, rating.rule, met, rating.unit)


def stand_ins(name: str, instead: str = "") -> tuple[Comparison, ...]:
    """What can stand in for a part: every known part of its kind, or just the one that is named.

    Raises:
        UnknownName: If a part is not known.
        InputError: If the two are different kinds of part.
    """
    return (compare(part_called(name), part_called(instead)),) if instead.strip() else substitutes_for(name)


def substitutes_for(name: str) -> tuple[Comparison, ...]:
    """Every known part of the same kind beside ``name``: those that meet all come first, pin-compatible ones before.

    Raises:
        UnknownName: If the part is not known.
    """
    old = part_called(name)
    found = [
        compare(old, new) for new in known_parts().values() if new.kind == old.kind and new.name != old.name
    ]
    return tuple(sorted(found, key=lambda c: (not c.ok, len(c.adaptations), len(c.failing), c.new.name)))
