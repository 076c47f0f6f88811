"""Part types: what the pins of a part are, and which inputs act on which outputs.

The library is TOML, one table per type; a shop can add its own files. A pin is written
``"NUMBER NAME DIRECTION [ROLE]"`` and a signal path ``"IN IN ... > OUT OUT ..."`` with pin numbers:

    ["7400"]
    description = "quad 2-input NAND gate"
    kind = "logic"
    failure_class = "digital_bipolar"
    package = "DIP-14"
    aliases = ["SN7400"]
    pins = ["1 1A in", "2 1B in", "3 1Y out", "7 GND ground", "14 VCC power"]
    paths = ["1 2 > 3"]
    source = "public data sheets, SN7400 class"
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from importlib import resources
from typing import Any, Literal, get_args

from coppermend.board.model import Part
from coppermend.errors import InputError, UnknownName

Direction = Literal["in", "out", "bidi", "power", "ground", "passive", "open-collector", "nc"]
PinRole = Literal["", "address", "data", "control", "reset", "clock", "interrupt", "select", "port"]
PartKind = Literal[
    "logic", "cpu", "rom", "ram", "peripheral", "driver", "transistor", "display", "regulator", "comparator",
    "timer", "supervisor", "resistor", "network", "capacitor", "electrolytic", "inductor", "diode", "led",
    "crystal", "oscillator", "relay", "connector", "switch", "battery", "supercapacitor", "fuse", "lamp",
    "trimmer", "socket", "mechanical",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class PinSpec:
    """One pin of a part type."""

    number: str
    name: str
    direction: Direction
    role: PinRole = ""


@dataclass(frozen=True, slots=True)
class SignalPath:
    """Pins (by number) whose level acts on other pins inside the part."""

    inputs: tuple[str, ...]
    outputs: tuple[str, ...]


@dataclass(frozen=True)
class PartType:
    """A generic part type. ``failure_class`` names a row of the failure-rate seeds.

    ``three_state`` says that its outputs can be switched off, so that several may share a net.
    ``open_pins`` says that any pin number exists (connectors, sockets): see ``pin``.
    """

    name: str
    description: str
    kind: PartKind
    package: str
    pins: tuple[PinSpec, ...]
    paths: tuple[SignalPath, ...] = ()
    failure_class: str = ""
    aliases: tuple[str, ...] = ()
    polarised: bool = False
    source: str = ""
    three_state: bool = False
    open_pins: bool = False

    @cached_property
    def pin_by_number(self) -> Mapping[str, PinSpec]:
        """Pins by their number."""
        return {pin.number: pin for pin in self.pins}

    def pin(self, number: str) -> PinSpec | None:
        """The pin called ``number``; a passive one when the type has open pins; else None."""
        if known := self.pin_by_number.get(number):
            return known
        return PinSpec(number, number, "passive") if self.open_pins else None


_DIRECTIONS, _ROLES, _KINDS = get_args(Direction), get_args(PinRole), get_args(PartKind)
_PIN_FIELDS = (3, 4)


def _pin(text: str, where: str) -> PinSpec:
    words = text.split()
    if (
        len(words) not in _PIN_FIELDS
        or words[2] not in _DIRECTIONS
        or (len(words) == 4 and words[3] not in _ROLES)
    ):
        raise InputError(f"pin {text!r} of {where}", expected='"NUMBER NAME DIRECTION [ROLE]"')
    number, name, direction, role = [*words, ""][:4]
    return PinSpec(number, name, direction, role)  # type: ignore[arg-type]


def _path(text: str, where: str) -> SignalPath:
    before, arrow, after = text.partition(">")
    if not (arrow and before.split() and after.split()):
        raise InputError(f"path {text!r} of {where}", expected='"IN IN > OUT OUT" with pin numbers')
    return SignalPath(tuple(before.split()), tuple(after.split()))


def _texts(table: Mapping[str, Any], key: str) -> tuple[str, ...]:
    texts = table.get(key, [])
    if not (isinstance(texts, list) and all(isinstance(text, str) for text in texts)):
        raise TypeError(key)
    return tuple(texts)


def _part_type(name: str, table: Mapping[str, Any], where: str) -> PartType:
    place = f"part type {name!r}"
    try:
        kind, _ = table["kind"], table["pins"]
        made = PartType(
            name=name,
            description=str(table["description"]),
            kind=kind,
            package=str(table.get("package", "")),
            pins=tuple(_pin(text, place) for text in _texts(table, "pins")),
            paths=tuple(_path(text, place) for text in _texts(table, "paths")),
            failure_class=str(table.get("failure_class", "")),
            aliases=_texts(table, "aliases"),
            polarised=bool(table.get("polarised", False)),
            source=str(table.get("source", "")),
            three_state=bool(table.get("three_state", False)),
            open_pins=bool(table.get("open_pins", False)),
        )
    except KeyError as missing:
        raise InputError(f"{place} lacks {missing}", where=where) from None
    except InputError as error:
        raise error.at(where) from None
    except TypeError:
        raise InputError(
            f"{place} is malformed", expected="strings and lists of strings", where=where
        ) from None
    if kind not in _KINDS:
        raise InputError(f"{place} has kind {kind!r}", expected=f"one of {', '.join(_KINDS)}", where=where)
    numbers = [pin.number for pin in made.pins]
    if twice := {n for n in numbers if numbers.count(n) > 1}:
        raise InputError(f"{place} has pin {min(twice)} twice", where=where)
    for path in made.paths:
        if unknown := [n for n in (*path.inputs, *path.outputs) if n not in made.pin_by_number]:
            raise InputError(f"{place} has a path through pin {unknown[0]}, which it lacks", where=where)
    return made


def parse_part_types(text: str, where: str = "part types") -> dict[str, PartType]:
    """Read one TOML file of part types.

    Raises:
        InputError: If the TOML is broken or a type is incomplete, naming the type.
    """
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        line = re.search(r"line (\d+)", str(error))
        end = text.count("\n") + 1
        raise InputError(str(error), where=where, line=int(line[1]) if line else end) from None
    types = {}
    for name, table in tables.items():
        if not isinstance(table, dict):
            raise InputError(
                f"{name!r} is no table", expected='["TYPE"] with description, kind, pins', where=where
            )
        types[name] = _part_type(name, table, where)
    return types


@dataclass(frozen=True)
class PartLibrary:
    """Part types by name, with aliases and the families of 7400 and 4000 logic resolved."""

    types: Mapping[str, PartType] = field(default_factory=dict)

    @cached_property
    def _by_alias(self) -> Mapping[str, PartType]:
        table = {name.upper(): kind for name, kind in self.types.items()}
        for kind in self.types.values():
            for alias in kind.aliases:
                table.setdefault(alias.upper(), kind)
        return table

    @cached_property
    def _found(self) -> dict[str, PartType | None]:
        """Names resolved so far: a board asks for the same few again and again."""
        return {}

    def find(self, name: str) -> PartType | None:
        """The type called ``name`` (case, family letters, maker's prefix and suffix ignored), or None."""
        if name not in self._found:
            known = (self._by_alias.get(key) for key in _spellings(name))
            self._found[name] = next((kind for kind in known if kind), None)
        return self._found[name]

    def get(self, name: str) -> PartType:
        """The type called ``name``.

        Raises:
            UnknownName: If the library has no such type.
        """
        if found := self.find(name):
            return found
        raise UnknownName("part type", name, "the part-type library")

    def of(self, part: Part) -> PartType | None:
        """The type of a fitted part, or None when its type is empty or unknown."""
        return self.find(part.type) if part.type else None

    def extended(self, more: Iterable[PartType]) -> PartLibrary:
        """This library with a shop's own types added; a shop's type replaces one of the same name."""
        return PartLibrary({**self.types, **{kind.name: kind for kind in more}})


# Prefixes that makers of the time put before a base number; others (UF, IRF, LTC, ...) name other things.
_MAKERS = (
    "AM AT C CA CD CY D DM DS EF F GD GTE HCF HD HEF HM HN IM INS KM L LM M MB MBM MC MCM MK MM MPS MSM N NE NMC NTE"
    " P R RC S SA SCM SE SN SY T TC TL TMM TMS U UA ULN ULQ UM UPD W"
)
_PREFIX = f"(?P<prefix>{'|'.join(sorted(_MAKERS.split(), key=len, reverse=True))})?"
_FAMILY = re.compile(
    rf"^{_PREFIX}(74|54)(LS|ALS|HCT|HC|ACT|AC|AS|S|F|L|H|LV|C)?(?P<base>\d{{2,4}})[A-Z]{{0,3}}$"
)
_CMOS = re.compile(
    r"^(?:CD|HEF|MC1|HCF|TC|MM)?(?P<base>4\d{3,4}|14\d{3})(U?B[A-Z]{0,2}|A[A-Z]?|[A-Z]{1,3})?$"
)
# Base number that data sheets share, then letters (and a grade) of temperature range and package.
_OTHER = re.compile(
    rf"^{_PREFIX}(?P<base>\d{{2}}[A-L]\d{{2,3}}|(?!4\d{{3}}|[57]4\d\d)\d{{3,5}})"
    r"(?P<tail>[A-Z]{0,4}(?:\d{1,2}[A-Z]{1,4})?)$"
)


def _spellings(name: str) -> list[str]:
    """The names to look up for ``name``, most exact first: 74LS138N -> 74138; MC6821P -> 6821; 2716-1 -> 2716."""
    given = name.strip().upper()
    keys = [given, re.sub(r"[\s_-]", "", given)]
    # What follows a hyphen or slash after a number is a speed grade.
    graded = re.split(r"[\s/-]", given)[0]
    for key in (keys[1], graded if sum(map(str.isdigit, graded)) >= 3 else ""):
        if plain := re.match(r"(.*\d)[A-Z]+$", key):
            keys.append(plain[1])
        if family := _FAMILY.match(key):
            # 74HC4040 is a 4040: the high-speed families took the CMOS numbers over.
            keys.append(family["base"] if re.match(r"4\d{3}", family["base"]) else f"74{family['base']}")
        if cmos := _CMOS.match(key):
            keys.append(cmos["base"][-4:] if cmos["base"].startswith("14") else cmos["base"])
        if other := _OTHER.match(key):
            prefix, base, tail = other["prefix"] or "", other["base"], other["tail"]
            for end in range(len(tail), -1, -1):
                keys += [prefix + base + tail[:end], base + tail[:end]]
    return keys


@lru_cache(maxsize=1)
def standard_library() -> PartLibrary:
    """The part types that come with the program."""
    types: dict[str, PartType] = {}
    for file in sorted(resources.files("coppermend.board.data").iterdir(), key=lambda f: f.name):
        if file.name.endswith(".toml"):
            for name, kind in parse_part_types(file.read_text("utf-8"), file.name).items():
                if name in types:
                    raise InputError(f"part type {name!r} is in the library twice", where=file.name)
                types[name] = kind
    return PartLibrary(types)
