"""Engineering quantities in and out: "2k2", "0.47 F", "200 ns", "4u7"."""

from __future__ import annotations

import re

from quantiphy import InvalidNumber, Quantity

from coppermend.errors import InputError

# IEC 60062 letter codes: the letter stands where the decimal point would.
_LETTER_CODE = re.compile(
    r"^(?P<whole>\d*)(?P<letter>[pnuµmRrEeKkMGLΩ])(?P<part>\d+)(?P<tail>\s*[A-Za-zΩ]*)$"
)
_LETTER_SCALE = {"R": "", "r": "", "E": "", "e": "", "Ω": "", "K": "k", "L": "m", "µ": "u"}


def parse_quantity(text: str, unit: str = "") -> float:
    """The number that ``text`` states, in the base unit.

    Args:
        text: "4700", "4k7", "2K2", "100R", "0.47 F", "200 ns", "4u7".
        unit: Unit that the text may carry ("Ω", "F", "s"); another unit is refused.

    Returns:
        Value in the base unit (ohm, farad, second, ...).

    Raises:
        InputError: If it is no quantity, or its unit is not ``unit``.

    Source of the letter codes: IEC 60062 (RKM code).

    >>> parse_quantity("2k2"), parse_quantity("4u7", "F"), parse_quantity("100R", "Ω")
    (2200.0, 4.7e-06, 100.0)
    """
    cleaned = text.strip().replace("\N{OHM SIGN}", "Ω").replace("\N{MICRO SIGN}", "u").replace("μ", "u")
    if code := _LETTER_CODE.match(cleaned):
        scale = _LETTER_SCALE.get(code["letter"], code["letter"])
        cleaned = f"{code['whole'] or '0'}.{code['part']}{scale}{code['tail'].strip()}"
    cleaned = re.sub(r"(?<=\d)\s*[RE]$", "", cleaned)
    cleaned = re.sub(r"(?<=\d)\s*K", "k", cleaned)
    cleaned = re.sub(r"(?i)(?<=[\dkMGmunp])\s*ohms?$", "Ω", cleaned)
    try:
        quantity = Quantity(cleaned)
    except InvalidNumber:
        raise InputError(
            f"{text!r} is no quantity", expected=f"a number such as 4k7 or 0.47 {unit}".strip()
        ) from None
    if unit and quantity.units not in ("", unit):
        raise InputError(f"{text!r} is in {quantity.units}", expected=f"a value in {unit}")
    return float(quantity)


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
