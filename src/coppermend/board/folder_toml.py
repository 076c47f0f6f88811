"""``board.toml`` in and out: what a board is called, how large it is and how it is used. No parts, no copper."""

from __future__ import annotations

import json
import math
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, get_args

from coppermend.board.folder_csv import LIMIT_MM, finite, format_mm
from coppermend.board.model import (
    Board,
    Clock,
    Connector,
    ConnectorKind,
    Matrix,
    MatrixPosition,
    MemoryRegion,
    Rail,
    ReferencePoint,
    Section,
    SelfTest,
    Watched,
)
from coppermend.board.readers.text import decode_text
from coppermend.errors import InputError

_ROOT_KEYS = (
    "name", "revision", "maker", "notes", "width_mm", "height_mm", "outline", "reference_points", "sections",
    "rails", "clocks", "memory_map", "matrix", "connectors", "self_tests",
)  # fmt: skip
_HEADER = re.compile(r"\s*\[\[?\s*[A-Za-z][\w.\s]*\]\]?\s*(?:#.*)?$")
_CORNERS = 3
_LAST_ADDRESS = 0xFFFF_FFFF


@dataclass(frozen=True, slots=True)
class _Table:
    """A table of the file with its place: ``path`` "rails" and ``number`` 2 is the second [[rails]]."""

    data: Mapping[str, Any]
    text: str
    where: str
    path: str = ""
    number: int = 0

    def fault(self, key: str, found: str, expected: str) -> InputError:
        """The error that ``key`` is at fault, with the line it stands on where that can be told."""
        place = f"[{self.path}] {self.number}: " if self.number else f"[{self.path}] " if self.path else ""
        line = _line_of(self.text, self.path, self.number, key)
        return InputError(f"{place}{key} {found}", expected=expected, where=self.where, line=line)

    def only(self, keys: Sequence[str]) -> None:
        """Refuse keys that are not known and do not start with ``x_``."""
        for key in self.data:
            if key not in keys and not key.startswith("x_"):
                raise self.fault(key, "is no key here", f"keys from {', '.join(keys)}")

    def string(self, key: str, *, needed: bool = False) -> str:
        value = self.data.get(key, "")
        if not isinstance(value, str) or (needed and not value.strip()):
            raise self.fault(key, f"is {_shown(value)}", "text in quotes")
        return value if key == "notes" else value.strip()

    def number_of(
        self, key: str, default: float | None = None, least: float = 0.0, most: float = LIMIT_MM
    ) -> float:
        value = self.data.get(key, default)
        if _is_number(value) and least <= value <= most:
            return float(value)
        raise self.fault(key, f"is {_shown(value)}", f"a number from {least:g} to {most:g}")

    def address(self, key: str) -> int:
        """A whole number, or text such as ``0x1000`` or ``$1000``."""
        value = self.data.get(key)
        if isinstance(value, str) and (
            digits := re.fullmatch(r"(?:0[xX]|\$)([0-9A-Fa-f]{1,8})", value.strip())
        ):
            return int(digits[1], 16)
        if isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= _LAST_ADDRESS:
            return value
        raise self.fault(key, f"is {_shown(value)}", 'an address such as 0x1000 or "$1000"')

    def strings(self, key: str) -> tuple[str, ...]:
        value = self.data.get(key, [])
        if isinstance(value, list) and all(isinstance(v, str) and v.strip() for v in value):
            return tuple(v.strip() for v in value)
        raise self.fault(key, f"is {_shown(value)}", 'a list of names such as ["A", "B"]')

    def tables(self, key: str, keys: Sequence[str]) -> Iterator[_Table]:
        value = self.data.get(key, [])
        if not isinstance(value, list) or not all(isinstance(v, dict) for v in value):
            raise self.fault(key, f"is {_shown(value)}", f"tables written [[{key}]]")
        path = f"{self.path}.{key}" if self.path else key
        for number, data in enumerate(value, 1):
            table = _Table(data, self.text, self.where, path, number)
            table.only(keys)
            yield table


def _is_number(value: Any) -> bool:
    if isinstance(value, float):
        return math.isfinite(value)
    return isinstance(value, int) and not isinstance(value, bool) and abs(value) < 2**63  # TOML's integers


def _shown(value: Any) -> str:
    if value is None:
        return "missing"
    text = "blank" if value == "" else repr(value)
    return text if len(text) <= 40 else text[:37] + "..."


def _line_of(text: str, path: str, number: int, key: str) -> int | None:
    """The line, from 1, on which a key of a table stands; the table's own line, or None, when not found."""
    header = re.compile(rf"\s*\[{{1,2}}\s*{re.escape(path)}\s*\]")
    setting = re.compile(rf'\s*["\']?{re.escape(key)}["\']?\s*=')
    seen, place = 0, None
    inside = not path
    for line, content in enumerate(text.split("\n"), 1):
        if path and header.match(content):
            seen += 1
            inside = seen == max(number, 1)
            place = line if inside else place
        elif _HEADER.match(content):
            inside = False
        elif inside and setting.match(content):
            return line
    return place


def read_board_toml(data: bytes, where: str) -> dict[str, Any]:
    """The keyword arguments of ``Board`` that ``board.toml`` holds.

    Raises:
        InputError: If the TOML is broken, a key is unknown, missing or of the wrong kind.
    """
    text = decode_text(data, where).replace("\r\n", "\n")
    root = _Table(_loads(text, where), text, where)
    root.only(_ROOT_KEYS)
    outline = _outline(root)
    return {
        "name": root.string("name", needed=True),
        "revision": root.string("revision"),
        "maker": root.string("maker"),
        "notes": root.string("notes"),
        "width_mm": root.number_of("width_mm", max((x for x, _ in outline), default=None), least=0.1),
        "height_mm": root.number_of("height_mm", max((y for _, y in outline), default=None), least=0.1),
        "outline": outline,
        "reference_points": tuple(
            ReferencePoint(
                t.string("name", needed=True),
                t.number_of("x_mm", least=-LIMIT_MM),
                t.number_of("y_mm", least=-LIMIT_MM),
            )
            for t in root.tables("reference_points", ("name", "x_mm", "y_mm"))
        ),
        "sections": tuple(
            Section(t.string("name", needed=True), t.string("title"), t.string("notes"))
            for t in root.tables("sections", ("name", "title", "notes"))
        ),
        "rails": tuple(
            Rail(
                t.string("net", needed=True),
                t.number_of("volts", least=-LIMIT_MM),
                t.number_of("tolerance", 0.05, most=1.0),
            )
            for t in root.tables("rails", ("net", "volts", "tolerance"))
        ),
        "clocks": tuple(
            Clock(t.string("net", needed=True), t.number_of("hz", most=1e12))
            for t in root.tables("clocks", ("net", "hz"))
        ),
        "memory_map": tuple(_region(t) for t in root.tables("memory_map", ("name", "start", "end", "parts"))),
        "matrix": _matrix(root),
        "connectors": tuple(
            _connector(t) for t in root.tables("connectors", ("refdes", "title", "kind", "signals"))
        ),
        "self_tests": tuple(
            _self_test(t) for t in root.tables("self_tests", ("name", "shows", "watched", "steps"))
        ),
    }


def _loads(text: str, where: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        line = re.search(r"line (\d+)", str(error))
        found = re.sub(r"\s*\(at .*\)$", "", str(error))
        raise InputError(
            f"no TOML here: {found}", expected="key = value", where=where, line=int(line[1]) if line else None
        ) from None
    except (RecursionError, ValueError):  # a number of thousands of digits, or brackets nested without end
        raise InputError(
            "values nested or written without end", expected="key = value", where=where
        ) from None


def _outline(root: _Table) -> tuple[tuple[float, float], ...]:
    value = root.data.get("outline", [])
    good = isinstance(value, list) and all(
        isinstance(p, list) and len(p) == 2 and all(_is_number(n) and finite(n) for n in p) for p in value
    )
    corners = tuple((float(x), float(y)) for x, y in value) if good else ()
    if corners and corners[0] == corners[-1]:
        corners = corners[:-1]
    if not good or (value and len(corners) < _CORNERS):
        raise root.fault("outline", f"is {_shown(value)}", "three or more corners [[x, y], ...] in mm")
    return corners


def _region(table: _Table) -> MemoryRegion:
    start, end = table.address("start"), table.address("end")
    if end < start:
        raise table.fault("end", f"is {end:#x}", f"an address from {start:#x} up")
    return MemoryRegion(table.string("name", needed=True), start, end, table.strings("parts"))


def _matrix(root: _Table) -> Matrix:
    data = root.data.get("matrix", {})
    if not isinstance(data, dict):
        raise root.fault("matrix", f"is {_shown(data)}", "a table written [matrix]")
    table = _Table(data, root.text, root.where, "matrix")
    table.only(("strobes", "returns", "positions"))
    positions = tuple(
        MatrixPosition(
            t.string("strobe", needed=True),
            t.string("return", needed=True),
            t.string("name", needed=True),
            t.string("diode"),
        )
        for t in table.tables("positions", ("strobe", "return", "name", "diode"))
    )
    return Matrix(table.strings("strobes"), table.strings("returns"), positions)


def _self_test(table: _Table) -> SelfTest:
    watched = table.string("watched") or "each"
    if watched not in get_args(Watched):
        raise table.fault("watched", f"is {watched!r}", f"one of {', '.join(get_args(Watched))}")
    shows = table.strings("shows")
    if not shows:
        raise table.fault("shows", "is missing or empty", 'what it shows, such as ["lamps", "displays"]')
    return SelfTest(table.string("name", needed=True), shows, watched, table.string("steps"))  # type: ignore[arg-type]


def _connector(table: _Table) -> Connector:
    kind, signals = table.string("kind"), table.data.get("signals", {})
    if kind not in get_args(ConnectorKind):
        raise table.fault("kind", f"is {kind!r}", f"one of {', '.join(get_args(ConnectorKind))[2:]}")
    if not isinstance(signals, dict) or not all(isinstance(v, str) for v in signals.values()):
        raise table.fault("signals", f"is {_shown(signals)}", 'pins and their names, such as 1 = "GND"')
    named = {pin.strip(): name.strip() for pin, name in signals.items()}
    return Connector(table.string("refdes", needed=True), table.string("title"), kind, named)  # type: ignore[arg-type]


def _basic(text: str) -> str:
    """A TOML basic string: JSON escapes all that TOML wants escaped, except DEL."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _quote(text: str) -> str:
    """A TOML string; several lines stay several lines where no backslash could be mistaken."""
    if "\n" in text and "\\" not in text:
        return f'"""\n{_basic(text)[1:-1]}"""'.replace("\\n", "\n")
    return _basic(text)


def _names(names: Sequence[str]) -> str:
    return f"[{', '.join(map(_quote, names))}]"


def format_board_toml(board: Board) -> str:
    """``board.toml`` of a board: ``read_board_toml`` of it gives the same values back."""
    head = {"name": board.name, "revision": board.revision, "maker": board.maker}
    out = [f"{key} = {_quote(value)}" for key, value in head.items() if value]
    out += [f"width_mm = {format_mm(board.width_mm)}", f"height_mm = {format_mm(board.height_mm)}"]
    if board.outline:
        corners = ", ".join(f"[{format_mm(x)}, {format_mm(y)}]" for x, y in board.outline)
        out.append(f"outline = [{corners}]")
    if board.notes:
        out.append(f"notes = {_quote(board.notes)}")
    for point in board.reference_points:
        place = {"x_mm": format_mm(point.x_mm), "y_mm": format_mm(point.y_mm)}
        out += _entry("reference_points", {"name": _quote(point.name), **place})
    for s in board.sections:
        out += _entry("sections", _texts(name=s.name, title=s.title, notes=s.notes))
    for r in board.rails:
        out += _entry(
            "rails",
            {"net": _quote(r.net), "volts": repr(float(r.volts)), "tolerance": repr(float(r.tolerance))},
        )
    for c in board.clocks:
        out += _entry("clocks", {"net": _quote(c.net), "hz": repr(float(c.hz))})
    for m in board.memory_map:
        span = {"start": f"0x{m.start:04x}", "end": f"0x{m.end:04x}"}
        out += _entry("memory_map", {"name": _quote(m.name), **span, "parts": _names(m.parts)})
    out += _matrix_lines(board.matrix)
    for k in board.connectors:
        out += _entry("connectors", _texts(refdes=k.refdes, title=k.title, kind=k.kind))
        if k.signals:
            out += ["[connectors.signals]", *(f"{_key(p)} = {_quote(name)}" for p, name in k.signals.items())]
    for test in board.self_tests:
        names = {"shows": _names(test.shows), "watched": _quote(test.watched)}
        out += _entry("self_tests", {**_texts(name=test.name), **names, **_texts(steps=test.steps)})
    return "\n".join(out) + "\n"


def _key(text: str) -> str:
    return text if re.fullmatch(r"[A-Za-z0-9_-]+", text, re.ASCII) else _basic(text)


def _texts(**texts: str) -> dict[str, str]:
    return {key: _quote(text) for key, text in texts.items() if text}


def _entry(table: str, settings: Mapping[str, str]) -> list[str]:
    return ["", f"[[{table}]]", *(f"{key} = {value}" for key, value in settings.items())]


def _matrix_lines(matrix: Matrix) -> list[str]:
    if matrix == Matrix():
        return []
    out = ["", "[matrix]", f"strobes = {_names(matrix.strobes)}", f"returns = {_names(matrix.returns)}"]
    for p in matrix.positions:
        settings = {"strobe": p.strobe, "return": p.ret, "name": p.name, "diode": p.diode}
        out += _entry("matrix.positions", _texts(**settings))
    return out
