"""The fixed columns of IPC-D-356 test records, and how numbers and names are understood. No whole file.

From memory of IPC-D-356A (the standard's text could not be seen), checked against files of real boards.
Errors raised here carry the line number and leave the file's name to the caller.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import degrees
from typing import NamedTuple

from coppermend.board.readers.ipcd356_records import TestKind, TestRecord, Units
from coppermend.errors import InputError

KINDS: dict[str, TestKind] = {
    "0": "buried",
    "1": "through",
    "2": "surface",
    "3": "tooling feature",
    "4": "tooling hole",
    "6": "nonplated",
}
NO_NET = ("", "N/C")


class Form(NamedTuple):
    """What a test record says beside names and place; see ``TestRecord``."""

    kind: TestKind
    midpoint: bool
    hole_mm: float
    plated: bool | None
    access: int | None
    size_x_mm: float
    size_y_mm: float
    rotation_deg: float
    soldermask: int | None


@dataclass(frozen=True, slots=True)
class Frame:
    """How numbers and names of one file are to be understood.

    ``numerator / denominator`` is one count in mm, as integers so that no rounding error creeps in.
    ``forms`` keeps what was read of recurring columns, by their spelling.
    """

    units: Units
    numerator: int
    denominator: int
    names: Mapping[str, str]
    forms: dict[str, Form] = field(default_factory=dict)

    def mm(self, counts: int) -> float:
        """A length of the file in mm."""
        return counts * self.numerator / self.denominator

    def net(self, name: str) -> str:
        """The full name of a net; "" for no net."""
        return "" if name in NO_NET else self.names.get(name, name)

    def rotation_deg(self, counts: int) -> float:
        """A rotation, from 0 to below 360 [degree].

        From memory: CUST 2 gives radians. Three digits cannot hold whole radians usefully, so hundredths
        are assumed (R157 is a quarter turn); the reader says so in its notes.
        """
        return degrees(counts / 100) % 360 if self.units == "CUST 2" else float(counts % 360)


FRAMES: dict[Units, tuple[int, int]] = {
    "CUST 0": (254, 100_000),
    "CUST 1": (1, 1000),
    "CUST 2": (254, 100_000),
}


class _Column(NamedTuple):
    """One field of a test record: columns ``first`` to ``last``, counted from 1 as the standard does."""

    first: int
    last: int
    pattern: str
    expected: str
    number: bool = False
    required: bool = False

    def fault(self, line: str) -> str:
        """What a record has against this field, as a verb phrase; "" when it can be read."""
        text = line[self.first - 1 : self.last]
        match = re.fullmatch(self.pattern, text)
        if match is None:
            return f"is cut at column {len(line)}" if len(line) < self.last else f"holds {text!r}"
        digits = (match[1] or "").strip() if self.number else ""
        if digits and not re.fullmatch(r"[-+]?[0-9]+", digits):
            return f"holds {text!r}, which is no number"
        return "holds no number" if self.required and not digits else ""


_NAMES = (
    _Column(4, 17, "(.{14})", "a net name"),
    _Column(18, 20, " {3}", "blanks"),
    _Column(21, 26, "(.{6})", "a refdes"),
    _Column(27, 27, "[- ]", "a hyphen or a blank"),
    _Column(28, 31, "(.{4})", "a pin"),
)
_HOLE = (
    _Column(32, 32, "([M ])", "M or a blank"),
    _Column(33, 37, "(?:D([0-9 ]{4})| {5})", "D and 4 digits, or blanks", number=True),
    _Column(38, 38, "([PU ])", "P, U or a blank"),
    _Column(39, 41, "(?:A([0-9 ]{2})| {3})", "A and 2 digits, or blanks", number=True),
)
_PLACE = (
    _Column(42, 49, "X([-+ 0-9]{7})", "X, sign and 6 digits", number=True, required=True),
    _Column(50, 57, "Y([-+ 0-9]{7})", "Y, sign and 6 digits", number=True, required=True),
)
_TAIL = (
    _Column(58, 62, "(?:X([0-9 ]{4})| {5})", "X and 4 digits, or blanks", number=True),
    _Column(63, 67, "(?:Y([0-9 ]{4})| {5})", "Y and 4 digits, or blanks", number=True),
    _Column(68, 71, "(?:R([-+ 0-9]{3})| {4})", "R and 3 digits, or blanks", number=True),
    # The standard has the soldermask code in columns 73-74; some CAD programs write it one column early.
    _Column(72, 74, "(?: ?S([0-3 ])| {3}).*", "S and a digit 0 to 3, or blanks"),
)
_COLUMNS = _NAMES + _HOLE + _PLACE + _TAIL


def _in_a_row(columns: Sequence[_Column]) -> str:
    return "".join(column.pattern for column in columns)


def _form_pattern() -> re.Pattern[str]:
    """The columns around the place as one expression; a record may end after any field from column 57 on."""
    tail = ""
    for column in reversed(_TAIL):
        tail = f"(?:{column.pattern}{tail})?"
    return re.compile(_in_a_row(_HOLE) + tail + " *")


_RECORD = re.compile(f"3([0-9])7{_in_a_row(_NAMES)}(.{{10}}){_in_a_row(_PLACE)}(.*)")
_FORM = _form_pattern()


def read_test_record(line: str, number: int, frame: Frame, *, continues: bool = False) -> TestRecord:
    """Read one test record (307 to 367) from its fixed columns.

    Raises:
        InputError: If a column holds something else than its field, or the line is cut.
    """
    match = _RECORD.fullmatch(line)
    try:
        if match:
            return _test_record(match, number, frame, continues)
    except ValueError:
        pass  # the names may have shifted the columns: see below
    if line.isascii():
        raise _fault(line, number)
    return _read_by_bytes(line, number, frame, continues)


def _test_record(match: re.Match[str], number: int, frame: Frame, continues: bool) -> TestRecord:
    """The record of a matching line; ValueError when a field in it cannot be read."""
    kind, net, refdes, pin, hole, x, y, tail = match.groups()
    # What a record says beside names and place recurs all over a board: it is read once for each spelling.
    key = kind + hole + tail
    form = frame.forms.get(key)
    if form is None:
        form = frame.forms[key] = _read_form(kind, hole + tail, frame)
    what, midpoint, hole_mm, plated, access, size_x_mm, size_y_mm, rotation_deg, soldermask = form
    refdes = refdes.strip()
    is_via = refdes == "VIA"
    return TestRecord(
        what,
        frame.net(net.strip()),
        "" if is_via else refdes,
        pin.strip(),
        is_via,
        midpoint,
        hole_mm,
        plated,
        access,
        int(x) * frame.numerator / frame.denominator,
        int(y) * frame.numerator / frame.denominator,
        size_x_mm,
        size_y_mm,
        rotation_deg,
        soldermask,
        number,
        continues,
    )


def _read_form(kind: str, text: str, frame: Frame) -> Form:
    """Read the columns around the place; ValueError when one of them cannot be read."""
    match = _FORM.fullmatch(text)
    if match is None:
        raise ValueError(text)
    mid, hole, plated, access, size_x, size_y, rotation, mask = match.groups()
    return Form(
        kind=KINDS[kind],
        midpoint=mid == "M",
        hole_mm=frame.mm(_counts(hole)),
        plated=None if plated == " " else plated == "P",
        access=int(access) if access and not access.isspace() else None,
        size_x_mm=frame.mm(_counts(size_x)),
        size_y_mm=frame.mm(_counts(size_y)),
        rotation_deg=frame.rotation_deg(_counts(rotation)),
        soldermask=int(mask) if mask and mask != " " else None,
    )


def _counts(digits: str | None) -> int:
    """A whole number that may be missing or blank, which reads as 0."""
    return int(digits) if digits and not digits.isspace() else 0


def _read_by_bytes(line: str, number: int, frame: Frame, continues: bool) -> TestRecord:
    """Read a record whose columns were counted in UTF-8 bytes, as some programs do with names like µC."""
    match = _RECORD.fullmatch(line.encode("utf-8", "replace").decode("latin-1"))
    if match is None:
        raise _fault(line, number)
    try:
        record = _test_record(match, number, frame, continues)
    except ValueError:
        raise _fault(match[0], number) from None
    # No character spans two fields, since what follows each name is a blank, a hyphen or an M.
    net, refdes, pin = (name.encode("latin-1").decode().strip() for name in match.group(2, 3, 4))
    return replace(record, net=frame.net(net), refdes="" if record.is_via else refdes, pin=pin)


def _fault(line: str, number: int) -> InputError:
    """Name the first column of a test record that cannot be read; there is one."""
    column = next((column for column in _COLUMNS if column.fault(line)), _COLUMNS[-1])
    expected = f"{column.expected} in columns {column.first}-{column.last}"
    return InputError(f"{line[:3]} record {column.fault(line)}", expected=expected, line=number)


def tail_fields(line: str) -> int:
    """How many of the four fields after the coordinates a test record still has; cut lines have fewer."""
    length = len(line.rstrip().encode("utf-8", "replace"))  # columns may be counted in bytes
    return sum(length >= column.first for column in _TAIL)


def continued_line(parent: str, continuation: str) -> str:
    """The test record that a continuation (017, 027, ...) makes: its own fields, the parent's elsewhere.

    From memory: a continuation keeps the columns of the record it continues and gives what differs,
    such as the size of the pad on the other side.
    """
    line = parent.ljust(80)
    for column in _COLUMNS:
        text = continuation[column.first - 1 : column.last]
        if text.strip():
            line = line[: column.first - 1] + text.ljust(column.last - column.first + 1) + line[column.last :]
    return line.rstrip()
