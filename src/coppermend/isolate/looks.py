"""Looks that take in many things at once: outputs watched together, and joints gone over with a magnifier.

Each has many outcomes: which outputs are wrong, which joint is bad. What they mean for each fault; nothing is chosen.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from coppermend.board.model import PinRef
from coppermend.isolate.graph import SignalGraph
from coppermend.isolate.states import MODES, Floats, State

if TYPE_CHECKING:
    from coppermend.isolate.effects import Effects

Numbers = NDArray[np.int64]
NONE, ALL, SOUND = "none", "all", "sound"
_SEEN_KINDS = ("led", "lamp", "display", "relay")
_SEEN_ROLES = ("lamp", "solenoid", "display", "sound")
_MOST_CELLS = 16_000_000  # outputs times faults; larger boards are not watched as a whole
# Detection and false alarms (common practice, no source). A fault upstream of several outputs may spoil only some.
_SHOWS, _ANYWAY, _SOME, _SHOWS_OF_SOME = 0.95, 0.008, 0.3, 0.5
JOINT_SEEN, _JOINT_ALARM = 0.8, 0.02


class End(NamedTuple):
    """An output that can be seen or heard: a part such as an LED, or a net at a connector; ``nets`` are numbers."""

    name: str
    nets: tuple[int, ...]


def ends_of(graph: SignalGraph) -> tuple[End, ...]:
    """What shows by eye and ear what the board does, in the order of its parts."""
    found: dict[str, tuple[int, ...]] = {}
    for refdes, kind in graph.kinds.items():
        if kind != "connector" and kind not in _SEEN_KINDS:
            continue
        nets = [net for pin in graph.board.index.pins_of_part[refdes] if graph.signal(net := graph.net(pin))]
        if kind in _SEEN_KINDS and nets:
            found[refdes] = tuple(sorted({graph.number[net] for net in nets}))
        elif kind == "connector":
            seen = (net for net in nets if graph.roles[net].role in _SEEN_ROLES and _is_output(graph, net))
            found.update({net: (graph.number[net],) for net in seen})
    return tuple(End(name, nets) for name, nets in found.items())


def _is_output(graph: SignalGraph, net: str) -> bool:
    """Whether a part of the board drives a net, itself or through a part with two leads."""
    beyond = (graph.net(far) for pin in graph.board.nets[net] for far in graph.ends_beyond(pin))
    return bool(graph.drivers.get(net)) or any(graph.drivers.get(other) for other in beyond)


class Outputs:
    """The outputs of a board that can be watched, and what each fault does to them."""

    def __init__(self, effects: Effects) -> None:
        self.ends = ends_of(effects.graph)
        if len(self.ends) < 2 or len(self.ends) * len(effects.faults) > _MOST_CELLS:
            self.ends = ()
        self._effects = effects

    @cached_property
    def wrong(self) -> NDArray[np.float32]:
        """P(output shows something wrong | fault), shape (faults, outputs)."""
        bad = 1.0 - MODES[:, State.GOOD]
        found = np.zeros((len(self._effects.faults), len(self.ends)), dtype=np.float32)
        for column, end in enumerate(self.ends):
            sound = np.ones(len(found))
            for net in end.nets:
                sound *= 1.0 - bad[self._effects.modes_at(net, "running")]
            found[:, column] = 1.0 - sound
        return found

    @cached_property
    def pattern(self) -> Numbers:
        """A number for the set of outputs that each fault most likely spoils, shape (faults,); 0: none."""
        rng = np.random.default_rng(0)
        keys = rng.integers(1, 1 << 62, size=len(self.ends), dtype=np.int64)
        mixed = np.where(self.wrong > 0.5, keys, 0).sum(axis=1)  # a sum of chance numbers stands for the set
        return np.asarray(np.unique(np.append(mixed, 0), return_inverse=True)[1][:-1], dtype=np.int64)

    def named(self, value: str) -> frozenset[str]:
        """The outputs that an observation calls wrong."""
        if value == ALL:
            return frozenset(end.name for end in self.ends)
        return frozenset() if value == NONE else frozenset(value.split("+"))

    def likelihood(self, value: str) -> Floats:
        """P(just these outputs are wrong | fault), shape (faults,)."""
        return self.likelihood_of(value, self.wrong)

    def likelihood_of(self, value: str, wrong: NDArray[np.float32]) -> Floats:
        """The same under anything that spoils outputs with the probabilities ``wrong``, shape (n, outputs)."""
        named = self.named(value)
        seen = np.array([end.name in named for end in self.ends], dtype=bool)
        every = _ANYWAY + (_SHOWS - _ANYWAY) * wrong
        some = _ANYWAY + (_SHOWS_OF_SOME - _ANYWAY) * wrong
        fits = [np.where(seen, p, 1.0 - p).prod(axis=1, dtype=np.float64) for p in (every, some)]
        return np.asarray((1.0 - _SOME) * fits[0] + _SOME * fits[1])


class Joints:
    """Joints of a board that a magnifier may show to be bad: opens at pins, and neighbouring pins that touch."""

    def __init__(self, effects: Effects) -> None:
        self._effects, board = effects, effects.graph.board
        self.parts = effects.faults.pins.parts
        self.part: Numbers = effects.faults.joint  # of each fault: whose joint it is
        of_part = {part.refdes: part.section for part in board.parts}
        self.sections = tuple(dict.fromkeys(["", *of_part.values()]))
        place = {name: k for k, name in enumerate(self.sections)}
        self._section_of_part = np.array(
            [place[of_part.get(refdes, "")] for refdes in self.parts], dtype=np.int64
        )

    @cached_property
    def section(self) -> Numbers:
        """Of each fault the section of the part whose joint it is, -1 for faults of no joint; shape (faults,)."""
        if not self.parts:
            return self.part
        return np.where(self.part < 0, -1, self._section_of_part[self.part])

    def at(self, point: str) -> Numbers:
        """Numbers of the faults that a look over a part, a section or the board may find."""
        if point in ("", "board"):
            return np.flatnonzero(self.part >= 0)
        if point in self._effects.graph.board.index.parts:
            known = point in self.parts
            return np.flatnonzero(self.part == self.parts.index(point)) if known else _NO_FAULTS
        return np.flatnonzero(self.section == self.sections.index(point))

    def suspected(self, probability: Floats, least: float) -> list[str]:
        """Parts, sections and "board" whose joints carry at least ``least`` of the suspicion, of faults' ``probability``."""
        here = self.part >= 0
        p = probability[here]
        if p.sum() < least:
            return []
        by_part = np.bincount(self.part[here], p)
        by_section = np.bincount(self.section[here], p)
        found = [self.parts[k] for k in np.flatnonzero(by_part >= least).tolist()]
        found += [name for k in np.flatnonzero(by_section >= least).tolist() if (name := self.sections[k])]
        return list(dict.fromkeys([*found, "board"]))

    def likelihood(self, point: str, value: str) -> Floats:
        """P(what was said of the joints there | fault), shape (faults,)."""
        if value == SOUND:
            found = np.full(len(self.part), 1.0 - _JOINT_ALARM)
            found[self.at(point)] = 1.0 - JOINT_SEEN
            return found
        found = np.full(
            len(self.part), _JOINT_ALARM / 4
        )  # a blemish, but of another joint than the one at fault
        found[list(self._said_bad(value))] = JOINT_SEEN
        return found

    def _said_bad(self, value: str) -> Iterator[int]:
        effects = self._effects
        pins = [PinRef.parse(name) for name in value.split("+")]
        for pin in pins:
            yield from (n for n in effects.faults.at(pin) if self.part[n] >= 0)
        nets = {effects.graph.net(pin) for pin in pins}
        if len(nets) > 1:
            for number in effects.faults.shorts.tolist():
                if set(effects.faults[number].unit.name.split(" + ")) <= nets:
                    yield number


_NO_FAULTS: Numbers = np.zeros(0, dtype=np.int64)
