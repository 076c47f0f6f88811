"""Where a point of the board is, in words that a technician with two probes can follow. No drawing, no judgement.

Left, right, upper and lower are those of the board drawing: seen from the top, y up. Pins of a dual in-line
package are counted from the notch, in the row of pin 1 or in the row opposite.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from coppermend.board.kinds import is_ic, kind_of
from coppermend.board.model import Board, Pad, PadSide, Part, PinRef
from coppermend.board.parttypes import PartLibrary
from coppermend.board.same import Same

_REMEMBERED = 4096
_SIDES: dict[PadSide, str] = {"both": "both sides", "top": "top side", "bottom": "bottom side"}
_LEADS = {
    "K": "cathode", "A": "anode", "+": "plus", "-": "minus", "B": "base", "C": "collector", "E": "emitter",
    "G": "gate", "D": "drain", "S": "source", "W": "wiper",
}  # fmt: skip
_LEADED = frozenset({"diode", "led", "electrolytic", "supercapacitor", "battery", "transistor", "trimmer"})
_DIP = re.compile(r"(?i)(?:.*:)?(?:(SW)[-_]|\w+[-_])?[SPC]?DIP[-_]?(\d+)")
_AROUND = ("right", "upper right", "above", "upper left", "left", "lower left", "below", "lower right")


def part_words(part: Part) -> str:
    """A part with what is printed on it.

    >>> part_words(Part("U3", "7432")), part_words(Part("R5", "resistor", "4k7")), part_words(Part("X1"))
    ('U3 (7432)', 'R5 (4k7)', 'X1')
    """
    printed = part.value or part.type
    return f"{part.refdes} ({printed})" if printed else part.refdes


def where_words(board: Board, library: PartLibrary, point: str) -> str:
    """Where ``point`` is and which side a probe can touch it on.

    Args:
        board: The board; without pads the words end at the pin count.
        library: Names the leads of diodes, transistors and other discrete parts.
        point: ``REFDES.PIN`` or a via's name.

    Returns:
        For example "pin 9 of U3 (7432), 6th from the notch in the row opposite pin 1, lower right, both sides" or
        "via V17, 3.2 mm upper left of U3 pin 9, both sides".

    Raises:
        UnknownName: If the board has no such pin, pad or via.

    The words are remembered: those of a plan are asked for again after every reading.
    """
    return _words(Same(board), Same(library), point)


@lru_cache(maxsize=_REMEMBERED)
def _words(same: Same[Board], types: Same[PartLibrary], point: str) -> str:
    board, library = same.thing, types.thing
    if point in board.index.vias:
        return _via_words(board, point)
    refdes, _, pin = point.rpartition(".")
    ref = PinRef(refdes, pin)
    pad = board.index.pads.get(ref)
    if pad is None and ref not in board.index.net_of_pin:
        board.index.place(point)  # raises, naming the point and how to write one
    part = board.index.parts.get(refdes) or Part(refdes)
    words = [_pin_words(part, pin, library), _count_words(board, part, pin, library)]
    if pad:
        words += [_corner_words(pad, board.index.pads_of_part.get(refdes, ())), _SIDES[pad.side]]
    return ", ".join(word for word in words if word)


def _pin_words(part: Part, pin: str, library: PartLibrary) -> str:
    known = library.of(part)
    spec = known.pin(pin) if known else None
    lead = _LEADS.get(spec.name, "") if spec and kind_of(part, library) in _LEADED else ""
    return f"{lead} (pin {pin}) of {part_words(part)}" if lead else f"pin {pin} of {part_words(part)}"


def _count_words(board: Board, part: Part, pin: str, library: PartLibrary) -> str:
    """Which pin it is from the notch (chips) or from the end of pin 1, in a package with two rows."""
    pins = _dip_pins(board, part, library)
    if not pin.isdigit() or not 1 <= int(pin) <= pins:
        return ""
    near = int(pin) <= pins // 2
    place = int(pin) if near else pins + 1 - int(pin)
    end = "the notch" if is_ic(part, library) else "the end of pin 1"
    return f"{ordinal(place)} from {end} in the row {'of' if near else 'opposite'} pin 1"


def _dip_pins(board: Board, part: Part, library: PartLibrary) -> int:
    """Pins of a dual in-line package; 0 for any other."""
    known = library.of(part)
    found = _DIP.match(part.package or (known.package if known else ""))
    if not found:
        return 0
    # A switch bank's name counts positions, others count pins; pads settle it where there are any.
    named = int(found[2]) * (2 if found[1] else 1)
    return len({pad.pin for pad in board.index.pads_of_part.get(part.refdes, ())}) or named


def _corner_words(pad: Pad, pads: Sequence[Pad]) -> str:
    """Which corner, side or lead of its part a pad is: "lower right", "left lead", "" for a lone pad."""
    xs, ys = [p.x_mm for p in pads], [p.y_mm for p in pads]
    across = _third(pad.x_mm, min(xs), max(xs), "left", "right")
    upright = _third(pad.y_mm, min(ys), max(ys), "lower", "upper")
    corner = f"{upright} {across}".strip()
    return f"{corner} lead" if corner and len(pads) == 2 else corner


def _third(at: float, low: float, high: float, below: str, above: str) -> str:
    """``below`` in the first third from ``low`` to ``high`` [mm], ``above`` in the last, "" between."""
    if high - low < 0.5:
        return ""
    share = (at - low) / (high - low)
    return below if share < 1 / 3 else above if share > 2 / 3 else ""


def _via_words(board: Board, name: str) -> str:
    via = board.index.vias[name]
    if not board.pads:
        return f"via {name} at x {via.x_mm:.1f} mm, y {via.y_mm:.1f} mm, both sides"
    places = np.array([(pad.x_mm, pad.y_mm) for pad in board.pads])
    offsets = np.array([via.x_mm, via.y_mm]) - places
    nearest = int(np.argmin(np.hypot(offsets[:, 0], offsets[:, 1])))
    pad, (dx, dy) = board.pads[nearest], offsets[nearest].tolist()
    return f"via {name}, {_offset_words(dx, dy)} {pad.refdes} pin {pad.pin}, both sides"


def _offset_words(dx_mm: float, dy_mm: float) -> str:
    """Distance and direction: "3.2 mm upper left of"; within a tenth of a millimetre "at"."""
    distance_mm = math.hypot(dx_mm, dy_mm)
    if distance_mm < 0.1:
        return "at"
    word = _AROUND[round(math.atan2(dy_mm, dx_mm) / (math.pi / 4)) % 8]
    return f"{distance_mm:.1f} mm {word}{'' if word in ('above', 'below') else ' of'}"


def ordinal(number: int) -> str:
    """The counting word of a positive number.

    >>> [ordinal(n) for n in (1, 2, 3, 4, 11, 22)]
    ['1st', '2nd', '3rd', '4th', '11th', '22nd']
    """
    ending = {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{'th' if number % 100 in (11, 12, 13) else ending}"
