"""Remedies for connectors: new header pins on the board, new contacts in the housing of the cable."""

from __future__ import annotations

import math
import re

from coppermend.board.atrisk import LIGHT, Touch
from coppermend.board.cautions import PRACTICE, cautions_called
from coppermend.board.kinds import kind_of, natural_key
from coppermend.board.model import Board, Part
from coppermend.board.packages import with_package_pads
from coppermend.board.parttypes import PartLibrary
from coppermend.board.subject import net_subject, part_subject
from coppermend.quantity import format_quantity
from coppermend.rework.loads import rail_load_a
from coppermend.rework.records import Check, KitLine, Remedy

# Side of the square pin [mm] and current of one contact [A] by pitch [mm]: makers' catalogues (from memory).
_PINS = {2.54: (0.64, 3.0), 3.96: (1.14, 7.0)}
# What rounded corners take off the diagonal of a square pin [mm] (from memory).
_ROUNDED_MM = 0.08
_LABOURED = ("supply", "solenoid", "lamp")  # kinds whose contacts carry amperes and burn


def header_pins(board: Board, library: PartLibrary, touch: Touch) -> Remedy | None:
    """New pins for headers that the damage touches, and for those that carry amperes.

    Returns:
        None when the board has no such header.
    """
    found = _headers(board, library, touch)
    if not found:
        return None
    board = with_package_pads(board)
    names = tuple(part.refdes for part in found)
    return Remedy(
        id="header-pins",
        title=f"new header pins at {', '.join(names)}",
        why="Pins that carry amperes lose their plating and crack their solder, and residue creeps up those in the "
        f"damage ({PRACTICE}); a new contact in the housing is soon eaten by an old pin.",
        parts_off=names,
        parts_on=tuple(
            KitLine(
                part.type, f"pin header, {_positions(board, part)} pins, {_pitch_mm(part):g} mm", part.package, 1,
                (part.refdes,), "plating as the housing's contacts: tin on tin, gold on gold",
            )
            for part in found
        ),
        steps=(
            "Note which pin is cut as a key before the old header goes; cut the same of the new one.",
            "Cut the old plastic away and draw the pins one at a time from the component side: the holes stay plated.",
            "Solder both end pins, press the header flat, then the rest; look at the joints from both sides.",
        ),
        checks=tuple(check for part in found for check in _header_checks(board, library, part)),
        changes=frozenset(part_subject(name) for name in names),
        cautions=cautions_called("iron", "fumes", "lead"),
        connections=tuple(
            (str(pin), board.index.net_of_pin[pin]) for name in names for pin in board.index.pins_of_part[name]
        ),
    )  # fmt: skip


def connector_contacts(board: Board, library: PartLibrary, touch: Touch) -> Remedy | None:
    """New crimp contacts in the cables' housings, for the same connectors as ``header_pins``.

    Returns:
        None when the board has no such header.
    """
    found = _headers(board, library, touch)
    if not found:
        return None
    board = with_package_pads(board)
    plugs = {part.refdes: f"P{part.refdes.lstrip('JPXCN')}" for part in found}
    return Remedy(
        id="connector-contacts",
        title=f"new contacts in the housings on {', '.join(plugs)}",
        why="A contact that was hot or wet has lost its spring, and heats the next pin it sits on; crimps of the right "
        f"gauge hold, solder wicked up a wire breaks ({PRACTICE}).",
        parts_on=tuple(
            KitLine(
                "crimp-contacts", f"{len(_wired(board, part))} crimp contacts, {_pitch_mm(part):g} mm",
                part.package, 1, (plugs[part.refdes],),
                f"with a new housing for {part.refdes}; a key in each position without a wire",
            )
            for part in found
        ),
        steps=(
            *(f"{plugs[p.refdes]}, position by position: {_wire_list(board, p)}." for p in found),
            "Move one wire at a time from the old housing to the new one, so that none can change places.",
            "Crimp conductor and insulation apart, pull each wire, and look for the latch of every contact.",
        ),
        checks=tuple(check for part in found for check in _contact_checks(board, library, part)),
        changes=frozenset(
            net_subject(board.index.net_of_pin[pin])
            for part in found
            for pin in board.index.pins_of_part[part.refdes]
        ),
        cautions=cautions_called("mains", "stored charge"),
    )  # fmt: skip


def _headers(board: Board, library: PartLibrary, touch: Touch) -> list[Part]:
    """Headers worth the work: touched, or of a kind that carries amperes; fingers of the board are none."""
    touched = {r for r, severity in touch.severity_of_part.items() if severity >= LIGHT}
    touched |= {pad.point.rpartition(".")[0] for pad in touch.pads if pad.severity >= LIGHT}
    laboured = {c.refdes for c in board.connectors if c.kind in _LABOURED}
    found = [
        part
        for part in board.index.parts.values()
        if part.refdes in touched | laboured
        and kind_of(part, library) == "connector"
        and part.package.upper().startswith("HDR")
        and board.index.pins_of_part.get(part.refdes)
    ]
    return sorted(found, key=lambda part: natural_key(part.refdes))


def _pitch_mm(part: Part) -> float:
    found = re.search(r"HDR-\dX\d+-([\d.]+)", part.package.upper())
    return float(found[1]) if found else 2.54


def _positions(board: Board, part: Part) -> int:
    rows = re.search(r"HDR-(\d)X(\d+)", part.package.upper())
    return int(rows[1]) * int(rows[2]) if rows else len(board.index.pads_of_part.get(part.refdes, ()))


def _wired(board: Board, part: Part) -> tuple[str, ...]:
    pins = {pin.pin for pin in board.index.pins_of_part[part.refdes]}
    return tuple(sorted(pins, key=natural_key))


def _wire_list(board: Board, part: Part) -> str:
    """What each position of the mating housing carries: the board's word for it, or its net."""
    said = next((c.signals for c in board.connectors if c.refdes == part.refdes), {})
    nets = {pin.pin: board.index.net_of_pin[pin] for pin in board.index.pins_of_part[part.refdes]}
    empty = [str(n) for n in range(1, _positions(board, part) + 1) if str(n) not in nets]
    words = [f"{pin} {said.get(pin) or nets[pin]}" for pin in _wired(board, part)]
    return ", ".join([*words, *(f"{pin} empty, key" for pin in empty)])


def _header_checks(board: Board, library: PartLibrary, part: Part) -> tuple[Check, ...]:
    pads = board.index.pads_of_part.get(part.refdes, ())
    positions, pitch = _positions(board, part), _pitch_mm(part)
    side = _PINS.get(pitch, _PINS[2.54])[0]
    across = side * math.sqrt(2.0) - _ROUNDED_MM
    least = min((pad.hole_mm for pad in pads if pad.hole_mm), default=None)
    return (
        Check(
            f"pins of {part.refdes}", f"{positions} in the new header",
            f"{len({p.pin for p in pads})} pads" if pads else "pads unknown",
            len({p.pin for p in pads}) in (0, positions), "board's pads",
        ),
        Check(
            f"holes of {part.refdes}", f"{least:.2f} mm" if least else "unknown", f"more than {across:.2f} mm",
            least is None or least > across,
            f"board's pads; a {side:g} mm square pin across its rounded corners, catalogues of pin headers (from memory)",
            "" if least else "measure the holes before ordering",
        ),
        *_contact_checks(board, library, part),
    )  # fmt: skip


def _contact_checks(board: Board, library: PartLibrary, part: Part) -> tuple[Check, ...]:
    """The board's own load shared by the contacts of each rail, where the connector brings that rail in."""
    if next((c.kind for c in board.connectors if c.refdes == part.refdes), "") != "supply":
        return ()
    rated = _PINS.get(_pitch_mm(part), _PINS[2.54])[1]
    found = []
    for net, rail in board.index.rails.items():
        contacts = [p for p in board.index.pins_of_part[part.refdes] if board.index.net_of_pin[p] == net]
        load = rail_load_a(board, library, net)
        if rail.volts and contacts and load:
            each = load / len(contacts)
            found.append(
                Check(
                    f"current of a contact of {part.refdes} for {net}", format_quantity(each, "A"),
                    f"at most {format_quantity(rated / 2, 'A')}", each <= rated / 2,
                    f"usual supply currents of the chips on {net} over {len(contacts)} contacts; half of the "
                    f"{rated:g} A of a new contact: {PRACTICE}, rating from memory",
                )
            )  # fmt: skip
    return tuple(found)
