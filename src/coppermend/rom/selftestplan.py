"""What a self test is to test: program memories, RAM, ports; and what of it a board's memory map tells. Makes no code."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from coppermend.board.kinds import kind_of
from coppermend.board.model import Board, Part
from coppermend.board.parttypes import PartLibrary
from coppermend.errors import InputError

_MOST, PAGE = 15, 256


@dataclass(frozen=True, slots=True)
class Area:
    """Consecutive CPU addresses: the first, and how many bytes."""

    start: int
    bytes: int

    @property
    def last(self) -> int:
        """The last address."""
        return self.start + self.bytes - 1

    def __str__(self) -> str:
        return f"{self.start:04X} to {self.last:04X}"


@dataclass(frozen=True)
class SelfTestPlan:
    """What the self test is for.

    Attributes:
        roms: Program memories, the last holding the vectors; the program itself lies in it.
        rams: Memory that is tested and loses its contents.
        result: CPU address of the output port that shows the codes.
        setup: (address, value) written first, such as data directions of a port.
        walks: Output ports over which a single one walks, after the memories passed.
        mask: Bits that are RAM at each tested address; a 4-bit RAM on the low lines is 0F.
        lamp: (address, value that lights it, value that does not) of a single lamp; it counts out a fault: the first
            program memory once, and so on through program memories and RAMs; lit for good while all is well.
        delay: Length of the pause after a code, in steps of 1,280 clocks or so, 1 to 255.
    """

    roms: tuple[Area, ...]
    rams: tuple[Area, ...]
    result: int
    setup: tuple[tuple[int, int], ...] = ()
    walks: tuple[int, ...] = ()
    mask: int = 0xFF
    lamp: tuple[int, int, int] | None = None
    delay: int = 255

    def __post_init__(self) -> None:
        if not self.roms or self.roms[-1].last != 0xFFFF:
            raise InputError(
                "the last program memory", expected="one that ends at FFFF, where the vectors are"
            )
        areas = sorted((*self.roms, *self.rams), key=lambda area: area.start)
        for area in areas:
            if area.bytes <= 0 or area.start < 0 or area.last > 0xFFFF:
                raise InputError(
                    f"an area of {area.bytes} bytes from {area.start:#x}", expected="0000 to FFFF"
                )
        for first, second in pairwise(areas):
            if second.start <= first.last:
                raise InputError(
                    f"areas {first} and {second} overlap", expected="areas apart from each other"
                )
        if any(area.start % PAGE or area.bytes % PAGE for area in self.roms):
            raise InputError("a program memory", expected="whole pages of 256 bytes")
        if max(len(self.roms), len(self.rams), len(self.walks)) > _MOST:
            raise InputError("too many areas or ports", expected=f"at most {_MOST} of each kind")
        _check_ports(self, areas)


def _check_ports(plan: SelfTestPlan, areas: Sequence[Area]) -> None:
    lamp = plan.lamp[:1] if plan.lamp else ()
    for port in (plan.result, *plan.walks, *lamp, *(address for address, _ in plan.setup)):
        if not 0 <= port <= 0xFFFF:
            raise InputError(f"port {port:#x}", expected="0000 to FFFF")
        if hit := next((area for area in areas if area.start <= port <= area.last), None):
            raise InputError(f"port {port:04X} lies in the memory {hit}", expected="an output port")
    if plan.result in plan.walks:
        raise InputError(
            f"port {plan.result:04X} both walks and shows codes", expected="another port to walk over"
        )
    if not (1 <= plan.delay <= 255 and 1 <= plan.mask <= 0xFF):
        raise InputError(f"delay {plan.delay}, mask {plan.mask:#x}", expected="1 to 255, and 01 to FF")
    values = [value for _, value in plan.setup] + list(plan.lamp[1:] if plan.lamp else ())
    if odd := [value for value in values if not 0 <= value <= 0xFF]:
        raise InputError(f"value {odd[0]:#x} for a port", expected="00 to FF")


# Bytes of RAM in a part, or in a set of parts that share a region; from the makers' data sheets, from memory.
_RAM_BYTES = {"5101": 256, "2102": 1024, "2114": 1024, "6116": 2048, "6264": 8192, "6532": 128, "6810": 128}


def areas_of_board(board: Board, library: PartLibrary) -> tuple[tuple[Area, ...], tuple[Area, ...]]:
    """Program memories and RAMs by the board's memory map and the types of the parts in it.

    A region that is larger than its RAM mirrors it: its first bytes are tested. A part that answers in several
    regions has its RAM in the first.
    """
    roms, rams, seen = [], [], set[str]()
    for region in sorted(board.memory_map, key=lambda r: r.start):
        parts = [board.index.parts[name] for name in region.parts if name in board.index.parts]
        span = region.end - region.start + 1
        if any(kind_of(part, library) == "rom" for part in parts):
            roms.append(Area(region.start, span))
            continue
        sizes = [_RAM_BYTES[t] for part in parts if (t := _type(part, library)) in _RAM_BYTES]
        if sizes and not seen & set(region.parts):
            rams.append(Area(region.start, min(max(sizes), span)))
            seen |= set(region.parts)
    return tuple(roms), tuple(rams)


def _type(part: Part, library: PartLibrary) -> str:
    known = library.of(part)
    return known.name if known else part.type


def check_ports_on_board(board: Board, plan: SelfTestPlan) -> None:
    """See that every port of the plan lies in a region of the board's memory map.

    Raises:
        InputError: If one does not.
    """
    lamp = plan.lamp[:1] if plan.lamp else ()
    for port in (plan.result, *plan.walks, *lamp, *(address for address, _ in plan.setup)):
        if not any(region.start <= port <= region.end for region in board.memory_map):
            raise InputError(
                f"port {port:04X} is in no region of the memory map",
                expected=", ".join(f"{r.start:04X} to {r.end:04X} ({r.name})" for r in board.memory_map),
                where=board.name,
            )
