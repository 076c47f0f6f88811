"""A small keep-alive board with reset, memory and switch section, and its part types, made by hand."""

from __future__ import annotations

import pytest

from coppermend.board.atrisk import Touch, TouchedPad, TouchedPart, TouchedTrack, TouchedVia
from coppermend.board.model import Board, Clock, Part, PinRef, Rail, Section, Track, Via
from coppermend.board.parttypes import PartLibrary, parse_part_types

TYPES = """
["6502"]
description = "CPU"
kind = "cpu"
package = "DIP-40-600"
pins = ["1 VSS ground", "8 VCC power", "40 /RES in reset", "37 PHI0 in clock", "39 PHI2 out clock",
        "9 A0 out address", "33 D0 bidi data", "34 R/W out control"]
paths = ["37 > 39", "40 > 9 34"]

["8080"]
description = "CPU with active-high reset"
kind = "cpu"
package = "DIP-40-600"
pins = ["2 GND ground", "20 VCC power", "12 RESET in reset", "25 A0 out address"]

["5101"]
description = "256x4 CMOS RAM"
kind = "ram"
package = "DIP-22-400"
pins = ["1 A0 in address", "19 /CE in select", "9 D0 bidi data", "22 VCC power", "8 GND ground", "20 R/W in control"]

["6264"]
description = "8Kx8 RAM"
kind = "ram"
package = "DIP-28-600"
pins = ["10 A0 in address", "20 /CE in select", "11 D0 bidi data", "28 VCC power", "14 GND ground"]

["2114"]
description = "1Kx4 NMOS RAM"
kind = "ram"
package = "DIP-18"
pins = ["5 A0 in address", "8 /CS in select", "14 D0 bidi data", "18 VCC power", "9 GND ground"]

["2716"]
description = "EPROM"
kind = "rom"
package = "DIP-24-600"
pins = ["8 A0 in address", "9 D0 out data", "18 /CE in select", "24 VCC power", "12 GND ground"]

["7400"]
description = "NAND"
kind = "logic"
package = "DIP-14"
pins = ["1 1A in", "2 1B in", "3 1Y out", "7 GND ground", "14 VCC power"]
paths = ["1 2 > 3"]

["7404"]
description = "inverter"
kind = "logic"
package = "DIP-14"
pins = ["1 1A in", "2 1Y out", "3 2A in", "4 2Y out", "7 GND ground", "14 VCC power"]
paths = ["1 > 2", "3 > 4"]

["4011"]
description = "CMOS NAND"
kind = "logic"
package = "DIP-14"
pins = ["1 A in", "2 B in", "3 Y out", "7 VSS ground", "14 VDD power"]
paths = ["1 2 > 3"]

["supervisor-low"]
description = "reset supervisor"
kind = "supervisor"
package = "TO-92"
pins = ["1 GND ground", "2 /RESET out reset", "3 VCC power"]

["npn"]
description = "NPN transistor"
kind = "transistor"
package = "TO-92"
pins = ["1 E passive", "2 B in", "3 C open-collector"]
paths = ["2 1 > 3", "2 3 > 1"]

["resistor"]
description = "resistor"
kind = "resistor"
package = "AXIAL-10.16"
pins = ["1 1 passive", "2 2 passive"]

["diode"]
description = "diode"
kind = "diode"
package = "AXIAL-7.62"
polarised = true
pins = ["1 K passive", "2 A passive"]

["schottky"]
description = "Schottky diode"
kind = "diode"
package = "AXIAL-7.62"
polarised = true
pins = ["1 K passive", "2 A passive"]

["capacitor"]
description = "ceramic capacitor"
kind = "capacitor"
package = "RADIAL-5.08"
pins = ["1 1 passive", "2 2 passive"]

["electrolytic"]
description = "electrolytic capacitor"
kind = "electrolytic"
package = "RADIAL-POL-5.08"
polarised = true
pins = ["1 + passive", "2 - passive"]

["battery"]
description = "NiCd battery"
kind = "battery"
package = "BAT-BARREL"
polarised = true
pins = ["1 + passive", "2 - passive"]

["crystal"]
description = "crystal"
kind = "crystal"
package = "HC-49"
pins = ["1 1 passive", "2 2 passive"]

["connector"]
description = "connector"
kind = "connector"
package = "HDR-1x4"
pins = ["1 1 passive", "2 2 passive", "3 3 passive", "4 4 passive"]

["pushbutton"]
description = "pushbutton"
kind = "switch"
package = "SW-PUSH-2"
pins = ["1 1 passive", "2 2 passive"]

["keyed"]
description = "polarised thing without marks"
kind = "inductor"
package = "AXIAL-10.16"
polarised = true
pins = ["1 S passive", "2 F passive"]

["bare"]
description = "polarised thing without pins"
kind = "mechanical"
package = ""
polarised = true
pins = []
"""


@pytest.fixture(scope="session")
def library() -> PartLibrary:
    return PartLibrary(parse_part_types(TYPES))


def make_board(parts: list[Part], nets: dict[str, str], **more) -> Board:
    """A board of ``parts`` with ``nets`` written as "U1.3 R2.1"."""
    return Board(
        "small",
        200.0,
        200.0,
        parts=tuple(parts),
        nets={net: tuple(PinRef.parse(p) for p in pins.split()) for net, pins in nets.items()},
        rails=more.pop("rails", (Rail("+5V", 5.0, 0.05),)),
        **more,
    )


@pytest.fixture
def keep_board():
    """+5V -D1-> VKEEP; VKEEP -R1- BT1+; a 5101L on VKEEP; discrete reset Q1 R2 R3 C1; CPU; supply capacitor C2."""

    def make(**change) -> Board:
        types = {
            "D1": "schottky", "U2": "5101", "R1v": "100", "C2v": "100u", "U2v": "5101L", **change,
        }  # fmt: skip
        parts = [
            Part("U1", "6502", x_mm=20, y_mm=150, section="cpu", package="DIP-40-600", socketed=True),
            Part(
                "U2",
                types["U2"],
                types["U2v"],
                80,
                150,
                section="memory",
                package="DIP-22-400",
                socketed=True,
            ),
            Part("BT1", "battery", "3.6 V", 20, 20, section="memory", package="BAT-BARREL"),
            Part("D1", types["D1"], "", 60, 20, section="memory", package="AXIAL-7.62"),
            Part("R1", "resistor", types["R1v"], 60, 30, section="memory", package="AXIAL-10.16"),
            Part("Q1", "npn", "", 100, 20, section="reset", package="TO-92"),
            Part("R2", "resistor", "10k", 100, 40, section="reset", package="AXIAL-10.16"),
            Part("R3", "resistor", "47k", 100, 50, section="reset", package="AXIAL-10.16"),
            Part("C1", "electrolytic", "10u", 100, 60, section="reset", package="RADIAL-POL-5.08"),
            Part("C2", "electrolytic", types["C2v"], 150, 60, section="supply", package="RADIAL-POL-5.08"),
        ]
        nets = {
            "+5V": "U1.8 D1.2 R2.1 R3.1 C2.1",
            "GND": "U1.1 U2.8 BT1.2 Q1.1 C1.2 C2.2",
            "VKEEP": "D1.1 R1.1 U2.22",
            "BATT": "R1.2 BT1.1",
            "/RESET": "U1.40 Q1.3 R2.2",
            "RB": "Q1.2 R3.2 C1.1",
            "A0": "U1.9 U2.1",
            "D0": "U1.33 U2.9",
            "R/W": "U1.34 U2.20",
            "PHI2": "U1.39 U2.19",
        }
        return make_board(parts, nets, clocks=(Clock("PHI2", 1e6),), sections=(Section("memory"),))

    return make


@pytest.fixture
def bench_board() -> Board:
    """Parts in a row, with pads, for geometry: R1 at x 10, U1 (socketed) at 40, C1 beside it, a via and a track."""
    parts = [
        Part("R1", "resistor", "1k", 10, 50, section="a", package="AXIAL-10.16"),
        Part("U1", "7400", "", 40, 60, section="a", package="DIP-14", socketed=True),
        Part("U2", "2716", "", 80, 80, section="b", package="DIP-24-600"),
        Part("C1", "electrolytic", "10u", 10, 100, section="b", package="RADIAL-POL-5.08"),
        Part("BT1", "battery", "", 120, 20, section="c", package="BAT-BARREL"),
        Part("J1", "connector", "", 100, 5, section="a", package="EDGE-4"),
        Part("REF**", "", "", 190, 190, package="HOLE-3"),
    ]
    nets = {
        "N1": "R1.1 U1.1",
        "N2": "R1.2 U1.2 U2.8",
        "GND": "U1.7 C1.2 BT1.2 U2.12 J1.1",
        "+5V": "U1.14 C1.1 U2.24",
        "BATT": "BT1.1 J1.2",
    }
    vias = (Via("V1", "N1", 43.8, 52.0, 0.6),)
    tracks = (
        Track("N2", "bottom", 43.8, 58, 43.8, 46, 0.5),
        Track("N2", "top", 12, 53.0, 60, 53.0, 0.5),
    )
    return make_board(parts, nets, vias=vias, tracks=tracks)


def touched(pads=(), parts=(), vias=(), tracks=(), **more) -> Touch:
    """A touch from short tuples: pads (point, severity), parts (refdes, severity), vias, tracks (n, layer, sev, share)."""
    return Touch(
        parts=tuple(TouchedPart(r, "", "", s, 1.0, ()) for r, s in parts),
        pads=tuple(TouchedPad(p, "", "both", s, 1.0) for p, s in pads),
        vias=tuple(TouchedVia(v, "N1", s, 1.0) for v, s in vias),
        tracks=tuple(TouchedTrack(n, "N2", layer, s, share) for n, layer, s, share in tracks),
        **more,
    )


@pytest.fixture
def touch_of():
    return touched


@pytest.fixture
def board_of():
    return make_board
