"""The drawings of the return report: the damage on the whole board, and the work close up on each side that has some."""

from __future__ import annotations

import shapely

from coppermend.board.atrisk import HEAVY, LIGHT, MODERATE, Touch
from coppermend.board.draw import draw_board
from coppermend.board.draw_overlays import Overlay
from coppermend.board.model import LAYERS, Board, Layer
from coppermend.board.parttypes import PartLibrary
from coppermend.job.assess import Assessment
from coppermend.papers.report import Picture

_AROUND_MM = 6.0  # what a close-up shows around the damage
_SEEN: dict[Layer, str] = {
    "top": "Close up, parts side: parts that came off (crossed), wires added.",
    "bottom": "Close up, solder side (turned over): parts that came off, wires added.",
}


def damage_overlays(found: Assessment) -> list[Overlay]:
    """The damage of a job, to be laid over its board's drawing."""
    severities = {"heavy": HEAVY, "moderate": MODERATE, "light": LIGHT}
    return [
        Overlay("damage", shape=shapely.from_wkt(wkt), severity=severities[grade])
        for grade, wkt in found.touch.areas
        if grade in severities
    ]


def work_overlays(found: Assessment, side: Layer | None = None) -> list[Overlay]:
    """What came off and which wires were added, to be laid over the drawing; of wires, those on ``side`` if it is given."""
    off = dict.fromkeys(item.part for item in found.strip if item.refdes in found.state.strip)
    jumpers = [
        Overlay("jumper", names=(j.a, j.b), shape=shapely.LineString(j.route) if len(j.route) > 1 else None)
        for j in found.copper.fitted
        if side is None or j.side in (side, "both")
    ]
    return [*(Overlay("strip", names=(refdes,)) for refdes in off), *jumpers]


def damaged_sides(touched: Touch) -> tuple[Layer, ...]:
    """The sides on which damage lies on tracks or on pads of one side; the parts side when nothing tells.

    Damage is drawn without a side, and pads and vias with holes lie on both: what tells is copper of one side.
    """
    told = {track.layer for track in touched.tracks} | {p.side for p in touched.pads if p.side != "both"}
    return tuple(side for side in LAYERS if side in told) or ("top",)


def report_drawings(board: Board, library: PartLibrary, found: Assessment) -> tuple[Picture, ...]:
    """The damage on the whole board, then the work close up on every side with damage or wires; () without damage."""
    damage = damage_overlays(found)
    if not damage:
        return ()
    whole = draw_board(board, overlays=damage, library=library, show_legend=True)
    left, bottom, right, top = shapely.union_all([overlay.shape for overlay in damage]).bounds
    window = (left - _AROUND_MM, bottom - _AROUND_MM, right + _AROUND_MM, top + _AROUND_MM)
    wired = {j.side for j in found.copper.fitted}
    sides = {*damaged_sides(found.touch), *wired} - {"both"}
    close = [
        Picture(
            f"work-{side}.svg",
            draw_board(
                board, side=side, overlays=work_overlays(found, side), library=library, window=window
            ).encode(),
            words,
        )
        for side, words in _SEEN.items()
        if side in sides
    ]
    return (
        Picture("damage.svg", whole.encode(), "Where the damage was on arrival, seen from the parts side."),
        *close,
    )
