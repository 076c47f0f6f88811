"""Sizes of labels in mm, and what fits on one: the whole tag, a short one, or the number beside its code."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from coppermend.errors import InputError

Layout = Literal["full", "short", "bare"]
LEAST_MM, LONGEST_LEAST_MM, MOST_MM = 12.0, 20.0, 300.0
_MARGIN_MM = 1.5
_SIZE = re.compile(
    r"\s*(\d{1,3}(?:[.,]\d{1,2})?)\s*(?:mm)?\s*[x×*]\s*(\d{1,3}(?:[.,]\d{1,2})?)\s*(?:mm)?\s*", re.ASCII
)
_EXPECTED = "width x height in mm such as 50x30"


@dataclass(frozen=True, slots=True)
class LabelSize:
    """A label's size [mm], as it is read: width across the writing."""

    width_mm: float
    height_mm: float

    @property
    def words(self) -> str:
        """As one writes it: ``60 x 100 mm``."""
        return f"{self.width_mm:g} x {self.height_mm:g} mm"

    @property
    def layout(self) -> Layout:
        """``full``: the list of work; ``short``: board and marks; ``bare``: code and number only."""
        if self.width_mm >= 50 and self.height_mm >= 80:
            return "full"
        return "short" if self.width_mm * self.height_mm >= 900 and self.width_mm >= 26 else "bare"

    @property
    def scale(self) -> float:
        """Of the writing on a whole tag, 1 at 60 x 100 mm."""
        return min(self.width_mm / 60, self.height_mm / 100)

    @property
    def beside(self) -> bool:
        """Whether the writing stands beside the code, not below it."""
        return self.width_mm >= 1.25 * self.height_mm

    @property
    def code_mm(self) -> float:
        """Largest side of the code, quiet zone and all [mm]."""
        inner_w, inner_h = self.width_mm - 2 * _MARGIN_MM, self.height_mm - 2 * _MARGIN_MM
        if self.layout == "full":
            return 24.0 * self.scale
        share = 0.62 if self.layout == "bare" else 0.45
        return min(inner_h, share * inner_w) if self.beside else min(inner_w, max(share, 0.55) * inner_h)


SIZES: Mapping[str, LabelSize] = {
    "tag": LabelSize(60, 100),
    "large": LabelSize(100, 150),
    "shelf": LabelSize(57, 32),
    "small": LabelSize(50, 25),
    "part": LabelSize(25, 15),
}


def parse_size(text: str) -> LabelSize:
    """A label size by its name, or as typed.

    Raises:
        InputError: If it is neither, or too small for a code, or longer than 300 mm.

    >>> parse_size("50 x 30 mm"), parse_size("part").layout
    (LabelSize(width_mm=50.0, height_mm=30.0), 'bare')
    """
    if named := SIZES.get(text.strip().lower()):
        return named
    match = _SIZE.fullmatch(text)
    if not match:
        raise InputError(f"label size {text[:30]!r}", expected=f"{', '.join(SIZES)}, or {_EXPECTED}")
    width, height = (float(side.replace(",", ".")) for side in match.groups())
    if min(width, height) < LEAST_MM or max(width, height) < LONGEST_LEAST_MM or max(width, height) > MOST_MM:
        raise InputError(
            f"a label of {width:g} x {height:g} mm",
            expected=f"{LEAST_MM:g} mm or more each way, one side {LONGEST_LEAST_MM:g} to {MOST_MM:g} mm",
        )
    return LabelSize(width, height)
