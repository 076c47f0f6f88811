"""Engineering quantities in and out: "2k2", "0.47 F", "0,47 F", "104" on a capacitor, "200 ns", "4u7"."""

from __future__ import annotations

import math
import re

from quantiphy import InvalidNumber, Quantity

from coppermend.errors import InputError

# IEC 60062 letter codes: the letter stands where the decimal point would.
_LETTER_CODE = re.compile(r"^(?P<whole>\d*)(?P<letter>[pnuµmRrEKkMGLΩ])(?P<part>\d+)(?P<tail>\s*[A-Za-zΩ]*)$")
_LETTER_SCALE = {"R": "", "r": "", "E": "", "Ω": "", "K": "k", "L": "m", "µ": "u"}
# EIA-198 (from memory): two digits and a power of ten in picofarads; 8 and 9 stand for 0.01 and 0.1.
_CAPACITOR_CODE = re.compile(r"^(?P<digits>[1-9]\d)(?P<power>\d)$")
_SECONDS = {"min": 60.0, "h": 3600.0, "d": 86400.0, "day": 86400.0, "days": 86400.0, "y": 31557600.0}
_METRES = {"in": 0.0254, "inch": 0.0254, "mil": 0.0254e-3}  # exactly (international inch, 1959)
_UNITS = frozenset(
    {
        "",
        "Ω",
        "F",
        "H",
        "V",
        "A",
        "W",
        "Hz",
        "s",
        "m",
        "J",
        "C",
        "°C",
        "K",
        "Ah",
        "Vrms",
        "V/s",
        "B",
        "dB",
        "S",
    }
)


def parse_quantity(text: str, unit: str = "") -> float:
    """The number that ``text`` states, in the base unit.

    Args:
        text: "4700", "4k7", "2K2", "2.2 kΩ", "100R", "0.47 F", "0,47 F", "200 ns", "4u7"; with the unit "F"
            three digits such as "104" are a capacitor code (100 nF); with "s" also "48 h", "3 days"; with "m" also
            "20 mil", "0.5 in".
        unit: Unit that the text may carry ("Ω", "F", "s"); another unit is refused. "" takes any known unit.

    Returns:
        Value in the base unit (ohm, farad, second, ...).

    Raises:
        InputError: If it is no finite quantity, its unit is not ``unit``, or a comma could be a point or not.

    Source of the letter codes: IEC 60062 (RKM code); of the capacitor code: EIA-198 (from memory).

    >>> parse_quantity("2k2"), parse_quantity("4u7", "F"), parse_quantity("100R", "Ω")
    (2200.0, 4.7e-06, 100.0)
    >>> parse_quantity("4E7", "Ω"), parse_quantity("1E12"), parse_quantity("1e3", "Ω")
    (4.7, 1000000000000.0, 1000.0)
    >>> parse_quantity("0,47 F", "F"), parse_quantity("104", "F"), parse_quantity("48 h", "s")
    (0.47, 1e-07, 172800.0)
    >>> parse_quantity("20 mil", "m"), parse_quantity("2in", "m")
    (0.000508, 0.0508)
    """
    expected = f"a number such as 4k7 or 0.47 {unit}".strip()
    cleaned = _plain(_without_unit(text.strip(), unit), unit)
    if unit == "F" and (code := _CAPACITOR_CODE.match(cleaned)):
        power = {8: -2, 9: -1}.get(int(code["power"]), int(code["power"]))
        return float(f"{code['digits']}e{power - 12}")
    if unit == "s" and (time := re.match(r"^([\d.]+)\s*([a-z]+)$", cleaned)) and time[2] in _SECONDS:
        return _number(time[1], text, expected) * _SECONDS[time[2]]
    if unit == "m" and (length := re.match(r"^([\d.]+)\s*(in|inch|mil)$", cleaned)):
        return round(_number(length[1], text, expected) * _METRES[length[2]], 15)
    if unit == "°C":
        cleaned = re.sub(r"\s*°?C$", "", cleaned)
    quantity = _quantity(cleaned, text, expected)
    units = quantity.units
    if unit and units not in ("", unit):
        raise InputError(f"{text!r} is in {units}", expected=f"a value in {unit}")
    if not unit and units not in _UNITS:
        raise InputError(f"{text!r} is in {units!r}, which is no unit", expected=expected)
    if not math.isfinite(quantity):
        raise InputError(f"{text!r} is not finite", expected=expected)
    return float(quantity)


def _without_unit(text: str, unit: str) -> str:
    """In a quantity of metres or kelvin a lone m or K is the unit, not milli or kilo."""
    alone = unit in ("m", "K") and re.fullmatch(rf"[-+]?[\d.,]+\s*{unit}", text)
    return text[:-1].rstrip() if alone else text


def _plain(text: str, unit: str) -> str:
    """One spelling for what means the same: Ω, µ, decimal comma, R and E for ohm, K for kilo."""
    cleaned = text.strip().replace("\N{OHM SIGN}", "Ω").replace("\N{MICRO SIGN}", "u").replace("μ", "u")
    cleaned = _decimal_comma(cleaned, text)
    code = _LETTER_CODE.match(cleaned)
    if code and (
        code["letter"] != "E" or unit == "Ω"
    ):  # elsewhere 1E12 is a power of ten, as 1e12 is everywhere
        scale = _LETTER_SCALE.get(code["letter"], code["letter"])
        cleaned = f"{code['whole'] or '0'}.{code['part']}{scale}{code['tail'].strip()}"
    cleaned = re.sub(r"(?<=\d)\s*[RE]$", "", cleaned)
    cleaned = re.sub(r"(?<=\d)\s*K(?!$)(?=[Ωo])|(?<=\d)\s*K$", "k", cleaned)
    return re.sub(r"(?i)(?<=[\dkMGmunp])\s*ohms?$", "Ω", cleaned)


def _decimal_comma(cleaned: str, text: str) -> str:
    if re.search(r"[1-9]\d{0,2},\d{3}(?!\d)", cleaned):
        raise InputError(f"{text!r} could be a thousand or a fraction", expected="a point, or no separator")
    return re.sub(r"(?<=\d),(?=\d)", ".", cleaned, count=1) if "." not in cleaned else cleaned


def _number(digits: str, text: str, expected: str) -> float:
    try:
        return float(digits)
    except ValueError:
        raise InputError(f"{text!r} is no quantity", expected=expected) from None


def _quantity(cleaned: str, text: str, expected: str) -> Quantity:
    try:
        return Quantity(cleaned)
    except InvalidNumber:
        raise InputError(f"{text!r} is no quantity", expected=expected) from None


def format_quantity(value: float, unit: str = "", precision: int = 4) -> str:
    """Write a value with its metric prefix.

    >>> format_quantity(2200, "Ω"), format_quantity(4.7e-6, "F")
    ('2.2 kΩ', '4.7 µF')
    """
    return (
        Quantity(value, unit).render(prec=precision - 1).replace("u", "µ", 1)
        if unit
        else f"{value:.{precision}g}"
    )
