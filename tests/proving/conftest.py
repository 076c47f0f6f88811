"""A small machine's board, made by hand: CPU, ROM, kept RAM, latch with lamp, interface chip with coil and matrix."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coppermend.board.model import (
    Board,
    Clock,
    Connector,
    Matrix,
    MatrixPosition,
    Part,
    PinRef,
    Rail,
)
from coppermend.board.parttypes import PartLibrary, parse_part_types

TYPES = """
["6502"]
description = "CPU"
kind = "cpu"
package = "DIP-40-600"
pins = ["1 VSS ground", "8 VCC power", "40 /RES in reset", "37 PHI0 in clock", "4 /IRQ in interrupt", "2 RDY in control",
        "9 A0 out address", "33 D0 bidi data", "34 R/W out control", "5 NC nc"]
paths = ["37 > 9"]

["2716"]
description = "EPROM"
kind = "rom"
package = "DIP-24-600"
pins = ["8 A0 in address", "9 D0 out data", "18 /CE in select", "24 VCC power", "12 GND ground"]

["6116"]
description = "2Kx8 RAM"
kind = "ram"
package = "DIP-24-600"
pins = ["8 A0 in address", "9 D0 bidi data", "18 /CE in select", "21 /WE in control", "24 VCC power", "12 GND ground"]

["6821"]
description = "interface adapter"
kind = "peripheral"
package = "DIP-40-600"
pins = ["33 D0 bidi data", "36 RS0 in select", "34 /RESET in reset", "38 /IRQA out interrupt", "2 PA0 bidi port",
        "3 PA1 bidi port", "10 PB0 bidi port", "20 VCC power", "1 VSS ground"]

["7404"]
description = "inverter"
kind = "logic"
package = "DIP-14"
pins = ["1 1A in", "2 1Y out", "3 2A in", "4 2Y out", "5 3A in", "6 3Y out", "7 GND ground", "14 VCC power"]
paths = ["1 > 2", "3 > 4", "5 > 6"]

["74374"]
description = "latch"
kind = "logic"
package = "DIP-20"
pins = ["3 1D in", "2 1Q out", "11 CLK in clock", "1 /OE in control", "10 GND ground", "20 VCC power"]
paths = ["3 11 1 > 2"]

["74245"]
description = "transceiver"
kind = "logic"
package = "DIP-20"
pins = ["1 DIR in control", "19 /OE in control", "2 A1 bidi data", "18 B1 bidi data", "10 GND ground", "20 VCC power"]
paths = ["2 1 19 > 18", "18 1 19 > 2"]

["74244"]
description = "buffer"
kind = "logic"
package = "DIP-20"
pins = ["1 /OE in control", "2 A1 in", "18 Y1 out", "10 GND ground", "20 VCC power"]
paths = ["2 1 > 18"]

["7805"]
description = "regulator"
kind = "regulator"
package = "TO-220"
pins = ["1 IN power", "2 GND ground", "3 OUT out"]
paths = ["1 > 3"]

["LM317"]
description = "adjustable regulator"
kind = "regulator"
package = "TO-220"
pins = ["1 ADJ passive", "2 OUT out", "3 IN power"]
paths = ["3 1 > 2"]

["npn"]
description = "NPN transistor"
kind = "transistor"
package = "TO-92"
pins = ["1 E passive", "2 B in", "3 C open-collector"]
paths = ["2 1 > 3", "2 3 > 1"]

["oscillator"]
description = "oscillator"
kind = "oscillator"
package = "DIP-14"
pins = ["8 OUT out clock", "7 GND ground", "14 VCC power"]

["resistor"]
description = "resistor"
kind = "resistor"
package = "AXIAL-10.16"
pins = ["1 1 passive", "2 2 passive"]

["bussed"]
description = "resistor network, common pin 1"
kind = "network"
package = "SIP-4"
pins = ["1 COM passive", "2 R1 passive", "3 R2 passive", "4 R3 passive"]
paths = ["1 > 2 3 4"]

["diode"]
description = "diode"
kind = "diode"
package = "AXIAL-7.62"
polarised = true
pins = ["1 K passive", "2 A passive"]

["led"]
description = "light-emitting diode"
kind = "led"
package = "LED-5"
pins = ["1 K passive", "2 A passive"]

["capacitor"]
description = "capacitor"
kind = "capacitor"
package = "RADIAL-5.08"
pins = ["1 1 passive", "2 2 passive"]

["electrolytic"]
description = "electrolytic"
kind = "electrolytic"
package = "RADIAL-POL-5.08"
pins = ["1 + passive", "2 - passive"]

["fuse"]
description = "fuse"
kind = "fuse"
package = "FUSE-20"
pins = ["1 1 passive", "2 2 passive"]

["battery"]
description = "battery"
kind = "battery"
package = "BAT-BARREL"
pins = ["1 + passive", "2 - passive"]

["pushbutton"]
description = "pushbutton"
kind = "switch"
package = "SW-PUSH-2"
pins = ["1 1 passive", "2 2 passive"]

["pushbutton-4"]
description = "pushbutton, four legs"
kind = "switch"
package = "SW-PUSH-4"
pins = ["1 1A passive", "2 1B passive", "3 2A passive", "4 2B passive"]
paths = ["1 2 > 3 4", "3 4 > 1 2"]

["dip-switch-2"]
description = "2-position switch bank"
kind = "switch"
package = "SW-DIP-2"
pins = ["1 1A passive", "2 2A passive", "3 2B passive", "4 1B passive"]
paths = ["1 > 4", "4 > 1", "2 > 3", "3 > 2"]

["link"]
description = "wire link"
kind = "mechanical"
package = "AXIAL-10.16"
pins = ["1 1 passive", "2 2 passive"]

["connector"]
description = "connector"
kind = "connector"
package = "HDR-1x6"
open_pins = true
pins = []
"""


@pytest.fixture(scope="session")
def library() -> PartLibrary:
    return PartLibrary(parse_part_types(TYPES))


def nets_of(written: dict[str, str]) -> dict[str, tuple[PinRef, ...]]:
    """Nets from "U1.3 R2.1" each."""
    return {net: tuple(PinRef.parse(p) for p in pins.split()) for net, pins in written.items()}


_PARTS = {
    "U1": "6502", "U2": "2716", "U3": "6116", "U4": "7404", "U5": "74374", "U6": "6821", "X1": "oscillator",
    "VR1": "7805", "F1": "fuse", "C1": "electrolytic", "C2": "capacitor", "C3": "capacitor", "BT1": "battery",
    "D1": "diode", "R1": "resistor", "R2": "resistor", "R3": "resistor", "R4": "resistor", "R5": "resistor",
    "R6": "resistor", "Q1": "npn", "Q2": "npn", "D9": "diode", "SW1": "pushbutton", "J1": "connector",
    "J2": "connector", "J3": "connector", "J4": "connector",
}  # fmt: skip
_NETS = {
    "+5V": "U1.8 U2.24 U4.14 U5.20 U6.20 X1.14 VR1.3 C1.1 C2.1 D1.2 R2.1 R3.1 R4.1",
    "RAW": "VR1.1 F1.2",
    "INLET": "F1.1 J1.1",
    "GND": "U1.1 U2.12 U3.12 U4.7 U5.10 U6.1 X1.7 VR1.2 C1.2 C2.2 C3.2 BT1.2 Q1.1 Q2.1 J1.2 SW1.2 U5.1",
    "VKEEP": "D1.1 R1.1 U3.24",
    "BATT": "R1.2 BT1.1",
    "CLK": "X1.8 U1.37",
    "/RES": "U1.40 U6.34 R2.2 C3.1 SW1.1",
    "/IRQ": "U1.4 U6.38 R3.2",
    "RDY": "U1.2 R4.2",
    "A0": "U1.9 U2.8 U3.8 U4.1 U4.3 U6.36",
    "D0": "U1.33 U2.9 U3.9 U5.3 U6.33",
    "R/W": "U1.34 U3.21",
    "/ROM": "U4.2 U2.18 U3.18",
    "LATCH": "U4.4 U5.11",
    "LAMPB": "U5.2 R5.1",
    "QB": "R5.2 Q1.2",
    "LAMP0": "Q1.3 J2.1",
    "COILB": "U6.10 R6.1",
    "QC": "R6.2 Q2.2",
    "COIL0": "Q2.3 J2.2",
    "STROBE0": "U6.2 D9.1",
    "STROBE0J": "D9.2 J3.1",
    "RETURN0": "U6.3 J3.2",
    "SPARE": "U4.6 J4.1",
    "DOOR": "U4.5 J4.2",
}  # fmt: skip


@pytest.fixture
def machine_board():
    """The board; ``parts`` adds or replaces types by refdes, ``nets`` adds or replaces nets (None drops one)."""

    def make(parts=None, nets=None, **change) -> Board:
        types = {**_PARTS, **(parts or {})}
        written = {n: p for n, p in {**_NETS, **(nets or {})}.items() if p is not None}
        board = Board(
            "machine",
            100.0,
            100.0,
            parts=tuple(Part(r, t, package="", section="") for r, t in types.items()),
            nets=nets_of(written),
            rails=(Rail("+5V", 5.0, 0.05), Rail("VKEEP", 4.4, 0.1)),
            clocks=(Clock("CLK", 1e6),),
            matrix=Matrix(
                ("STROBE0J",), ("RETURN0",), (MatrixPosition("STROBE0J", "RETURN0", "start", "D9"),)
            ),
            connectors=(
                Connector("J1", "supply", "supply"),
                Connector("J2", "lamp and coil", "lamp", {"1": "game over", "2": "knocker"}),
                Connector("J3", "switches", "switch"),
            ),
        )
        return replace(board, **change)

    return make
