"""What a meter should read between two points joined by copper. Readings through parts are left out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from coppermend.board.model import Board
from coppermend.board.packages import with_package_pads
from coppermend.board.parttypes import PartLibrary
from coppermend.board.where import where_words
from coppermend.copper.graph import net_graphs
from coppermend.copper.paths import PathFinder
from coppermend.copper.resistance import LEADS_OHM, limit_ohm


@dataclass(frozen=True, slots=True)
class Expectation:
    """What to expect between ``a`` and ``b``.

    ``ohms`` is the copper's resistance with leads [Ω], None when no copper joins the points; ``limit_ohms`` is up
    to where a reading counts as sound copper; ``tracks`` (numbers from 1) is the way; ``says`` is one sentence.
    """

    a: str
    b: str
    nets: tuple[str, str]
    ohms: float | None
    limit_ohms: float | None
    tracks: tuple[int, ...]
    says: str
    where_a: str
    where_b: str

    def to_json(self) -> dict[str, Any]:
        """Keys a, b, nets, ohms, limit_ohms, tracks, says, where_a, where_b."""
        row = {name: getattr(self, name) for name in self.__slots__}
        return {**row, "nets": list(self.nets), "tracks": list(self.tracks)}


def expect(board: Board, library: PartLibrary, a: str, b: str) -> Expectation:
    """The reading to expect between two points when all copper is sound.

    Raises:
        UnknownName: If the board has no such point.
    """
    based = with_package_pads(board)
    nets = based.index.place(a).net, based.index.place(b).net
    ohms, tracks, says = _copper(based, nets, a, b)
    return Expectation(
        a,
        b,
        nets,
        None if ohms is None else round(ohms, 3),
        None if ohms is None else round(limit_ohm(ohms), 3),
        tracks,
        says,
        where_words(based, library, a),
        where_words(based, library, b),
    )


def _copper(board: Board, nets: tuple[str, str], a: str, b: str) -> tuple[float | None, tuple[int, ...], str]:
    """Resistance [Ω], tracks and a sentence."""
    if nets[0] != nets[1] or not nets[0]:
        names = " and ".join(f"{point} on {net or 'no net'}" for point, net in zip((a, b), nets, strict=True))
        return None, (), f"no copper joins {names}: what the meter shows comes through parts"
    graph = net_graphs(board, nets[:1])[nets[0]]
    path = PathFinder(graph).path(graph.points[a], graph.points[b])
    if path is None:
        return None, (), f"both are on {nets[0]}, but the files show no copper between them"
    tracks = tuple(dict.fromkeys(number for number in path.tracks if number))
    ohms = LEADS_OHM + path.ohms
    return ohms, tracks, f"{ohms:.2f} Ω over {len(tracks)} tracks of {nets[0]}, leads included"
