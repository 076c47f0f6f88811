"""How signals run through a board: what must work for a net to follow, and what follows a net. No faults.

A cone is walked on the graph: through signal paths of part types, and through series passives where no
active output drives a net. Rails and grounds end it, and so do parts whose inside is a program or a store:
CPU, memory, peripheral, connector.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from coppermend.board.kinds import kinds_of
from coppermend.board.model import Board, PinRef
from coppermend.board.parttypes import PartKind, PartLibrary, PinSpec

SERIES_KINDS = frozenset({"resistor", "network", "inductor", "fuse", "diode", "led", "switch"})
STORE_KINDS = frozenset({"cpu", "rom", "ram", "peripheral"})
_IDLE_KINDS = frozenset({"capacitor", "electrolytic", "supercapacitor", "connector", "mechanical", "lamp"})
_READS = ("in", "bidi")
_DRIVES = ("out", "bidi", "open-collector")


@dataclass(frozen=True)
class Cone:
    """What a signal passes: nets, parts by refdes, and the pins it enters and leaves parts by."""

    nets: frozenset[str] = frozenset()
    parts: frozenset[str] = frozenset()
    pins: frozenset[PinRef] = frozenset()

    def __or__(self, other: Cone) -> Cone:
        return Cone(self.nets | other.nets, self.parts | other.parts, self.pins | other.pins)


@dataclass
class _Walk:
    nets: set[str] = field(default_factory=set)
    parts: set[str] = field(default_factory=set)
    pins: set[PinRef] = field(default_factory=set)

    def add(self, pin: PinRef) -> None:
        self.pins.add(pin)
        self.parts.add(pin.refdes)

    def cone(self) -> Cone:
        return Cone(frozenset(self.nets), frozenset(self.parts), frozenset(self.pins))


class Flow:
    """Signal flow on one board. ``supply_nets`` (rails and grounds) are never walked through."""

    def __init__(self, board: Board, library: PartLibrary, supply_nets: Collection[str]) -> None:
        self.board, self.library = board, library
        self.supply_nets = frozenset(supply_nets)
        self.kinds: Mapping[str, PartKind | None] = kinds_of(board, library)

    @cached_property
    def _paths(
        self,
    ) -> tuple[Mapping[PinRef, list[tuple[PinRef, ...]]], Mapping[PinRef, list[tuple[PinRef, ...]]]]:
        """(output pin -> input groups, input pin -> groups of (outputs..., side inputs...)) of active parts."""
        into: dict[PinRef, list[tuple[PinRef, ...]]] = {}
        out_of: dict[PinRef, list[tuple[PinRef, ...]]] = {}
        for refdes, part in self.board.index.parts.items():
            known = self.library.of(part)
            if known is None or self.kinds[refdes] in SERIES_KINDS | STORE_KINDS:
                continue
            for path in known.paths:
                inputs = tuple(PinRef(refdes, pin) for pin in path.inputs)
                outputs = tuple(PinRef(refdes, pin) for pin in path.outputs)
                for pin in outputs:
                    into.setdefault(pin, []).append(inputs)
                for pin in inputs:
                    out_of.setdefault(pin, []).append(outputs)
        return into, out_of

    def net(self, pin: PinRef) -> str:
        """The net of a pin, "" when it is on none."""
        return self.board.index.net_of_pin.get(pin, "")

    def spec(self, pin: PinRef) -> PinSpec | None:
        """What the library says of a pin."""
        part = self.board.index.parts.get(pin.refdes)
        known = self.library.of(part) if part else None
        return known.pin_by_number.get(pin.pin) if known else None

    def signal(self, net: str) -> bool:
        """Whether ``net`` can carry a signal: it exists and is no rail or ground."""
        return net in self.board.nets and net not in self.supply_nets

    def across(self, pin: PinRef) -> PinRef | None:
        """The other end of a series part (resistor, diode, fuse, coil, switch, one of a network), or None."""
        if self.kinds.get(pin.refdes) not in SERIES_KINDS:
            return None
        others = [p for p in self.board.index.pins_of_part.get(pin.refdes, ()) if p != pin]
        if len(others) < 4:
            net_of, here = self.board.index.net_of_pin, self.net(pin)
            ends = {net: p for p in others if (net := net_of[p]) != here}
            if len(ends) == 1:
                return next(iter(ends.values()))
        return self._partner(pin)

    def _partner(self, pin: PinRef) -> PinRef | None:
        """The other end within a network or switch bank: the bussed pin, or the only pin its type joins it to."""
        part = self.board.index.parts[pin.refdes]
        if part.type not in self._partners:
            known = self.library.of(part)
            joined: dict[str, set[str]] = {}
            for path in known.paths if known else ():
                for ends, others in ((path.inputs, path.outputs), (path.outputs, path.inputs)):
                    for number in ends:
                        joined.setdefault(number, set()).update(others)
            self._partners[part.type] = joined
        partners = self._partners[part.type].get(pin.pin, ())
        return PinRef(pin.refdes, next(iter(partners))) if len(partners) == 1 else None

    @cached_property
    def _partners(self) -> dict[str, dict[str, set[str]]]:
        """Part type -> pin -> pins that its paths join it to; networks have many pins, and all of them ask."""
        return {}

    def drivers(self, net: str, without: Collection[str | PinRef] = ()) -> tuple[PinRef, ...]:
        """Pins that set the level of ``net``. On a bus the CPU wins, then transceivers, then other logic.

        Args:
            net: The net.
            without: Parts (by refdes) and pins that only listen.
        """
        into, _ = self._paths
        found = [
            pin
            for pin in self.board.nets.get(net, ())
            if pin.refdes not in without and pin not in without and (pin in into or self._is(pin, _DRIVES))
        ]
        return self._first(
            [p for p in found if self.kinds[p.refdes] == "cpu"],
            self._transceivers(found),
            [p for p in found if self.kinds[p.refdes] not in STORE_KINDS],
            found,
        )

    def readers(self, net: str, without: Collection[str | PinRef] = ()) -> tuple[PinRef, ...]:
        """Pins that follow the level of ``net``. On a bus the CPU wins, then transceivers.

        Args:
            net: The net.
            without: Parts (by refdes) and pins that only drive.
        """
        _, out_of = self._paths
        found = [
            pin
            for pin in self.board.nets.get(net, ())
            if pin.refdes not in without and pin not in without and (pin in out_of or self._is(pin, _READS))
        ]
        return self._first(
            [p for p in found if self.kinds[p.refdes] == "cpu"], self._transceivers(found), found
        )

    def _is(self, pin: PinRef, directions: Collection[str]) -> bool:
        spec = self.spec(pin)
        return (
            spec is not None and spec.direction in directions and self.kinds[pin.refdes] not in SERIES_KINDS
        )

    def _transceivers(self, pins: list[PinRef]) -> list[PinRef]:
        return [p for p in pins if self.kinds[p.refdes] not in STORE_KINDS and self._is(p, ("bidi",))]

    @staticmethod
    def _first(*choices: list[PinRef]) -> tuple[PinRef, ...]:
        return next((tuple(pins) for pins in choices if pins), ())

    def upstream(self, nets: Iterable[str], without: Collection[str] = ()) -> Cone:
        """Everything that must work for ``nets`` to be driven as they should.

        Args:
            nets: Where to start.
            without: Parts whose pins on a starting net only listen (the chip whose bus pins are asked for).

        Returns:
            The cone; CPU, memory and peripherals are its ends and are in it with the pins that are used.
        """
        walk, into = _Walk(), self._paths[0]
        queue: list[tuple[str, frozenset[str | PinRef]]] = [
            (net, frozenset(without)) for net in nets if self.signal(net)
        ]
        while queue:
            net, deaf = queue.pop()
            if net in walk.nets:
                continue
            walk.nets.add(net)
            drivers = self.drivers(net, deaf)
            for pin in drivers:
                walk.add(pin)
                for inputs in into.get(pin, ()):
                    for source in inputs:
                        if self.signal(self.net(source)):
                            walk.add(source)
                            # A transceiver's pin that is read here does not drive here.
                            queue.append((self.net(source), frozenset({source})))
            queue += [(other, frozenset()) for other in self._passives(net, walk, cross=not drivers)]
        return walk.cone()

    def downstream(self, nets: Iterable[str]) -> Cone:
        """Everything that must work for ``nets`` to be read by a CPU, memory or peripheral.

        Side inputs on the way (enables, selects) are followed upstream.
        """
        walk, queue, side = _Walk(), [net for net in nets if self.signal(net)], set[str]()
        into, out_of = self._paths
        came_from: set[str | PinRef] = set()
        while queue:
            net = queue.pop()
            if net in walk.nets:
                continue
            walk.nets.add(net)
            readers = self.readers(net, came_from)
            for pin in readers:
                walk.add(pin)
                for outputs in out_of.get(pin, ()):
                    for out in outputs:
                        if not self.signal(self.net(out)):
                            continue
                        walk.add(out)
                        came_from.add(out)
                        queue.append(self.net(out))
                        for inputs in into[out]:
                            for other in inputs:
                                if pin in inputs and other != pin and self.signal(self.net(other)):
                                    walk.add(other)
                                    side.add(self.net(other))
            queue += self._passives(net, walk, cross=not readers)
        return walk.cone() | self.upstream(side - walk.nets)

    def _passives(self, net: str, walk: _Walk, *, cross: bool) -> list[str]:
        """Take in pull-ups and pull-downs on ``net``; with ``cross`` also series parts, giving the nets behind."""
        behind = []
        for pin in self.board.nets.get(net, ()):
            other = self.across(pin)
            if other is None:
                continue
            far = self.net(other)
            if far in self.supply_nets:
                if self.kinds[pin.refdes] in ("resistor", "network"):
                    walk.add(pin)
                    walk.add(other)
            elif cross and far not in walk.nets:
                walk.add(pin)
                walk.add(other)
                behind.append(far)
        return behind

    def needs_proof(self, pin: PinRef) -> bool:
        """Whether a pin carries a signal that a proof can exercise: not supply, not idle, not alone on its net."""
        net = self.net(pin)
        if not self.signal(net) or len(self.board.nets[net]) < 2:
            return False
        spec = self.spec(pin)
        if spec and spec.direction in ("power", "ground", "nc"):
            return False
        return self.kinds.get(pin.refdes) not in _IDLE_KINDS
