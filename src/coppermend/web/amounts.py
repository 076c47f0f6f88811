"""Numbers that a room wrote into an English sentence, as another language writes them: ``2.5 V`` becomes ``2,5 V``.

Only what was worked out is turned: a number that a pattern knows as one, and a number with a blank and a unit after it, as
``quantity.format_quantity`` writes them. Names, types and the values on parts (``3.6V``, ``DISC-5.08``) have no such blank.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

_UNIT = (
    r"(?:[pnµmkMG]?(?:Ω|F|H|Hz|V|Vrms|V/s|A|Ah|W|J|s|C|S|B)|°C|K|dB|%|µm|mm[²³]?|in²?|mil|bits?|min|h|days?|years?"
    r"|Tage|Jahre)(?!\w)"
)
_BARE = re.compile(r"[-+−±]?\d+\.\d+")
_BEFORE_UNIT = re.compile(rf" {_UNIT}")
_AMOUNT = re.compile(rf"[-+−±]?\d+\.\d+(?:e[-+]?\d+)? {_UNIT}")


@dataclass(frozen=True, slots=True)
class Marks:
    """What stands between whole numbers and decimals, and between groups of three digits."""

    point: str = "."
    group: str = ","

    def number(self, text: str) -> str:
        """A number of a sentence with these marks.

        >>> Marks(",", ".").number("1,234.5"), Marks(",", ".").number("-0.04%")
        ('1.234,5', '-0,04%')
        """
        return "".join({".": self.point, ",": self.group}.get(sign, sign) for sign in text)

    def amount(self, text: str) -> str:
        """A text that is nothing but a number and its unit, with these marks; any other as it is.

        >>> Marks(",", ".").amount("2.5 V"), Marks(",", ".").amount("3.6V"), Marks(",", ".").amount("2.5 V at U3.9")
        ('2,5 V', '3.6V', '2.5 V at U3.9')
        """
        return self.number(text) if self.point != "." and _AMOUNT.fullmatch(text) else text

    def before(self, text: str, after: str) -> str:
        """A text before the words ``after`` of its sentence: if they begin with a unit it is turned, be it a number alone.

        >>> Marks(",", ".").before("4.05", " V hold it"), Marks(",", ".").before("4.05", " is no version")
        ('4,05', '4.05')
        """
        return self.number(text) if _BARE.fullmatch(text) and _BEFORE_UNIT.match(after) else text
