"""What was observed at the bench, read from CSV rows ``point,kind,value`` and checked against the board.

An observation is what was seen; what it means for each fault is in ``evidence``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Literal, get_args

from coppermend.board.model import Board, PinRef
from coppermend.board.readers.rows import bench_rows
from coppermend.errors import InputError
from coppermend.isolate.conditions import ConditionName, condition_name
from coppermend.isolate.looks import ALL, NONE, SOUND
from coppermend.isolate.states import LOGIC_VALUES
from coppermend.isolate.symptoms import SYMPTOM_WORDS, read_symptom
from coppermend.quantity import parse_quantity

ObservationKind = Literal[
    "logic",
    "volts",
    "ripple",
    "ohms",
    "hertz",
    "seconds",
    "symptom",
    "swap",
    "visual",
    "watch",
    "joints",
    "selftest",
    "repair",
]
KINDS: tuple[ObservationKind, ...] = get_args(ObservationKind)
SWAP_VALUES = {
    "good": "cured", "cured": "cured", "fixed": "cured", "works": "cured", "helped": "cured", "yes": "cured",
    "same": "same", "bad": "same", "no": "same", "no change": "same", "unchanged": "same",
}  # fmt: skip
VISUAL_VALUES = {
    "ok": 0.7, "good": 0.7, "clean": 0.7, "corroded": 6.0, "burnt": 12.0, "burned": 12.0, "cracked": 8.0,
    "broken": 12.0, "bulging": 10.0, "leaking": 10.0, "discoloured": 3.0, "hot": 6.0, "dull joint": 4.0,
}  # fmt: skip
TEST_VALUES = {
    "pass": "pass",
    "passed": "pass",
    "good": "pass",
    "ok": "pass",
    "fail": "fail",
    "failed": "fail",
    "bad": "fail",
}
REPAIR_VALUES = dict.fromkeys(
    ("done", "repaired", "replaced", "resoldered", "cleaned", "cut", "bridged"), "done"
)
# Kinds whose values are words: what to call one, and every word with what it is kept as.
_WORDS_OF: dict[str, tuple[str, dict[str, str]]] = {
    "logic": ("logic value", {word: word for word in LOGIC_VALUES}),
    "swap": ("swap result", SWAP_VALUES),
    "visual": ("visual finding", {word: word for word in VISUAL_VALUES}),
    "selftest": ("self-test result", TEST_VALUES),
    "repair": ("repair", REPAIR_VALUES),
}
# Kinds whose values are names, and the words that stand for none or all of them.
_NAMING: dict[str, tuple[str, ...]] = {"watch": (NONE, ALL), "joints": (SOUND,)}
_OPEN_WORDS = {"ol", "o.l", "0l", "0.l", "open", "inf", "infinity", "∞"}
_HEADER = ["point", "kind", "value"]
_EXPECTED = "point,kind,value such as U3.9,logic,high"
_NEVER_WORDS = {"never", "inf", "infinity", "∞"}
MOST_VOLTS, MOST_HERTZ, MOST_OHMS, MOST_SECONDS = 1000.0, 1e9, 1e12, 3600.0
_NULLED_OHM = -0.5


@dataclass(frozen=True, slots=True)
class Observation:
    """One thing seen: where, what kind, what value, and how the board stood then.

    ``point`` is a pin, a via, a net or a refdes; for ``ohms`` two points joined by ":" (continuity) or one
    (to ground); for ``swap`` one refdes or several joined by "+", changed together;
    for ``joints`` a part, a section or "board", with pins as value; for ``watch`` "board", with outputs as value; for a symptom also a section, or "". ``number`` holds volts or ripple [V], ohms [Ω], hertz [Hz] or
    seconds [s], with infinity for an open reading and for a reset that is never released; ``value`` is the text as canonically written.
    """

    point: str
    kind: ObservationKind
    value: str
    condition: ConditionName = "running"
    number: float = math.nan
    line: int = field(default=0, compare=False)

    def to_json(self) -> dict[str, Any]:
        """Keys point, kind, value, condition."""
        return {"point": self.point, "kind": self.kind, "value": self.value, "condition": self.condition}

    def __str__(self) -> str:
        how = f" ({self.condition})" if self.condition != "running" else ""
        return f"{self.point or 'board'} {self.kind} {self.value}{how}"


def parse_observations(text: str, board: Board, where: str) -> tuple[Observation, ...]:
    """Read rows ``point,kind,value`` and an optional fourth cell, the condition; the header may be left out.

    Raises:
        InputError: If a row is no observation of this board, naming file and line.
    """
    rows = bench_rows(text, _HEADER, _EXPECTED, where)
    return tuple(_row(cells, board, where, line) for cells, line in rows)


def _row(cells: list[str], board: Board, where: str, line: int) -> Observation:
    if len(cells) < 3 or not (cells[1] and cells[2]):
        raise InputError(
            f"{','.join(cells)!r:.80} is no observation", expected=_EXPECTED, where=where, line=line
        )
    try:
        return observation(board, cells[0], cells[1], cells[2], cells[3] if len(cells) > 3 else "", line=line)
    except InputError as error:
        raise InputError(error.found, expected=error.expected, where=where, line=line) from None


def observation(
    board: Board, point: str, kind: str, value: str, condition: str = "", *, line: int = 0
) -> Observation:
    """One observation, checked.

    Raises:
        InputError: If the board has no such point, the kind is unknown or the value impossible.
    """
    name = kind.strip().lower()
    if name not in KINDS:
        raise InputError(f"unknown kind {kind!r:.40}", expected=f"one of {', '.join(KINDS)}")
    how = condition_name(board, condition)
    written, number = _value(name, value.strip())
    made = Observation(point.strip(), name, written, how, number, line)
    _check_point(made, board)
    return made


def _value(kind: str, value: str) -> tuple[str, float]:
    lower = " ".join(value.lower().split())
    if kind == "symptom":
        read_symptom(value)
        return value, math.nan
    if kind in _NAMING:
        return _names(value), math.nan
    if kind in _WORDS_OF:
        what, words = _WORDS_OF[kind]
        if lower not in words:
            raise InputError(f"{what} {lower!r:.40}", expected=f"one of {', '.join(words)}")
        return words[lower], math.nan
    return _quantity(kind, value)


def _names(value: str) -> str:
    """Names joined by "+", each once; or the one word that names none or all."""
    names = dict.fromkeys(name.strip() for name in value.replace(",", "+").split("+"))
    only = value.strip().lower()
    return only if only in (NONE, ALL, SOUND) else "+".join(names)


def _quantity(kind: str, value: str) -> tuple[str, float]:
    if kind == "ohms" and value.lower() in _OPEN_WORDS:
        return "OL", math.inf
    if kind == "seconds" and value.lower() in _NEVER_WORDS:
        return "never", math.inf
    unit, least, most = {
        "volts": ("V", -MOST_VOLTS, MOST_VOLTS), "ohms": ("Ω", _NULLED_OHM, MOST_OHMS),
        "ripple": ("V", 0.0, MOST_VOLTS), "seconds": ("s", 0.0, MOST_SECONDS), "hertz": ("Hz", 0.0, MOST_HERTZ),
    }[kind]  # fmt: skip
    number = parse_quantity(value, unit)
    if not (math.isfinite(number) and least <= number <= most):
        raise InputError(f"{value!r:.40} is no reading in {kind}", expected=f"{least:g} to {most:g} {unit}")
    return f"{number:.6g}", number


def _check_point(made: Observation, board: Board) -> None:
    pair = made.point.replace(" + ", ":") if made.kind == "repair" else made.point
    if made.kind in ("ohms", "repair") and ":" in pair:
        a, b = pair.split(":", 1)
        if a.strip() == b.strip():
            raise InputError(f"both points are {a!r:.40}", expected="two different points")
        for name in (a, b):
            net_of(board, name.strip())
    elif (made.kind == "repair" and made.point not in board.index.parts) or made.kind in (
        "logic",
        "volts",
        "ripple",
        "hertz",
        "seconds",
        "ohms",
    ):
        net_of(board, made.point)
    elif made.kind == "swap":
        for refdes in swapped(made.point):
            if refdes not in board.index.parts:
                raise InputError(
                    f"{board.name} has no part {refdes!r:.60}",
                    expected="a refdes such as U3, or several as U3+U4",
                )
    elif made.kind in _NAMING:
        _check_names(made, board)
    elif made.point and not _known(board, made.point):
        raise InputError(
            f"{board.name} has no point {made.point!r:.60}",
            expected="a pin such as U3.9, a via, a net, a part or a section",
        )


def _check_names(made: Observation, board: Board) -> None:
    """Of outputs watched, parts or nets are named; of joints looked over, pins of what was looked at."""
    sections = {part.section for part in board.parts}
    where = (*board.index.parts, *sections) if made.kind == "joints" else ()
    if made.point not in ("", "board", *where):
        place = "a part, a section or board" if made.kind == "joints" else "board"
        raise InputError(f"{made.kind} at {made.point!r:.60}", expected=place)
    if made.value in _NAMING[made.kind]:
        return
    for name in made.value.split("+"):
        known = (
            pin_at(board, name) if made.kind == "joints" else name in board.index.parts or name in board.nets
        )
        if not known:
            what = "pins such as U3.9" if made.kind == "joints" else "parts or nets such as D3"
            words = " or ".join(_NAMING[made.kind])
            raise InputError(f"{board.name} has no {name!r:.60}", expected=f"{words}, or {what} joined by +")


def swapped(point: str) -> tuple[str, ...]:
    """The parts of a swap: one refdes, or several joined by "+" that were changed together.

    >>> swapped("U3"), swapped("U3+U4")
    (('U3',), ('U3', 'U4'))
    """
    return tuple(name.strip() for name in point.split("+"))


def _known(board: Board, name: str) -> bool:
    sections = {part.section for part in board.parts} | {section.name for section in board.sections}
    if name in board.index.parts or name in board.nets or name in sections or name == "board":
        return True
    return name in board.index.vias or pin_at(board, name) is not None


def pin_at(board: Board, name: str) -> PinRef | None:
    """The pin written ``name`` if it is on a net of the board."""
    refdes, _, number = name.rpartition(".")
    pin = PinRef(refdes, number)
    return pin if pin in board.index.net_of_pin else None


def net_of(board: Board, name: str) -> str:
    """The net that a pin, via or net called ``name`` belongs to.

    Raises:
        InputError: If there is no such point on a net.

    A pin goes before a net of the same name.
    """
    if pin := pin_at(board, name):
        return board.index.net_of_pin[pin]
    if (via := board.index.vias.get(name)) and via.net in board.nets:
        return via.net
    if name in board.nets:
        return name
    raise InputError(
        f"{board.name} has no point {name!r:.60}",
        expected="a pin on a net such as U3.9, a via such as V17, or a net's name",
    )


__all__ = ["KINDS", "SYMPTOM_WORDS", "Observation", "ObservationKind", "observation", "parse_observations"]
