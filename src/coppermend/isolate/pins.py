"""The pins of a board that are on nets, numbered, with what the signal graph says of each as arrays. No faults."""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from coppermend.board.model import PinRef
from coppermend.isolate.graph import SignalGraph

Numbers = NDArray[np.int64]
Flags = NDArray[np.bool_]


class Pins:
    """Every pin that is on a net, in the order of the nets; parts are numbered by their first pin.

    ``net`` and ``part`` are the numbers of each pin's net and part. ``drives`` says that it sets the level of its
    net, ``live`` that it does so on a net that carries a signal, ``reads`` that it is an input on such a net, and
    ``alone`` that only its part drives its net. ``listed`` is each part's place in the parts list, -1 for parts
    that are not there. Shapes (pins,), but for ``listed``: (parts,).
    """

    def __init__(self, graph: SignalGraph) -> None:
        self._graph, index = graph, graph.board.index
        self.refs: tuple[PinRef, ...] = tuple(graph.net_number)
        self.number = {pin: k for k, pin in enumerate(self.refs)}
        self.net: Numbers = np.fromiter(graph.net_number.values(), dtype=np.int64, count=len(self.refs))
        self.parts: tuple[str, ...] = tuple(index.pins_of_part)
        self.part_number = {refdes: k for k, refdes in enumerate(self.parts)}
        of_part = self.part_number
        self.part: Numbers = np.array([of_part[refdes] for refdes, _ in self.refs], dtype=np.int64)
        place = {refdes: k for k, refdes in enumerate(index.parts)}
        self.listed: Numbers = np.array([place.get(refdes, -1) for refdes in self.parts], dtype=np.int64)
        carrying = np.array([graph.signal(net) for net in graph.nets], dtype=bool)
        self.drives = self._flags([pin for pins in graph.drivers.values() for pin in pins])
        self.live = self.drives & carrying[self.net]
        self.reads = self._flags(list(graph.inside)) & carrying[self.net]
        alone = np.array([bool(graph.sole_driver.get(net)) for net in graph.nets], dtype=bool)
        self.alone: Flags = alone[self.net]

    def _flags(self, pins: list[PinRef]) -> Flags:
        found = np.zeros(len(self.refs), dtype=bool)
        found[[self.number[pin] for pin in pins]] = True
        return found

    @cached_property
    def acts(self) -> Flags:
        """Which pins any output of their part follows, be it on a net or not, shape (pins,)."""
        return self._flags(list(self._graph.acting))

    @cached_property
    def _grouped(self) -> tuple[Numbers, list[tuple[int, ...]]]:
        ids: dict[int, int] = {}
        groups: list[tuple[int, ...]] = []
        found = np.full(len(self.refs), -1, dtype=np.int64)
        places, numbers = list[int](), list[int]()
        number, live = self.number, self.live.tolist()
        for pin, outs in self._graph.inside.items():
            known = ids.get(id(outs))
            if known is None:
                known = ids[id(outs)] = len(groups)
                groups.append(tuple([k for out in outs if live[k := number[out]]]))
            places.append(number[pin])
            numbers.append(known)
        found[places] = numbers
        return found, groups

    @property
    def group(self) -> Numbers:
        """Of each pin the number of the group of outputs that follow it, -1 for pins that are no inputs."""
        return self._grouped[0]

    @property
    def groups(self) -> list[tuple[int, ...]]:
        """Of each group its live pins."""
        return self._grouped[1]

    @cached_property
    def carries(self) -> Flags:
        """Which pins are followed by live outputs of their part, shape (pins,)."""
        any_live = np.array([*map(bool, self.groups), False], dtype=bool)
        return any_live[self.group]

    def behind(self, pin: int) -> tuple[PinRef, ...]:
        """Live outputs that follow an input inside its part, each once; () for other pins."""
        group = int(self.group[pin])
        return tuple([self.refs[out] for out in self.groups[group]]) if group >= 0 else ()
