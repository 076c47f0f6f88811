"""Lengths as a shop thinks of them: all is worked out in mm, and shown in mm, inches or mils."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import TypeVar

UNITS = ("mm", "inch", "mil")
_Text = TypeVar("_Text", bound=str)
_MM_PER_INCH = 25.4  # exactly (international inch, 1959)
_SHOWN: Mapping[str, tuple[float, int, str]] = {  # per mm, further decimals, sign
    "mm": (1.0, 0, "mm"), "inch": (1 / _MM_PER_INCH, 2, "in"), "mil": (1000 / _MM_PER_INCH, 0, "mil"),
}  # fmt: skip


@cache
def _stated(point: str) -> re.Pattern[str]:
    """Lengths in a sentence; two numbers with a bare comma between them are a place only after "at": AWG 30, 67 mm is none."""
    n = rf"(-?\d+(?:{re.escape(point)}\d+)?)"
    return re.compile(
        rf"(?<![\w./-])(?:{n}(?:(, y | x | to | bis ){n})?|(?:(?<=\bat )|(?<=\bbei )){n}(, ){n}) mm(?![\w²³/])"
    )


@dataclass(frozen=True, slots=True)
class Lengths:
    """How lengths are shown; ``unit`` is one of ``UNITS``, ``point`` what stands between whole numbers and decimals."""

    unit: str = "mm"
    point: str = "."

    @property
    def sign(self) -> str:
        """What stands after the number.

        >>> [Lengths(unit).sign for unit in UNITS]
        ['mm', 'in', 'mil']
        """
        return _SHOWN[self.unit][2]

    def number(self, mm: float, digits: int = 0, *, up: bool = False) -> str:
        """A length [mm] without its unit; ``digits`` are those of mm, ``up`` rounds so that it is never too short.

        >>> Lengths("inch").number(28), Lengths("inch").number(28, up=True), Lengths("mil").number(0.254, 2)
        ('1.10', '1.11', '10')
        """
        factor, further, sign = _SHOWN[self.unit]
        decimals = further + (digits if sign != "mil" else 0)
        value = mm * factor
        if up:
            value = math.ceil(round(value * 10**decimals, 6)) / 10**decimals
        return self._own(f"{value:.{decimals}f}")

    def _own(self, number: str) -> str:
        return number.replace(".", self.point)

    def words(self, mm: float, digits: int = 0) -> str:
        """A length [mm] with its unit.

        >>> Lengths("inch").words(38.1, 1)
        '1.500 in'
        """
        return f"{self.number(mm, digits)} {self.sign}"

    def of(self, mm: float) -> float:
        """A length [mm] in this unit."""
        return mm * _SHOWN[self.unit][0]

    def read(self, mm: float) -> str:
        """A length [mm] with its unit to four digits, as results are read.

        >>> Lengths("mil").read(0.2546), Lengths("inch").read(300)
        ('10.02 mil', '11.81 in')
        """
        return self._own(f"{self.of(mm):.4g} {self.sign}")

    def area(self, mm2: float, digits: int = 0) -> tuple[str, str]:
        """Number and unit of an area [mm²]: mm², or in² for shops that think in inches or mils; ``digits`` are those of mm².

        >>> Lengths("mil").area(645.16)
        ('1.00', 'in²')
        """
        if self.unit == "mm":
            return self._own(f"{mm2:.{digits}f}"), "mm²"
        return self._own(f"{mm2 / _MM_PER_INCH**2:.{digits + 2}f}"), "in²"

    def in_sentence(self, text: _Text) -> _Text:
        """A sentence that was worked out in mm with its lengths in these units; other words stay.

        Lengths are one number before ``mm``, or two joined as sizes, ranges and places are: ``3 x 4.5 mm``, ``3 to 4.5 mm``,
        ``x 3, y 4.5 mm``, ``at 3, 4.5 mm``.

        >>> Lengths("mil").in_sentence("0.03 to 0.13 mm, within 2.54 mm of the damage")
        '1 to 5 mil, within 100 mil of the damage'
        """
        if self.unit == "mm":
            return text

        def written(number: str | None) -> str:
            point = (number or "").replace(self.point, ".")
            return self.number(float(point), len(point.partition(".")[2])) if number else ""

        def instead(found: re.Match[str]) -> str:
            one, between, other = found.groups()[:3] if found[1] else found.groups()[3:]
            return f"{written(one)}{between or ''}{written(other)} {self.sign}"

        return type(text)(_stated(self.point).sub(instead, text))


MM = Lengths()
