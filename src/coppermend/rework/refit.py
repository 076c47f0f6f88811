"""The refit list: what goes back or comes new, in soldering order, and the kit to have at hand. No prices."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import replace

from coppermend.board.cautions import PRACTICE, Caution, cautions_called
from coppermend.board.kinds import is_ic, kind_of, natural_key
from coppermend.board.model import Board, Pad, Part, PinRef
from coppermend.board.packages import body_shape, with_package_pads
from coppermend.board.parttypes import PartLibrary
from coppermend.rework.records import KitLine, RefitItem, Remedy, StripItem
from coppermend.rework.strip import height_mm

_ADDED_MM = 5.0  # height of a part that a remedy adds, until its package is known


def refit_list(
    board: Board,
    library: PartLibrary,
    strip: Sequence[StripItem],
    chosen_remedies: Sequence[Remedy] = (),
    tested_bad: Collection[str] = (),
) -> tuple[RefitItem, ...]:
    """What goes onto the board after cleaning.

    A part with fate ``refit`` or ``test`` goes back, unless it is in ``tested_bad``; a discarded one comes
    new, unless a chosen remedy takes its place. A battery goes back only off the board.

    Args:
        board: The board.
        library: Part types.
        strip: What came off, of ``strip_list``.
        chosen_remedies: Remedies that are carried out.
        tested_bad: Refdes of parts that failed their test off the board.

    Returns:
        Lowest bodies first, then taller ones, then sockets, soldered chips, and chips into sockets last.
    """
    board = with_package_pads(board)
    gone = {refdes for remedy in chosen_remedies for refdes in remedy.parts_off}
    new = [item for remedy in chosen_remedies for item in _remedy_items(board, library, remedy)]
    placed = {item.refdes for item in new}
    back = [
        _stripped_item(board, library, item, item.refdes in tested_bad)
        for item in strip
        if item.refdes not in placed and (item.socket or item.refdes not in gone)
    ]
    ordered = sorted([*back, *new], key=lambda item: _rank(board, library, item))
    return tuple(replace(item, order=number) for number, item in enumerate(ordered, 1))


def _stripped_item(board: Board, library: PartLibrary, item: StripItem, bad: bool) -> RefitItem:
    part = board.index.parts[item.part]
    fresh = item.fate == "discard" or bad
    kind = kind_of(part, library)
    notes = []
    if bad:
        notes.append("failed its test off the board")
    elif item.fate == "test":
        notes.append("goes back once it has passed its test")
    if kind == "battery" and not item.socket:
        notes.append(f"fit it away from the board in a holder, never on it ({PRACTICE}), or choose a remedy")
    own_socket = item.socket and item.refdes != item.part
    return RefitItem(
        order=0,
        refdes=item.refdes,
        part=item.part,
        type="ic-socket" if own_socket else part.type,
        value="" if own_socket else part.value,
        package=part.package,
        source="new" if fresh else "refit",
        polarity=_notch(board, part) if own_socket else polarity_words(board, library, part),
        note="; ".join(notes),
        section=item.section,
        cautions=_cautions(board, library, part, own_socket),
    )


def _remedy_items(board: Board, library: PartLibrary, remedy: Remedy) -> list[RefitItem]:
    return [
        _remedy_item(board, library, remedy, line, refdes)
        for line in remedy.parts_on
        for refdes in line.refdes
    ]


def _remedy_item(board: Board, library: PartLibrary, remedy: Remedy, line: KitLine, refdes: str) -> RefitItem:
    place = refdes if refdes in board.index.parts else _socketed(board, refdes)
    part = board.index.parts.get(place)
    here = replace(part, type=line.type, value=line.value) if part else None
    socket = line.type == "ic-socket"
    words = "" if here is None else _notch(board, here) if socket else polarity_words(board, library, here)
    return RefitItem(
        order=0,
        refdes=refdes,
        part=place,
        type=line.type,
        value=line.value,
        # Another kind of part comes in a package of its own, whatever the pads are.
        package=line.package or (part.package if part and part.type == line.type else ""),
        source="new",
        polarity=words,
        note=line.note,
        section=part.section if part else "",
        remedy=remedy.id,
        cautions=remedy.cautions,
    )


def _socketed(board: Board, refdes: str) -> str:
    """The part that sits in the socket ``refdes`` (XU5 -> U5), or ""."""
    inner = refdes[1:] if refdes.startswith("X") else ""
    return inner if inner in board.index.parts else ""


def _cautions(board: Board, library: PartLibrary, part: Part, socket: bool) -> tuple[Caution, ...]:
    codes = ["static"] if is_ic(part, library) and not socket else []
    kind = kind_of(part, library)
    if kind in ("electrolytic", "supercapacitor", "battery"):
        codes.append("polarity")
    if kind == "battery":
        codes.append("primary cell")
    if not part.socketed or socket:
        codes += ["iron", "fumes", "lead"]
    return cautions_called(*codes)


_PLUS, _STRIPE = ("+", "POS", "PLUS"), ("K", "CATHODE")


def polarity_words(board: Board, library: PartLibrary, part: Part) -> str:
    """How ``part`` must lie, seen from the top: "stripe to the left (D3.1, net D3)"; "" when either way is right.

    Chips are told by pin 1; a part whose type is unknown or not polarised says nothing.
    """
    known = library.of(part)
    if is_ic(part, library):
        return _notch(board, part)
    if known is None or not known.polarised:
        return ""
    for marks, word in ((_STRIPE, "stripe (cathode)"), (_PLUS, "plus")):
        for spec in known.pins:
            if spec.name.upper() in marks:
                return _toward(board, PinRef(part.refdes, spec.number), word)
    return (
        _toward(board, PinRef(part.refdes, known.pins[0].number), f"pin {known.pins[0].number}")
        if known.pins
        else ""
    )


def _toward(board: Board, pin: PinRef, word: str) -> str:
    net = board.index.net_of_pin.get(pin, "")
    at = f"{pin}, net {net}" if net else str(pin)
    direction = _direction(board, pin)
    return f"{word} {direction} ({at})" if direction else f"{word} to {at}"


def _direction(board: Board, pin: PinRef) -> str:
    """Where a pin lies from the middle of its part's pads, seen from the top; "" without pads."""
    pads = board.index.pads_of_part.get(pin.refdes, ())
    here = board.index.pads.get(pin)
    if here is None or len(pads) < 2:
        return ""
    return _compass(here, sum(p.x_mm for p in pads) / len(pads), sum(p.y_mm for p in pads) / len(pads))


def _compass(pad: Pad, x_mm: float, y_mm: float) -> str:
    dx, dy = pad.x_mm - x_mm, pad.y_mm - y_mm
    across = "right" if dx > 0 else "left"
    along = "top" if dy > 0 else "bottom"
    if abs(dx) > 2 * abs(dy):
        return f"to the {across}"
    return f"to the {along}" if abs(dy) > 2 * abs(dx) else f"to the {along} {across}"


def _notch(board: Board, part: Part) -> str:
    pin = PinRef(part.refdes, "1")
    pad = board.index.pads.get(pin)
    body = body_shape(board, part)
    if pad is None or body.is_empty:
        return "pin 1 as marked on the board"
    centre = body.centroid
    dx, dy = pad.x_mm - centre.x, pad.y_mm - centre.y
    corner = f"{'upper' if dy > 0 else 'lower'} {'right' if dx > 0 else 'left'}"
    return f"pin 1 at the {corner}, notch as printed"


def _rank(board: Board, library: PartLibrary, item: RefitItem) -> tuple[object, ...]:
    part = board.index.parts.get(item.part)
    socket = item.type in ("ic-socket", "socket")
    chip = is_ic(part, library) if part else item.type.startswith("supervisor")
    group = 1 if socket else 0
    if chip and not socket:
        group = 3 if part and part.socketed else 2
    height = height_mm(part, kind_of(part, library)) if part else _ADDED_MM
    return group, height, item.section, natural_key(item.refdes)


def kit(refit: Sequence[RefitItem]) -> tuple[KitLine, ...]:
    """What to buy or take from the shelf: the new parts of a refit list, equal ones merged into one line.

    Returns:
        Lines by type, value and package; () when everything goes back.
    """
    groups: dict[tuple[str, str, str], list[RefitItem]] = defaultdict(list)
    for item in refit:
        if item.source == "new":
            groups[item.type, item.value, item.package].append(item)
    return tuple(
        KitLine(
            *key,
            quantity=len(items),
            refdes=tuple(sorted((item.refdes for item in items), key=natural_key)),
            note="; ".join(dict.fromkeys(item.note for item in items if item.note)),
        )
        for key, items in sorted(groups.items())
    )
