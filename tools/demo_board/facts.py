"""What the demo board says about itself: sections, rails, memory map, matrix, connectors. All of it is invented."""

from __future__ import annotations

from typing import Any

from coppermend.board.model import (
    Clock,
    Connector,
    Matrix,
    MatrixPosition,
    MemoryRegion,
    Rail,
    ReferencePoint,
    Section,
)
from demo_board.circuit import PARTS
from demo_board.placement import BODY_MM, HOLES, WIDTH_MM

NOTES = """\
Control board of an invented coin-operated rolling-ball machine, "Saltmarsh Ramble". Drawn for trying things out: \
no such machine was ever made. Solenoids run at 32 V and lamps at 12 V, both from the machine's own supply."""

SECTIONS = (
    Section("battery", "Battery and charging", "keeps the books and settings while the machine is off"),
    Section("reset", "Reset", "holds the CPU until the 5 V rail is above 4.55 V, then 65 ms more"),
    Section("clock", "Clock", "4 MHz crystal oscillator and divider by four"),
    Section("cpu", "CPU and bus"),
    Section("memory", "Memory", "two program ROMs, 256 bytes of battery-kept RAM and its write protection"),
    Section("decoding", "Address decoding"),
    Section(
        "peripherals", "Peripheral chips", "two interface adapters, one RAM-I/O-timer, sound and door signals"
    ),
    Section("switch matrix", "Switch matrix", "eight strobes pulled low one at a time, eight returns"),
    Section("lamps", "Lamps", "sixteen latched lamp drivers"),
    Section("solenoids", "Solenoids", "eight drivers, off until the program enables them"),
    Section("display", "Display", "latch, seven-segment driver and digit selection"),
    Section("options", "Options and test button"),
    Section("supply", "Supply"),
)

RAILS = (
    Rail("+5V", 5.0, 0.05),
    Rail("+12V", 12.0, 0.15),
    Rail("VSOL", 32.0, 0.2),
    Rail("VRAM", 4.4, 0.1),
    Rail("VBAT", 3.6, 0.2),
    Rail("GND", 0.0, 0.0),
    Rail("PGND", 0.0, 0.0),
)

CLOCKS = (
    Clock("CLK4M", 4e6),
    Clock("CLK2M", 2e6),
    Clock("PHI0", 1e6),
    Clock("PHI1", 1e6),
    Clock("PHI2", 1e6),
)

MEMORY_MAP = (
    MemoryRegion("zero page and stack", 0x0000, 0x01FF, ("U8",)),
    MemoryRegion("display data, options, timer", 0x0200, 0x07FF, ("U8",)),
    MemoryRegion("books and settings", 0x0800, 0x0FFF, ("U4", "U5")),
    MemoryRegion("switch matrix adapter", 0x1000, 0x17FF, ("U6",)),
    MemoryRegion("lamp and solenoid adapter", 0x1800, 0x1FFF, ("U7",)),
    MemoryRegion("display latch strobe", 0x2000, 0x3FFF, ("U24",)),
    MemoryRegion("lamp latch strobe, lamps 0 to 7", 0x4000, 0x5FFF, ("U18",)),
    MemoryRegion("lamp latch strobe, lamps 8 to 15", 0x6000, 0x7FFF, ("U19",)),
    MemoryRegion("sound strobe", 0x8000, 0x9FFF, ()),
    MemoryRegion("program, low half", 0xE000, 0xEFFF, ("U2",)),
    MemoryRegion("program, high half", 0xF000, 0xFFFF, ("U3",)),
)

# One row a strobe, one name a return; a dash is a position that the machine leaves empty.
_SWITCHES = """
coin left | coin right | start | door | reset scores | shooter lane | trough 1 | trough 2
pier 1 | pier 2 | pier 3 | pier 4 | lighthouse ramp | - | breakwater left | breakwater right
buoy red | buoy green | buoy yellow | - | drawbridge up | drawbridge down | lock 1 | lock 2
tide H | tide I | tide G | tide H2 | spinner | - | - | fog horn hole
left slingshot | right slingshot | upper kicker | lower kicker | - | - | lifeboat | anchor
left outlane | left inlane | right inlane | right outlane | drain | - | - | -
harbour target 1 | harbour target 2 | harbour target 3 | tug | ferry | - | - | -
left flipper end | right flipper end | - | - | - | - | - | -
"""


def _positions() -> tuple[MatrixPosition, ...]:
    return tuple(
        MatrixPosition(f"STROBE{row}", f"RETURN{column}", name.strip(), f"D{11 + row}")
        for row, line in enumerate(_SWITCHES.strip().splitlines())
        for column, name in enumerate(line.split("|"))
        if name.strip() != "-"
    )


_TITLES: dict[str, tuple[str, Any]] = {
    "J1": ("supply", "supply"),
    "J2": ("switch matrix strobes", "switch"),
    "J3": ("switch matrix returns", "switch"),
    "J4": ("lamps", "lamp"),
    "J5": ("solenoids", "solenoid"),
    "J6": ("display", "display"),
    "J7": ("sound board and door", ""),  # serves several things: each label says which
    "J8": ("bus, for expansion and test", "bus"),
}
_COILS = (
    "ball release", "left slingshot", "right slingshot", "upper kicker", "lower kicker", "drawbridge",
    "fog horn hole", "knocker",
)  # fmt: skip
_LAMPS = (
    "game over", "tilt", "shoot again", "lighthouse", "buoy red", "buoy green", "buoy yellow", "tide H",
    "tide I", "tide G", "tide H2", "drawbridge", "lifeboat", "harbour 1", "harbour 2", "harbour 3",
)  # fmt: skip
_SAID = {
    "SNDSTB_N": "sound strobe", "SND_RES": "sound reset", "AUX": "coin lockout solenoid", "ZC_IN": "zero crossing",
    "COIN_N": "coin counter switch", "TILT_N": "tilt switch", "PROTECT": "door switch, grounded while the door is open",
    "GND": "ground", "PGND": "solenoid ground", "VSOL": "solenoid supply",
} | {f"COIL{n}": name for n, name in enumerate(_COILS)} | {f"LAMP{n}": name for n, name in enumerate(_LAMPS)} | {
    f"STROBE{n}": f"strobe {n}" for n in range(8)
} | {f"RETURN{n}": f"return {n}" for n in range(8)} | {f"LD{n}": f"sound select {n}" for n in range(4)} | {
    f"SEG_{s}": f"segment {s.lower()}" for s in "ABCDEFG"
} | {f"DIGIT{n}": f"digit {n}" for n in range(10)}  # fmt: skip


def _connectors() -> tuple[Connector, ...]:
    nets = {fitted.refdes: fitted.nets for fitted in PARTS}
    return tuple(
        Connector(
            refdes, title, kind, {str(n): _SAID.get(net, net) for n, net in enumerate(nets[refdes], start=1)}
        )
        for refdes, (title, kind) in _TITLES.items()
    )


REFERENCE_POINTS = (
    *(ReferencePoint(name, x, y) for name, (x, y) in HOLES.items()),
    ReferencePoint("lower left corner", 0.0, 0.0),
    ReferencePoint("lower right corner", WIDTH_MM, 0.0),
    ReferencePoint("upper right corner", WIDTH_MM, BODY_MM),
    ReferencePoint("upper left corner", 0.0, BODY_MM),
)

FACTS: dict[str, Any] = {
    "name": "Saltmarsh Ramble control board",
    "revision": "C",
    "maker": "Withyfen Novelty Works (invented)",
    "notes": NOTES,
    "sections": SECTIONS,
    "rails": RAILS,
    "clocks": CLOCKS,
    "memory_map": MEMORY_MAP,
    "matrix": Matrix(
        tuple(f"STROBE{n}" for n in range(8)), tuple(f"RETURN{n}" for n in range(8)), _positions()
    ),
    "connectors": _connectors(),
    "reference_points": REFERENCE_POINTS,
}
