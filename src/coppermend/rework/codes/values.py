"""What a code says: a value with unit and tolerance, and the tolerance letters. No single code is read here."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from coppermend.errors import InputError
from coppermend.quantity import format_quantity

# IEC 60062 (from memory): tolerance letters [fraction]; below 10 pF, B, C and D are ±pF instead.
TOLERANCE_LETTERS = {
    "B": 0.001, "C": 0.0025, "D": 0.005, "F": 0.01, "G": 0.02, "J": 0.05, "K": 0.10, "M": 0.20,
}  # fmt: skip
_PICOFARADS = {"B": 0.1e-12, "C": 0.25e-12, "D": 0.5e-12, "F": 1e-12, "G": 2e-12}
_SMALL_F = 10e-12


@dataclass(frozen=True, slots=True)
class CodeValue:
    """A value read from a code. ``tolerance`` is a fraction, None when the code states none.

    ``code`` is the name of the code, ``written`` what was read, ``notes`` what to beware of.
    """

    value: float
    unit: str
    tolerance: float | None
    code: str
    written: str
    source: str
    notes: tuple[str, ...] = ()

    @property
    def low(self) -> float:
        """Lowest value within tolerance [unit]."""
        return self.value * (1 - (self.tolerance or 0.0))

    @property
    def high(self) -> float:
        """Highest value within tolerance [unit]."""
        return self.value * (1 + (self.tolerance or 0.0))

    @property
    def words(self) -> str:
        """The value as one says it: "4.7 kΩ 5 %"."""
        tail = "" if self.tolerance is None else f" {self.tolerance * 100:g} %"
        return format_quantity(self.value, self.unit) + tail

    def to_json(self) -> dict[str, Any]:
        """code, written, value, unit, tolerance, low, high, words, notes, source."""
        return {
            "code": self.code,
            "written": self.written,
            "value": self.value,
            "unit": self.unit,
            "tolerance": self.tolerance,
            "low": self.low,
            "high": self.high,
            "words": self.words,
            "notes": list(self.notes),
            "source": self.source,
        }


def scaled(digits: str, power: int) -> float:
    """Digits times a power of ten, as the nearest float to what is written.

    >>> scaled("47", -2)
    0.47
    """
    return float(f"{digits}e{power}")


def letter_tolerance(letter: str, value: float, unit: str) -> float | None:
    """Tolerance of a letter as a fraction; None without a letter.

    >>> letter_tolerance("J", 4700.0, "Ω"), round(letter_tolerance("C", 2.5e-12, "F"), 3)
    (0.05, 0.1)
    """
    if not letter:
        return None
    if unit == "F" and value < _SMALL_F and letter in _PICOFARADS:
        return _PICOFARADS[letter] / value
    return TOLERANCE_LETTERS[letter]


def tolerance_letter(tolerance: float | None) -> str:
    """The letter of a tolerance, "" for none.

    Raises:
        InputError: If no letter stands for it.

    >>> tolerance_letter(0.05)
    'J'
    """
    if tolerance is None:
        return ""
    for letter, fraction in TOLERANCE_LETTERS.items():
        if abs(fraction - tolerance) < 1e-9:
            return letter
    usual = ", ".join(f"{fraction * 100:g}" for fraction in TOLERANCE_LETTERS.values())
    raise InputError(f"no letter for a tolerance of {tolerance * 100:g} %", expected=f"one of {usual} %")


def figures_of(value: float, count: int) -> tuple[str, int]:
    """Exactly ``count`` figures and the power of ten behind them: ("47", 2) for 4700.

    Raises:
        InputError: If the value is not positive, or needs more figures.

    >>> figures_of(4700.0, 2)
    ('47', 2)
    """
    if not 0 < value < float("inf"):
        raise InputError(f"{value:g} cannot be written as a code", expected="a positive value")
    mantissa, _, power = f"{value:.{count - 1}e}".partition("e")
    digits, exponent = mantissa.replace(".", ""), int(power) - count + 1
    if abs(scaled(digits, exponent) / value - 1) > 1e-9:
        raise InputError(f"{value:g} has more than {count} figures", expected=f"a value of {count} figures")
    return digits, exponent
