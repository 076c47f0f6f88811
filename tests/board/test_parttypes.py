"""Reading part types, finding them by the names that are printed on parts, and what the library promises."""

from __future__ import annotations

import pytest

from coppermend.board.model import Part
from coppermend.board.packages import package_pads
from coppermend.board.parttypes import PartLibrary, PinSpec, SignalPath, parse_part_types, standard_library
from coppermend.errors import InputError, UnknownName

LIBRARY = standard_library()
ALL = list(LIBRARY.types.values())
INVERTER = """
["inverter"]
description = "one inverter"
kind = "logic"
package = "DIP-8"
aliases = ["NOT"]
pins = ["1 A in", "2 /Y out", "3 CLK in clock", "4 GND ground"]
paths = ["1 3 > 2"]
"""
# Rows of the parts-count table (MIL-HDBK-217F Notice 2, appendix A) that a type may name.
CLASS_NAMES = """
ceramic ceramic_temp_comp tantalum_solid electrolytic film_capacitor composition_resistor film_resistor
resistor_network signal_diode switching_diode power_rectifier zener small_transistor power_transistor thyristor
optoisolator digital_bipolar digital_mos_small digital_mos_medium cpu_8bit mos_rom eprom sram dram linear crystal
relay toggle_switch fuse connector ic_socket incandescent_lamp
"""
REQUIRED_NAMES = """
7400 7402 7404 7406 7407 7408 7410 7414 7420 7421 7427 7430 7432 7442 7447 7474 7475 7485 7486 7490 7493 74107 74109
74121 74123 74125 74138 74139 74148 74151 74153 74154 74155 74157 74161 74163 74164 74165 74166 74173 74174 74175
74193 74240 74241 74244 74245 74251 74257 74259 74273 74365 74367 74373 74374 74377 74390 74393 74541 74573 74574
4001 4011 4013 4016 4017 4020 4021 4024 4028 4040 4049 4050 4051 4052 4053 4060 4066 4069 4081 4094 4099 4511 4514
4528 4538 40106
2114 2102 5101 6116 6264 62256 2708 2716 2516 2532 2732 2764 27128 27256 27512 28C64 28C256 2316 2332 2364
6502 65C02 6800 6802 6809 Z80 8080 8085 6821 6522 6532 6551 6850 8255 8279 Z80-PIO Z80-CTC
ULN2003 ULN2803 75451 npn pnp npn-darlington pnp-darlington n-mosfet thyristor UDN6118
78xx 79xx LM723 LM317 LM309 LM323 LM339 LM393 LM324 LM741 NE555 NE556
supervisor-low supervisor-high supervisor-open-drain
resistor resistor-network-bussed-8 resistor-network-bussed-9 resistor-network-isolated-8 capacitor electrolytic
tantalum inductor ferrite-bead potentiometer diode zener rectifier schottky bridge-rectifier led crystal oscillator
relay connector header edge-connector switch pushbutton dip-switch-8 battery-nicd-3.6v battery-coin supercapacitor
fuse lamp ic-socket mounting-hole
"""


def test_type_is_read_with_pins_and_paths():
    """A table of TOML becomes a type with pins by number and paths by pin numbers."""
    kind = parse_part_types(INVERTER)["inverter"]

    assert kind.pin_by_number["3"] == PinSpec("3", "CLK", "in", "clock")
    assert kind.paths == (SignalPath(("1", "3"), ("2",)),)
    assert (kind.open_pins, kind.three_state, kind.polarised) == (False, False, False)


@pytest.mark.parametrize(
    "old, new, words",
    [
        ('kind = "logic"', "", "lacks 'kind'"),
        ('kind = "logic"', 'kind = "magic"', "kind 'magic'"),
        ('"1 A in"', '"1 A inward"', "pin '1 A inward'"),
        ('"1 A in"', '"1 A in sideways"', "pin '1 A in sideways'"),
        ('"1 A in"', '"1 A"', "pin '1 A'"),
        ('"2 /Y out"', '"1 /Y out"', "pin 1 twice"),
        ('"1 3 > 2"', '"1 3"', "path '1 3'"),
        ('"1 3 > 2"', '"1 3 >"', "path '1 3 >'"),
        ('"1 3 > 2"', '"1 9 > 2"', "pin 9, which it lacks"),
        ('["1 A in"', '[1, "1 A in"', "malformed"),
        ('aliases = ["NOT"]', "aliases = 3", "malformed"),
        ('aliases = ["NOT"]', 'aliases = "NOT"', "malformed"),
        ('aliases = ["NOT"]', "aliases = [1]", "malformed"),
        ("pins = ", "pints = ", "lacks 'pins'"),
    ],
)
def test_broken_type_is_refused_with_its_place(old, new, words):
    """A wrong table is one error that names the file and the type or what is wrong with it."""
    with pytest.raises(InputError) as caught:
        parse_part_types(INVERTER.replace(old, new), "shop.toml")

    assert caught.value.where == "shop.toml"
    assert words in caught.value.found


@pytest.mark.parametrize("text", ['["a"]\nkind = \n', '["a"]\nkind = '])
def test_broken_toml_names_the_line(text):
    """TOML that cannot be read gives the line, also when it breaks off at its end."""
    with pytest.raises(InputError) as caught:
        parse_part_types(text, "shop.toml")

    assert (caught.value.where, caught.value.line) == ("shop.toml", 2)


def test_value_outside_a_table_is_refused():
    """A type must be a table."""
    with pytest.raises(InputError) as caught:
        parse_part_types("resistor = 1", "shop.toml")

    assert "no table" in caught.value.found


@pytest.mark.parametrize(
    "name, found",
    [
        ("74LS138N", "74138"), ("SN74LS00", "7400"), ("74hc245", "74245"), ("DM7404N", "7404"), ("54LS74", "7474"),
        ("MC14538BCP", "4538"), ("CD4011BE", "4011"), ("HEF40106BP", "40106"), ("CD74HC4040E", "4040"),
        ("2716-1", "2716"), ("M2716", "2716"), ("TMS2716JL-45", "2716-three-supply"), ("TMS2532JL", "2532"),
        ("HM6116LP-3", "6116"), ("P5101L-1", "5101"), ("NMC27C64Q", "2764"), ("AM27C512-90DC", "27512"),
        ("AT28C64B-15PU", "28C64"), ("R6502AP", "6502"), ("W65C02S6TPG-14", "65C02"), ("65C22S", "6522"),
        ("65C51N", "6551"), ("MC6821P", "6821"), ("MC68B21P", "6821"), ("MC6809EP", "6809E"), ("MC6809P", "6809"),
        ("Z80ACPU", "Z80"), ("D8255AC-5", "8255"), ("NE555P", "555"), ("UA741CN", "741"), ("LM7805CT", "78xx"),
        ("ULN2803APG", "ULN2803"), ("SN75451BP", "75451"), ("BC547B", "npn-bc"), ("TIP102", "npn-darlington"),
        ("1N4001", "rectifier"), ("1N4148", "diode"), ("TL7705ACP", "TL7705"), ("Resistor", "resistor"),
    ],
)  # fmt: skip
def test_printed_name_finds_its_generic_type(name, found):
    """Case, family, maker's prefix, package suffix and speed grade do not hide the generic number."""
    assert LIBRARY.get(name).name == found


@pytest.mark.parametrize(
    "name", ["UF5400", "LTC4001", "MCP4011", "IRF7404", "R-785.0-0.5", "CP2102N", "74", "", "2716X9Y9"]
)
def test_other_part_with_like_digits_is_not_mistaken(name):
    """A number inside another maker's name is no reason to call it that logic chip or memory."""
    assert LIBRARY.find(name) is None


def test_unknown_type_is_an_error_only_when_asked_by_get():
    """``find`` gives None, ``get`` an error that names the kind of thing."""
    with pytest.raises(UnknownName) as caught:
        LIBRARY.get("flux-gate")

    assert (caught.value.kind, caught.value.name) == ("part type", "flux-gate")


def test_part_without_type_has_none():
    """A part whose type is empty or unknown has no part type."""
    assert LIBRARY.of(Part("U1")) is None
    assert LIBRARY.of(Part("U1", "flux-gate")) is None
    assert LIBRARY.of(Part("U1", "74LS00")) is LIBRARY.get("7400")


def test_shop_type_replaces_and_adds():
    """A shop's own types come on top: same name replaces, alias adds."""
    more = parse_part_types(INVERTER.replace('"inverter"', '"7400"'))

    extended = LIBRARY.extended(more.values())

    assert extended.get("74LS00").description == "one inverter"
    assert extended.get("not").name == "7400"
    assert LIBRARY.get("7400").description == "quad 2-input NAND gate"


def test_open_pins_accept_any_number():
    """A connector has every pin, passive; a chip has only its own."""
    assert LIBRARY.get("header").pin("B17") == PinSpec("B17", "B17", "passive")
    assert LIBRARY.get("7400").pin("15") is None
    assert LIBRARY.get("7400").pin("14").direction == "power"


@pytest.mark.parametrize("name", REQUIRED_NAMES.split())
def test_library_holds_what_such_boards_use(name):
    """Every generic type that boards of the time are made of is there, with a source."""
    assert LIBRARY.get(name).source


def test_library_is_large_and_its_names_are_unambiguous():
    """At least 120 types; no name or alias stands for two of them."""
    names = [name.upper() for kind in ALL for name in {kind.name, *kind.aliases}]

    assert len(ALL) >= 120
    assert len(set(names)) == len(names)


@pytest.mark.parametrize("kind", ALL, ids=lambda kind: kind.name)
def test_type_is_whole(kind):
    """Pins are 1 to n where the package says so, classes are known, active chips have supply and paths."""
    pads = {pad.pin for pad in package_pads(Part("X1", package=kind.package))}
    signals = [pin for pin in kind.pins if pin.direction in ("out", "open-collector")]
    driven = {number for path in kind.paths for number in path.outputs}

    assert kind.failure_class in {*CLASS_NAMES.split()} | {""}
    if pads and not kind.open_pins:
        assert {pin.number for pin in kind.pins} <= pads
        assert kind.name == "oscillator" or {pin.number for pin in kind.pins} == pads
    assert [pin.name for pin in signals if pin.number not in driven] == []
    if kind.kind in ("logic", "cpu", "rom", "ram", "peripheral"):
        assert {"power", "ground"} <= {pin.direction for pin in kind.pins}


def test_empty_library_knows_nothing():
    """A library without types is usable."""
    assert PartLibrary().find("7400") is None
