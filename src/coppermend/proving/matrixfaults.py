"""Faults that a matrix can have, how likely each is before anything is seen, and in words. Explains no observation."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from coppermend.proving.matrix import FaultKind, Faults, MatrixFault, SwitchMatrix
from coppermend.proving.scan import Scanner

# Odds of one such fault against a sound matrix. Common practice, no source: corroded copper and connector pins
# open most often, neighbours short next; drivers and inputs stick, diodes and contacts fail rarely.
_ODDS: dict[FaultKind, float] = {
    "open strobe": 0.020, "open return": 0.020, "stuck strobe": 0.008, "stuck return": 0.008,
    "shorted diode": 0.002, "open diode": 0.0025, "open switch": 0.0025, "stuck switch": 0.005,
}  # fmt: skip
_SHORT_BESIDE, _SHORT_APART, _SHORT_ACROSS = 0.015, 0.0008, 0.0006
_SWAP_BESIDE, _SWAP_APART = 0.003, 0.0002

_WORDS: dict[FaultKind, str] = {
    "open strobe": "{0} never pulls: open track, connector pin or wire, or its driver is stuck off",
    "open return": "{0} is never read: open track, connector pin or wire, or its input is stuck off",
    "stuck strobe": "{0} is always on: its driver is shorted, or the line lies on ground",
    "stuck return": "{0} always reads closed: its input is stuck, its pull-up is open, or it lies on ground",
    "shorted lines": "{0} and {1} are joined: solder bridge, residue, or wires touching",
    "swapped lines": "{0} and {1} are exchanged: connector pins or wires",
    "shorted diode": "the diode at {0}:{1} conducts both ways: other switches ghost through it",
    "open diode": "{0}:{1} does not conduct: diode open, or its switch or wire",
    "open switch": "{0}:{1} does not close: its switch or wire is open",
    "stuck switch": "{0}:{1} is always closed: its switch sticks, or its wires touch",
}
_LAMP_WORDS: dict[FaultKind, str] = {
    "open strobe": "column {0} never drives: driver open, or track or connector pin",
    "open return": "row {0} never sinks: driver open, or track or connector pin",
    "stuck strobe": "column {0} is always on: its driver is shorted",
    "stuck return": "row {0} is always on: its driver is shorted",
    "shorted diode": "the diode at {0}:{1} conducts both ways: other lamps glow through it",
    "open diode": "{0}:{1} stays dark: lamp, socket or its diode open",
    "open switch": "{0}:{1} stays dark: lamp or socket open",
}


def single_faults(matrix: SwitchMatrix) -> tuple[tuple[MatrixFault, float], ...]:
    """Every fault that is considered, with its odds against a sound matrix."""
    return tuple(_faults(matrix, Scanner(matrix)))


def _faults(matrix: SwitchMatrix, scanner: Scanner) -> Iterator[tuple[MatrixFault, float]]:
    strobes, lines = range(scanner.strobes), range(scanner.lines)
    for line in lines:
        which = "strobe" if line in strobes else "return"
        for state in ("open", "stuck"):
            kind: FaultKind = f"{state} {which}"  # type: ignore[assignment]
            yield MatrixFault(kind, (line,)), _ODDS[kind]
    for group in (strobes, range(scanner.strobes, scanner.lines)):
        for a, b in combinations(group, 2):
            beside = b - a == 1
            yield MatrixFault("shorted lines", (a, b)), _SHORT_BESIDE if beside else _SHORT_APART
            yield MatrixFault("swapped lines", (a, b)), _SWAP_BESIDE if beside else _SWAP_APART
    if matrix.kind == "switch":
        for a in strobes:
            for b in range(scanner.strobes, scanner.lines):
                yield MatrixFault("shorted lines", (a, b)), _SHORT_ACROSS
    for ends, diode in scanner.populated.items():
        kinds: tuple[FaultKind, ...] = ("shorted diode", "open diode") if diode else ("open switch",)
        for kind in (*kinds, *(("stuck switch",) if matrix.kind == "switch" else ())):
            yield MatrixFault(kind, ends), _ODDS[kind]


def line_names(matrix: SwitchMatrix, faults: Faults) -> list[str]:
    """The lines that faults are on; a crossing as ``STROBE:RETURN``."""
    names = (*matrix.strobes, *matrix.returns)
    found: dict[str, None] = {}
    for fault in faults:
        ends = [names[n] for n in fault.ends]
        found |= dict.fromkeys([":".join(ends)] if _at_position(fault) else ends)
    return list(found)


def _at_position(fault: MatrixFault) -> bool:
    return fault.kind in ("shorted diode", "open diode", "open switch", "stuck switch")


def fault_words(matrix: SwitchMatrix, fault: MatrixFault) -> str:
    """A fault in words, with where to look."""
    names = (*matrix.strobes, *matrix.returns)
    words = (_LAMP_WORDS if matrix.kind == "lamp" else {}).get(fault.kind) or _WORDS[fault.kind]
    return words.format(*(names[n] for n in fault.ends))
