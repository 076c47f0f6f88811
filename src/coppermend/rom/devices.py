"""Memory devices: size, pins, levels, times and programming voltage; how their pins differ. Knows no board.

Pinouts come from the part-type library; ``data/devices.toml`` adds what a pinout does not say.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from importlib import resources
from typing import Any

from coppermend.board.parttypes import PartLibrary, PartType, standard_library
from coppermend.errors import InputError, UnknownName

LEVELS = ("low", "high", "mask")


@dataclass(frozen=True)
class Device:
    """One memory device.

    ``address`` and ``data`` are pin numbers by line, A0 and D0 first. ``selects`` maps a select's pin number to
    the level that selects it ("mask" when the maker chose it with the contents). ``read_ties`` maps other pins
    to what they need while reading. Times are worst of the class [ns]; ``enable_ns`` 0 when there is no output
    enable. ``program_v`` is the programming voltage [V], 0 for mask ROMs.
    """

    name: str
    family: str
    bytes: int
    package: str
    address: tuple[str, ...]
    data: tuple[str, ...]
    supply: str
    ground: str
    selects: Mapping[str, str]
    read_ties: Mapping[str, str]
    pin_names: Mapping[str, str]
    part_type: PartType = field(compare=False, repr=False)
    access_ns: float = 0.0
    select_ns: float = 0.0
    enable_ns: float = 0.0
    program_v: float = 0.0
    notes: str = ""
    source: str = ""

    @property
    def pins(self) -> int:
        """How many pins it has."""
        return len(self.pin_names)

    def to_json(self) -> dict[str, Any]:
        """Keys as the fields, pins by their number; without the part type."""
        return {
            "name": self.name, "family": self.family, "bytes": self.bytes, "package": self.package,
            "pins": self.pins, "access_ns": self.access_ns, "select_ns": self.select_ns,
            "enable_ns": self.enable_ns, "program_v": self.program_v, "selects": dict(self.selects),
            "read_ties": dict(self.read_ties), "pinout": dict(self.pin_names), "notes": self.notes,
            "source": self.source,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class PinDifference:
    """A pin that two devices use differently; ``a`` and ``b`` are its names, "" where there is no such pin."""

    pin: str
    a: str
    b: str
    note: str = ""

    def to_json(self) -> dict[str, str]:
        """Keys ``pin``, ``a``, ``b``, ``note``."""
        return {"pin": self.pin, "a": self.a, "b": self.b, "note": self.note}


def parse_devices(text: str, library: PartLibrary, where: str = "devices") -> dict[str, Device]:
    """Read a TOML file of devices.

    Raises:
        InputError: If the TOML is broken or a device is incomplete, naming it.
    """
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(str(error), expected="TOML", where=where) from None
    made = {}
    for name, table in tables.items():
        try:
            made[name] = _device(name, table, library)
        except (LookupError, TypeError, ValueError, AttributeError) as error:
            raise InputError(
                f"device {name!r} is incomplete or malformed ({error})",
                expected="part, family, bytes, selects, source", where=where,
            ) from None  # fmt: skip
    return made


def _device(name: str, table: Mapping[str, Any], library: PartLibrary) -> Device:
    kind = library.get(table["part"])
    names = {pin.number: pin.name for pin in kind.pins}
    by_name = {pin.name: pin.number for pin in kind.pins}
    size = int(table["bytes"])
    lines = size.bit_length() - 1
    if size != 1 << lines:
        raise ValueError(f"{size} bytes is no power of two")
    selects = {str(pin): str(level) for pin, level in table["selects"].items()}
    if odd := [level for level in selects.values() if level not in LEVELS]:
        raise ValueError(f"select level {odd[0]!r}")
    ties = {str(pin): str(level) for pin, level in table.get("read_ties", {}).items()}
    if unknown := [pin for pin in (*selects, *ties) if pin not in names]:
        raise ValueError(f"no pin {unknown[0]}")
    return Device(
        name=name, family=str(table["family"]), bytes=size, package=kind.package,
        address=tuple(by_name[f"A{n}"] for n in range(lines)), data=tuple(by_name[f"D{n}"] for n in range(8)),
        supply=by_name["VCC"], ground=by_name["GND"], selects=selects, read_ties=ties, pin_names=names,
        part_type=kind, access_ns=float(table.get("access_ns", 0)), select_ns=float(table.get("select_ns", 0)),
        enable_ns=float(table.get("enable_ns", 0)), program_v=float(table.get("program_v", 0)),
        notes=str(table.get("notes", "")), source=str(table["source"]),
    )  # fmt: skip


@lru_cache(maxsize=1)
def devices() -> Mapping[str, Device]:
    """The devices that come with the program, smallest first."""
    file = resources.files("coppermend.rom.data").joinpath("devices.toml")
    made = parse_devices(file.read_text("utf-8"), standard_library(), "devices.toml")
    return dict(sorted(made.items(), key=lambda item: item[1].bytes))


def find_device(name: str) -> Device | None:
    """The device called ``name`` (maker's prefix, grade and suffix ignored, as for part types), or None."""
    known = devices()
    given = name.strip().upper()
    if given in known:
        return known[given]
    kind = standard_library().find(name)
    return next(
        (d for d in known.values() if kind is not None and d.name == d.part_type.name == kind.name), None
    )


def get_device(name: str) -> Device:
    """The device called ``name``.

    Raises:
        UnknownName: If there is none; names those there are.
    """
    if found := find_device(name):
        return found
    raise UnknownName("memory device", name, "the device table", f"known are {', '.join(devices())}")


def pin_differences(a: Device, b: Device) -> tuple[PinDifference, ...]:
    """The pins that ``a`` and ``b`` use differently, by the number in ``a``'s package.

    A 24-pin device is laid beside the lower 24 of 28 pins (pin n to n + 2), as it sits in such a socket.
    """
    shift = (b.pins - a.pins) // 2
    rows = []
    for number, name in a.pin_names.items():
        other = str(int(number) + shift)
        theirs = b.pin_names.get(other, "")
        if name != theirs or a.selects.get(number) != b.selects.get(other):
            levels = [f"{d.name}: {d.selects[p]}" for d, p in ((a, number), (b, other)) if p in d.selects]
            rows.append(PinDifference(number, name, theirs, "; ".join(levels)))
    return tuple(rows)
