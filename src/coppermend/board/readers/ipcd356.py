"""Reader of IPC-D-356 and 356A bare-board netlists: the records of a file in mm. Builds no board.

From memory of IPC-D-356A (the standard's text could not be seen), checked against files of real boards
and against an independent reader. Column layouts are in ``ipcd356_lines``, paths in ``ipcd356_paths``.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence

from coppermend.board.readers.ipcd356_lines import (
    FRAMES,
    KINDS,
    Frame,
    continued_line,
    read_test_record,
    tail_fields,
)
from coppermend.board.readers.ipcd356_paths import read_adjacency, read_conductors, read_outlines
from coppermend.board.readers.ipcd356_records import (
    Adjacency,
    Conductor,
    Ipc356,
    Outline,
    TestRecord,
    Units,
)
from coppermend.board.readers.text import split_lines
from coppermend.errors import InputError

__all__ = ["Adjacency", "Conductor", "Ipc356", "Outline", "TestRecord", "parse_ipcd356"]

_TEST_CODES = frozenset(f"3{digit}7" for digit in KINDS)
_UNKNOWN = re.compile(r"3[0-9][0-9]")
_COMMENT = re.compile(r"C(?![A-Za-z0-9])")
_PARAMETER = re.compile(r"P(?:[ \t]+(\S+)(?:[ \t]+(.*))?)?")
_ALIAS = re.compile(r"[PC][ \t]+(NNAME[0-9]+)[ \t]+(\S.*)")
_END = re.compile(r"9[0-9][0-9]\s*")
_UNITS: dict[str, Units] = {
    "CUST": "CUST 0",
    "CUST 0": "CUST 0",
    "CUST 1": "CUST 1",
    "CUST 2": "CUST 2",
    "SI": "CUST 1",
}
_ANY_RECORD = "P, C, a record 3.. (317, 327, 378, ...), its continuation 0.., or 999"


_Line = tuple[int, str]  # a line of the file behind its number, from 1


def parse_ipcd356(text: str, where: str) -> Ipc356:
    """Read a whole IPC-D-356 or 356A file.

    Args:
        text: The file's text; lines end with LF, CRLF or CR.
        where: Name of the file, for errors.

    Returns:
        All records in file order, lengths in mm in the file's own frame, with notes on oddities.

    Raises:
        InputError: If a line cannot be read or is cut, units are missing, or there is no record at all.
    """
    try:
        return _File(split_lines(text.removeprefix("\ufeff").removesuffix("\x1a"))).read()
    except InputError as error:
        raise error.at(where) from None


class _File:
    """The reading of one file, record by record; ``read`` may be called once."""

    def __init__(self, lines: list[str]) -> None:
        self.lines = lines
        self.records: list[TestRecord] = []
        self.conductors: list[Conductor] = []
        self.adjacency: list[Adjacency] = []
        self.outline: list[Outline] = []
        self.names: dict[str, str] = {}
        self.parameters: dict[str, str] = {}
        self.notes: list[str] = []
        self.frame: Frame | None = None
        self.unknown: Counter[str] = Counter()

    def read(self) -> Ipc356:
        """Read every line up to the end record, then judge whether the file is whole."""
        self._read_aliases()
        end = 0
        for number, line, further in _groups(self.lines):
            if line[:3] in _TEST_CODES:
                self.records.append(read_test_record(line, number, self.frame or self._framed(number)))
                if further:
                    self._read_further_points(line, further, self._framed(number))
            elif _END.fullmatch(line):
                end = number
                break
            else:
                self._read_other(line, number, further)
        if not (self.frame and (self.records or self.conductors or self.adjacency or self.outline)):
            raise InputError("no record of a board", expected="IPC-D-356 with records 317, 327, ...")
        self._check_end(end)
        self._note_short_records()
        self._note_oddities()
        return Ipc356(
            tuple(self.records),
            tuple(self.conductors),
            tuple(self.adjacency),
            tuple(self.outline),
            self.frame.units,
            self.names,
            self.parameters,
            tuple(self.notes),
        )

    def _read_aliases(self) -> None:
        """Collect NNAME aliases first, so that they may also stand behind the records that use them."""
        in_comments: dict[str, str] = {}
        for number, line in enumerate(self.lines, 1):
            match = _ALIAS.fullmatch(line) if line[:1] in ("P", "C") else None
            if match is None:
                continue
            alias, name = match[1], match[2].rstrip()
            known = (self.names if line[0] == "P" else in_comments).setdefault(alias, name)
            if known != name and line[0] == "P":
                raise InputError(
                    f"{alias} is {name!r}, but {known!r} above", expected="one name", line=number
                )
        if added := {alias: name for alias, name in in_comments.items() if alias not in self.names}:
            self.names.update(added)
            self.notes.append(f"net names taken from comments, where some programs put them: {len(added)}")

    def _read_further_points(self, line: str, further: Sequence[_Line], frame: Frame) -> None:
        """Read one more record for each continuation of a test record that says anything in its columns."""
        for number, text in further:
            composed = continued_line(line, text)
            if composed != line.rstrip():
                self.records.append(read_test_record(composed, number, frame, continues=True))

    def _read_other(self, line: str, number: int, further: Sequence[_Line]) -> None:
        """Read a record that is no test record, with its continuations."""
        code = line[:3]
        if code == "378":
            self.conductors += read_conductors(_joined(line, further, ""), number, self._framed(number))
        elif code == "379":
            frame = self.frame or Frame("CUST 0", 1, 1, self.names)
            self.adjacency.append(read_adjacency(_joined(line, further, " "), number, frame))
        elif code == "389":
            self.outline += read_outlines(_joined(line, further, ""), number, self._framed(number))
        elif match := _PARAMETER.fullmatch(line):
            self._read_parameter(match[1] or "", (match[2] or "").rstrip(), number)
        elif _UNKNOWN.fullmatch(code):
            self.unknown[code] += 1
        elif not _COMMENT.match(line):
            raise InputError(f"{line[:20]!r} starts no record", expected=_ANY_RECORD, line=number)

    def _framed(self, number: int) -> Frame:
        """The units, which must be known by the first coordinate: a wrong guess would scale the board."""
        if self.frame is None:
            expected = "P  UNITS CUST 0 (0.0001 inch) or CUST 1 (0.001 mm) above it"
            raise InputError("coordinates before their units", expected=expected, line=number)
        return self.frame

    def _read_parameter(self, name: str, value: str, number: int) -> None:
        """Keep a P record, and act on UNITS."""
        if name == "UNITS":
            self._set_units(value, number)
        elif name not in self.names:
            if re.fullmatch("NNAME[0-9]+", name):
                raise InputError(f"{name} without a net name", expected=f"P  {name} and a name", line=number)
            self.parameters[name] = value

    def _set_units(self, value: str, number: int) -> None:
        """Fix the units of the file; saying the same again is allowed."""
        units = _UNITS.get(" ".join(value.upper().split()))
        if units is None:
            raise InputError(f"UNITS {value!r}", expected="CUST 0, CUST 1, CUST 2 or SI", line=number)
        if self.frame and self.frame.units != units:
            raise InputError(
                f"UNITS change to {value!r}", expected="one kind of units in a file", line=number
            )
        self.frame = Frame(units, *FRAMES[units], self.names)

    def _check_end(self, end: int) -> None:
        """Note a missing end record; refuse a last line that was cut, which only its surroundings show."""
        if end:
            late = sum(1 for line in self.lines[end:] if line.strip())
            if late:
                self.notes.append(f"lines after the end record in line {end} were passed over: {late}")
            return
        self.notes.append("no 999 end record: file may be cut short")
        filled = [(number, line) for number, line in enumerate(self.lines, 1) if line.strip()]
        number, last = filled[-1]
        no_line_end = last == self.lines[-1]
        if last[:3] in _TEST_CODES:
            peer = next((line for _, line in reversed(filled[:-1]) if line[:3] == last[:3]), "")
            cut = tail_fields(last) < (tail_fields(peer) if peer else 4 * no_line_end)
        else:
            cut = no_line_end and last[0] != "C"
        if cut:
            expected = "as many fields as above, or a line end and a 999 record"
            raise InputError("the last line is cut", expected=expected, line=number)

    def _note_short_records(self) -> None:
        """Note test records that end earlier than others of their kind, as cut lines do."""
        fields = {
            record.line: 4 if record.soldermask is not None else tail_fields(self.lines[record.line - 1])
            for record in self.records
            if not record.continues
        }
        fullest: Counter[str] = Counter()
        for record in self.records:
            fullest[record.kind] = max(fullest[record.kind], fields.get(record.line, 0))
        short = [r.line for r in self.records if fields.get(r.line, 4) < fullest[r.kind]]
        if short:
            count = f"{len(short)} test records end" if len(short) > 1 else "a test record ends"
            self.notes.append(f"{count} earlier than others of the kind, first in line {short[0]}")

    def _note_oddities(self) -> None:
        """Say what was passed over or assumed."""
        for code, count in sorted(self.unknown.items()):
            self.notes.append(f"records of unknown kind {code} were passed over: {count}")
        nets = {record.net for record in self.records}
        if lost := sorted(net for net in nets if re.fullmatch("NNAME[0-9]+", net)):
            more = f" and {len(lost) - 5} more" if len(lost) > 5 else ""
            self.notes.append(f"no name is given for {', '.join(lost[:5])}{more}")
        if self.frame and self.frame.units == "CUST 2" and any(r.rotation_deg for r in self.records):
            self.notes.append("UNITS CUST 2: rotations were read as hundredths of a radian")


def _groups(lines: Sequence[str]) -> Iterator[tuple[int, str, Sequence[_Line]]]:
    """Every record with its number and its continuation lines; blank lines are left out.

    Raises:
        InputError: If a continuation does not fit the record above it.
    """
    start, record = 0, ""
    further: list[_Line] = []
    for number, line in enumerate(lines, 1):
        if not line or line.isspace():
            continue
        if line[0] != "0":
            if record:
                yield start, record, further
            start, record = number, line
            if further:
                further = []
        elif record[:1] == "3" and line[1:3] == record[1:3]:
            further.append((number, line))
        else:
            above = record[:3] or "nothing"
            raise InputError(
                f"{line[:3]!r} continues {above!r}", expected="the code above with a 0", line=number
            )
    if record:
        yield start, record, further


def _joined(record: str, further: Sequence[_Line], joint: str) -> str:
    """A record and its continuations as one line; ``joint`` goes between."""
    return joint.join(text.rstrip() for text in (record, *(line[3:] for _, line in further)))
