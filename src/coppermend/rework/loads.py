"""How much current the chips of a board draw from a rail, estimated by their kind. No measurement replaces it."""

from __future__ import annotations

import re

from coppermend.board.kinds import kind_of
from coppermend.board.model import Board, PinRef
from coppermend.board.parttypes import PartLibrary

# Usual supply current of one chip [A] by kind: middle of the data sheets of the classes (from memory).
_BY_KIND = {
    "cpu": 0.110, "rom": 0.080, "ram": 0.050, "peripheral": 0.080, "logic": 0.012, "driver": 0.015,
    "comparator": 0.002, "timer": 0.006, "supervisor": 0.0001, "oscillator": 0.025, "regulator": 0.006,
}  # fmt: skip
# Families that draw next to nothing at 1 MHz [A] (from memory): CMOS memories, HC and 4000 logic, CMOS processors.
_SAVING = (
    (r"5101|61[16][46]|62(?:64|256)|28C\d+|27C\d+", 0.020), (r"65C\d\d", 0.005), (r"74HCT?\d|^4\d{3}$|^40\d{3}$", 0.001),
)  # fmt: skip


def rail_load_a(board: Board, library: PartLibrary, net: str) -> float:
    """Estimated current [A] that the chips with a supply pin on ``net`` draw; 0.0 when there is none."""
    total = 0.0
    for refdes, part in board.index.parts.items():
        known = library.of(part)
        supplied = any(
            board.index.net_of_pin.get(PinRef(refdes, pin.number)) == net
            for pin in (known.pins if known else ())
            if pin.direction == "power"
        )
        if supplied:
            name = f"{part.type} {part.value}".upper()
            saving = next((amps for pattern, amps in _SAVING if re.search(pattern, name)), None)
            total += saving if saving is not None else _BY_KIND.get(kind_of(part, library) or "", 0.0)
    return total
