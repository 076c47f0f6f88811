"""The demo board, its library, its two program sockets with contents; and small boards made in a test."""

import random

import pytest

from coppermend.board.folder import parse_board_folder
from coppermend.board.model import Board, MemoryRegion, Part, PinRef, Rail
from coppermend.board.packages import with_package_pads
from coppermend.board.parttypes import standard_library
from coppermend.demo.board_data import demo_board_files
from coppermend.rom.readmap import socket_of


@pytest.fixture(scope="session")
def library():
    """The standard part types."""
    return standard_library()


@pytest.fixture(scope="session")
def demo():
    """The demo board with pads."""
    return with_package_pads(parse_board_folder(demo_board_files()))


@pytest.fixture(scope="session")
def contents():
    """Random contents of the demo board's two memories."""
    return {refdes: random.Random(refdes).randbytes(4096) for refdes in ("U2", "U3")}


@pytest.fixture(scope="session")
def sockets(demo, library):
    """The demo board's two program sockets."""
    return tuple(socket_of(demo, library, refdes) for refdes in ("U2", "U3"))


def small_board(library, parts, nets, regions=()):
    """A board with a 6502 (U1) whose A0..A15 and D0..D7 are nets of these names, and the given parts.

    ``parts`` maps refdes to type; ``nets`` maps a net to pins such as "U2.20". Memories get their common pins.
    """
    made = {net: [PinRef.parse(pin) for pin in pins] for net, pins in nets.items()}
    done = {pin for pins in made.values() for pin in pins}

    def join(net, refdes, number):
        ref = PinRef(refdes, number)
        if ref not in done:
            made.setdefault(net, []).append(ref)

    for refdes, name in {"U1": "6502", **parts}.items():
        for pin in library.get(name).pins:
            if pin.name[0] in "AD" and pin.name[1:].isdecimal() and pin.role in ("address", "data"):
                join(pin.name, refdes, pin.number)
            elif pin.direction in ("power", "ground"):
                join("GND" if pin.direction == "ground" else "+5V", refdes, pin.number)
    join("RW", "U1", "34")
    return Board(
        name="small", width_mm=100, height_mm=100,
        parts=tuple(Part(refdes, name) for refdes, name in {"U1": "6502", **parts}.items()),
        nets={net: tuple(pins) for net, pins in made.items()},
        rails=(Rail("+5V", 5.0), Rail("GND", 0.0)),
        memory_map=tuple(MemoryRegion("program", a, b, refs) for a, b, refs in regions),
    )  # fmt: skip


@pytest.fixture
def small(library):
    """Make a small board: ``small(parts, nets, regions)``."""
    return lambda parts, nets, regions=(): small_board(library, parts, nets, regions)
