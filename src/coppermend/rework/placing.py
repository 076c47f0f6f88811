"""Where a remedy's new parts go: on the old pads, in a socket, off the board, or wired at a free spot beside its wires."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from coppermend.board.model import Board, PinRef
from coppermend.board.packages import body_shape, with_package_pads
from coppermend.rework.records import KitLine, Remedy

# Half of the square that a small wired part needs [mm], and how far round its wires a free spot is looked for [mm].
_HALF_MM, _REACH_MM, _STEP_MM = 4.0, 40.0, 2.0


def with_places(board: Board, remedy: Remedy) -> Remedy:
    """The remedy with ``place`` on every line of its parts on; one that has a place keeps it."""
    lines = tuple(_placed(board, remedy, line) for line in remedy.parts_on)
    return replace(remedy, parts_on=lines)


def _placed(board: Board, remedy: Remedy, line: KitLine) -> KitLine:
    if line.place:
        return line
    words = dict.fromkeys(_place(board, remedy, line, refdes) for refdes in line.refdes)
    return replace(line, place="; ".join(words))


def _place(board: Board, remedy: Remedy, line: KitLine, refdes: str) -> str:
    plugs = dict(remedy.plugs)
    if refdes in plugs:
        return f"{refdes} in the socket of {plugs[refdes]}"
    if refdes in board.index.parts:
        kind = "in the socket of" if board.index.parts[refdes].socketed else "on the pads of"
        return f"{refdes} {kind} the old {refdes}"
    if line.type == "ic-socket":
        return f"{refdes} on the pads of {refdes.removeprefix('X')}"
    if line.type == "crimp-contacts" or "holder" in line.note:
        return f"{refdes} off the board"
    spot = None if plugs else free_spot_mm(board, remedy, refdes)
    tail = "" if spot is None else f", free spot at {spot[0]:.0f}, {spot[1]:.0f} mm"
    return f"{refdes} on the adapter" if plugs else f"{refdes} wired{tail}"


def free_spot_mm(board: Board, remedy: Remedy, refdes: str) -> tuple[float, float] | None:
    """The spot nearest to a new part's wires where a square of 8 mm is clear of every body on the top side.

    Returns:
        (x, y) [mm]; None when the board tells no pads for its wires, or nothing is free within 40 mm.
    """
    board = with_package_pads(board)
    ends = [
        end for jumper in remedy.jumpers if any(e.startswith(f"{refdes}.") for e in jumper) for end in jumper
    ]
    # A part in a chain hangs on others that are new; then the whole remedy's wires count.
    ends += [end for jumper in remedy.jumpers for end in jumper] if not _pads(board, ends) else []
    at = _pads(board, ends)
    if not at:
        return None
    x, y = (sum(values) / len(at) for values in zip(*at, strict=True))
    gone = set(remedy.parts_off)
    bodies = [body_shape(board, p) for p in board.parts if p.side == "top" and p.refdes not in gone]
    tree = shapely.STRtree([body for body in bodies if not body.is_empty])
    steps = np.arange(-_REACH_MM, _REACH_MM + _STEP_MM / 2, _STEP_MM)
    grid = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    for dx, dy in grid[np.argsort(np.hypot(grid[:, 0], grid[:, 1]), kind="stable")]:
        box = shapely.box(x + dx - _HALF_MM, y + dy - _HALF_MM, x + dx + _HALF_MM, y + dy + _HALF_MM)
        inside = box.bounds[0] >= 0 and box.bounds[1] >= 0
        inside = inside and box.bounds[2] <= board.width_mm and box.bounds[3] <= board.height_mm
        if inside and not len(tree.query(box, predicate="intersects")):
            return float(x + dx), float(y + dy)
    return None


def _pads(board: Board, ends: list[str]) -> list[tuple[float, float]]:
    pads = board.index.pads
    found = [pads.get(PinRef.parse(end)) for end in ends if "." in end]
    return [(pad.x_mm, pad.y_mm) for pad in found if pad]
