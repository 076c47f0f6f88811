"""Lookups on a board by any key in constant time. Built once, never changed."""

from __future__ import annotations

from collections import defaultdict
from typing import NamedTuple

from coppermend.board.model import Board, Connector, CopperArea, Pad, PadSide, Part, PinRef, Rail, Track, Via
from coppermend.errors import UnknownName


class Place(NamedTuple):
    """A point of the board that a probe can touch: its written name, net ("" when none) and place [mm]."""

    name: str
    net: str
    x_mm: float
    y_mm: float
    side: PadSide


class BoardIndex:
    """Dictionaries over one board. The first of two duplicates wins; ``check`` reports the second."""

    def __init__(self, board: Board) -> None:
        self.board_name = board.name
        self.parts: dict[str, Part] = {}
        for part in board.parts:
            self.parts.setdefault(part.refdes, part)
        self.net_of_pin: dict[PinRef, str] = {}
        self.pins_of_part: dict[str, list[PinRef]] = defaultdict(list)
        for net, pins in board.nets.items():
            for pin in pins:
                if pin not in self.net_of_pin:
                    self.net_of_pin[pin] = net
                    self.pins_of_part[pin.refdes].append(pin)
        self.pads: dict[PinRef, Pad] = {}
        self.pads_of_part: dict[str, list[Pad]] = defaultdict(list)
        self.pads_of_net: dict[str, list[Pad]] = defaultdict(list)
        for pad in board.pads:
            self.pads.setdefault(pad.ref, pad)
            self.pads_of_part[pad.refdes].append(pad)
            if net_name := self.net_of_pin.get(pad.ref):
                self.pads_of_net[net_name].append(pad)
        self.vias: dict[str, Via] = {}
        self.vias_of_net: dict[str, list[Via]] = defaultdict(list)
        for via in board.vias:
            self.vias.setdefault(via.name, via)
            self.vias_of_net[via.net].append(via)
        self.tracks_of_net: dict[str, list[Track]] = defaultdict(list)
        for track in board.tracks:
            self.tracks_of_net[track.net].append(track)
        self.areas_of_net: dict[str, list[CopperArea]] = defaultdict(list)
        for area in board.areas:
            self.areas_of_net[area.net].append(area)
        self.rails: dict[str, Rail] = {rail.net: rail for rail in board.rails}
        self.connectors: dict[str, Connector] = {c.refdes: c for c in board.connectors}
        self.parts_of_section: dict[str, list[Part]] = defaultdict(list)
        for part in board.parts:
            self.parts_of_section[part.section].append(part)

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
