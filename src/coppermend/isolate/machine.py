"""The wiring of a board as a machine that can run, and the defects that it can be given. Shares no table with the belief.

How it runs is in ``running``.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from coppermend.board.flow import SERIES_KINDS, Flow
from coppermend.board.kinds import PASSIVE_KINDS
from coppermend.board.model import Board, PinRef
from coppermend.board.parttypes import PartKind, PartLibrary
from coppermend.board.roles import net_roles

Words = NDArray[np.uint64]
STEPS = 56
_CARRY = SERIES_KINDS | {"capacitor", "electrolytic", "crystal", "trimmer"}


@dataclass(frozen=True)
class Defect:
    """One planted fault, in terms of pins and nets.

    ``stuck`` maps output pins to the level that they hold (None: they drive nothing); ``open_pins`` are inputs
    and outputs without connection; ``forced`` maps nets to a level that they are held at; ``bridged`` are nets
    that touch; ``broken`` are series parts that carry nothing; ``scrambled`` are outputs with wrong content.
    """

    unit: tuple[str, str]
    what: str
    weight: float
    stuck: Mapping[PinRef, int | None] = field(default_factory=dict)
    open_pins: tuple[PinRef, ...] = ()
    forced: Mapping[str, int] = field(default_factory=dict)
    bridged: tuple[str, ...] = ()
    broken: tuple[str, ...] = ()
    scrambled: tuple[PinRef, ...] = ()
    dead_rail: str = ""
    noisy_rail: str = ""

    def at_part(self, refdes: str) -> bool:
        """Whether the defect is gone when a part is taken out: it is of the part, or of its socket."""
        return self.unit in (("part", refdes), ("socket", refdes))


class Machine:
    """The wiring of one board, ready to run with planted faults."""

    def __init__(self, board: Board, library: PartLibrary, seed: int = 0) -> None:
        self.board, self.library = board, library
        roles = net_roles(board, library)
        self.roles = {net: role.role for net, role in roles.items()}
        self.supply = {net for net, role in self.roles.items() if role in ("rail", "ground")}
        self.flow = Flow(board, library, self.supply)
        named = {pin.refdes: None for pins in board.nets.values() for pin in pins}
        self.kinds: Mapping[str, PartKind | None] = {**named, **self.flow.kinds}
        self.nets = tuple(board.nets)
        self.number = {net: i for i, net in enumerate(self.nets)}
        self.rng = np.random.default_rng(seed)
        self.inputs: dict[PinRef, list[PinRef]] = {}  # output pin -> pins that it depends on
        self.drivers: dict[str, list[PinRef]] = defaultdict(list)
        self._wire()
        self.links = self._links()
        self.masks = {out: self._words(len(pins) + 1) for out, pins in self.inputs.items()}
        self.select_masks = {out: self._words(len(pins) + 1) for out, pins in self.inputs.items()}
        self.outside = {net: self._words(STEPS) for net in self.nets}
        self.counter = {out: self._words(STEPS) for out in self.inputs}

    def _words(self, count: int) -> Words:
        return self.rng.integers(0, 1 << 64, size=count, dtype=np.uint64)

    def net(self, pin: PinRef) -> str:
        """The net of a pin, or ""."""
        return self.board.index.net_of_pin.get(pin, "")

    def _wire(self) -> None:
        for refdes, part in self.board.index.parts.items():
            known = self.library.of(part)
            skip = PASSIVE_KINDS | {"switch", "crystal", "connector"}
            if known is None or self.kinds[refdes] in skip:
                continue
            drives = {pin.number for pin in known.pins if pin.direction in ("out", "bidi", "open-collector")}
            drives |= {number for path in known.paths for number in path.outputs}
            for number in sorted(drives):
                pin = PinRef(refdes, number)
                if not self.net(pin) or self.net(pin) in self.supply:
                    continue
                needed = dict.fromkeys(
                    PinRef(refdes, source)
                    for path in known.paths if number in path.outputs
                    for source in path.inputs if source != number
                )  # fmt: skip
                self.inputs[pin] = [p for p in needed if self.net(p) and self.net(p) not in self.supply]
                self.drivers[self.net(pin)].append(pin)

    def _links(self) -> dict[str, tuple[str, str]]:
        """Undriven net -> (part, net) that gives it its level: nearest driven net first, else a pull to a rail."""
        links: dict[str, tuple[str, str]] = {}
        layer = [net for net in self.nets if self.drivers.get(net)]
        seen = set(layer)
        while layer:
            following = []
            for net in layer:
                for refdes, other in self._beyond(net):
                    if other not in seen and other not in self.supply:
                        seen.add(other)
                        links[other] = (refdes, net)
                        following.append(other)
            layer = following
        for net in self.nets:
            if net not in seen and net not in self.supply:
                for refdes, other in self._beyond(net):
                    if other in self.supply and self.kinds[refdes] in ("resistor", "network"):
                        links.setdefault(net, (refdes, other))
        return links

    def _beyond(self, net: str) -> list[tuple[str, str]]:
        found = []
        for pin in self.board.nets[net]:
            if self.kinds.get(pin.refdes) not in _CARRY:
                continue
            across = self.flow.across(pin)
            others = [across] if across else []
            if not others and self.kinds[pin.refdes] not in SERIES_KINDS:
                others = [p for p in self.board.index.pins_of_part[pin.refdes] if p != pin][:2]
            found += [(pin.refdes, self.net(p)) for p in others if self.net(p) and self.net(p) != net]
        return found

    @cached_property
    def stores(self) -> frozenset[str]:
        """Memories and peripherals: what a chip select switches off the data lines."""
        return frozenset(
            refdes for refdes, kind in self.kinds.items() if kind in ("rom", "ram", "peripheral")
        )
