"""What a damaged area touches: parts, pads, vias, tracks and nets, each with severity and share.

Composes ``overlap`` and ``bodies`` into the records of ``board/atrisk``; decides nothing about repair.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

import numpy as np
import shapely

from coppermend.board.atrisk import (
    LIGHT,
    Grade,
    Touch,
    TouchedNet,
    TouchedPad,
    TouchedPart,
    TouchedTrack,
    TouchedVia,
    grade,
)
from coppermend.board.kinds import natural_key
from coppermend.board.model import Board
from coppermend.board.packages import with_package_pads
from coppermend.board.parttypes import PartLibrary
from coppermend.board.roles import NetRole, net_roles
from coppermend.damage.area import DamageArea
from coppermend.damage.bodies import TouchedBody, touched_bodies
from coppermend.damage.overlap import Overlaps, copper_overlaps

NO_SECTION = ""


class SectionTouch(NamedTuple):
    """Touched parts (refdes) and nets of one section, worst first; "" gathers those of no section."""

    section: str
    parts: tuple[str, ...]
    nets: tuple[str, ...]


def touch(board: Board, library: PartLibrary, area: DamageArea) -> Touch:
    """Everything of ``board`` that lies in ``area``, light damage or worse, worst first.

    Copper on both layers counts, since an area has no side. A net is at risk when a pad, via or track of it
    is touched; one whose filled copper alone is touched is named in ``notes``. So is a part that has
    damage on two sides of its body, since it may have crept beneath.
    """
    based = with_package_pads(board)
    copper = copper_overlaps(area, based.space)
    pads, vias, tracks = _pads(based, copper), _vias(based, copper), _tracks(based, copper)
    bodies = touched_bodies(area, based)
    parts = _parts(based, bodies, pads)
    nets = _nets(based, library, pads, vias, tracks)
    return Touch(
        parts=parts,
        pads=pads,
        vias=vias,
        tracks=tracks,
        nets=nets,
        area_mm2=round(area.area_mm2, 3),
        notes=tuple(_notes(based, area, copper, bodies, nets)),
        areas=tuple(_areas(area)),
    )


def touch_by_section(touched: Touch, board: Board) -> tuple[SectionTouch, ...]:
    """Touched parts and nets grouped by section, in the board's order of sections, "" last.

    A net appears in every section that it serves.
    """
    names = [section.name for section in board.sections]
    names += sorted({part.section for part in touched.parts} | {s for n in touched.nets for s in n.sections})
    groups = []
    for name in dict.fromkeys([*(n for n in names if n), NO_SECTION]):
        parts = tuple(part.refdes for part in touched.parts if part.section == name)
        nets = tuple(n.net for n in touched.nets if name in (n.sections or (NO_SECTION,)))
        if parts or nets:
            groups.append(SectionTouch(name, parts, nets))
    return tuple(groups)


def touch_to_json(touched: Touch, board: Board) -> dict[str, Any]:
    """A touch as plain JSON types.

    Keys: ``parts`` [{refdes, type, section, severity, grade, share, pads}], ``pads`` [{point, net, side,
    severity, grade, share}], ``vias`` [{name, net, severity, grade, share}], ``tracks`` [{number, net, layer,
    severity, grade, share}], ``nets`` [{net, role, does, sections, severity, grade, pads, vias, tracks}],
    ``sections`` [{section, parts, nets}], ``counts`` {parts, pads, vias, tracks, nets}, ``area_mm2``, ``notes``.
    """
    groups = {kind: [_row(item) for item in getattr(touched, kind)] for kind in _KINDS}
    return {
        **groups,
        "sections": [
            {"section": s.section, "parts": list(s.parts), "nets": list(s.nets)}
            for s in touch_by_section(touched, board)
        ],
        "counts": {kind: len(rows) for kind, rows in groups.items()},
        "area_mm2": touched.area_mm2,
        "notes": list(touched.notes),
    }


_KINDS = ("parts", "pads", "vias", "tracks", "nets")


def _row(item: TouchedPart | TouchedPad | TouchedVia | TouchedTrack | TouchedNet) -> dict[str, Any]:
    row: dict[str, Any] = {}
    for name in item.__slots__:
        value = getattr(item, name)
        row[name] = list(value) if isinstance(value, tuple) else value
        if name == "severity":
            row[name] = round(value, 4)
            row["grade"] = grade(value)
        elif name == "share":
            row[name] = round(value, 4)
    return row


def _of_kind(board: Board, copper: Overlaps, kind: str) -> Iterable[tuple[int, float, float]]:
    """Number, severity and share of the touched items of one kind."""
    chosen = board.space.kinds[copper.items] == kind
    numbers = board.space.numbers[copper.items[chosen]]
    return zip(numbers.tolist(), copper.severity[chosen].tolist(), copper.share[chosen].tolist(), strict=True)


def _pads(board: Board, copper: Overlaps) -> tuple[TouchedPad, ...]:
    net_of_pin = board.index.net_of_pin
    touched = [
        TouchedPad(str(pad.ref), net_of_pin.get(pad.ref, ""), pad.side, severity, share)
        for number, severity, share in _of_kind(board, copper, "pad")
        if (pad := board.pads[number])
    ]
    return tuple(sorted(touched, key=lambda p: (-p.severity, -p.share, natural_key(p.point))))


def _vias(board: Board, copper: Overlaps) -> tuple[TouchedVia, ...]:
    touched = [
        TouchedVia(via.name, via.net, severity, share)
        for number, severity, share in _of_kind(board, copper, "via")
        if (via := board.vias[number])
    ]
    return tuple(sorted(touched, key=lambda v: (-v.severity, -v.share, natural_key(v.name))))


def _tracks(board: Board, copper: Overlaps) -> tuple[TouchedTrack, ...]:
    touched = [
        TouchedTrack(number + 1, board.tracks[number].net, board.tracks[number].layer, severity, share)
        for number, severity, share in _of_kind(board, copper, "track")
    ]
    return tuple(sorted(touched, key=lambda t: (-t.severity, -t.share, t.number)))


def _parts(
    board: Board, bodies: Mapping[str, TouchedBody], pads: Iterable[TouchedPad]
) -> tuple[TouchedPart, ...]:
    points: dict[str, list[TouchedPad]] = {}
    for pad in pads:
        points.setdefault(pad.point.rpartition(".")[0], []).append(pad)
    parts = []
    for refdes in {**bodies, **points}:
        part = board.index.parts.get(refdes)
        body = bodies.get(refdes, TouchedBody(0.0, 0.0, False))
        own = points.get(refdes, [])
        parts.append(
            TouchedPart(
                refdes,
                part.type if part else "",
                part.section if part else "",
                max([body.severity, *(pad.severity for pad in own)]),
                body.share,
                tuple(sorted((pad.point for pad in own), key=natural_key)),
            )
        )
    return tuple(sorted(parts, key=lambda p: (-p.severity, -p.share, natural_key(p.refdes))))


def _nets(
    board: Board,
    library: PartLibrary,
    pads: Iterable[TouchedPad],
    vias: Iterable[TouchedVia],
    tracks: Iterable[TouchedTrack],
) -> tuple[TouchedNet, ...]:
    counts: dict[str, list[int]] = {}
    worst: dict[str, float] = {}
    kinds: tuple[Iterable[TouchedPad | TouchedVia | TouchedTrack], ...] = (pads, vias, tracks)
    for column, items in enumerate(kinds):
        for item in items:
            if item.net:
                counts.setdefault(item.net, [0, 0, 0])[column] += 1
                worst[item.net] = max(worst.get(item.net, 0.0), item.severity)
    roles = net_roles(board, library, counts) if counts else {}
    nets = [
        TouchedNet(net, role.role, role.does, tuple(role.sections), worst[net], *count)
        for net, count in counts.items()
        if (role := roles.get(net) or NetRole(net, "signal", "signal", ()))
    ]
    return tuple(sorted(nets, key=lambda n: (-n.severity, natural_key(n.net))))


def _notes(
    board: Board,
    area: DamageArea,
    copper: Overlaps,
    bodies: Mapping[str, TouchedBody],
    nets: Iterable[TouchedNet],
) -> Iterable[str]:
    yield from area.notes
    if board.pads_from_packages:
        yield "pads were computed from the packages, since the board has none of its own"
    if any(zone.severity < LIGHT for zone in area.zones):
        yield "zones with a severity below light count as sound"
    for refdes in sorted((r for r, body in bodies.items() if body.hidden), key=natural_key):
        yield f"damage on two sides of {refdes}: suspect under its body"
    at_risk = {net.net for net in nets}
    filled = {board.areas[number].net for number, _, _ in _of_kind(board, copper, "area")}
    for net in sorted(filled - {""}, key=natural_key):
        if net in at_risk:
            yield f"a copper area of {net} is damaged"
        else:
            yield f"a copper area of {net} is damaged, but no pad, via or track: not counted as at risk"


def _areas(area: DamageArea) -> Iterable[tuple[Grade, str]]:
    """The damage per grade as WKT, light first."""
    by_grade: dict[Grade, list[Any]] = {"light": [], "moderate": [], "heavy": []}
    for zone in area.zones:
        if zone.severity >= LIGHT:
            by_grade[grade(zone.severity)].append(zone.shape)
    for name, shapes in by_grade.items():
        if shapes:
            yield name, shapely.to_wkt(shapely.union_all(np.array(shapes)), rounding_precision=6)
