"""Excellon drill reader: text in, a ``DrillFile`` of holes and slots out. No rout paths beyond slots.

Reads XNC (the strict subset with X2 attributes in comments) and what older CAD programs write: INCH and
METRIC, LZ and TZ, decimals, G85 slots, G00/M15 routs, repeats (R) and step-and-repeat (M25/M02).
Reference: XNC Format Specification 2021.11; older commands from memory of the Excellon part-program manual.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import NamedTuple

from coppermend.board.readers.excellon_records import DrillFile, Hole
from coppermend.board.readers.gerber_arc import arc_points
from coppermend.board.readers.gerber_words import (
    MAX_COORDINATE_MM,
    CoordinateFormat,
    split_attribute,
    split_codes,
    whole,
)
from coppermend.board.readers.text import split_lines
from coppermend.errors import InputError

__all__ = ["DrillFile", "Hole", "parse_excellon"]

MAX_HOLES = 1_000_000
MAX_DIAMETER_MM = 500.0
_MM_PER_INCH = 25.4
_TOOL = re.compile(r"T0*(\d{1,6})((?:[A-Z][-+]?[\d.]*)*)")
_UNIT = re.compile(r"(METRIC|INCH)(?:,(LZ|TZ))?(?:,(0+)\.(0+))?(?:,.*)?")
_FORMAT_NOTE = re.compile(r"(?:FILE_FORMAT=|FORMAT=\{)(\d):(\d)")
# Machine settings that say nothing about where holes are.
_IGNORED = re.compile(
    r"FMAT,[12]|VER,.*|DETECT,.*|ATC,.*|OM48|TCST,.*|AFS.*|CCW.*|CP,.*|BLKD.*|SBK.*|SG.*|NCSL.*|UP,.*|Z,.*|R,[A-Z]+"
)
_SILENT_G = frozenset({0, 1, 2, 3, 5, 40, 41, 42, 81, 82, 83, 85, 90, 91, 93})
_SILENT_M = frozenset({6, 8, 9, 14, 15, 16, 17, 18, 47, 48, 95})


class _Tool(NamedTuple):
    diameter_mm: float
    plated: bool | None
    function: str


def parse_excellon(text: str, where: str = "drill file") -> DrillFile:
    """Read one drill file.

    Args:
        text: The whole file; LF, CRLF or CR.
        where: Its name, for errors.

    Returns:
        Holes and slots in mm, coordinates as in the file.

    Raises:
        InputError: With file and line, at the first thing that cannot be read, or when the file is cut off.
    """
    reader = _Reader()
    lines = split_lines(text.rstrip())
    line = 1
    try:
        for raw in lines:
            reader.take(raw.strip())
            if reader.ended:
                return DrillFile(where, tuple(reader.holes), dict(reader.attributes))
            line = min(line + 1, len(lines))
        raise InputError("the file stops without its end mark: cut off?", expected="M30")
    except InputError as error:
        raise InputError(error.found, expected=error.expected, where=where, line=line) from None


def _plated(words: tuple[str, ...]) -> bool | None:
    return {"Plated": True, "NonPlated": False}.get(words[0]) if words else None


class _Reader:
    """The machine's state: unit, format, tool, position, mode."""

    def __init__(self) -> None:
        self.ended = False
        self.holes: list[Hole] = []
        self.attributes: dict[str, tuple[str, ...]] = {}
        self.tool_attributes: dict[str, tuple[str, ...]] = {}
        self.comment_plated: bool | None = None
        self.mm_per_unit = 0.0
        self.digits: tuple[int, int] | None = None
        self.leading_kept = True  # LZ, the default of the part-program manual
        self.incremental = False
        self.tools: dict[int, _Tool] = {}
        self.tool: _Tool | None = None
        self.x = self.y = 0.0
        self.rout = 0  # 0 drilling, else 1 straight, 2 clockwise, 3 counter-clockwise
        self.pattern: tuple[int, int] | None = None
        self.pattern_at = (0.0, 0.0)

    def take(self, line: str) -> None:
        """Act on one line."""
        if line.startswith(";"):
            self._comment(line[1:].strip())
        elif not line or line == "%" or _IGNORED.fullmatch(line):
            return
        elif found := _UNIT.fullmatch(line):
            self._unit(*found.groups())
        elif line.startswith("T") and (found := _TOOL.fullmatch(line.replace(" ", "").partition(";")[0])):
            self._tool(whole("T", found[1]), dict(split_codes(found[2])))
        elif line.startswith("ICI"):
            self.incremental = line == "ICI,ON"
        elif line.startswith("R") and (found := re.fullmatch(r"R(\d{1,6})((?:[XY][-+]?[\d.]+)+)", line)):
            self._repeat(int(found[1]), dict(split_codes(found[2])))
        else:
            self._codes(line.partition(";")[0])

    def _comment(self, text: str) -> None:
        if text.startswith("#@!"):
            self._attribute(text[3:].strip())
        elif text.upper().startswith("TYPE="):
            self.comment_plated = {"PLATED": True, "NON_PLATED": False}.get(text[5:].strip().upper())
        elif found := _FORMAT_NOTE.match(text.replace(" ", "")):
            self.digits = (int(found[1]), int(found[2]))
            if "suppress leading" in text:
                self.leading_kept = False

    def _attribute(self, command: str) -> None:
        name, fields = split_attribute(command[2:])
        if command.startswith("TF"):
            self.attributes[name] = fields
        elif command.startswith("TA"):
            self.tool_attributes[name] = fields
        elif command.startswith("TD"):
            self.tool_attributes.clear()

    def _unit(self, unit: str, zeros: str | None, before: str | None, after: str | None) -> None:
        self.mm_per_unit = 1.0 if unit == "METRIC" else _MM_PER_INCH
        if zeros:
            self.leading_kept = zeros == "LZ"
        if before and after:
            self.digits = (len(before), len(after))

    def _tool(self, number: int, settings: dict[str, str]) -> None:
        if "C" in settings:
            unit = self._need_unit()
            try:
                diameter = float(settings["C"]) * unit
            except ValueError:
                diameter = -1.0
            if not 0 <= diameter <= MAX_DIAMETER_MM:
                raise InputError(
                    f"tool T{number} of diameter {settings['C'][:20]!r}", expected="C and a diameter"
                )
            words = self.tool_attributes.get(".AperFunction", ())
            plated = _plated(words)
            if plated is None:
                plated = self.comment_plated
            if plated is None:
                plated = _plated(self.attributes.get(".FileFunction", ()))
            self.tools[number] = _Tool(round(diameter, 6), plated, words[2] if len(words) > 2 else "")
            self.tool = None
        elif number and number not in self.tools:
            raise InputError(f"tool T{number} is not defined", expected=f"T{number}C... in the header")
        else:
            self.tool = self.tools.get(number)

    def _need_unit(self) -> float:
        if not self.mm_per_unit:
            raise InputError("lengths before the unit", expected="METRIC or INCH in the header")
        return self.mm_per_unit

    def _length(self, digits: str) -> float:
        unit = self._need_unit()
        places = self.digits or ((3, 3) if unit == 1 else (2, 4))
        form = CoordinateFormat(*places, trailing_omitted=self.leading_kept)
        value = round(form.value(digits) * unit, 6)
        if abs(value) > MAX_COORDINATE_MM:
            raise InputError(
                f"coordinate {digits} is {value:g} mm", expected=f"{MAX_COORDINATE_MM:g} mm at most"
            )
        return value

    def _codes(self, line: str) -> None:
        before, slot, after = line.partition("G85")
        axes: dict[str, str] = {}
        for letter, digits in split_codes(before):
            if letter in "XYIJA":
                axes[letter] = digits
            elif letter == "G":
                self._general(whole(letter, digits))
            elif letter == "M":
                self._machine(whole(letter, digits), line)
            elif letter == "T":
                self._tool(whole(letter, digits), {})
            elif letter not in "NFSH":
                raise InputError(f"command {line[:40]!r}", expected="a drill command such as X1.5Y2.0")
        if line.startswith("G93"):
            if any(self._length(digits) for digits in axes.values()):
                raise InputError(f"zero set {line[:30]!r}", expected="G93X0Y0")
        elif line.startswith("M02") and axes:
            self._repeat_pattern(axes)
        elif slot:
            start = self._go(axes)
            self._cut(start, self._go(dict(split_codes(after))))
        elif axes:
            self._move(axes)

    def _general(self, code: int) -> None:
        if code not in _SILENT_G:
            raise InputError(f"command G{code:02}", expected="G00 to G03, G05, G85, G90 or G91")
        if code in (1, 2, 3):
            self.rout = code
        elif code == 0:
            self.rout = 4  # a rout starts with a move
        elif code in (5, 81):
            self.rout = 0
        elif code in (90, 91):
            self.incremental = code == 91

    def _machine(self, code: int, line: str) -> None:
        if code in (71, 72):
            self.mm_per_unit = 1.0 if code == 71 else _MM_PER_INCH
        elif code in (0, 30) or (code == 2 and "X" not in line and "Y" not in line):
            self.ended = True
        elif code == 25:
            self.pattern, self.pattern_at = (len(self.holes), -1), (0.0, 0.0)
        elif code == 1 and self.pattern:
            self.pattern = (self.pattern[0], len(self.holes))
        elif code != 2 and code not in _SILENT_M:
            raise InputError(f"command M{code:02}", expected="M15 to M17, M25, M30, M48, M71, M72 or M95")

    def _go(self, axes: Mapping[str, str]) -> tuple[float, float]:
        base = (self.x, self.y) if self.incremental else (0.0, 0.0)
        if "X" in axes:
            self.x = base[0] + self._length(axes["X"])
        if "Y" in axes:
            self.y = base[1] + self._length(axes["Y"])
        if max(abs(self.x), abs(self.y)) > MAX_COORDINATE_MM:
            raise InputError(
                "incremental coordinates lead away", expected=f"{MAX_COORDINATE_MM:g} mm at most"
            )
        return self.x, self.y

    def _move(self, axes: Mapping[str, str]) -> None:
        start = (self.x, self.y)
        end = self._go(axes)
        if self.rout == 0:
            self._cut(end, end)
        elif self.rout == 1:
            self._cut(start, end)
        elif self.rout in (2, 3):
            for point in arc_points(
                start, end, self._offset(start, end, axes), clockwise=self.rout == 2, single_quadrant=False
            ):
                self._cut(start, point)
                start = point

    def _offset(
        self, start: tuple[float, float], end: tuple[float, float], axes: Mapping[str, str]
    ) -> tuple[float, float]:
        """Centre minus start of a routed arc, from I and J, or from the radius A (the shorter arc)."""
        if "A" not in axes:
            return self._length(axes.get("I", "0")), self._length(axes.get("J", "0"))
        dx, dy = end[0] - start[0], end[1] - start[1]
        chord = math.hypot(dx, dy)
        if not chord:
            raise InputError("an arc by radius that ends where it starts", expected="I and J")
        height = math.sqrt(max(self._length(axes["A"]) ** 2 - chord**2 / 4, 0.0))
        side = height / chord * (1 if self.rout == 2 else -1)
        return dx / 2 + dy * side, dy / 2 - dx * side

    def _cut(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        if self.tool is None:
            raise InputError("a hole without a tool", expected="T and a number that the header defines")
        self._room_for(1)
        tool = self.tool
        self.holes.append(Hole(*start, tool.diameter_mm, tool.plated, tool.function, *end))

    def _room_for(self, more: int) -> None:
        if len(self.holes) + more > MAX_HOLES:
            raise InputError("too many holes", expected=f"{MAX_HOLES:,} at most")

    def _repeat(self, times: int, axes: Mapping[str, str]) -> None:
        """R5X100: the last hole again five times, each a step further."""
        step_x, step_y = (self._length(axes.get(axis, "0")) for axis in "XY")
        self._room_for(times)
        for _ in range(times):
            self.x, self.y = round(self.x + step_x, 6), round(self.y + step_y, 6)
            self._cut((self.x, self.y), (self.x, self.y))

    def _repeat_pattern(self, axes: Mapping[str, str]) -> None:
        """M02X..Y..: the pattern between M25 and M01 again, a step further than the last time."""
        if not self.pattern or self.pattern[1] < 0:
            raise InputError("M02 repeats no pattern", expected="M25 and M01 around one before it")
        first, last = self.pattern
        self._room_for(last - first)
        dx = self.pattern_at[0] + self._length(axes.get("X", "0"))
        dy = self.pattern_at[1] + self._length(axes.get("Y", "0"))
        self.pattern_at = (dx, dy)
        for hole in self.holes[first:last]:
            self.holes.append(
                hole._replace(
                    x_mm=hole.x_mm + dx, y_mm=hole.y_mm + dy, x2_mm=hole.x2_mm + dx, y2_mm=hole.y2_mm + dy
                )
            )
