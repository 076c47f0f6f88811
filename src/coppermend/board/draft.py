"""A board as it is being drawn in by hand: parts placed one by one, nets as lines of pins. Makes a board of it.

For boards without CAD data: what one sees on the board and reads from a schematic is enough for all that asks only
for the netlist and for where parts sit.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from typing import Any

from coppermend.board.model import Board, Part, PinRef, Rail, Section
from coppermend.board.packages import with_package_pads
from coppermend.board.parttypes import PartLibrary
from coppermend.errors import InputError

_TEXTS = tuple(f.name for f in fields(Part) if f.type == "str" and f.name != "refdes")
MOST_PARTS, MOST_MM, LONGEST = 5000, 1000.0, 200


def draft_board(draft: Mapping[str, Any], library: PartLibrary) -> Board:
    """The board that a draft describes.

    Args:
        draft: Keys ``name``, ``width_mm``, ``height_mm``; ``parts``: a list of objects with the columns of
            parts.csv (a part without a package gets that of its type); ``nets``: lines ``NET: U1.3 R2.1``;
            ``rails``: lines ``+5V 5``. Left out: empty.
        library: Part types.

    Raises:
        InputError: If something is missing or wrong; ``where`` says "part 3", "nets" or "rails", with the line.
    """
    width, height = (_number(draft.get(key), key, "the board") for key in ("width_mm", "height_mm"))
    if width <= 0 or height <= 0:
        raise InputError(f"the board is {width:g} × {height:g} mm", expected="a width and a height above 0")
    parts = draft.get("parts", [])
    if not isinstance(parts, list) or len(parts) > MOST_PARTS:
        raise InputError("parts are no list", expected=f"a list of at most {MOST_PARTS} parts")
    made = tuple(_part(part, f"part {number}", library) for number, part in enumerate(parts, 1))
    _refuse_twins(made)
    name = _word(draft, "name", "the board")
    if not name:
        raise InputError("the board has no name", expected="a name for it, such as the one printed on it")
    return with_package_pads(
        Board(
            name=name,
            width_mm=width,
            height_mm=height,
            parts=made,
            nets=read_nets(str(draft.get("nets", ""))),
            sections=tuple(Section(s) for s in dict.fromkeys(p.section for p in made) if s),
            rails=read_rails(str(draft.get("rails", ""))),
        )
    )


def read_nets(text: str) -> dict[str, tuple[PinRef, ...]]:
    """Nets from lines ``NET: U1.3 R2.1``; blank lines and what follows a ``#`` are left out.

    A net may go on in another line of the same name.

    Raises:
        InputError: If a line is no such line, or a pin stands on two nets.

    >>> read_nets("GND: U1.7, C1.2")
    {'GND': (PinRef(refdes='U1', pin='7'), PinRef(refdes='C1', pin='2'))}
    """
    nets: dict[str, list[PinRef]] = {}
    net_of: dict[PinRef, str] = {}
    for number, line in _lines(text):
        name, colon, pins = line.partition(":")
        name = name.strip()
        if not colon or not name or " " in name:
            raise _wrong(line, "a line such as GND: U1.7 C1.2", "nets", number)
        for word in pins.replace(",", " ").split():
            refdes, dot, pin = word.partition(".")
            if not (refdes and dot and pin) or "." in pin:
                raise _wrong(word, "a pin such as U1.7", "nets", number)
            ref = PinRef(refdes, pin)
            if net_of.setdefault(ref, name) != name:
                raise _wrong(f"{word} is on {net_of[ref]} already", "each pin on one net", "nets", number)
            if ref not in nets.setdefault(name, []):
                nets[name].append(ref)
        nets.setdefault(name, [])
    return {name: tuple(pins) for name, pins in nets.items()}


def read_rails(text: str) -> tuple[Rail, ...]:
    """Rails from lines ``+5V 5``: the net and its volts.

    Raises:
        InputError: If a line is no such line.
    """
    rails = []
    for number, line in _lines(text):
        words = line.split()
        try:
            volts = float(words[1]) if len(words) == 2 else math.nan
        except ValueError:
            volts = math.nan
        if not math.isfinite(volts):
            raise _wrong(line, "a net and its volts, such as +5V 5", "rails", number)
        rails.append(Rail(words[0], volts))
    return tuple(rails)


def _lines(text: str) -> list[tuple[int, str]]:
    plain = ((n, line.partition("#")[0].strip()) for n, line in enumerate(text.splitlines(), 1))
    return [(number, line) for number, line in plain if line]


def _wrong(found: str, expected: str, where: str, line: int) -> InputError:
    return InputError(found[:LONGEST], expected=expected, where=where, line=line)


def _part(sent: object, where: str, library: PartLibrary) -> Part:
    if not isinstance(sent, dict):
        raise InputError("is no part", expected="an object with refdes, type, x_mm, y_mm", where=where)
    refdes = _word(sent, "refdes", where)
    if not refdes or "." in refdes or " " in refdes:
        raise InputError(f"refdes is {refdes!r}", expected="a name such as U3", where=where)
    side = sent.get("side", "top")
    if side not in ("top", "bottom"):
        raise InputError(f"side is {side!r:.40}", expected="top or bottom", where=where)
    texts = {key: _word(sent, key, where) for key in _TEXTS}
    made = Part(
        refdes,
        x_mm=_number(sent.get("x_mm", 0), "x_mm", where),
        y_mm=_number(sent.get("y_mm", 0), "y_mm", where),
        rotation_deg=_number(sent.get("rotation_deg", 0), "rotation_deg", where),
        side=side,
        socketed=sent.get("socketed") is True,
        **texts,
    )
    kind = library.of(made)
    if made.package or kind is None:
        return made
    return replace(made, package=kind.package)


def _refuse_twins(parts: Sequence[Part]) -> None:
    seen: set[str] = set()
    for number, part in enumerate(parts, 1):
        if part.refdes in seen:
            raise InputError(
                f"{part.refdes} is there already", expected="each refdes once", where=f"part {number}"
            )
        seen.add(part.refdes)


def _word(sent: Mapping[str, Any], key: str, where: str) -> str:
    value = sent.get(key, "")
    if not isinstance(value, str) or len(value) > LONGEST or any(ord(c) < 32 for c in value):
        raise InputError(
            f"{key} is {value!r:.40}", expected=f"a text of at most {LONGEST} characters", where=where
        )
    return value.strip()


def _number(value: object, key: str, where: str) -> float:
    if type(value) not in (int, float) or not math.isfinite(value) or abs(value) > MOST_MM:  # type: ignore[arg-type]
        raise InputError(f"{key} is {value!r:.40}", expected=f"a number up to {MOST_MM:g}", where=where)
    return float(value)  # type: ignore[arg-type]
