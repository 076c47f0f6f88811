"""What kind of thing a fitted part is, even when its type is not in the library. No judgement of its state."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache

from coppermend.board.model import Board, Part
from coppermend.board.parttypes import PartKind, PartLibrary, PartType, PinSpec
from coppermend.board.same import Same
from coppermend.errors import InputError
from coppermend.quantity import parse_quantity

# Class letters of reference designations, ASME Y14.44 / IEEE 315 (from memory), longest first when matched.
_LETTERS: dict[str, PartKind] = {
    "BT": "battery", "BAT": "battery", "C": "capacitor", "CR": "diode", "D": "diode", "DS": "lamp", "F": "fuse",
    "FB": "inductor", "H": "mechanical", "J": "connector", "K": "relay", "L": "inductor", "LED": "led",
    "MP": "mechanical", "P": "connector", "Q": "transistor", "R": "resistor", "RN": "network", "RP": "network",
    "RV": "trimmer", "S": "switch", "SW": "switch", "U": "logic", "IC": "logic", "VR": "regulator",
    "X": "crystal", "XU": "socket", "XIC": "socket", "Y": "crystal", "Z": "logic",
}  # fmt: skip
IC_KINDS = frozenset(
    {"logic", "cpu", "rom", "ram", "peripheral", "driver", "comparator", "timer", "supervisor", "display"}
)
PASSIVE_KINDS = frozenset(
    {"resistor", "network", "capacitor", "electrolytic", "inductor", "diode", "led", "fuse", "trimmer"}
)
_BOARDS = 8  # whose kinds are remembered
_IC_PACKAGE = re.compile(r"(?i)\b[a-z-]*(?:DIP|SOIC|SSOP|PLCC|QFP|SIP)-?\d")


def kind_of(part: Part, library: PartLibrary) -> PartKind | None:
    """The kind of ``part``: from its type, else from its package and the letters of its refdes.

    Returns:
        None when neither says anything.
    """
    if known := library.of(part):
        return _capacitor_kind(part, known.kind)
    letters = re.match(r"[A-Za-z]*", part.refdes)
    kind = _LETTERS.get(letters[0].upper()) if letters else None
    if kind == "crystal" and _IC_PACKAGE.search(part.package.replace("_", " ")):
        return "oscillator"
    return _capacitor_kind(part, kind) if kind else None


def kinds_of(board: Board, library: PartLibrary) -> Mapping[str, PartKind | None]:
    """The kind of every part by refdes, in the order of the parts; remembered for the latest boards.

    Of parts that share a refdes the first counts, as everywhere.
    """
    return _kinds_of(Same(board), Same(library))


@lru_cache(maxsize=_BOARDS)
def _kinds_of(board: Same[Board], library: Same[PartLibrary]) -> Mapping[str, PartKind | None]:
    return {refdes: kind_of(part, library.thing) for refdes, part in board.thing.index.parts.items()}


def _capacitor_kind(part: Part, kind: PartKind) -> PartKind:
    """A capacitor of 0.04 F and up is a supercapacitor; one in a polarised can is electrolytic."""
    if kind not in ("capacitor", "electrolytic"):
        return kind
    if _farads(part.value) >= 0.04 and "electrolytic" not in part.type:
        return "supercapacitor"
    return "electrolytic" if part.package.startswith(("CP_", "RADIAL-POL")) else kind


@lru_cache(maxsize=1024)
def _farads(value: str) -> float:
    """A capacitance [F] as it is written, 0 where it cannot be read; remembered, since every room asks."""
    try:
        return parse_quantity(value, "F")
    except InputError:
        return 0.0


def is_ic(part: Part, library: PartLibrary) -> bool:
    """Whether ``part`` is an integrated circuit with signal pins (three-pin regulators are not)."""
    kind = kind_of(part, library)
    return kind in IC_KINDS and not (kind == "display" and not _IC_PACKAGE.search(part.package))


def pin_spec(part: Part, pin: str, library: PartLibrary) -> PinSpec | None:
    """What the library says of one pin of a fitted part, or None."""
    kind: PartType | None = library.of(part)
    return kind.pin_by_number.get(pin) if kind else None


@lru_cache(maxsize=16384)  # of every name on the largest boards: they are sorted again and again
def natural_key(name: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key that puts ``R2`` before ``R10``.

    >>> sorted(["R10", "R2", "C1"], key=natural_key)
    ['C1', 'R2', 'R10']
    """
    pieces = re.findall(r"\d+|\D+", name)
    return tuple((0, int(p), "") if p.isdigit() else (1, 0, p) for p in pieces)
