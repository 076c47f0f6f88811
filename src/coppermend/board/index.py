"""Lookups on a board by any key in constant time. Built once, never changed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Iterable
from typing import NamedTuple, TypeVar

from coppermend.board.model import Board, Connector, CopperArea, Pad, PadSide, Part, PinRef, Rail, Track, Via
from coppermend.errors import UnknownName


class Place(NamedTuple):
    """A point of the board that a probe can touch: its written name, net ("" when none) and place [mm]."""

    name: str
    net: str
    x_mm: float
    y_mm: float
    side: PadSide


T = TypeVar("T")
K = TypeVar("K", bound=Hashable)


class Groups(dict[str, list[T]]):
    """Lists by name; a name that is not there has an empty list, and looking does not add it."""

    def __missing__(self, name: str) -> list[T]:
        return []

    @classmethod
    def of(cls, pairs: Iterable[tuple[str, T]]) -> Groups[T]:
        """Group (name, item) pairs by name, keeping their order."""
        groups: Groups[T] = cls()
        for name, item in pairs:
            if name in groups:
                groups[name].append(item)
            else:
                groups[name] = [item]
        return groups


def _firsts(pairs: Iterable[tuple[K, T]]) -> dict[K, T]:
    """A dictionary in which the first of two equal keys wins."""
    table: dict[K, T] = {}
    for key, item in pairs:
        table.setdefault(key, item)
    return table


class BoardIndex:
    """Dictionaries over one board. The first of two duplicates wins; ``check`` reports the second.

    ``repeated`` are refdes that several parts have, so that their pads cannot be told apart.
    ``pins_of_part`` holds pins that are on a net; ``pads_of_net`` and its like are ``Groups``. ``net_of_pad``
    runs along ``board.pads``, with "" for a pad on no net.
    """

    def __init__(self, board: Board) -> None:
        self.board_name = board.name
        self.parts: dict[str, Part] = _firsts((p.refdes, p) for p in board.parts)
        counts = Counter(part.refdes for part in board.parts)
        self.repeated: frozenset[str] = frozenset(refdes for refdes, count in counts.items() if count > 1)
        self.net_of_pin: dict[PinRef, str] = _firsts(
            (pin, net) for net, pins in board.nets.items() for pin in pins
        )
        self.pins_of_part: Groups[PinRef] = Groups.of((pin.refdes, pin) for pin in self.net_of_pin)
        pads, refs = board.pads, [pad.ref for pad in board.pads]
        self.net_of_pad: list[str] = [self.net_of_pin.get(ref, "") for ref in refs]
        self.pads: dict[PinRef, Pad] = _firsts(zip(refs, pads, strict=True))
        self.pads_of_part: Groups[Pad] = Groups.of((pad.refdes, pad) for pad in pads)
        self.pads_of_net: Groups[Pad] = Groups.of(
            (net, pad) for net, pad in zip(self.net_of_pad, pads, strict=True) if net
        )
        self.vias: dict[str, Via] = _firsts((via.name, via) for via in board.vias)
        self.vias_of_net: Groups[Via] = Groups.of((via.net, via) for via in board.vias)
        self.tracks_of_net: Groups[Track] = Groups.of((track.net, track) for track in board.tracks)
        self.areas_of_net: Groups[CopperArea] = Groups.of((area.net, area) for area in board.areas)
        self.rails: dict[str, Rail] = _firsts((rail.net, rail) for rail in board.rails)
        self.connectors: dict[str, Connector] = _firsts((c.refdes, c) for c in board.connectors)
        self.parts_of_section: Groups[Part] = Groups.of((part.section, part) for part in board.parts)

    def part(self, refdes: str) -> Part:
        """The part called ``refdes``.

        Raises:
            UnknownName: If the board has no such part.
        """
        try:
            return self.parts[refdes]
        except KeyError:
            raise UnknownName("part", refdes, self.board_name) from None

    def place(self, name: str) -> Place:
        """The point written ``name`` (``U3.9`` or ``V17``).

        Raises:
            UnknownName: If the board has no such pad or via.
        """
        if via := self.vias.get(name):
            return Place(via.name, via.net, via.x_mm, via.y_mm, "both")
        refdes, _, pin = name.rpartition(".")
        ref = PinRef(refdes, pin)
        if pad := self.pads.get(ref):
            return Place(name, self.net_of_pin.get(ref, ""), pad.x_mm, pad.y_mm, pad.side)
        raise UnknownName(
            "point", name, self.board_name, "write REFDES.PIN such as U3.9, or a via such as V17"
        )
