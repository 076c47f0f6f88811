"""Remedies by renewal: supply capacitors, sockets, and the note on several small EPROMs. No re-design."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Mapping, Sequence

from coppermend.board.cautions import HAZARDOUS_VOLTS_DC, PRACTICE, cautions_called
from coppermend.board.kinds import kind_of, natural_key
from coppermend.board.model import Board, Part, Rail
from coppermend.board.parttypes import PartLibrary
from coppermend.board.roles import NetRole
from coppermend.board.subject import part_subject
from coppermend.rework.records import Check, KitLine, Remedy, StripItem

# Usual rated voltages of aluminium electrolytics [V], IEC 60384-4 series (from memory).
_RATINGS_V = (6.3, 10.0, 16.0, 25.0, 35.0, 50.0, 63.0, 100.0, 160.0, 200.0, 250.0, 350.0, 400.0, 450.0)
_HEADROOM = 1.5  # rated over highest working voltage; common practice, no source
_EPROM_BYTES = {
    "2708": 1024, "2716": 2048, "2516": 2048, "2316": 2048, "2732": 4096, "2532": 4096, "2332": 4096,
    "2764": 8192, "2364": 8192, "27128": 16384, "27256": 32768, "27512": 65536,
}  # fmt: skip
_LARGER = ("2732", "2764", "27128", "27256", "27512")


def supply_capacitors(board: Board, library: PartLibrary, roles: Mapping[str, NetRole]) -> Remedy | None:
    """Every aluminium electrolytic on a rail renewed, with a rating that suits its rail.

    Returns:
        None when no electrolytic stands on a rail.
    """
    found = [
        (part, rail)
        for part in board.index.parts.values()
        if kind_of(part, library) == "electrolytic" and (rail := _rail_of(board, roles, part))
    ]
    if not found:
        return None
    checks = [_rating_check(part, board.index.rails[net]) for part, net in found if net in board.index.rails]
    highest = max((abs(r.volts) for r in board.rails), default=0.0)
    codes = ["polarity", "stored charge"] + (["display supply"] if highest > HAZARDOUS_VOLTS_DC else [])
    refdes = tuple(sorted((part.refdes for part, _ in found), key=natural_key))
    return Remedy(
        id="supply-capacitors",
        title="fresh supply capacitors",
        why=f"Electrolytics on the rails ({', '.join(refdes)}) dry out with age ({PRACTICE}), and a reset or memory "
        "fault on a rippled rail looks like anything else.",
        parts_off=refdes,
        parts_on=tuple(_capacitor_line(board, part, net) for part, net in found),
        steps=("Discharge, renew one at a time, check polarity before power.",),
        checks=tuple(checks),
        changes=frozenset(part_subject(r) for r in refdes),
        cautions=cautions_called(*codes),
    )


def _rail_of(board: Board, roles: Mapping[str, NetRole], part: Part) -> str:
    for pin in board.index.pins_of_part.get(part.refdes, ()):
        net = board.index.net_of_pin[pin]
        if net in roles and roles[net].role == "rail":
            return net
    return ""


def rating_for_v(working_v: float) -> float | None:
    """The usual rated voltage with half as much again in hand [V], or None beyond the series.

    >>> rating_for_v(5.25), rating_for_v(12.6), rating_for_v(26.4)
    (10.0, 25.0, 50.0)
    """
    return next((rated for rated in _RATINGS_V if rated >= _HEADROOM * working_v), None)


def _fitted_rating_v(part: Part) -> float | None:
    """The rated voltage that a value such as ``4700u/16V`` states [V]."""
    found = re.search(r"(\d+(?:\.\d+)?)\s*V\b", part.value, re.IGNORECASE)
    return float(found[1]) if found else None


def _new_rating_v(board: Board, part: Part, net: str) -> float | None:
    rail = board.index.rails.get(net)
    needed = rating_for_v(abs(rail.volts) * (1 + rail.tolerance)) if rail else None
    ratings = [rated for rated in (needed, _fitted_rating_v(part)) if rated]
    return max(ratings, default=None)


def _capacitor_line(board: Board, part: Part, net: str) -> KitLine:
    rated = _new_rating_v(board, part, net)
    rating = f"{rated:g} V" if rated else "rated as the old one or higher"
    value = re.sub(r"\s*[/ ]?\s*\d+(?:\.\d+)?\s*V\b", "", part.value, flags=re.IGNORECASE).strip()
    return KitLine(
        part.type or "electrolytic",
        value,
        part.package,
        1,
        (part.refdes,),
        f"{rating}, 105 °C, low series resistance",
    )


def _rating_check(part: Part, rail: Rail) -> Check:
    working = abs(rail.volts) * (1 + rail.tolerance)
    rated = _fitted_rating_v(part) or rating_for_v(working)
    return Check(
        f"rating of {part.refdes}",
        f"{rated:g} V" if rated else "none in the series",
        f"at least {working:.2f} V",
        rated is not None and rated >= working,
        f"highest rail voltage; half as much again for a new one: {PRACTICE}",
        "" if rated is None or rated >= working else "the old part was rated too low for this rail",
    )


def sockets(board: Board, strip: Sequence[StripItem]) -> Remedy | None:
    """New turned-pin sockets for all that come off.

    Returns:
        None when no socket comes off.
    """
    off = [item for item in strip if item.socket]
    if not off:
        return None
    groups: dict[str, list[StripItem]] = defaultdict(list)
    for item in off:
        groups[item.package].append(item)
    return Remedy(
        id="turned-pin-sockets",
        title="turned-pin sockets",
        why=f"{len(off)} sockets come off; turned pins hold the leads of old chips better than leaf contacts.",
        parts_off=(),
        parts_on=tuple(
            KitLine("ic-socket", "turned pin", package, len(items), tuple(i.refdes for i in items))
            for package, items in sorted(groups.items())
        ),
        steps=("Solder one corner first, press flat, then the rest; notch as printed on the board.",),
        checks=tuple(_socket_check(board, item) for item in off if _leads(item.package)),
        changes=frozenset(part_subject(item.part) for item in off),
        cautions=cautions_called("iron", "fumes", "lead"),
    )


def _leads(package: str) -> int:
    """Leads that a package's name states, 0 when it states none."""
    found = re.search(r"-(\d+)", package)
    return int(found[1]) if found else 0


def _socket_check(board: Board, item: StripItem) -> Check:
    leads = _leads(item.package)
    pads = len({pad.pin for pad in board.index.pads_of_part.get(item.part, ())})
    return Check(
        f"pins of {item.refdes}",
        f"{item.package}: {leads}",
        f"{pads} pads at {item.part}" if pads else "pads unknown",
        pads in (0, leads),
        "board's pads; dual in-line outlines JEDEC MS-001 and MS-011 (from memory)",
    )


def larger_eprom(board: Board, library: PartLibrary) -> Remedy | None:
    """A note that several small ROMs would fit one larger device; it offers no parts.

    Returns:
        None with fewer than two ROMs of known size, or when no device holds them all.
    """
    sizes = {part.refdes: size for part in board.index.parts.values() if (size := _rom_bytes(part, library))}
    total = sum(sizes.values())
    device = next((name for name in _LARGER if _EPROM_BYTES[name] >= total), None)
    if len(sizes) < 2 or device is None:
        return None
    names = ", ".join(sorted(sizes, key=natural_key))
    return Remedy(
        id="larger-eprom",
        title=f"one {device} for {names}",
        why=f"{names} hold {total} bytes in all, and one {device} holds {_EPROM_BYTES[device]}: fewer sockets to fail.",
        steps=(
            "Needs an adapter or a wired socket: address lines and selects differ; read every old device first.",
        ),
        checks=(
            Check(
                "room for all programs",
                f"{total} bytes",
                f"{_EPROM_BYTES[device]} bytes in a {device}",
                total <= _EPROM_BYTES[device],
                "sizes of the standard EPROM series, public data sheets",
            ),
        ),
        cautions=cautions_called("static"),
        note_only=True,
    )


def _rom_bytes(part: Part, library: PartLibrary) -> int | None:
    known = library.of(part)
    if known is None or known.kind != "rom":
        return None
    return next((size for digits, size in _EPROM_BYTES.items() if digits in known.name), None)
