"""Gerber X2 reader: text in, a ``GerberLayer`` out. It keeps the net of flashes, strokes and copper areas.

Reads RS-274X with X2 attributes and the deprecated commands that old files use; what would change the
picture and cannot be read (image rotation, knockout, transformed block apertures) is refused by name.
Reference: Gerber Layer Format Specification 2024.05; deprecated commands: edition 2020.09, section 8.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import replace

from coppermend.board.readers.gerber_aperture import Aperture, parse_aperture
from coppermend.board.readers.gerber_canvas import Canvas, tag_of
from coppermend.board.readers.gerber_macro import Macro, parse_macro
from coppermend.board.readers.gerber_records import (
    Flash,
    GerberLayer,
    GerberObject,
    LayerRole,
    ObjectTag,
    Region,
    Stroke,
)
from coppermend.board.readers.gerber_words import (
    Word,
    line_at,
    number,
    parse_format,
    split_attribute,
    split_codes,
    split_words,
    whole,
)
from coppermend.errors import InputError

__all__ = [
    "Aperture", "Flash", "GerberLayer", "GerberObject", "LayerRole", "ObjectTag", "Region", "Stroke",
    "parse_gerber",
]  # fmt: skip

MAX_APERTURES = 20_000
MAX_MACRO_WORK = 300_000
_OPERATION = re.compile(
    r"(?:X([-+]?\d+))?(?:Y([-+]?\d+))?(?:I([-+]?\d+))?(?:J([-+]?\d+))?D0*([123])", re.ASCII
)
_MM_PER_INCH = 25.4
# Deprecated image commands, with the settings under which they change nothing.
_HARMLESS = re.compile(
    r"ASAXBY|IR0*|MI(?:A0)?(?:B0)?|OF(?:A0*\.?0*)?(?:B0*\.?0*)?|SF(?:A1\.?0*)?(?:B1\.?0*)?"
)
_NAMES_ONLY = ("IN", "LN")


def parse_gerber(text: str, where: str = "Gerber file") -> GerberLayer:
    """Read one Gerber file.

    Args:
        text: The whole file, LF or CRLF.
        where: Its name, for errors.

    Returns:
        The layer; lengths in mm, coordinates as in the file.

    Raises:
        InputError: With file and line, at the first thing that cannot be read, or when the file is cut off.
    """
    reader = _Reader()
    position = 0
    try:
        for word in split_words(text):
            position = word.start
            reader.take(word)
            if reader.ended:
                break
        return reader.layer(where)
    except InputError as error:
        line = error.line or line_at(text, position + len(text[position:]) - len(text[position:].lstrip()))
        raise InputError(error.found, expected=error.expected, where=where, line=line) from None


class _Reader:
    """Turns commands into calls on a canvas, and keeps the attribute dictionaries."""

    def __init__(self) -> None:
        self.canvas = Canvas()
        self.ended = False
        self.negative = False
        self.macros: dict[str, Macro] = {}
        self.macro_work = 0
        self.file_attributes: dict[str, tuple[str, ...]] = {}
        self.aperture_attributes: dict[str, tuple[str, ...]] = {}
        self.object_attributes: dict[str, tuple[str, ...]] = {}

    def take(self, word: Word) -> None:
        """Act on one command."""
        if word.extended:
            self._extended(word.text.strip())
        elif found := _OPERATION.fullmatch(word.text.strip()):
            x, y, i, j, code = found.groups()
            self.canvas.operate(x, y, i, j, int(code))
        else:
            self._plain(word.text.strip())

    def layer(self, where: str) -> GerberLayer:
        """What was read, once the file ended as it should."""
        if not self.ended:
            raise InputError("the file stops without its end mark: cut off?", expected="M02*")
        objects = self.canvas.finish()
        negative = self.negative or self.file_attributes.get(".FilePolarity") == ("Negative",)
        return GerberLayer(where, objects, dict(self.file_attributes), negative)

    def _plain(self, words: str) -> None:
        if re.match(r"G0?4(?!\d)", words):
            self._comment(words)
            return
        axes: dict[str, str] = {}
        operation = 0
        for letter, digits in split_codes(words):
            if letter in axes or (operation and letter in "XYIJ"):
                raise InputError(f"command {words[:40]!r} runs into the next", expected="* between them")
            if letter in "XYIJ":
                axes[letter] = digits
            elif letter == "D" and digits.lstrip("0") in ("1", "2", "3"):
                operation = int(digits)
            else:
                self._code(letter, digits)
        if axes or operation:
            code = operation or self.canvas.operation
            if not code:
                raise InputError(f"coordinates {words[:40]!r}", expected="D01, D02 or D03 with them")
            self.canvas.operate(axes.get("X"), axes.get("Y"), axes.get("I"), axes.get("J"), code)

    def _comment(self, words: str) -> None:
        """X2 attributes may stand in comments, for readers of older editions: ``G04 #@! TF...``."""
        _, mark, attribute = words.partition("#@!")
        if mark and (command := attribute.strip())[:2] in ("TF", "TA", "TO", "TD"):
            self._attribute(command)

    def _code(self, letter: str, digits: str) -> None:
        if letter not in "DGMN":
            raise InputError(f"command {letter}{digits[:30]}", expected="a Gerber command")
        code = whole(letter, digits)
        if letter == "D":
            self.canvas.select(code)
        elif letter == "G":
            self._general(code)
        elif letter == "M":
            if code not in (0, 1, 2, 30):
                raise InputError(f"command M{digits}", expected="M02 at the end")
            self.ended = True

    def _general(self, code: int) -> None:
        canvas = self.canvas
        match code:
            case 1 | 2 | 3:
                canvas.mode = code
            case 36:
                canvas.begin_region()
            case 37:
                canvas.end_region(self.aperture_attributes.get(".AperFunction", ("",))[0])
            case 70 | 71:
                canvas.set_unit(_MM_PER_INCH if code == 70 else 1.0)
            case 74 | 75:
                canvas.single_quadrant = code == 74
            case 90 | 91:
                canvas.set_format(replace(canvas.need_format(), incremental=code == 91))
            case 0 | 54 | 55:
                pass  # prefixes of D codes in old files
            case _:
                raise InputError(f"command G{code:02}", expected="G01 to G04, G36, G37, G74 or G75")

    def _extended(self, text: str) -> None:
        if not text.endswith("*"):
            raise InputError(f"%{text[:30]}% has no end of block", expected="* before the closing %")
        if text.startswith("AM"):
            name, *blocks = text[2:-1].split("*")
            self.macros[name.strip()] = parse_macro(name.strip(), blocks)
            return
        for block in text[:-1].split("*"):
            if command := block.strip():
                self._command(command)

    def _command(self, command: str) -> None:
        code = command[:2]
        if act := _COMMANDS.get(code):
            act(self, command)
        elif code in ("AS", "IR", "MI", "OF", "SF"):
            if len(command) > 60 or not _HARMLESS.fullmatch("".join(command.split())):
                raise InputError(
                    f"deprecated command {command[:30]!r}", expected="none that changes the image"
                )
        elif code not in _NAMES_ONLY:
            self._plain(command)  # old files put G and D codes between % signs too

    def _unit(self, command: str) -> None:
        self.canvas.set_unit(1.0 if _one_of(command, "MOMM", "MOIN") == "MOMM" else _MM_PER_INCH)

    def _format(self, command: str) -> None:
        self.canvas.set_format(parse_format(command))

    def _aperture(self, command: str) -> None:
        canvas = self.canvas
        made = parse_aperture(command[2:], self.macros, canvas.need_unit(), dict(self.aperture_attributes))
        if made.template in self.macros:
            self.macro_work += self.macros[made.template].cost
        if len(canvas.apertures) >= MAX_APERTURES or self.macro_work > MAX_MACRO_WORK:
            raise InputError("too many or too complicated apertures", expected=f"{MAX_APERTURES} at most")
        canvas.define(made)

    def _polarity(self, command: str) -> None:
        self.canvas.dark = _one_of(command, "LPD", "LPC") == "LPD"

    def _image_polarity(self, command: str) -> None:
        self.negative = _one_of(command, "IPPOS", "IPNEG") == "IPNEG"

    def _mirror(self, command: str) -> None:
        self.canvas.mirror = _one_of(command, "LMN", "LMX", "LMY", "LMXY")[2:]

    def _rotate(self, command: str) -> None:
        self.canvas.rotation_deg = number(command)

    def _scale(self, command: str) -> None:
        self.canvas.scale = number(command)
        if not 1e-3 <= self.canvas.scale <= 1e3:
            raise InputError(f"scaling {command[:20]!r}", expected="0.001 to 1000")

    def _repeat(self, command: str) -> None:
        values = dict(split_codes(command[2:]))
        across, up = (whole(axis, values.get(axis, "1")) for axis in "XY")
        if across < 1 or up < 1:
            raise InputError(f"step and repeat {command[:40]!r}", expected="X and Y of 1 or more")
        step = [
            number(f"SR{values[axis]}") * self.canvas.need_unit() if axis in values else 0.0 for axis in "IJ"
        ]
        self.canvas.open_repeat(across, up, (step[0], step[1]))

    def _block(self, command: str) -> None:
        if command == "AB":
            self.canvas.close_block()
        elif (found := re.fullmatch(r"ABD0*(\d{2,9})", command)) and int(found[1]) >= 10:
            self.canvas.open_block(int(found[1]))
        else:
            raise InputError(f"block aperture {command[:20]!r}", expected="%ABD10*% or alike")

    def _attribute(self, command: str) -> None:
        name, fields = split_attribute(command[2:])
        match command[:2]:
            case "TF":
                self.file_attributes[name] = fields
            case "TA":
                self.aperture_attributes[name] = fields
            case "TO":
                self.object_attributes[name] = fields
            case _:
                for table in (self.aperture_attributes, self.object_attributes):
                    table.pop(name, None) if name else table.clear()
        self.canvas.tag = tag_of(self.object_attributes)


_COMMANDS: Mapping[str, Callable[[_Reader, str], None]] = {
    "FS": _Reader._format, "MO": _Reader._unit, "AD": _Reader._aperture, "LP": _Reader._polarity,
    "IP": _Reader._image_polarity, "LM": _Reader._mirror, "LR": _Reader._rotate, "LS": _Reader._scale,
    "SR": _Reader._repeat, "AB": _Reader._block, "TF": _Reader._attribute, "TA": _Reader._attribute,
    "TO": _Reader._attribute, "TD": _Reader._attribute,
}  # fmt: skip


def _one_of(command: str, *allowed: str) -> str:
    if command not in allowed:
        raise InputError(f"command {command[:20]!r}", expected=" or ".join(allowed))
    return command
