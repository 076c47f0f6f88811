"""Proposed jumpers with the run and the gauge of their wire. Chooses no endpoints."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace

from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary
from coppermend.board.roles import net_roles
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
    if not jumpers:
        return
    roles = net_roles(board, library)
    bodies = {side: tall_bodies(board, side, removed) for side in {jumper.side for jumper in jumpers}}
    for jumper in jumpers:
        a, b = board.index.place(jumper.a), board.index.place(jumper.b)
        run = wire_run((a.x_mm, a.y_mm), (b.x_mm, b.y_mm), bodies[jumper.side])
        tracks = {
            track
            for item in opens.get(jumper.net, ())
            if item.between in jumper.cures
            for track in item.tracks
        }
        widths_mm = [board.tracks[number - 1].width_mm for number in sorted(tracks)]
        power = jumper.net in roles and roles[jumper.net].role in _POWER
        gauge = wire_gauge(widths_mm, power=power)
        yield replace(jumper, length_mm=run.length_mm, gauge_awg=gauge, route=run.corners)
