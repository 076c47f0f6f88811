"""What is on a board, as plain JSON: counts, sections, parts, nets, and what the board does not say."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from coppermend.board.kinds import kind_of
from coppermend.board.model import Board, Matrix, Part
from coppermend.board.parttypes import PartLibrary


def board_summary(board: Board, library: PartLibrary | None = None) -> dict[str, Any]:
    """A board in words and numbers.

    Args:
        board: The board.
        library: Part types, to tell the kinds of parts and name those of unknown type; without it neither.

    Returns:
        Keys ``name``, ``revision``, ``maker``, ``notes`` (text), ``width_mm``, ``height_mm``, ``outline``,
        ``counts`` (parts, pins, nets, pads, vias, tracks, areas), ``sections`` (name, title, parts),
        ``rails``, ``clocks``, ``memory_map``, ``matrix``, ``connectors``, ``reference_points`` (as in
        board.toml), ``parts`` (refdes, type, value, section, side, x_mm, y_mm), ``nets`` (name -> points)
        and ``lacks`` (sentences); with a library also ``kinds`` (kind -> count) and ``unknown_types``.
    """
    return {
        "name": board.name,
        "revision": board.revision,
        "maker": board.maker,
        "notes": board.notes,
        "width_mm": board.width_mm,
        "height_mm": board.height_mm,
        "outline": [list(corner) for corner in board.outline],
        "counts": board.counts(),
        "sections": list(_sections(board)),
        "rails": [asdict(rail) for rail in board.rails],
        "clocks": [asdict(clock) for clock in board.clocks],
        "memory_map": [{**asdict(m), "parts": list(m.parts)} for m in board.memory_map],
        "matrix": _matrix(board.matrix),
        "connectors": [{**asdict(c), "signals": dict(c.signals)} for c in board.connectors],
        "reference_points": [asdict(point) for point in board.reference_points],
        "parts": [_part(part) for part in board.parts],
        "nets": {net: [str(pin) for pin in pins] for net, pins in board.nets.items()},
        "lacks": list(_lacks(board)),
        **(_kinds(board, library) if library else {}),
    }


def _sections(board: Board) -> Iterator[dict[str, Any]]:
    """Sections in the order of board.toml, then those that only parts name, then parts in none."""
    titles = {section.name: section.title for section in board.sections}
    groups = board.index.parts_of_section
    order = [*titles, *(name for name in groups if name and name not in titles)]
    if groups[""] and order:
        order.append("")
    for name in order:
        title = titles.get(name, "" if name else "in no section")
        yield {"name": name, "title": title, "parts": [part.refdes for part in groups[name]]}


def _part(part: Part) -> dict[str, Any]:
    names = ("refdes", "type", "value", "section", "side", "x_mm", "y_mm")
    return {name: getattr(part, name) for name in names}


def _matrix(matrix: Matrix) -> dict[str, Any]:
    positions = [
        {"strobe": p.strobe, "return": p.ret, "name": p.name, "diode": p.diode} for p in matrix.positions
    ]
    return {"strobes": list(matrix.strobes), "returns": list(matrix.returns), "positions": positions}


def _lacks(board: Board) -> Iterator[str]:
    """What the board does not say, and what cannot be told for that reason."""
    if not board.nets:
        yield "no nets: nothing can be said about connections"
    if not board.pads:
        yield "no pads: where pins are is unknown"
    elif board.pads_from_packages:
        yield "pads are computed from the part packages, not measured"
    if not (board.tracks or board.areas):
        yield "no tracks or copper areas: nets are known by their pads and vias only"
    if not board.rails:
        yield "no rails: supply nets are guessed from names and power pins"
    if not board.sections:
        yield "no sections: parts cannot be grouped by what they do"


def _kinds(board: Board, library: PartLibrary) -> dict[str, Any]:
    kinds = Counter(kind_of(part, library) or "unknown" for part in board.parts)
    unknown = [p.refdes for p in board.parts if library.of(p) is None and board.index.pins_of_part[p.refdes]]
    return {"kinds": dict(kinds.most_common()), "unknown_types": unknown}
