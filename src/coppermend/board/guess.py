"""What a part most likely is, from its refdes, value and footprint name. Guesses only; nothing is looked at.

Refdes prefixes follow IEEE 315 / ASME Y14.44 as commonly used; footprint names follow the habits of CAD
libraries (common practice, no source).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import NamedTuple

from coppermend.board.parttypes import PartLibrary

_LONGEST = 120  # longer values and footprint names are not looked at to their end
_WIDE_ROW_MM = {"10.16": "-400", "15.24": "-600"}
_COIN = re.compile(r"\bCR\s?\d{4}|COIN", re.IGNORECASE)


class _Clue(NamedTuple):
    """What a rule may look at: all in capitals."""

    value: str
    package: str
    pins: int


def guess_type(refdes: str, value: str, package: str, pin_count: int, library: PartLibrary) -> str:
    """The library's name of the type that this part most likely is.

    Args:
        refdes: Such as "U3"; its letters choose the rule.
        value: As on the schematic, such as "74LS138N" or "10uF".
        package: Package or footprint name; "" when unknown.
        pin_count: Distinct pins of the part; 0 when unknown.
        library: Where the type must exist.

    Returns:
        "" when there is no good guess, or the guess has fewer pins than the part.
    """
    prefix = _prefix(refdes)
    clue = _Clue(value[:_LONGEST].upper(), package[:_LONGEST].upper(), pin_count)
    names = [] if prefix in _VALUE_IS_NO_TYPE else [value[:_LONGEST]]
    if rule := _RULES.get(prefix):
        names.append(rule(clue))
    for name in names:
        kind = library.find(name) if name.strip() else None
        if kind and (kind.open_pins or pin_count <= len(kind.pins)):
            return kind.name
    return ""


def _prefix(refdes: str) -> str:
    found = re.match(r"[A-Za-z]+", refdes)
    return found[0].upper() if found else ""


def _capacitor(clue: _Clue) -> str:
    if re.fullmatch(r"0?\.\d+\s*F(?:\b.*)?|[1-9]\d?(?:\.\d+)?\s*F(?:\b.*)?", clue.value):
        return "supercapacitor"
    if re.search(r"TANT", clue.package + clue.value):
        return "tantalum"
    polarised = re.match(r"CP[_-]|CAPP|.*(?:POL(?!Y)|ELEC)", clue.package)
    return "electrolytic" if polarised else "capacitor"


def _diode(clue: _Clue) -> str:
    if "LED" in clue.package or "LED" in clue.value:
        return "led"
    if re.search(r"ZENER|BZX|1N47\d\d", clue.value + " " + clue.package):
        return "zener"
    return "diode"


def _connector(clue: _Clue) -> str:
    if re.search(r"EDGE", clue.package):
        return "edge-connector"
    return "header" if re.search(r"PIN_?HEADER|^HDR-", clue.package) else "connector"


def _resonator(clue: _Clue) -> str:
    if re.search(r"OSC", clue.package + clue.value):
        return "oscillator"
    if re.search(r"CONN|HEADER|SOCKET", clue.package):
        return "connector"
    return "crystal" if clue.pins <= 3 else "oscillator"


def _switch(clue: _Clue) -> str:
    if re.search(r"DIP", clue.package + clue.value):
        return f"dip-switch-{clue.pins // 2}"
    if re.search(r"PUSH|TACT|BUTTON", clue.package + clue.value):
        return "pushbutton-4" if clue.pins > 2 else "pushbutton"
    return "switch-spdt" if clue.pins > 2 else "switch"


def _network(clue: _Clue) -> str:
    kind = "isolated" if "DIP" in clue.package else "bussed"
    return f"resistor-network-{kind}-{clue.pins}"


def _transistor(clue: _Clue) -> str:
    """Only when the value says so: a wrong polarity would mislead more than no type at all."""
    return "pnp" if "PNP" in clue.value else "npn" if "NPN" in clue.value else ""


def _battery(clue: _Clue) -> str:
    if _COIN.search(clue.value + " " + clue.package):
        return "battery-coin"
    if re.search(r"NI-?CD|3[.V]6", clue.value):
        return "battery-nicd-3.6v"
    return "battery-alkaline" if "ALKALINE" in clue.value else ""


def _hole(clue: _Clue) -> str:
    return "mounting-hole" if "HOLE" in clue.package else ""


def _always(name: str) -> Callable[[_Clue], str]:
    return lambda _: name


_RULES: Mapping[str, Callable[[_Clue], str]] = {
    "R": _always("resistor"), "RN": _network, "RP": _network, "RR": _network,
    "RV": _always("potentiometer"), "POT": _always("potentiometer"), "C": _capacitor,
    "L": _always("inductor"), "FB": _always("ferrite-bead"), "D": _diode, "CR": _diode,
    "LED": _always("led"), "ZD": _always("zener"), "Q": _transistor, "TR": _transistor,
    "J": _connector, "P": _connector, "CN": _connector, "CON": _connector, "JP": _always("header"),
    "X": _resonator, "Y": _resonator, "XTAL": _resonator, "S": _switch, "SW": _switch, "DSW": _switch,
    "BT": _battery, "BAT": _battery, "B": _battery, "F": _always("fuse"), "K": _always("relay"),
    "RL": _always("relay"), "RLY": _always("relay"), "TP": _always("test-point"),
    "W": _always("wire-link"), "HS": _always("heatsink"), "H": _hole, "MH": _hole, "REF": _hole,
}  # fmt: skip
_VALUE_IS_NO_TYPE = frozenset(_RULES) - {"D", "CR", "Q", "TR", "K", "RL", "RLY", "ZD"}


def guess_package(footprint: str) -> str:
    """Our name of the package that a CAD footprint is drawn for; the footprint itself when none fits.

    >>> guess_package("DIP-28_W15.24mm_Socket"), guess_package("R_Axial_DIN0207_L6.3mm_D2.5mm_P7.62mm_Horizontal")
    ('DIP-28-600', 'AXIAL-7.62-D2.5')
    """
    name = footprint.rpartition(":")[2][:_LONGEST]
    for pattern, made in _FOOTPRINTS:
        if found := pattern.match(name):
            return made(found)
    return name


def is_socket(footprint: str) -> bool:
    """Whether the footprint says that the part sits in a socket."""
    return bool(re.search(r"(?:DIP|PLCC).*_?Socket\b", footprint[:_LONGEST], re.IGNORECASE))


def _short(number: str) -> str:
    return f"{float(number):g}"


_FOOTPRINTS: tuple[tuple[re.Pattern[str], Callable[[re.Match[str]], str]], ...] = tuple(
    (re.compile(pattern), made)
    for pattern, made in (
        (r"S?P?DIP-(\d{1,2})_W([\d.]+)mm", lambda m: f"DIP-{m[1]}{_WIDE_ROW_MM.get(m[2], '')}"),
        (r"[A-Z]{1,2}_Axial_.*_D([\d.]+)mm.*_P([\d.]+)mm", lambda m: f"AXIAL-{_short(m[2])}-D{_short(m[1])}"),
        (r"CP_Radial_D([\d.]+)mm_P([\d.]+)mm", lambda m: f"RADIAL-POL-{_short(m[2])}-D{_short(m[1])}"),
        (r"C_Radial_D([\d.]+)mm_.*P([\d.]+)mm", lambda m: f"RADIAL-{_short(m[2])}-D{_short(m[1])}"),
        (r"C_Disc_D([\d.]+)mm_.*P([\d.]+)mm", lambda m: f"DISC-{_short(m[2])}-D{_short(m[1])}"),
        (r"LED_D([\d.]+)mm", lambda m: f"LED-{_short(m[1])}"),
        (r"Pin(?:Header|Socket)_1x0*(\d+)_P([\d.]+)mm_Vertical", lambda m: f"HDR-1x{m[1]}-{_short(m[2])}"),
        (r"Pin(?:Header|Socket)_2x0*(\d+)_P([\d.]+)mm_Vertical", lambda m: f"HDR-2x{m[1]}-{_short(m[2])}"),
        (r"SW_PUSH_6mm", lambda m: "SW-PUSH-4"),
        (r"TO-92(?:_Inline)?(?:_Wide)?$", lambda m: "TO-92"),
        (r"MountingHole_([\d.]+)mm", lambda m: f"HOLE-{_short(m[1])}"),
    )
)  # fmt: skip
