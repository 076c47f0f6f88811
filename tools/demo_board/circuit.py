"""The circuit of the demo board, part by part: our own design of an invented machine's control board.

Each ``part`` names its nets in the order of its pins ("-" is a pin that goes nowhere inside the part). Active-low
nets end in ``_N``. Where parts stand is in ``placement``; what the board says about itself is in ``facts``.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Fitted:
    """One part with the net of each pin, "" for a pin without one."""

    refdes: str
    type: str
    value: str
    package: str
    section: str
    nets: tuple[str, ...]
    socketed: bool = False
    notes: str = ""


PARTS: list[Fitted] = []


def _expand(text: str) -> list[str]:
    """``A0..A3`` becomes A0 A1 A2 A3, and A3..A0 the other way round."""
    nets: list[str] = []
    for word in text.split():
        first, dots, last = word.partition("..")
        if not dots:
            nets.append("" if word == "-" else word)
            continue
        stem = first.rstrip("0123456789")
        low, high = int(first[len(stem) :]), int(last[len(stem) :])
        step = 1 if high >= low else -1
        nets.extend(f"{stem}{n}" for n in range(low, high + step, step))
    return nets


def part(  # noqa: PLR0917  (one row of a table)
    refdes: str,
    kind: str,
    value: str,
    package: str,
    section: str,
    nets: str,
    *,
    socket: bool = False,
    notes: str = "",
) -> None:
    """Fit a part: ``nets`` in pin order."""
    PARTS.append(Fitted(refdes, kind, value, package, section, tuple(_expand(nets)), socket, notes))


def chip(
    refdes: str, value: str, pins: int, section: str, nets: str, *, socket: bool = False, notes: str = ""
) -> None:
    """Fit an integrated circuit in a dual in-line package."""
    package = {22: "DIP-22-400"}.get(pins, f"DIP-{pins}-600" if pins >= 24 else f"DIP-{pins}")
    part(refdes, value, value, package, section, nets, socket=socket, notes=notes)


def resistor(refdes: str, value: str, section: str, nets: str, notes: str = "") -> None:
    """Fit a quarter-watt resistor."""
    part(refdes, "resistor", value, "AXIAL-10.16", section, nets, notes=notes)


def capacitor(refdes: str, value: str, section: str, nets: str) -> None:
    """Fit a ceramic capacitor."""
    part(refdes, "capacitor", value, "DISC-5.08", section, nets)


def electrolytic(refdes: str, value: str, diameter: float, section: str, nets: str) -> None:
    """Fit an electrolytic capacitor, its plus lead first."""
    part(refdes, "electrolytic", value, f"RADIAL-POL-5.08-D{diameter:g}", section, nets)


def network(refdes: str, value: str, section: str, nets: str) -> None:
    """Fit a network of eight resistors, the common pin first."""
    part(refdes, "resistor-network-bussed-9", value, "SIP-9", section, nets)


# --- CPU and memory -------------------------------------------------------------------------------------------
chip(
    "U1", "6502", 40, "cpu",
    "GND RDY PHI1 IRQ_N - NMI_N SYNC +5V A0..A11 GND A12..A15 D7..D0 RW - - PHI0 +5V PHI2 RES_N",
    socket=True,
)  # fmt: skip
_ROM = "A7..A0 D0..D2 GND D3..D7 {select} A10 WR A11 A9 A8 +5V"
chip("U2", "2732", 24, "memory", _ROM.format(select="ROM0_N"), socket=True, notes="program, E000 to EFFF")
chip("U3", "2732", 24, "memory", _ROM.format(select="ROM1_N"), socket=True, notes="program, F000 to FFFF")
_RAM = "A3..A0 A5..A7 GND {0} {0} {1} {1} {2} {2} {3} {3} RES_N WR RAMSEL_N RAMWE_N A4 VRAM"
chip(
    "U4",
    "5101",
    22,
    "memory",
    _RAM.format("D0", "D1", "D2", "D3"),
    socket=True,
    notes="books and settings, low half",
)
chip(
    "U5",
    "5101",
    22,
    "memory",
    _RAM.format("D4", "D5", "D6", "D7"),
    socket=True,
    notes="books and settings, high half",
)
chip(
    "U11", "74LS00", 14, "memory",
    "PHI2 WR WSTB_N WSTB_N WSTB_N WSTB GND ALLOW A7 PROTECT RAMWE_N WSTB ALLOW +5V",
    notes="write strobe of the RAM; its upper half is protected while the door is shut",
)  # fmt: skip

# --- address decoding -----------------------------------------------------------------------------------------
chip(
    "U9", "74LS138", 16, "decoding",
    "A13 A14 A15 GND GND +5V ROMBLK_N GND SEL6_N SEL5_N SEL4_N SEL3_N SEL2_N SEL1_N BLK0_N +5V",
)  # fmt: skip
chip(
    "U10", "74LS139", 16, "decoding",
    "ROMBLK_N A12 GND ROM0_N ROM1_N ROMX2_N ROMX3_N GND PIA2_N PIA1_N RAMSEL_N RIOT_N A12 A11 BLK0_N +5V",
)  # fmt: skip
chip(
    "U14", "74LS32", 14, "decoding",
    "SEL1_N PHI2_N DISP_CLK SEL2_N PHI2_N LAMPA_CLK GND LAMPB_CLK SEL3_N PHI2_N SNDSTB_N SEL4_N PHI2_N +5V",
    notes="strobes of the display latch, the lamp latches and the sound board",
)  # fmt: skip

# --- clock ----------------------------------------------------------------------------------------------------
chip(
    "U12", "74LS04", 14, "clock",
    "OSC1 OSC2 OSC3 OSC4 OSC4 CLK4M GND WR RW PHI2_N PHI2 LED_K LED_DRV +5V",
    notes="crystal oscillator, inverters of RW and phase 2, lamp of the self test",
)  # fmt: skip
chip(
    "U13", "74LS74", 14, "clock",
    "+5V DIV1_N CLK4M +5V CLK2M DIV1_N GND DIV2_N PHI0 +5V CLK2M DIV2_N +5V +5V",
    notes="divides 4 MHz by four",
)  # fmt: skip
part("Y1", "crystal", "4.000MHz", "HC-49", "clock", "OSC1 OSC4")
resistor("R11", "470", "clock", "OSC1 OSC2")
resistor("R12", "470", "clock", "OSC3 OSC4")
capacitor("C4", "10n", "clock", "OSC2 OSC3")

# --- reset ----------------------------------------------------------------------------------------------------
part(
    "Q1",
    "pnp",
    "2N3906",
    "TO-92",
    "reset",
    "+5V RST_B1 RST_C1",
    notes="on while the 5 V rail is above 4.55 V",
)
resistor("R1", "10k", "reset", "+5V RST_B1")
resistor("R2", "1k", "reset", "RST_B1 RST_Z")
part("ZD1", "zener", "3V9", "AXIAL-7.62", "reset", "RST_Z GND")
resistor("R3", "22k", "reset", "RST_C1 RST_CAP")
resistor("R4", "1k", "reset", "RST_C1 GND")
electrolytic("C1", "22u", 6.3, "reset", "RST_CAP GND")
part("D1", "diode", "1N4148", "AXIAL-7.62", "reset", "RST_C1 RST_CAP", notes="empties C1 when the rail falls")
resistor("R5", "47k", "reset", "RST_CAP RST_B2")
part("Q2", "npn", "2N3904", "TO-92", "reset", "GND RST_B2 RST_C2")
resistor("R6", "4k7", "reset", "+5V RST_C2")
resistor("R7", "10k", "reset", "RST_C2 RST_B3")
part("Q3", "npn", "2N3904", "TO-92", "reset", "GND RST_B3 RES_N")
resistor("R8", "3k3", "reset", "+5V RES_N")
resistor("R10", "100k", "reset", "RES_N GND", notes="keeps the RAM shut while the board is off")

# --- battery --------------------------------------------------------------------------------------------------
part("BT1", "battery-nicd-3.6v", "3.6V", "BAT-BARREL", "battery", "VBAT GND", notes="leaks with age")
part(
    "D2",
    "rectifier",
    "1N4001",
    "AXIAL-10.16",
    "battery",
    "VRAM +5V",
    notes="keeps the battery off the 5 V rail",
)
part("D3", "schottky", "1N5817", "AXIAL-10.16", "battery", "VRAM VBAT")
resistor("R9", "180", "battery", "VRAM VBAT", "charges the battery")
capacitor("C2", "100n", "battery", "VRAM GND")
electrolytic("C3", "10u", 6.3, "battery", "VRAM GND")

# --- peripheral chips -----------------------------------------------------------------------------------------
_PIA = "GND {a} {b} {cb1} {cb2} +5V RW +5V {select} +5V PHI2 D7..D0 RES_N A1 A0 IRQ_N IRQ_N {ca2} {ca1}"
chip(
    "U6", "6821", 40, "peripherals",
    _PIA.format(a="SOUT0..SOUT7", b="RET0..RET7", cb1="TILT_N", cb2="SND_RES", select="PIA1_N", ca2="LED_DRV", ca1="ZC"),
    socket=True, notes="switch matrix",
)  # fmt: skip
chip(
    "U7", "6821", 40, "peripherals",
    _PIA.format(a="LD0..LD7", b="SOL0..SOL7", cb1="COIN_N", cb2="AUX", select="PIA2_N", ca2="SOL_EN", ca1="TEST_N"),
    socket=True, notes="lamps and solenoids",
)  # fmt: skip
chip(
    "U8", "6532", 40, "peripherals",
    "GND A5..A0 DD0..DD7 OPT7..OPT4 +5V OPT3..OPT0 IRQ_N D7..D0 RES_N RW A9 RIOT_N +5V PHI2 A6",
    socket=True, notes="display data, options, timer, 128 bytes of RAM",
)  # fmt: skip
network("RN4", "3k3", "peripherals", "+5V IRQ_N NMI_N RDY ZC TILT_N COIN_N TEST_N PROTECT")
resistor("R15", "22k", "peripherals", "ZC_IN ZC")
part("LED1", "led", "red", "LED-5", "peripherals", "LED_K LED_A", notes="blinks in the self test")
resistor("R17", "330", "peripherals", "LED_A +5V")
part("SW2", "pushbutton", "TEST", "SW-PUSH-2", "options", "TEST_N GND")
capacitor("C6", "100n", "options", "TEST_N GND")

# --- option switches ------------------------------------------------------------------------------------------
part("SW1", "dip-switch-8", "OPTIONS", "SW-DIP-8", "options", "OPT0..OPT7 " + "GND " * 8)
network("RN2", "4k7", "options", "+5V OPT0..OPT7")

# --- switch matrix --------------------------------------------------------------------------------------------
chip("U15", "ULN2803", 18, "switch matrix", "SOUT0..SOUT7 GND +5V SDRV7..SDRV0", notes="drives the strobes")
_COMPARE = "{b} {a} +5V VREF {ia} VREF {ib} VREF {ic} VREF {id} GND {d} {c}"
for _ref, _n in (("U16", 0), ("U17", 4)):
    chip(
        _ref, "LM339", 14, "switch matrix",
        _COMPARE.format(
            a=f"RET{_n}", b=f"RET{_n + 1}", c=f"RET{_n + 2}", d=f"RET{_n + 3}",
            ia=f"RIN{_n}", ib=f"RIN{_n + 1}", ic=f"RIN{_n + 2}", id=f"RIN{_n + 3}",
        ),
        notes="senses the returns",
    )  # fmt: skip
resistor("R13", "4k7", "switch matrix", "+5V VREF")
resistor("R14", "5k6", "switch matrix", "VREF GND")
capacitor("C5", "100n", "switch matrix", "VREF GND")
network("RN1", "2k7", "switch matrix", "+5V RETURN0..RETURN7")
network("RN3", "10k", "switch matrix", "+5V RET0..RET7")
for _n in range(8):
    part(f"D{11 + _n}", "diode", "1N4148", "AXIAL-7.62", "switch matrix", f"SDRV{_n} STROBE{_n}")
    resistor(f"R{21 + _n}", "1k", "switch matrix", f"RETURN{_n} RIN{_n}")
    capacitor(f"C{21 + _n}", "1n", "switch matrix", f"RIN{_n} GND")

# --- lamps ----------------------------------------------------------------------------------------------------
_LATCH = (
    "{first} {q0} {d0} {d1} {q1} {q2} {d2} {d3} {q3} GND {clk} {q4} {d4} {d5} {q5} {q6} {d6} {d7} {q7} +5V"
)


def _latch(refdes: str, value: str, section: str, *, first: str, clk: str, d: str, q: str) -> None:
    named = {f"d{n}": f"{d}{n}" for n in range(8)} | {f"q{n}": f"{q}{n}" for n in range(8)}
    chip(refdes, value, 20, section, _LATCH.format(first=first, clk=clk, **named))


_latch("U18", "74LS273", "lamps", first="RES_N", clk="LAMPA_CLK", d="LD", q="LA")
_latch("U19", "74LS273", "lamps", first="RES_N", clk="LAMPB_CLK", d="LD", q="LB")
chip("U20", "ULN2803", 18, "lamps", "LA0..LA7 GND +12V LAMP7..LAMP0")
chip("U21", "ULN2803", 18, "lamps", "LB0..LB7 GND +12V LAMP15..LAMP8")

# --- solenoids ------------------------------------------------------------------------------------------------
_AND = "SOL{0} SOL_EN SG{0} SOL{1} SOL_EN SG{1} GND SG{2} SOL{2} SOL_EN SG{3} SOL{3} SOL_EN +5V"
chip("U22", "74LS08", 14, "solenoids", _AND.format(0, 1, 2, 3))
chip("U23", "74LS08", 14, "solenoids", _AND.format(4, 5, 6, 7))
resistor("R16", "4k7", "solenoids", "SOL_EN GND", "keeps the solenoids off until the program runs")
for _n in range(8):
    resistor(f"R{31 + _n}", "1k", "solenoids", f"SG{_n} SB{_n}")
    part(f"Q{11 + _n}", "npn-darlington", "TIP122", "TO-220", "solenoids", f"SB{_n} COIL{_n} PGND")
    part(f"D{21 + _n}", "rectifier", "1N4004", "AXIAL-10.16", "solenoids", f"VSOL COIL{_n}")

# --- display --------------------------------------------------------------------------------------------------
_latch("U24", "74LS374", "display", first="GND", clk="DISP_CLK", d="DD", q="DQ")
chip(
    "U25", "4511", 16, "display",
    "DQ1 DQ2 +5V RES_N GND DQ3 DQ0 GND SEGQ_E SEGQ_D SEGQ_C SEGQ_B SEGQ_A SEGQ_G SEGQ_F +5V",
    notes="blank during reset",
)  # fmt: skip
chip("U26", "7442", 16, "display", "DIGIT0..DIGIT6 GND DIGIT7..DIGIT9 DQ7 DQ6 DQ5 DQ4 +5V")
part(
    "RN5", "resistor-network-isolated-14", "330", "RNET-DIP-14", "display",
    "SEGQ_E SEGQ_D SEGQ_C SEGQ_B SEGQ_A SEGQ_G SEGQ_F SEG_F SEG_G SEG_A SEG_B SEG_C SEG_D SEG_E",
)  # fmt: skip

# --- supply ---------------------------------------------------------------------------------------------------
electrolytic("C7", "470u", 10, "supply", "+5V GND")
electrolytic("C8", "100u", 8, "supply", "+12V GND")
part(
    "LK1", "wire-link", "link", "AXIAL-10.16", "supply", "GND PGND", notes="the only joint of the two grounds"
)
for _n in range(12):
    capacitor(f"C{31 + _n}", "100n", "supply", "+5V GND")

# --- connectors -----------------------------------------------------------------------------------------------
part(
    "J1", "header", "SUPPLY", "HDR-1x10-3.96", "supply",
    "+5V +5V GND GND GND +12V +12V VSOL PGND PGND",
)  # fmt: skip
part("J2", "header", "STROBES", "HDR-1x9", "switch matrix", "STROBE0..STROBE7 GND")
part("J3", "header", "RETURNS", "HDR-1x9", "switch matrix", "RETURN0..RETURN7 GND")
part("J4", "header", "LAMPS", "HDR-1x20", "lamps", "LAMP0..LAMP15 +12V +12V GND GND")
part("J5", "header", "SOLENOIDS", "HDR-1x12-3.96", "solenoids", "COIL0..COIL7 VSOL VSOL PGND PGND")
part(
    "J6", "header", "DISPLAY", "HDR-2x10", "display",
    "SEG_A SEG_B SEG_C SEG_D SEG_E SEG_F SEG_G +5V DIGIT0..DIGIT9 GND GND",
)  # fmt: skip
part(
    "J7", "header", "SOUND AND DOOR", "HDR-1x14", "peripherals",
    "LD0..LD3 SNDSTB_N SND_RES AUX ZC_IN COIN_N TILT_N PROTECT +5V GND GND",
)  # fmt: skip
part(
    "J8", "edge-connector", "BUS", "EDGE-22x2", "cpu",
    "+5V +5V A0..A15 RW PHI2 PHI1 SYNC "
    "GND GND D0..D7 RES_N IRQ_N NMI_N RDY SEL5_N SEL6_N ROMX2_N ROMX3_N PHI0 CLK4M GND GND",
)  # fmt: skip


def nets() -> dict[str, list[tuple[str, str]]]:
    """Net -> its (refdes, pin), in the order of the parts."""
    found: dict[str, list[tuple[str, str]]] = {}
    for fitted in PARTS:
        for number, net in enumerate(fitted.nets, start=1):
            if net:
                found.setdefault(net, []).append((fitted.refdes, str(number)))
    return found
