"""The passive network that a meter sees between nets: resistors, junctions and capacitors of the fitted parts.

Parts become elements between pins. What is inside integrated circuits is left out but for the clamp diode from
ground to each signal pin. Nothing is solved here; ``solve`` does.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

from coppermend.board.kinds import IC_KINDS, kind_of
from coppermend.board.model import Board, Part, PinRef
from coppermend.board.parttypes import PartKind, PartLibrary, PartType
from coppermend.errors import InputError
from coppermend.quantity import parse_quantity

# What has no value of its own (common practice, no source).
_SERIES_OHM: dict[str, float] = {"inductor": 1.0, "fuse": 0.1}
_BEAD_OHM, _CONTACT_OHM = 0.05, 0.05
_NO_OHM = 1e-3  # a link of 0 Ω


class JunctionKind(NamedTuple):
    """Saturation current [A] and ideality of a kind of junction."""

    saturation_a: float
    ideality: float


# Parameters as commonly published for the classes named, from memory: silicon 1N4148, rectifier 1N4001,
# base-emitter 2N3904. The others are set to the forward voltage named.
SILICON = JunctionKind(4.35e-9, 1.906)
RECTIFIER = JunctionKind(14.11e-9, 1.984)
BASE = JunctionKind(6.734e-15, 1.0)
SCHOTTKY = JunctionKind(1e-7, 1.05)  # 0.25 V at 1 mA
GERMANIUM = JunctionKind(2e-7, 1.3)  # 0.29 V at 1 mA
LED = JunctionKind(3.6e-17, 2.0)  # 1.6 V at 1 mA, red


@dataclass(frozen=True, slots=True)
class Element:
    """``ohms`` (or ``farads``) of part ``refdes`` between two pins."""

    refdes: str
    a: PinRef
    b: PinRef
    value: float


@dataclass(frozen=True, slots=True)
class Diode:
    """A junction of part ``refdes`` that conducts from pin ``anode`` to pin ``cathode``."""

    refdes: str
    anode: PinRef
    cathode: PinRef
    kind: JunctionKind


@dataclass(frozen=True)
class Circuit:
    """Elements of the fitted parts; ``notes`` say which parts tell too little to be counted in."""

    resistors: tuple[Element, ...]
    capacitors: tuple[Element, ...]
    diodes: tuple[Diode, ...]
    unknown: tuple[str, ...]
    batteries: tuple[str, ...]


def circuit_of(board: Board, library: PartLibrary, removed: Collection[str] = ()) -> Circuit:
    """The elements of all parts but those in ``removed`` (refdes).

    Only pins on a net count. A trimmer stands with its wiper in the middle, a relay at rest, a switch open.
    """
    resistors: list[Element] = []
    capacitors: list[Element] = []
    diodes: list[Diode] = []
    unknown, batteries = [], []
    for part in board.parts:
        if part.refdes in removed or part.refdes in board.index.repeated:
            continue
        kind = kind_of(part, library)
        pins = [pin.pin for pin in board.index.pins_of_part[part.refdes]]
        if kind == "battery":
            batteries.append(part.refdes)
        elif kind in ("capacitor", "electrolytic", "supercapacitor"):
            capacitors += _capacitor(part, pins)
        elif kind in ("diode", "led", "transistor") or kind in IC_KINDS:
            diodes += _diodes(part, kind, library.of(part), pins)
        else:
            made = list(_resistors(part, kind, library.of(part), pins))
            resistors += made
            if not made and kind in ("resistor", "network", "trimmer"):
                unknown.append(part.refdes)
    return Circuit(tuple(resistors), tuple(capacitors), tuple(diodes), tuple(unknown), tuple(batteries))


def _value(part: Part, unit: str) -> float | None:
    """The part's value in base units; None when it states none that can be read."""
    words = part.value.replace(",", ".").split()
    for text in (part.value, *words[:1]):
        try:
            value = parse_quantity(text, unit)
        except InputError:
            continue
        if math.isfinite(value) and value >= 0:
            return value
    return None


def _capacitor(part: Part, pins: list[str]) -> Iterator[Element]:
    farads = _value(part, "F")
    if farads and len(pins) == 2:
        yield Element(part.refdes, PinRef(part.refdes, pins[0]), PinRef(part.refdes, pins[1]), farads)


def _resistors(
    part: Part, kind: PartKind | None, known: PartType | None, pins: list[str]
) -> Iterator[Element]:
    def element(a: str, b: str, ohms: float) -> Element:
        return Element(part.refdes, PinRef(part.refdes, a), PinRef(part.refdes, b), max(ohms, _NO_OHM))

    ohms = _value(part, "Ω")
    if kind in _SERIES_OHM and len(pins) == 2:
        bead = "bead" in part.type or part.refdes.upper().startswith("FB")
        yield element(pins[0], pins[1], _BEAD_OHM if bead else _SERIES_OHM[kind])
    elif kind == "relay":
        for common, rest in (("11", "12"), ("21", "22")):
            if common in pins and rest in pins:
                yield element(common, rest, _CONTACT_OHM)
    elif ohms is None:
        return
    elif kind == "resistor" and len(pins) == 2:
        yield element(pins[0], pins[1], ohms)
    elif kind == "trimmer" and len(pins) == 3:
        yield element(pins[0], pins[1], ohms / 2)
        yield element(pins[1], pins[2], ohms / 2)
    elif kind == "network" and known:
        for a, b in _joined(known):
            yield element(a, b, ohms)


def _joined(known: PartType) -> Iterable[tuple[str, str]]:
    """Pins of a resistor network that a resistor joins, each pair once."""
    pairs = [(a, b) for path in known.paths for a in path.inputs for b in path.outputs]
    return {frozenset(pair): pair for pair in pairs}.values()


def _diodes(part: Part, kind: PartKind | None, known: PartType | None, pins: list[str]) -> Iterator[Diode]:
    if known is None:
        return
    named = {pin.name: pin.number for pin in known.pins if pin.number in pins}

    def diode(anode: str, cathode: str, kind: JunctionKind) -> Iterator[Diode]:
        if anode in named and cathode in named:
            ends = PinRef(part.refdes, named[anode]), PinRef(part.refdes, named[cathode])
            yield Diode(part.refdes, *ends, kind)

    if kind in ("diode", "led"):
        own = _own_kind(known.name)
        for anode, cathode in (("A", "K"), ("~1", "+"), ("~2", "+"), ("-", "~1"), ("-", "~2")):
            yield from diode(anode, cathode, own)
    elif kind == "transistor":
        for anode, cathode in _transistor(known.name):
            yield from diode(anode, cathode, BASE)
    else:
        yield from _clamps(part, known, pins)


def _transistor(name: str) -> list[tuple[str, str]]:
    """Anode and cathode of a transistor's junctions, by pin name; a Darlington's stages are left out."""
    if "mosfet" in name:
        return [("S", "D")] if name.startswith("n-") else [("D", "S")]
    if "darlington" in name or not name.startswith(("npn", "pnp")):
        return []
    return [("B", "E"), ("B", "C")] if name.startswith("npn") else [("E", "B"), ("C", "B")]


def _own_kind(name: str) -> JunctionKind:
    kinds = {"rectifier": RECTIFIER, "bridge-rectifier": RECTIFIER, "schottky": SCHOTTKY}
    return {**kinds, "diode-germanium": GERMANIUM, "led": LED}.get(name, SILICON)


def _clamps(part: Part, known: PartType, pins: list[str]) -> Iterator[Diode]:
    """The diode that TTL, NMOS and CMOS alike have from ground to a signal pin (common practice, no source)."""
    grounds = [pin.number for pin in known.pins if pin.direction == "ground" and pin.number in pins]
    for pin in known.pins:
        if grounds and pin.number in pins and pin.direction in ("in", "out", "bidi", "open-collector"):
            yield Diode(part.refdes, PinRef(part.refdes, grounds[0]), PinRef(part.refdes, pin.number), BASE)
