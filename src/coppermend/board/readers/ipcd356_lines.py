"""The fixed columns of IPC-D-356 test records, and how numbers and names are understood. No whole file.

From memory of IPC-D-356A (the standard's text could not be seen), checked against files of real boards.
Errors raised here carry the line number and leave the file's name to the caller.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
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


@dataclass(frozen=True, slots=True)
class Frame:
    """How numbers and names of one file are to be understood.

    ``numerator / denominator`` is one count in mm, as integers so that no rounding error creeps in.
    """

    units: Units
    numerator: int
    denominator: int
    names: Mapping[str, str]

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
        """What is wrong with this field of ``line``, in words; "" when it can be read."""
        text = line[self.first - 1 : self.last]
        match = re.fullmatch(self.pattern, text)
        if match is None:
            return repr(text)
        digits = (match[1] or "").strip() if self.number else ""
        if digits and not re.fullmatch(r"[-+]?[0-9]+", digits):
            return f"{text!r}, which is no number"
        return "no number" if self.required and not digits else ""


_HEAD = (
    _Column(4, 17, "(.{14})", "a net name"),
    _Column(18, 20, " {3}", "blanks"),
    _Column(21, 26, "(.{6})", "a refdes"),
    _Column(27, 27, "[- ]", "a hyphen or a blank"),
    _Column(28, 31, "(.{4})", "a pin"),
    _Column(32, 32, "([M ])", "M or a blank"),
    _Column(33, 37, "(?:D([0-9 ]{4})| {5})", "D and 4 digits, or blanks", number=True),
    _Column(38, 38, "([PU ])", "P, U or a blank"),
    _Column(39, 41, "(?:A([0-9 ]{2})| {3})", "A and 2 digits, or blanks", number=True),
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


def _record_pattern() -> re.Pattern[str]:
    """All columns as one expression; a record may end after any field from column 57 on."""
    tail = ""
    for column in reversed(_TAIL):
        tail = f"(?:{column.pattern}{tail})?"
    return re.compile("3[0-9]7" + "".join(column.pattern for column in _HEAD) + tail + " *")


_RECORD = _record_pattern()


def read_test_record(line: str, number: int, frame: Frame, *, continues: bool = False) -> TestRecord:
    """Read one test record (307 to 367) from its fixed columns.

    Raises:
        InputError: If a column holds something else than its field, or the line is cut.
    """
    match = _RECORD.fullmatch(line)
    if match is None:
        return _read_by_bytes(line, number, frame, continues=continues)
    try:
        return _test_record(match, line, number, frame, continues)
    except ValueError:
        raise _fault(line, number) from None


def _test_record(m: re.Match[str], line: str, number: int, frame: Frame, continues: bool) -> TestRecord:
    """The record of a matching line; ValueError when blanks split a number."""
    net, refdes, pin, mid, hole, plated, access, x, y, size_x, size_y, rotation, mask = m.groups()
    numerator, denominator = frame.numerator, frame.denominator
    refdes = refdes.strip()
    is_via = refdes == "VIA"
    return TestRecord(
        kind=KINDS[line[1]],
        net=frame.net(net.strip()),
        refdes="" if is_via else refdes,
        pin=pin.strip(),
        is_via=is_via,
        midpoint=mid == "M",
        hole_mm=_counts(hole) * numerator / denominator,
        plated=None if plated == " " else plated == "P",
        access=int(access) if access and not access.isspace() else None,
        x_mm=int(x) * numerator / denominator,
        y_mm=int(y) * numerator / denominator,
        size_x_mm=_counts(size_x) * numerator / denominator,
        size_y_mm=_counts(size_y) * numerator / denominator,
        rotation_deg=frame.rotation_deg(_counts(rotation)),
        soldermask=int(mask) if mask and mask != " " else None,
        line=number,
        continues=continues,
    )


def _counts(digits: str | None) -> int:
    """A whole number that may be missing or blank, which reads as 0."""
    return int(digits) if digits and not digits.isspace() else 0


def _read_by_bytes(line: str, number: int, frame: Frame, *, continues: bool) -> TestRecord:
    """Read a record whose columns were counted in UTF-8 bytes, as some programs do with names like µC."""
    match = None if line.isascii() else _RECORD.fullmatch(line.encode("utf-8", "replace").decode("latin-1"))
    if match is None:
        raise _fault(line, number)
    try:
        record = _test_record(match, line, number, frame, continues)
    except ValueError:
        raise _fault(match[0], number) from None
    net, refdes, pin = (_from_bytes(name).strip() for name in match.group(1, 2, 3))
    return replace(record, net=frame.net(net), refdes="" if record.is_via else refdes, pin=pin)


def _from_bytes(name: str) -> str:
    """Undo the byte-wise decoding of one name; a character that the format cut in two is left out."""
    return name.encode("latin-1").decode("utf-8", "ignore")


def _fault(line: str, number: int) -> InputError:
    """Name the first column of a test record that cannot be read."""
    code = line[:3]
    for column in _HEAD + _TAIL:
        place = f"{column.expected} in columns {column.first}-{column.last}"
        if len(line) < column.first + (column != _TAIL[-1]) * (column.last - column.first):
            return InputError(f"{code} record is cut at column {len(line)}", expected=place, line=number)
        if fault := column.fault(line):
            return InputError(f"{code} record holds {fault}", expected=place, line=number)
    return InputError(f"{code} record cannot be read", expected="the columns of IPC-D-356", line=number)


def tail_fields(line: str) -> int:
    """How many of the four fields after the coordinates a test record still has; cut lines have fewer."""
    length = len(line.rstrip())
    return sum(length >= column.first for column in _TAIL)


def continued_line(parent: str, continuation: str) -> str:
    """The test record that a continuation (017, 027, ...) makes: its own fields, the parent's elsewhere.

    From memory: a continuation keeps the columns of the record it continues and gives what differs,
    such as the size of the pad on the other side.
    """
    line = parent.ljust(80)
    for column in _HEAD + _TAIL:
        text = continuation[column.first - 1 : column.last]
        if text.strip():
            line = line[: column.first - 1] + text.ljust(column.last - column.first + 1) + line[column.last :]
    return line.rstrip()
