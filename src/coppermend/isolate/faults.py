"""What can be wrong with a board: its single faults, each with a weight and what it disturbs, as a table.

A fault belongs to a unit, the thing that is repaired: a part, a socket, the copper of a net, a pair of shorted
neighbours, a rail. How they are found is in ``partfaults`` and ``copperfaults``. No readings, no belief.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from enum import IntEnum
from functools import cached_property
from typing import Literal, NamedTuple, get_args, overload

import numpy as np
from numpy.typing import NDArray

from coppermend.board.kinds import natural_key
from coppermend.board.model import PinRef
from coppermend.isolate.pins import Flags, Numbers, Pins
from coppermend.isolate.states import Floats, Mode

UnitKind = Literal["part", "socket", "net", "short", "rail"]
UNIT_KINDS: tuple[UnitKind, ...] = get_args(UnitKind)


class Way(IntEnum):
    """A way of failing; ``WORDS`` says it, with the place for {}."""

    DEAD = 0
    HIGH = 1
    LOW = 2
    OPEN = 3
    SHORTED_INPUT = 4
    WRONG_CONTENT = 5
    WORKS_WRONGLY = 6
    CONTACT = 7
    CUT = 8
    SHORTED = 9
    TOUCH = 10
    MISSING = 11
    DRY = 12


WORDS: Mapping[int, str] = {
    Way.DEAD: "dead", Way.HIGH: "output {} stuck high", Way.LOW: "output {} stuck low", Way.OPEN: "output {} open",
    Way.SHORTED_INPUT: "input {} shorted", Way.WRONG_CONTENT: "content wrong", Way.WORKS_WRONGLY: "works wrongly",
    Way.CONTACT: "contact {} open", Way.CUT: "open at {}", Way.SHORTED: "shorted at {}", Way.TOUCH: "touch at {}",
    Way.MISSING: "missing or low", Way.DRY: "noisy: {} dry",
}  # fmt: skip


class Unit(NamedTuple):
    """What is repaired: ``name`` is a refdes, a net, a rail, or two nets joined by " + "."""

    kind: UnitKind
    name: str


class Fault(NamedTuple):
    """One way in which one thing fails.

    ``starts`` are (net, mode) where it begins; ``carries`` the output pins behind an open input; both are
    followed downstream. ``pin`` is the pin it sits at, which shows ``pin_mode`` whatever
    the rest of the net does. ``grounds`` says that it ties its nets to ground or to each other, which an
    ohmmeter sees; ``opens`` that continuity through ``pin`` is gone. ``what`` says what fails, in words:
    "output U3.9 stuck low".
    """

    unit: Unit
    what: str
    weight: float
    starts: tuple[tuple[int, Mode], ...] = ()
    carries: tuple[PinRef, ...] = ()
    pin: PinRef | None = None
    pin_mode: Mode = Mode.NONE
    grounds: bool = False
    opens: bool = False


# A row of the table. ``owner`` is the number of the unit's part, net or pair of nets; ``at`` that of a pin or -1, at
# which the fault ``sits`` or which only names it; ``part`` that of the part at whose pins it is, or -1.
ROW = np.dtype([
    ("kind", np.uint8), ("owner", np.int64), ("way", np.uint8), ("at", np.int64), ("part", np.int64),
    ("weight", np.float64), ("sits", np.bool_), ("pin_mode", np.uint8), ("grounds", np.bool_),
    ("opens", np.bool_), ("carries", np.bool_),
])  # fmt: skip


class Block(NamedTuple):
    """Faults of one sort: ``rows`` of ``ROW``, and ``starts`` of shape (n, 3): row, net, mode, in the order of rows.

    ``order`` says where each row stands among those of other blocks with which it is mixed, shape (rows,).
    """

    rows: NDArray[np.void]
    starts: Numbers
    order: Numbers


def block(kind: UnitKind, owner: Numbers, starts: Numbers, order: Numbers, **columns: object) -> Block:
    """A block whose rows all have units of one kind; columns not given are zero, places -1."""
    rows = np.zeros(len(owner), ROW)
    rows["kind"], rows["owner"], rows["at"], rows["part"] = UNIT_KINDS.index(kind), owner, -1, -1
    for name, values in columns.items():
        rows[name] = values
    return Block(rows, starts, order)


def starts_of(row: Numbers, net: Numbers, mode: NDArray[np.uint8] | int) -> Numbers:
    """Beginnings as an array of shape (n, 3)."""
    found = np.empty((len(row), 3), dtype=np.int64)
    found[:, 0], found[:, 1], found[:, 2] = row, net, mode
    return found


def mixed(blocks: Sequence[Block]) -> Block:
    """Several blocks as one, by their ``order``; equal places in the order of the blocks."""
    one = joined(blocks)
    return _taken(one, np.argsort(one.order, kind="stable"))


def joined(blocks: Sequence[Block]) -> Block:
    """Several blocks as one, one after another."""
    rows = np.concatenate([one.rows for one in blocks])
    first = np.cumsum([0, *[len(one.rows) for one in blocks]])
    starts = np.concatenate([one.starts for one in blocks])
    starts[:, 0] += np.repeat(first[:-1], [len(one.starts) for one in blocks])
    return Block(rows, starts, np.concatenate([one.order for one in blocks]))


def _taken(of: Block, chosen: Numbers) -> Block:
    """The chosen rows in that order, with their starts."""
    place = np.full(len(of.rows), -1, dtype=np.int64)
    place[chosen] = np.arange(len(chosen))
    starts = of.starts.copy()
    starts[:, 0] = place[starts[:, 0]]
    starts = starts[starts[:, 0] >= 0]
    return Block(of.rows[chosen], starts[np.argsort(starts[:, 0], kind="stable")], of.order[chosen])


class Faults(Sequence[Fault]):
    """Every single fault of a board that disturbs anything, as columns; a ``Fault`` is made when it is looked at.

    ``starts`` has shape (n, 3): fault, net, mode, in the order of the faults, whose rows ``first`` bounds. ``pin`` is the number of the pin
    that each fault sits at, or -1; ``part`` that of the part at whose pins it is, or -1.
    """

    def __init__(
        self, found: Block, pins: Pins, nets: tuple[str, ...], pairs: Numbers, dry: Mapping[int, str]
    ) -> None:
        begun = np.zeros(len(found.rows), dtype=bool)
        begun[found.starts[:, 0]] = True
        kept = np.flatnonzero((begun | found.rows["carries"]) & (found.rows["weight"] > 0))
        found = _taken(found, kept)
        self.pins, self._nets, self._pairs, self._dry = pins, nets, pairs, dry
        self.rows, self.starts = found.rows, found.starts
        self.first: Numbers = np.searchsorted(found.starts[:, 0], np.arange(len(found.rows) + 1))
        self.kind: NDArray[np.uint8] = np.ascontiguousarray(found.rows["kind"])
        self.owner: Numbers = np.ascontiguousarray(found.rows["owner"])
        self.part: Numbers = np.ascontiguousarray(found.rows["part"])
        self.weight: Floats = np.ascontiguousarray(found.rows["weight"])
        self.pin: Numbers = np.where(found.rows["sits"], found.rows["at"], -1)
        self.pin_mode: NDArray[np.uint8] = np.ascontiguousarray(found.rows["pin_mode"])
        self.grounds: Flags = np.ascontiguousarray(found.rows["grounds"])
        self.opens: Flags = np.ascontiguousarray(found.rows["opens"])
        self.carries: Flags = np.ascontiguousarray(found.rows["carries"])
        self._made: dict[int, Fault] = {}

    def __len__(self) -> int:
        return len(self.rows)

    @overload
    def __getitem__(self, number: int) -> Fault: ...
    @overload
    def __getitem__(self, number: slice) -> tuple[Fault, ...]: ...
    def __getitem__(self, number: int | slice) -> Fault | tuple[Fault, ...]:
        if isinstance(number, slice):
            return tuple(self[k] for k in range(*number.indices(len(self))))
        place = range(len(self))[number]
        if place not in self._made:
            self._made[place] = self._fault(place)
        return self._made[place]

    def __iter__(self) -> Iterator[Fault]:
        return (self[k] for k in range(len(self)))

    def _fault(self, k: int) -> Fault:
        row, first, last = self.rows[k], self.first[k], self.first[k + 1]
        return Fault(
            self.unit(int(row["kind"]), int(row["owner"])), self._what(row), float(row["weight"]),
            tuple([(net, Mode(mode)) for _, net, mode in self.starts[first:last].tolist()]),
            self.pins.behind(int(row["at"])) if row["carries"] else (),
            self.pins.refs[row["at"]] if row["sits"] else None, Mode(int(row["pin_mode"])),
            bool(row["grounds"]), bool(row["opens"]),
        )  # fmt: skip

    def _what(self, row: np.void) -> str:
        at = str(self.pins.refs[row["at"]]) if row["at"] >= 0 else ""
        if row["way"] == Way.TOUCH:
            at = self.pins.parts[row["part"]]
        elif row["way"] == Way.DRY:
            at = self._dry[int(row["owner"])]
        return WORDS[int(row["way"])].replace("{}", at)

    def unit(self, kind: int, owner: int) -> Unit:
        """The unit of a kind (a place in ``UNIT_KINDS``) that a part, net or pair of nets is."""
        named = UNIT_KINDS[kind]
        if named == "short":
            a, b = sorted([self._nets[net] for net in self._pairs[owner]], key=natural_key)
            return Unit(named, f"{a} + {b}")
        return Unit(named, self.pins.parts[owner] if named in ("part", "socket") else self._nets[owner])

    def at(self, pin: PinRef | None) -> list[int]:
        """Numbers of the faults that sit at a pin, in order; [] for a pin on no net, or none."""
        number = self.pins.number.get(pin) if pin else None
        if number is None:
            return []
        order, first = self._by_pin
        return order[first[number] : first[number + 1]]

    @cached_property
    def _by_pin(self) -> tuple[list[int], list[int]]:
        order = np.argsort(self.pin, kind="stable")
        first = np.searchsorted(self.pin[order], np.arange(len(self.pins.refs) + 1))
        return order.tolist(), first.tolist()

    @cached_property
    def shorts(self) -> Numbers:
        """Numbers of the faults that are neighbouring pins that touch."""
        return np.flatnonzero(self.kind == UNIT_KINDS.index("short"))

    @cached_property
    def joint(self) -> Numbers:
        """Of each fault the number of the part at whose joints it is (copper open at a pin, or two pins that touch), or
        -1; shape (faults,).
        """
        found = np.where(self.opens, self.part, -1)
        found[self.shorts] = self.part[self.shorts]
        return found

    @cached_property
    def inside(self) -> Numbers:
        """Of each fault the number of the part that it is of or at, gone when that part is out: all but shorts and rails;
        -1 for these; shape (faults,).
        """
        found = self.part.copy()
        found[self.shorts] = -1
        return found
