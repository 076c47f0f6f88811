"""Letter and digit codes on parts, both ways: RKM, three and four digits, EIA-96, capacitor codes."""

from __future__ import annotations

import re
from collections.abc import Mapping

from coppermend.errors import InputError
from coppermend.rework.codes.series import preferred_numbers
from coppermend.rework.codes.values import CodeValue, figures_of, letter_tolerance, scaled, tolerance_letter

_LETTERS = "BCDFGJKM"
# Power of ten of the letter that stands for the point, IEC 60062; L (milli) from memory.
_OHM_POWERS: Mapping[str, int] = {"L": -3, "R": 0, "E": 0, "Ω": 0, "K": 3, "M": 6, "G": 9}
_FARAD_POWERS: Mapping[str, int] = {"p": -12, "n": -9, "u": -6, "µ": -6, "m": -3}
_RKM = re.compile(rf"^(\d*)([LREΩKMGpnuµm])(\d*)([{_LETTERS}]?)$")


def decode_rkm(text: str) -> CodeValue:
    """A value whose letter stands for the point: "4K7", "R47", "4K7J", "2n2", "p33".

    Returns:
        Value in Ω for L R E K M G, in F for p n µ m.

    Raises:
        InputError: If it is no such code.

    Source: IEC 60062 (RKM code). A single K is the multiplier, a second letter is the tolerance.

    >>> decode_rkm("4K7J").words, decode_rkm("2n2").words
    ('4.7 kΩ 5 %', '2.2 nF')
    """
    cleaned = text.strip().replace("\N{MICRO SIGN}", "u").replace("μ", "u").replace("\N{OHM SIGN}", "Ω")
    found = _RKM.match(cleaned) or _RKM.match(re.sub(r"^(\d*)k", r"\1K", cleaned))
    found = found or _RKM.match(re.sub(r"^(\d*)r", r"\1R", cleaned))
    if found is None or not (found[1] or found[3]):
        raise InputError(f"{text!r} is no letter code", expected="a code such as 4K7 or R47")
    whole, letter, part, tail = found.groups()
    powers, unit = (_OHM_POWERS, "Ω") if letter in _OHM_POWERS else (_FARAD_POWERS, "F")
    value = scaled(f"{whole or '0'}.{part or '0'}", powers[letter])
    if value == 0:
        raise InputError(f"{text!r} says zero", expected="a value above zero")
    return CodeValue(
        value, unit, letter_tolerance(tail, value, unit), "letter code", text.strip(), "IEC 60062 (RKM code)"
    )


def encode_rkm(value: float, unit: str = "Ω", tolerance: float | None = None, figures: int = 2) -> str:
    """The letter code of a value.

    Args:
        value: Value [Ω or F].
        unit: "Ω" or "F".
        tolerance: Fraction, or None.
        figures: How many figures the code carries.

    Raises:
        InputError: If the value needs more figures, or lies outside the letters.

    >>> encode_rkm(4700.0), encode_rkm(0.47), encode_rkm(2.2e-9, "F"), encode_rkm(4700.0, tolerance=0.05)
    ('4K7', 'R47', '2n2', '4K7J')
    """
    digits, power = figures_of(value, figures)
    letters = (("R", 0), ("K", 3), ("M", 6), ("G", 9)) if unit == "Ω" else (
        ("p", -12), ("n", -9), ("u", -6), ("m", -3))  # fmt: skip
    exponent = power + figures - 1  # of the first figure
    fitting = [(letter, base) for letter, base in letters if base <= exponent < base + 3]
    if not fitting and exponent == letters[0][1] - 1:
        return f"{letters[0][0]}{digits}{tolerance_letter(tolerance)}"  # R47: nothing before the letter
    if not fitting:
        raise InputError(f"{value:g} {unit} has no letter code", expected="a value within the letters")
    letter, base = fitting[0]
    before = exponent - base + 1
    digits = digits.ljust(before, "0")
    return f"{digits[:before]}{letter}{digits[before:]}{tolerance_letter(tolerance)}"


def decode_digits(text: str) -> CodeValue:
    """Three or four digits on a resistor: figures and a power of ten; R stands for the point.

    Raises:
        InputError: If it is no such code.

    Source: common practice of chip resistors, as in instrument manuals (103 is 10 kΩ, 220 is 22 Ω).

    >>> decode_digits("220").words, decode_digits("1002").words
    ('22 Ω', '10 kΩ')
    """
    cleaned = text.strip()
    source = "three- and four-digit code of chip resistors"
    if re.fullmatch(r"[1-9]\d{1,2}\d", cleaned):
        value = scaled(cleaned[:-1], int(cleaned[-1]))
    elif re.fullmatch(r"(?=.{3,4}$)\d*R\d+", cleaned) and any(d in "123456789" for d in cleaned):
        value = float(f"0{cleaned.replace('R', '.')}")
    else:
        raise InputError(f"{text!r} is no digit code", expected="three or four digits such as 103 or 4R7")
    notes = ("as a plain number it would be " + f"{float(cleaned):g} Ω",) if cleaned.isdigit() else ()
    return CodeValue(value, "Ω", None, f"{len(cleaned)}-digit code", cleaned, source, notes)


def encode_digits(ohms: float, count: int = 3) -> str:
    """Three or four digits for a resistor [Ω].

    Raises:
        InputError: If the value has no such code.

    >>> encode_digits(10e3), encode_digits(4.7), encode_digits(12.0, 4), encode_digits(2210.0, 4)
    ('103', '4R7', '12R0', '2211')
    """
    digits, power = figures_of(ohms, count - 1)
    if 0 <= power <= 9:
        return f"{digits}{power}"
    point = len(digits) + power
    if not point >= 0:
        raise InputError(f"{ohms:g} Ω has no {count}-digit code", expected="a larger value")
    if point > len(digits):
        raise InputError(f"{ohms:g} Ω has no {count}-digit code", expected="a smaller value")
    return f"{digits[:point]}R{digits[point:]}"


_EIA96 = {"Z": -3, "Y": -2, "R": -2, "X": -1, "S": -1, "A": 0, "B": 1, "H": 1, "C": 2, "D": 3, "E": 4, "F": 5}
_EIA96_LETTERS = {power: letter for letter, power in _EIA96.items() if letter not in "RSH"}
_EIA96_SOURCE = "EIA-96 code, public code pages"


def decode_eia96(text: str) -> CodeValue:
    """Two digits that number a value of E96, and a letter for the power of ten: "01C" is 10 kΩ.

    Raises:
        InputError: If it is no such code.

    >>> decode_eia96("68X").words
    '49.9 Ω 1 %'
    """
    found = re.fullmatch(r"(\d\d)([ZYRXSABHCDEF])", text.strip().upper())
    if found is None or not 1 <= int(found[1]) <= 96:
        raise InputError(f"{text!r} is no EIA-96 code", expected="01 to 96 and a letter, such as 01C")
    number = preferred_numbers("E96")[int(found[1]) - 1]
    value = scaled(str(number), _EIA96[found[2]])
    return CodeValue(value, "Ω", 0.01, "EIA-96 code", text.strip(), _EIA96_SOURCE)


def encode_eia96(ohms: float) -> str:
    """The EIA-96 code of a value [Ω] of E96.

    Raises:
        InputError: If it is no value of E96, or outside the letters.

    >>> encode_eia96(10e3), encode_eia96(49.9)
    ('01C', '68X')
    """
    digits, power = figures_of(ohms, 3)
    if int(digits) not in preferred_numbers("E96") or power not in _EIA96_LETTERS:
        raise InputError(f"{ohms:g} Ω has no EIA-96 code", expected="a value of E96 from 0.1 Ω to 97.6 MΩ")
    return f"{preferred_numbers('E96').index(int(digits)) + 1:02d}{_EIA96_LETTERS[power]}"


def decode_capacitor(text: str) -> CodeValue:
    """Two figures, a power of ten in pF, and perhaps a tolerance letter: "104" is 100 nF, "473J" 47 nF 5 %.

    Raises:
        InputError: If it is no such code.

    Source: EIA-198 (from memory); 8 stands for ×0.01 and 9 for ×0.1.

    >>> decode_capacitor("224K").words, decode_capacitor("229").words
    ('220 nF 10 %', '2.2 pF')
    """
    found = re.fullmatch(rf"([1-9]\d)([0-9])([{_LETTERS}Z]?)", text.strip().upper())
    if found is None:
        raise InputError(f"{text!r} is no capacitor code", expected="three digits such as 104 or 473J")
    power = {8: -2, 9: -1}.get(int(found[2]), int(found[2]))
    value = scaled(found[1], power - 12)
    notes = ("Z is +80 −20 %",) if found[3] == "Z" else ()
    tolerance = None if found[3] == "Z" else letter_tolerance(found[3], value, "F")
    source = "EIA-198 capacitor code (from memory)"
    return CodeValue(value, "F", tolerance, "capacitor code", text.strip(), source, notes)


def encode_capacitor(farads: float, tolerance: float | None = None) -> str:
    """The capacitor code of a value [F].

    Raises:
        InputError: If the value has no such code.

    >>> encode_capacitor(100e-9), encode_capacitor(2.2e-12), encode_capacitor(47e-9, 0.05)
    ('104', '229', '473J')
    """
    digits, power = figures_of(farads, 2)
    exponent = power + 12
    figure = {-2: 8, -1: 9}.get(exponent, exponent)
    if not -2 <= exponent <= 7:
        raise InputError(f"{farads:g} F has no capacitor code", expected="0.1 pF to 990 µF")
    return f"{digits}{figure}{tolerance_letter(tolerance)}"
