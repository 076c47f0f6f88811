"""From a parts list and pads to the board's parts and reference points. Chooses no frame, reads no text."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence

from coppermend.board.guess import guess_package, guess_type, is_socket
from coppermend.board.import_copper import Mounting, NetPad
from coppermend.board.model import Pad, Part, ReferencePoint
from coppermend.board.parttypes import PartLibrary
from coppermend.board.readers.partscsv import ImportedPart

_MOUNTING_REFDES = re.compile(r"REF\*+|M?H\d*|MTG\d*|HOLE\d*", re.IGNORECASE)


def listed_part(
    row: ImportedPart, shift_mm: tuple[float, float], pins: Mapping[str, int], library: PartLibrary
) -> Part:
    """A row of the parts list as a part of the board, moved into its frame."""
    package = row.package or guess_package(row.footprint)
    clues = " ".join(filter(None, (row.footprint, row.package)))
    return Part(
        refdes=row.refdes,
        type=row.type or guess_type(row.refdes, row.value, clues, pins.get(row.refdes, 0), library),
        value=row.value,
        x_mm=round((row.x_mm or 0.0) + shift_mm[0], 4),
        y_mm=round((row.y_mm or 0.0) + shift_mm[1], 4),
        rotation_deg=row.rotation_deg,
        side=row.side,
        section=row.section,
        package=package,
        socketed=row.socketed or is_socket(row.footprint),
        notes=row.notes,
    )


def unlisted_parts(
    pads: Sequence[NetPad], listed: Iterable[str], pins: Mapping[str, int], library: PartLibrary
) -> list[Part]:
    """Parts that only pads tell of, each placed at its first pin.

    A refdes that stands for "any" (``REF**``) names one part for each of its pads.
    """
    known = set(listed)
    places: dict[tuple[str, int], Pad] = {}
    for number, (_, pad) in enumerate(pads):
        if pad.refdes in known:
            continue
        key = (pad.refdes, number if "*" in pad.refdes else 0)
        if key not in places or _first(pad) < _first(places[key]):
            places[key] = pad
    return [
        Part(
            refdes=pad.refdes,
            type=guess_type(pad.refdes, "", "", pins.get(pad.refdes, 0), library),
            x_mm=pad.x_mm,
            y_mm=pad.y_mm,
            side="bottom" if pad.side == "bottom" else "top",
        )
        for pad in places.values()
    ]


def _first(pad: Pad) -> tuple[bool, bool, str]:
    """Sort key under which pin 1 comes first."""
    return pad.pin != "1", pad.pin != "A1", pad.pin


def pin_counts(pads: Iterable[NetPad]) -> dict[str, int]:
    """How many distinct pins each refdes has."""
    pins: dict[str, set[str]] = defaultdict(set)
    for _, pad in pads:
        pins[pad.refdes].add(pad.pin)
    return {refdes: len(names) for refdes, names in pins.items()}


def with_default_places(
    parts: Sequence[ImportedPart], pads: Iterable[NetPad], shift_mm: tuple[float, float]
) -> tuple[list[ImportedPart], list[str]]:
    """Rows without a place, put at their first pin; notes name those that have no pads either."""
    first: dict[str, Pad] = {}
    for _, pad in pads:
        if pad.refdes not in first or _first(pad) < _first(first[pad.refdes]):
            first[pad.refdes] = pad
    placed, lost = [], []
    for row in parts:
        if row.x_mm is None and row.refdes in first:
            at = first[row.refdes]
            x, y = at.x_mm - shift_mm[0], at.y_mm - shift_mm[1]
            placed.append(row._replace(x_mm=x, y_mm=y, side="bottom" if at.side == "bottom" else row.side))
        else:
            placed.append(row)
            if row.x_mm is None:
                lost.append(row.refdes)
    notes = (
        [f"no place is known for {', '.join(lost[:8])}{' and others' if len(lost) > 8 else ''}"]
        if lost
        else []
    )
    return placed, notes


def reference_points(
    mountings: Sequence[Mounting], pads: Iterable[NetPad], parts: Iterable[Part]
) -> tuple[ReferencePoint, ...]:
    """Mounting holes H1, H2, ... from the lower left, rows upward: bare holes, and pads of mounting-hole parts."""
    packages: dict[str, str] = {}
    for part in parts:
        packages.setdefault(part.refdes, part.package.upper())
    owner = {(round(p.x_mm, 2), round(p.y_mm, 2)): p.refdes for _, p in pads}
    holes = {}
    for hole in mountings:
        place = round(hole.x_mm, 2), round(hole.y_mm, 2)
        refdes = owner.get(place)
        if refdes is None or _MOUNTING_REFDES.fullmatch(refdes) or "HOLE" in packages.get(refdes, ""):
            holes[place] = hole
    ordered = sorted(holes.values(), key=lambda h: (round(h.y_mm, 1), round(h.x_mm, 1)))
    return tuple(ReferencePoint(f"H{n}", h.x_mm, h.y_mm) for n, h in enumerate(ordered, 1))


def repeated(parts: Iterable[Part]) -> list[str]:
    """Refdes that more than one part carries."""
    return sorted(refdes for refdes, count in Counter(p.refdes for p in parts).items() if count > 1)
