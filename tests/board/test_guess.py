"""Guesses at what a part is. Prefixes and footprint names are common practice, no source."""

from __future__ import annotations

import pytest

from coppermend.board.guess import guess_package, guess_type, is_socket
from coppermend.board.model import Part
from coppermend.board.packages import package_pads
from coppermend.board.parttypes import PartLibrary, standard_library


@pytest.mark.parametrize(
    ("refdes", "value", "package", "pins", "expected"),
    [
        ("R1", "4k7", "R_Axial_DIN0207", 2, "resistor"),
        ("R2", "2114", "", 2, "resistor"),
        ("C1", "100n", "C_Disc_D3.4mm", 2, "capacitor"),
        ("C2", "100uF", "CP_Radial_D10.0mm", 2, "electrolytic"),
        ("C3", "100uF", "RADIAL-POL-5", 2, "electrolytic"),
        ("C4", "10uF tantalum", "", 2, "tantalum"),
        ("C5", "0.47F", "CP_Radial_D13mm", 2, "supercapacitor"),
        ("C6", "1F 5.5V", "", 2, "supercapacitor"),
        ("C7", "10uF polyester", "C_Polyester", 2, "capacitor"),
        ("L1", "10uH", "", 2, "inductor"),
        ("FB1", "bead", "", 2, "ferrite-bead"),
        ("D1", "POWER", "LED_D5.0mm", 2, "led"),
        ("D2", "1N4148", "", 2, "diode"),
        ("D3", "BZX55C5V1", "", 2, "zener"),
        ("D4", "whatever", "", 2, "diode"),
        ("LED3", "", "", 2, "led"),
        ("ZD1", "5V1", "", 2, "zener"),
        ("Q1", "NPN", "", 3, "npn"),
        ("Q2", "PNP small signal", "", 3, "pnp"),
        ("Q3", "?", "TO-92", 3, ""),
        ("J1", "", "PinHeader_1x06", 6, "header"),
        ("J2", "", "EDGE-28", 28, "edge-connector"),
        ("P3", "", "", 40, "connector"),
        ("JP1", "", "", 3, "header"),
        ("X1", "1MHz", "Oscillator_DIP-14", 4, "oscillator"),
        ("X2", "3.58MHz", "HC-49", 2, "crystal"),
        ("Y1", "8000", "", 2, "crystal"),
        ("X3", "", "PinSocket_1x04", 4, "connector"),
        ("X4", "16MHz", "", 4, "oscillator"),
        ("SW1", "RESET", "SW_PUSH_6mm", 2, "pushbutton"),
        ("SW2", "TEST", "TACT", 4, "pushbutton-4"),
        ("S3", "options", "SW-DIP-8", 16, "dip-switch-8"),
        ("S4", "options", "SW-DIP-7", 14, ""),
        ("SW5", "mode", "", 3, "switch-spdt"),
        ("SW6", "mode", "", 2, "switch"),
        ("RV1", "10k", "", 3, "potentiometer"),
        ("RN1", "10k", "SIP-9", 9, "resistor-network-bussed-9"),
        ("RN2", "10k", "DIP-16", 16, "resistor-network-isolated-16"),
        ("BT1", "CR2032", "", 2, "battery-coin"),
        ("BT2", "3.6V NiCd", "", 2, "battery-nicd-3.6v"),
        ("BAT3", "alkaline", "", 2, "battery-alkaline"),
        ("B4", "?", "", 2, ""),
        ("F1", "2A", "", 2, "fuse"),
        ("K1", "12V", "", 5, "relay"),
        ("TP1", "", "", 1, "test-point"),
        ("U1", "SN74LS138N", "DIP-16", 16, "74138"),
        ("U2", "74LS138", "DIP-20", 20, ""),
        ("U3", "unheard of", "DIP-16", 16, ""),
        ("U4", "", "", 0, ""),
        ("H1", "", "MountingHole_3.2mm", 0, "mounting-hole"),
        ("H2", "", "", 0, ""),
        ("REF**", "logo", "Logo", 0, ""),
        ("12", "7404", "", 14, "7404"),
    ],
)  # fmt: skip
def test_type_by_refdes_value_and_package(refdes, value, package, pins, expected):
    """Letters choose the rule, value and package refine it; no type is better than one with too few pins."""
    assert guess_type(refdes, value, package, pins, standard_library()) == expected


def test_an_empty_library_knows_nothing():
    """Only types that exist are named."""
    assert guess_type("R1", "10k", "", 2, PartLibrary()) == ""


@pytest.mark.parametrize(
    ("footprint", "package"),
    [
        ("DIP-14_W7.62mm_Socket", "DIP-14"),
        ("DIP-22_W10.16mm", "DIP-22-400"),
        ("Package_DIP:DIP-40_W15.24mm", "DIP-40-600"),
        ("R_Axial_DIN0207_L6.3mm_D2.5mm_P10.16mm_Horizontal", "AXIAL-10.16-D2.5"),
        ("D_Axial_DO_L5.2mm_D2.7mm_P7.62mm", "AXIAL-7.62-D2.7"),
        ("CP_Radial_D5.0mm_P2.50mm", "RADIAL-POL-2.5-D5"),
        ("C_Radial_D10.0mm_H20.0mm_P5.00mm", "RADIAL-5-D10"),
        ("C_Disc_D3.4mm_W2.1mm_P2.50mm", "DISC-2.5-D3.4"),
        ("LED_D3.0mm_Clear", "LED-3"),
        ("PinHeader_2x05_P2.54mm_Vertical", "HDR-2x5-2.54"),
        ("PinSocket_1x16_P2.54mm_Vertical", "HDR-1x16-2.54"),
        ("SW_PUSH_6mm_H5mm", "SW-PUSH-4"),
        ("TO-92_Inline", "TO-92"),
        ("MountingHole_3.2mm_M3", "HOLE-3.2"),
    ],
)
def test_our_name_of_a_footprint(footprint, package):
    """The package's name is ours, and pads can be computed from it (a hole has none)."""
    assert guess_package(footprint) == package
    assert bool(package_pads(Part("X1", package=package))) is not package.startswith("HOLE")


def test_unknown_footprints_keep_their_name():
    """What has no equivalent stays as it is, without its library's name."""
    assert guess_package("Connector_USB:USB_Micro-B") == "USB_Micro-B"


def test_sockets():
    """A socketed chip is not a pin socket."""
    assert is_socket("DIP-28_W15.24mm_Socket") and is_socket("DIP-8_W7.62mm_LongPads_Socket")
    assert not is_socket("PinSocket_1x06_P2.54mm_Vertical") and not is_socket("DIP-8_W7.62mm")
