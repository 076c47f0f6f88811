"""From IPC-D-356 records to pads, vias and tracks. Chooses no frame, reads no text."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from coppermend.board.import_copper import MOUNTING_HOLE_MM, Copper, Mounting, NetPad, outline_of
from coppermend.board.model import Layer, Pad, PadSide, Track, Via
from coppermend.board.readers.ipcd356 import Conductor, Ipc356, TestRecord

REFDES_COLUMNS = 6  # the format cuts longer ones


def copper_of_ipc(ipc: Ipc356, known_refdes: Iterable[str] = ()) -> Copper:
    """Everything that an IPC-D-356 file says, in its own frame.

    Args:
        ipc: The records.
        known_refdes: Full refdes from other sources, to restore those that the format cut to 6 characters.
    """
    full = _full_refdes(known_refdes)
    pads: dict[tuple[str, str, float, float], NetPad] = {}
    vias: list[Via] = []
    mountings: list[Mounting] = []
    unnamed = 0
    for record in ipc.records:
        place = record.x_mm, record.y_mm
        if record.is_via:
            if not record.continues:
                vias.append(Via("", record.net, *place, record.hole_mm, record.size_x_mm))
        elif record.refdes and record.pin:
            pad = _pad(record, full.get(record.refdes, record.refdes))
            pads.setdefault((pad.refdes, pad.pin, *place), NetPad(record.net, pad))
        else:
            unnamed += 1
        if not record.net and not record.is_via and record.hole_mm >= MOUNTING_HOLE_MM:
            mountings.append(Mounting(*place, record.hole_mm))
    tracks, track_notes = _tracks(ipc.conductors)
    outline, outline_notes = outline_of(o.points for o in ipc.outline if "EDGE" in o.kind.upper())
    notes = [f"{unnamed} IPC-D-356 records name no pin and are left out"] if unnamed else []
    return Copper(
        pads=tuple(pads.values()),
        vias=tuple(vias),
        tracks=tracks,
        mountings=tuple(mountings),
        outline=outline,
        points_mm=tuple((r.x_mm, r.y_mm) for r in ipc.records),
        notes=(*ipc.notes, *notes, *track_notes, *outline_notes),
    )


def _full_refdes(known: Iterable[str]) -> dict[str, str]:
    """Cut refdes to the full one, where only one fits."""
    everything = set(known)
    table: dict[str, list[str]] = {}
    for refdes in everything:
        if len(refdes) > REFDES_COLUMNS:
            table.setdefault(refdes[:REFDES_COLUMNS], []).append(refdes)
    return {cut: full[0] for cut, full in table.items() if len(full) == 1 and cut not in everything}


def _pad(record: TestRecord, refdes: str) -> Pad:
    width, height = record.size_x_mm, record.size_y_mm or record.size_x_mm
    angle = math.radians(record.rotation_deg)
    cos, sin = abs(math.cos(angle)), abs(math.sin(angle))
    if record.size_y_mm:  # a turned rectangle becomes the box around it
        width, height = width * cos + height * sin, width * sin + height * cos
    return Pad(
        refdes,
        record.pin,
        record.x_mm,
        record.y_mm,
        record.hole_mm,
        round(width, 4),
        _side(record),
        round(height, 4),
        not record.size_y_mm,
    )


def _side(record: TestRecord) -> PadSide:
    if record.hole_mm or record.access == 0:
        return "both"
    return "top" if record.access in (None, 1) else "bottom"


def _tracks(conductors: Sequence[Conductor]) -> tuple[tuple[Track, ...], list[str]]:
    """Outer layers only: 1 is the top, the highest number the bottom."""
    bottom = max([2, *(c.layer for c in conductors)])
    layer_of: dict[int, Layer] = {1: "top", bottom: "bottom"}
    tracks = []
    inner = 0
    for conductor in conductors:
        if (layer := layer_of.get(conductor.layer)) is None:
            inner += 1
            continue
        for (x1, y1), (x2, y2) in zip(conductor.points, conductor.points[1:], strict=False):
            tracks.append(Track(conductor.net, layer, x1, y1, x2, y2, conductor.width_mm))
    return tuple(tracks), [f"{inner} conductors on inner layers are left out"] if inner else []
