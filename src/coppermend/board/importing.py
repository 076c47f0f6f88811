"""Makes a board from IPC-D-356, Gerber X2 with Excellon, and a parts list, in one frame. Opens no file.

The frame: origin at the lower-left corner of the outline's centre line, y up, seen from the top. Sources
may each have their own origin; they are brought together by what they share, and the notes say how well
that fits. Without an outline the parts list's frame counts, and without that the box around the copper.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from coppermend.board.import_copper import Copper, NetPad, copper_areas, named_vias
from coppermend.board.import_frame import Shift, shift_by_parts
from coppermend.board.import_ipc import copper_of_ipc
from coppermend.board.import_merge import merged
from coppermend.board.import_parts import (
    listed_part,
    pin_counts,
    reference_points,
    repeated,
    unlisted_parts,
    with_default_places,
)
from coppermend.board.import_sources import Source, read_gerber_sources
from coppermend.board.model import Board, PinRef
from coppermend.board.parttypes import PartLibrary
from coppermend.board.readers.ipcd356 import parse_ipcd356
from coppermend.board.readers.partscsv import ImportedPart, parse_parts_csv
from coppermend.board.readers.text import decode_text
from coppermend.errors import InputError
from coppermend.underway import tell

__all__ = ["Source", "import_board"]

MARGIN_MM = 2.0  # common practice, no source: bare board around the outermost copper


class _Framed(NamedTuple):
    """Copper in the board's frame, the board's size, and the shift that brings the parts list there."""

    copper: Copper
    width_mm: float
    height_mm: float
    parts_shift_mm: tuple[float, float]
    notes: tuple[str, ...]


def import_board(
    *,
    name: str,
    ipc356: Source | None,
    gerber: Sequence[Source],
    parts: Source | None,
    library: PartLibrary,
) -> tuple[Board, tuple[str, ...]]:
    """The board that the given files describe together, and notes on what was found and left out.

    Args:
        name: The board's name.
        ipc356: The IPC-D-356 file, if there is one.
        gerber: Gerber and Excellon files in any order; () when there are none.
        parts: The parts list, if there is one.
        library: Where part types are looked for.

    Returns:
        Lengths in mm; ``notes`` are sentences for the user.

    Raises:
        InputError: If a file cannot be read, the files do not fit together, or neither IPC-D-356 nor Gerber
            files are given or name any pin.
    """
    rows = parse_parts_csv(decode_text(parts.data, parts.name), parts.name) if parts else ()
    copper = _copper(ipc356, gerber, rows)
    if not copper.named:
        where = gerber[0].name if gerber else ipc356.name if ipc356 else name
        raise InputError(
            "no pin has a name", expected="Gerber X2 with .P attributes, or an IPC-D-356 file", where=where
        )
    tell(0, 2, "Laying copper and parts together")
    framed = _in_board_frame(copper, rows)
    pins = pin_counts(framed.copper.pads)
    placed, place_notes = with_default_places(rows, framed.copper.pads, framed.parts_shift_mm)
    listed = [listed_part(row, framed.parts_shift_mm, pins, library) for row in placed]
    unlisted = unlisted_parts(framed.copper.pads, (p.refdes for p in listed), pins, library)
    every = (*listed, *unlisted)
    tell(1, 2, "Laying copper and parts together")
    notes = [*framed.copper.notes, *framed.notes, *place_notes]
    if count := len(framed.copper.bare_pads):
        notes.append(f"{count} pads in the copper files name no pin and are left out")
    if rows and unlisted:
        notes.append(f"not in the parts list: {_some(p.refdes for p in unlisted)}")
    if twice := repeated(every):
        notes.append(f"several parts are called {_some(twice)}")
    board = Board(
        name=name,
        width_mm=framed.width_mm,
        height_mm=framed.height_mm,
        outline=_ring(framed.copper),
        parts=every,
        nets=_nets(framed.copper.pads),
        pads=tuple(pad for _, pad in framed.copper.pads),
        vias=named_vias(framed.copper.vias),
        tracks=framed.copper.tracks,
        areas=copper_areas(framed.copper.areas),
        reference_points=reference_points(framed.copper.mountings, framed.copper.pads, every),
    )
    return board, tuple(notes)


def _copper(ipc356: Source | None, gerber: Sequence[Source], rows: Sequence[ImportedPart]) -> Copper:
    drawn = read_gerber_sources(gerber) if gerber else None
    if ipc356 is None:
        if drawn is None:
            raise InputError("nothing to import", expected="an IPC-D-356 file or Gerber files")
        return drawn
    known = {row.refdes for row in rows} | {pad.refdes for _, pad in (drawn.pads if drawn else ())}
    listed = copper_of_ipc(parse_ipcd356(decode_text(ipc356.data, ipc356.name), ipc356.name), known)
    return merged(drawn, listed, ipc356.name) if drawn else listed


def _in_board_frame(copper: Copper, rows: Sequence[ImportedPart]) -> _Framed:
    to_copper = shift_by_parts(copper.pads, rows)
    has_places = any(row.x_mm is not None for row in rows)
    notes = [_parts_note(to_copper)] if has_places else []
    trusted = to_copper if to_copper and to_copper.good else None
    if copper.outline is not None:
        x1, y1, x2, y2 = copper.outline.bounds
        origin, size = (x1, y1), (x2 - x1, y2 - y1)
    else:
        bounds = copper.bounds_mm() or (0.0, 0.0, 0.0, 0.0)
        origin = (bounds[0] - MARGIN_MM, bounds[1] - MARGIN_MM)
        if trusted:
            origin = (trusted.dx_mm, trusted.dy_mm)
        size = (bounds[2] + MARGIN_MM - origin[0], bounds[3] + MARGIN_MM - origin[1])
        notes.append(f"no outline: the size is that of the copper with {MARGIN_MM:g} mm around it")
    shift = (trusted.dx_mm - origin[0], trusted.dy_mm - origin[1]) if trusted else (0.0, 0.0)
    moved = copper.moved(-origin[0], -origin[1])
    return _Framed(moved, round(size[0], 3), round(size[1], 3), shift, tuple(notes))


def _parts_note(shift: Shift | None) -> str:
    if shift is None:
        return "the parts list shares no part with the pads: its places are taken as they are"
    fit = f"{shift.agreeing} of {shift.compared} parts of the list sit on their pads"
    if not shift.good:
        return f"only {fit}: their places are taken as they are, and may be wrong"
    return f"{fit}, within {shift.residual_mm:.3f} mm"


def _ring(copper: Copper) -> tuple[tuple[float, float], ...]:
    if copper.outline is None:
        return ()
    return tuple((round(x, 4), round(y, 4)) for x, y in copper.outline.exterior.coords[:-1])


def _nets(pads: Iterable[NetPad]) -> dict[str, tuple[PinRef, ...]]:
    """Pins of every net in order of their pads, each once."""
    nets: dict[str, dict[PinRef, None]] = {}
    for net, pad in pads:
        if net:
            nets.setdefault(net, {})[pad.ref] = None
    return {net: tuple(pins) for net, pins in nets.items()}


def _some(names: Iterable[str]) -> str:
    listed = list(dict.fromkeys(names))
    return ", ".join(listed[:8]) + (f" and {len(listed) - 8} more" if len(listed) > 8 else "")
