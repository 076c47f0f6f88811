"""A small circuit drawing of what a remedy adds: its new parts, their pins, and the nets and points they are wired to.

Drawn with schemdraw; whatever only takes the place of an old part of the same kind is drawn between its nets.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, Literal

import schemdraw
from schemdraw import elements as elm

from coppermend.board.kinds import kind_of, natural_key
from coppermend.board.model import Board, Part, PinRef
from coppermend.board.parttypes import PartLibrary
from coppermend.rework.apply import apply_remedy
from coppermend.rework.records import Remedy

_SYMBOLS = {
    "resistor": elm.ResistorIEC, "diode": elm.Diode, "capacitor": elm.Capacitor, "electrolytic": elm.Capacitor2,
    "supercapacitor": elm.Capacitor2, "battery": elm.BatteryCell, "led": elm.LED, "inductor": elm.Inductor,
}  # fmt: skip
_POLAR = ("electrolytic", "supercapacitor", "battery")
_MOST_PINS = 40
_ROW, _INK, _ROOM = 2.2, "currentColor", 60.0  # room in units of the picture beside the longest words
_LONGEST = 26


def remedy_svg(board: Board, library: PartLibrary, remedy: Remedy) -> str:
    """The drawing as one ``<svg>`` element, in the ink of its surroundings; "" when there is nothing to draw.

    Args:
        board: The board as it is.
        library: Part types, for pin names and symbols.
        remedy: What is done.

    Raises:
        InputError: If the remedy cannot be carried out on this board.
    """
    after = apply_remedy(board, library, remedy)
    rows, chips = _sorted_out(after, library, remedy)
    if not rows and not chips:
        return ""
    schemdraw.use("svg")  # no display and no second drawing library; pure text
    drawing = schemdraw.Drawing(show=False, unit=2.4, fontsize=11, color=_INK, lw=1.6)
    y = 0.0
    for row in rows:
        _draw_row(drawing, after, library, row, y)
        y -= _ROW
    for part in chips:
        y -= _draw_chip(drawing, after, library, (part, _leads(remedy)), y)
    return _finished(drawing.get_imagedata("svg").decode("utf-8"), remedy.title)


def _finished(picture: str, title: str) -> str:
    """The SVG without its prologue, with a title, and with room for words that the library takes for narrower."""
    x, y, wide, high = (float(n) for n in re.findall(r'viewBox="([^"]+)"', picture)[0].split())
    box = f'viewBox="{x - _ROOM:.0f} {y - 4:.0f} {wide + 2 * _ROOM:.0f} {high + 8:.0f}"'
    found = picture[picture.index("<svg") :]
    found = re.sub(r' (?:height|width)="[^"]+"', "", found, count=2)
    found = re.sub(
        r'viewBox="[^"]+"', f'{box} width="{wide + 2 * _ROOM:.0f}" height="{high + 8:.0f}"', found, count=1
    )
    # Attributes instead of style, which a page's content security policy forbids inline.
    found = re.sub(r'style="([^"]*)"', lambda m: _attributes(m[1]), found)
    opened = f'<svg class="circuit" role="img"><title>{_escaped(title)}</title>'
    return re.sub(r"^<svg([^>]*)>", opened.replace("<svg", r"<svg\1", 1), found, count=1)


def _attributes(style: str) -> str:
    """CSS declarations as presentation attributes; a dash pattern of "-" means none."""
    pairs = (item.split(":", 1) for item in style.split(";") if ":" in item)
    return " ".join(f'{name.strip()}="{value.strip()}"' for name, value in pairs if value.strip() != "-")


def _escaped(text: str) -> str:
    """Words as SVG text; a dollar would start a formula for the drawing library."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace("$", "&#36;")


def _sorted_out(after: Board, library: PartLibrary, remedy: Remedy) -> tuple[list[list[Part]], list[Part]]:
    """Two-pin parts in rows that hang together, and parts with more pins."""
    new = [r for line in remedy.parts_on for r in line.refdes if r in after.index.parts]
    parts = [after.index.parts[r] for r in sorted(dict.fromkeys(new), key=natural_key)]
    two = [
        p
        for p in parts
        if kind_of(p, library) in _SYMBOLS and len(set(_ends(after, p))) == len(_pins(after, p)) == 2
    ]
    more = [
        p
        for p in parts
        if p not in two and 2 < len(_pins(after, p)) <= _MOST_PINS and any(_wired(remedy, p.refdes))
    ]
    plugs = {plug for plug, _ in remedy.plugs}
    return _chains(after, two), [p for p in more if p.refdes not in plugs]


def _pins(board: Board, part: Part) -> list[PinRef]:
    return sorted(board.index.pins_of_part.get(part.refdes, ()), key=lambda pin: natural_key(pin.pin))


def _wired(remedy: Remedy, refdes: str) -> Iterator[tuple[str, str]]:
    return ((a, b) for a, b in remedy.jumpers if any(end.startswith(f"{refdes}.") for end in (a, b)))


def _chains(board: Board, parts: list[Part]) -> list[list[Part]]:
    """Parts in order of the nets that only they share: cell, resistor, diode in one row."""
    left, rows = list(parts), []
    own = {
        net
        for part in parts
        for net in _ends(board, part)
        if {p.refdes for p in board.nets[net]} <= {p.refdes for p in parts} and len(board.nets[net]) == 2
    }
    while left:
        # A row starts at a part with an end that leads away from the new parts.
        row = [next((p for p in left if sum(n in own for n in _ends(board, p)) < 2), left[0])]
        left.remove(row[0])
        while True:
            shared = set(_ends(board, row[-1])) & own
            following = next((p for p in left if set(_ends(board, p)) & shared), None)
            if following is None:
                break
            row.append(following)
            left.remove(following)
        rows.append(row)
    return rows


def _ends(board: Board, part: Part) -> list[str]:
    return [board.index.net_of_pin[pin] for pin in _pins(board, part)]


def _draw_row(
    drawing: schemdraw.Drawing, board: Board, library: PartLibrary, row: list[Part], y: float
) -> None:
    first, second = _ends(board, row[0])
    following = set(_ends(board, row[1])) if len(row) > 1 else set()
    net = second if first in following else first
    drawing.add(elm.Dot(open=True).at((0.0, y)).label(_escaped(net), loc="left"))
    for part in row:
        pins = {board.index.net_of_pin[pin]: pin for pin in _pins(board, part)}
        entered = pins[net]
        kind = kind_of(part, library) or "resistor"
        make: Any = _SYMBOLS[kind]
        symbol = make().right()
        known = library.of(part)
        spec = known.pin(entered.pin) if known else None
        name = spec.name.upper() if spec else ""
        # Symbols run from anode to cathode, from plus on for capacitors, and up to plus for cells.
        plus = name in ("+", "POS", "PLUS")
        against = name.startswith("K") if kind in ("diode", "led") else not plus and kind in _POLAR
        drawing.add(
            (symbol.reverse() if against else symbol).label(
                _escaped(f"{part.refdes}\n{part.value[:_LONGEST]}")
            )
        )
        net = next(other for other in pins if other != net)
    drawing.add(elm.Dot(open=True).label(_escaped(net), loc="right"))


def _leads(remedy: Remedy) -> dict[str, str]:
    """Where each end of a jumper leads."""
    return dict(remedy.jumpers) | {b: a for a, b in remedy.jumpers}


def _draw_chip(
    drawing: schemdraw.Drawing, board: Board, library: PartLibrary, wired: tuple[Part, dict[str, str]], y: float
) -> float:  # fmt: skip
    """Draw a part as a box with its pins and where each leads; the height that it takes."""
    part, leads = wired
    pins, known = _pins(board, part), library.of(part)
    half = (len(pins) + 1) // 2
    shown = []
    for number, pin in enumerate(pins):
        side: Literal["left", "right"] = "left" if number < half else "right"
        spec = known.pin(pin.pin) if known else None
        # Anti-clockwise as seen from the top, like the part itself; boxes count their slots from below.
        slot = half - number if side == "left" else number - half + 1
        shown.append(
            elm.IcPin(
                name=_escaped(spec.name if spec else pin.pin), pin=pin.pin, side=side, slot=f"{slot}/{half}",
                anchorname=f"p{pin.pin}",
            )
        )  # fmt: skip
    height = half * 0.7 + 0.8
    box = drawing.add(
        elm.Ic(pins=shown, size=(3.2, height), pinspacing=0.7, leadlen=0.6, plblofst=0.08)
        .at((3.5, y - height))
        .label(_escaped(f"{part.refdes} {part.value or part.type}"), "top")
    )
    for number, pin in enumerate(pins):
        net, to = board.index.net_of_pin[pin], leads.get(str(pin), "")
        words = f"{net}  {to}" if to and not to.startswith("WIRE") else net
        side = "left" if number < half else "right"
        drawing.add(elm.Dot(open=True).at(getattr(box, f"p{pin.pin}")).label(_escaped(words), loc=side))
    return height + 1.4
