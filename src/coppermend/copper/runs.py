"""Proposed and fitted jumpers with the run and the gauge of their wire. Chooses no endpoints."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace

from coppermend.board.model import Board, PadSide
from coppermend.board.parttypes import PartLibrary
from coppermend.board.roles import net_roles
from coppermend.copper.graph import net_graphs
from coppermend.copper.opens import wire_side
from coppermend.copper.paths import PathFinder
from coppermend.copper.reach import ProbePoint
from coppermend.copper.readings import FittedJumper
from coppermend.copper.records import Jumper, Open
from coppermend.copper.wire import tall_bodies, wire_gauge, wire_run

_POWER = {"rail", "ground", "lamp", "solenoid", "display"}


def run_wires(
    board: Board,
    library: PartLibrary,
    jumpers: Sequence[Jumper],
    opens: Mapping[str, Sequence[Open]],
    removed: Collection[str] = (),
) -> Iterator[Jumper]:
    """The jumpers with their wires' corners, length and gauge; () for no jumpers, without any work."""
    tracks = [
        {track for item in opens.get(jumper.net, ()) if item.between in jumper.cures for track in item.tracks}
        for jumper in jumpers
    ]
    yield from _run(board, library, jumpers, tracks, removed)


def run_fitted(
    board: Board,
    library: PartLibrary,
    fitted: Mapping[str, Sequence[FittedJumper]],
    points: Mapping[str, ProbePoint],
    removed: Collection[str] = (),
) -> Iterator[Jumper]:
    """Fitted jumpers with how their wires should run, and the gauge for all tracks that they may stand in for.

    Those are the tracks on the way of least resistance between a jumper's ends.
    """
    jumpers, tracks = [], []
    for net, graph in net_graphs(board, [net for net in fitted if net]).items():
        finder = PathFinder(graph)
        for one in fitted[net]:
            ends = [graph.points[point] for point in (one.a, one.b) if point in graph.points]
            path = finder.path(ends[0], ends[1]) if len(ends) == 2 else None
            tracks.append(set(path.tracks if path else ()) - {0})
            jumpers.append(Jumper(net, one.a, one.b, _side_of(one, points), 0.0, ()))
    yield from _run(board, library, jumpers, tracks, removed)


def _side_of(one: FittedJumper, points: Mapping[str, ProbePoint]) -> PadSide:
    if one.side in ("top", "bottom"):
        return "top" if one.side == "top" else "bottom"
    ends = points.get(one.a), points.get(one.b)
    return wire_side(ends[0], ends[1]) if ends[0] and ends[1] else "both"


def _run(
    board: Board,
    library: PartLibrary,
    jumpers: Sequence[Jumper],
    tracks_of: Sequence[Collection[int]],
    removed: Collection[str],
) -> Iterator[Jumper]:
    if not jumpers:
        return
    roles = net_roles(board, library)
    bodies = {side: tall_bodies(board, side, removed) for side in {jumper.side for jumper in jumpers}}
    for jumper, tracks in zip(jumpers, tracks_of, strict=True):
        a, b = board.index.place(jumper.a), board.index.place(jumper.b)
        run = wire_run((a.x_mm, a.y_mm), (b.x_mm, b.y_mm), bodies[jumper.side])
        widths_mm = [board.tracks[number - 1].width_mm for number in sorted(tracks)]
        power = jumper.net in roles and roles[jumper.net].role in _POWER
        gauge = wire_gauge(widths_mm, power=power)
        yield replace(jumper, length_mm=run.length_mm, gauge_awg=gauge, route=run.corners)
