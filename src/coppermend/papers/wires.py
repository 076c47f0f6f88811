"""What stands on the wire list: each jumper in words, the wire in all, and where the wires run. Chooses nothing."""

from __future__ import annotations

from collections.abc import Sequence

import shapely

from coppermend.board.draw import draw_board
from coppermend.board.draw_overlays import Overlay
from coppermend.board.lengths import MM, Lengths
from coppermend.board.model import LAYERS, Board, Layer
from coppermend.board.parttypes import PartLibrary
from coppermend.board.where import where_words
from coppermend.copper.records import CopperPlan, Jumper
from coppermend.copper.wirelist import END_MM, cut_mm, wire_totals
from coppermend.papers.report import Picture
from coppermend.papers.said import Said, Say, plain
from coppermend.papers.sheet import Table

_AROUND_MM = 12.0
_TO_FIT, _FITTED = "W", "F"  # the pages number the wires to fit alike
_SEEN: dict[Layer, str] = {
    "top": "The wires seen from the parts side.",
    "bottom": "The wires seen from the solder side, with the board turned over: left and right change places.",
}
SOLDERING = frozenset({"iron", "fumes", "lead"})  # codes of the cautions that stand on the list
RULES = (
    f"Cut is the run and {END_MM:g} mm for each end, rounded up. Wire that goes from one side to the other runs through "
    "a free hole or round the edge: leave it that much longer, and insulated.",
    "Board without power, battery out, capacitors discharged. Read each wire end to end before the next.",
)


def wire_tables(
    board: Board, library: PartLibrary, plan: CopperPlan, lengths: Lengths = MM, say: Say = plain
) -> tuple[Table, ...]:
    """Tables of the wires to fit, of those fitted, and of the wire of each gauge that all of them take."""

    def where(point: str) -> str:
        return Said(f"{point}: {lengths.in_sentence(say(where_words(board, library, point)))}")

    def rows(jumpers: Sequence[Jumper], sign: str) -> tuple[tuple[str, ...], ...]:
        return tuple(
            (
                f"{sign}{number}", j.net, where(j.a), where(j.b),
                "from side to side" if j.side == "both" else f"on the {j.side}",
                lengths.number(j.length_mm), lengths.number(cut_mm(j), up=True), str(j.gauge_awg),
            )
            for number, j in enumerate(jumpers, 1)
        )  # fmt: skip

    run, cut = f"Run, {lengths.sign}", f"Cut, {lengths.sign}"
    heads = ("No.", "Net", "From", "To", "Side", run, cut, "AWG")
    widths, numbers = (0, 0.7, 1.6, 1.6, 0.7, 0, 0, 0), (5, 6, 7)
    totals = tuple(
        (str(t.gauge_awg), str(t.pieces), lengths.number(t.run_mm), lengths.number(t.cut_mm, up=True))
        for t in wire_totals([*plan.fitted, *plan.jumpers])
    )
    to_fit = Table(
        "To fit", heads, rows(plan.jumpers, _TO_FIT), widths, numbers, True, "No wire is left to fit."
    )
    fitted = Table("Fitted", heads, rows(plan.fitted, _FITTED), widths, numbers)
    in_all = Table("Wire in all", ("AWG", "Pieces", run, cut), totals, (1, 1, 1, 1), (0, 1, 2, 3))
    return (to_fit, *((fitted,) if plan.fitted else ()), *((in_all,) if totals else ()))


def wire_pictures(board: Board, library: PartLibrary, plan: CopperPlan) -> tuple[Picture, ...]:
    """Where the wires run, on each side that has some; one that goes from side to side is drawn on the parts side."""
    marked = [
        (j, f"{sign}{number}")
        for jumpers, sign in ((plan.fitted, _FITTED), (plan.jumpers, _TO_FIT))
        for number, j in enumerate(jumpers, 1)
    ]
    pictures = []
    for side in LAYERS:
        own = [(j, mark) for j, mark in marked if ("bottom" if j.side == "bottom" else "top") == side]
        if own:
            drawn = draw_board(
                board, side=side, overlays=[_overlay(*one) for one in own], library=library,
                window=_window(board, [j for j, _ in own]),
            )  # fmt: skip
            pictures.append(Picture(f"wires-{side}.svg", drawn.encode(), _SEEN[side]))
    return tuple(pictures)


def _overlay(jumper: Jumper, mark: str) -> Overlay:
    run = shapely.LineString(jumper.route) if len(jumper.route) > 1 else None
    return Overlay("jumper", (jumper.a, jumper.b), run, mark)


def _window(board: Board, jumpers: Sequence[Jumper]) -> tuple[float, float, float, float]:
    """What lies round all these wires [mm]."""
    places = [board.index.place(point) for j in jumpers for point in (j.a, j.b)]
    spots = [*((p.x_mm, p.y_mm) for p in places), *(corner for j in jumpers for corner in j.route)]
    x, y = [spot[0] for spot in spots], [spot[1] for spot in spots]
    return min(x) - _AROUND_MM, min(y) - _AROUND_MM, max(x) + _AROUND_MM, max(y) + _AROUND_MM
