"""A matrix from TOML, and observations of it from CSV: text in, records out. Opens no file."""

from __future__ import annotations

import csv
import io
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, get_args

from coppermend.errors import InputError
from coppermend.proving.matrix import Crossing, MatrixKind, Position, Shown, SwitchMatrix

MOST_LINES, MOST_OBSERVATIONS = 512, 2_000
_KEYS = (
    "kind", "strobes", "returns", "positions", "diodes", "dedicated", "proven", "shown", "columns", "rows",
)  # fmt: skip
_POSITION_KEYS = ("strobe", "return", "name", "diode", "populated", "proven", "column", "row")
_EXPECTED_ROW = 'closed,reported, each a ";"-separated list such as S1:R2;S3:R4'


@dataclass(frozen=True, slots=True)
class Observation:
    """What was closed and what the machine reported; in a lamp matrix what was commanded and what lit."""

    closed: frozenset[Crossing]
    reported: frozenset[Crossing]


@dataclass(frozen=True)
class _File:
    data: Mapping[str, Any]
    text: str
    where: str

    def fault(self, found: str, expected: str, key: str = "", number: int = 0) -> InputError:
        return InputError(found, expected=expected, where=self.where, line=self._line(key, number))

    def _line(self, key: str, number: int) -> int | None:
        """Line of the ``number``-th [[key]] table (from 1), else of the last ``key = ...``."""
        tables = self._matching(rf"\s*\[\[\s*(?:matrix\.)?{key}\s*\]\]") if number else []
        if key and len(tables) >= number > 0:
            return tables[number - 1]
        keys = self._matching(rf"\s*{key}\s*=") if key else []
        return keys[-1] if keys else None

    def _matching(self, mark: str) -> list[int]:
        return [n for n, line in enumerate(self.text.splitlines(), 1) if re.match(mark, line)]


def parse_matrix(text: str, where: str = "matrix") -> SwitchMatrix:
    """Read a matrix.

    Keys: ``strobes`` and ``returns`` (names in connector order; ``columns`` and ``rows`` in a lamp matrix);
    ``[[positions]]`` with ``strobe``, ``return`` and optionally ``name``, ``diode`` (true, false, or the refdes
    of a diode on the board), ``populated``, ``proven``; without positions every crossing is populated, with
    diodes unless ``diodes = false``. ``proven`` lists lines (or STROBE:RETURN of a button in use) that are
    proven already; ``dedicated`` lists switches with a line of their own; ``kind`` is "switch" or "lamp";
    ``shown`` is "auto", "all" or "populated". All of it may stand under ``[matrix]``.

    Raises:
        InputError: If it is no such matrix; names the line where it can.
    """
    try:
        data: Any = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        line = re.search(r"line (\d+)", str(error))
        words = re.sub(r"\s*\(at .*\)$", "", str(error))
        raise InputError(
            words[:1].lower() + words[1:], expected="TOML", where=where, line=int(line[1]) if line else None
        ) from None
    inner = data.get("matrix", data)
    if not isinstance(inner, dict):
        raise InputError("matrix is no table", expected="[matrix]", where=where)
    file = _File(inner, text, where)
    for key in inner:
        if key not in _KEYS:
            raise file.fault(f"unknown key {key!r:.40}", f"one of {', '.join(_KEYS)}", re.escape(key))
    return _matrix(file)


def _matrix(file: _File) -> SwitchMatrix:
    strobes = _names(file, "columns" if "columns" in file.data else "strobes", needed=True)
    returns = _names(file, "rows" if "rows" in file.data else "returns", needed=True)
    if len(strobes) + len(returns) > MOST_LINES:
        raise file.fault(f"has {len(strobes) + len(returns)} lines", f"at most {MOST_LINES}", "strobes")
    dedicated = _names(file, "dedicated")
    positions, used = _positions(file, strobes, returns)
    proven = _proven(file, strobes, returns, dedicated)
    used |= proven["both"]
    shape = SwitchMatrix(strobes, returns, positions)
    crossings = [shape.crossing(text, file.where) for text in sorted(used)]
    return SwitchMatrix(
        strobes,
        returns,
        positions,
        _word(file, "kind", get_args(MatrixKind), "lamp" if "columns" in file.data else "switch"),
        dedicated,
        frozenset(proven["strobes"] | {c.strobe for c in crossings}),
        frozenset(proven["returns"] | {c.ret for c in crossings}),
        frozenset(proven["dedicated"]),
        frozenset(p.diode_on_board for p in positions if p.crossing in crossings) - {""},
        _word(file, "shown", get_args(Shown), "auto"),
    )


def _word(file: _File, key: str, words: Sequence[str], default: str) -> Any:
    value = file.data.get(key, default)
    if value not in words:
        raise file.fault(f"{key} is {value!r:.40}", f"one of {', '.join(words)}", key)
    return value


def _names(file: _File, key: str, *, needed: bool = False) -> tuple[str, ...]:
    value = file.data.get(key, [])
    names = [str(n) for n in value if isinstance(n, str | int) and not isinstance(n, bool)] if isinstance(
        value, list
    ) else []  # fmt: skip
    if not isinstance(value, list) or len(names) != len(value) or (needed and not names):
        raise file.fault(f"{key} is missing or no list of names", f'{key} = ["S1", "S2", ...]', key)
    for name in names:
        if not name.strip() or any(c in name for c in ";,\n"):
            raise file.fault(f"{key} has the name {name!r:.40}", 'names without ";" and ","', key)
    if len(set(names)) < len(names):
        twice = next(n for n in names if names.count(n) > 1)
        raise file.fault(f"{key} names {twice!r:.40} twice", "each line once", key)
    return tuple(names)


def _positions(
    file: _File, strobes: Sequence[str], returns: Sequence[str]
) -> tuple[tuple[Position, ...], set[str]]:
    """The populated positions, and those of buttons in use."""
    diodes = file.data.get("diodes", True)
    if not isinstance(diodes, bool):
        raise file.fault(f"diodes is {diodes!r:.40}", "true or false", "diodes")
    listed = file.data.get("positions")
    if listed is None:
        return tuple(Position(s, r, "", diodes) for s in strobes for r in returns), set()
    if not isinstance(listed, list):
        raise file.fault("positions is no list", "[[positions]] tables", "positions")
    found: dict[Crossing, Position] = {}
    seen, used = set[Crossing](), set[str]()
    for number, entry in enumerate(listed, 1):
        position, populated, proven = _position(file, entry, number, diodes)
        if position.strobe not in strobes or position.ret not in returns:
            raise file.fault(f"position {number} is at {position.crossing}, of no such lines",
                             "a strobe and a return of this matrix", "positions", number)  # fmt: skip
        if position.crossing in seen:
            raise file.fault(
                f"position {position.crossing} is given twice", "each crossing once", "positions", number
            )
        seen.add(position.crossing)
        if populated:
            found[position.crossing] = position
            used |= {str(position.crossing)} if proven else set()
    return tuple(found.values()), used


def _position(file: _File, entry: object, number: int, diodes: bool) -> tuple[Position, bool, bool]:
    """(position, whether it is populated, whether it is proven)."""
    if isinstance(entry, str) and entry.count(":") == 1:
        entry = dict(zip(("strobe", "return"), entry.split(":"), strict=True))
    elif isinstance(entry, list) and len(entry) == 2:
        entry = {"strobe": entry[0], "return": entry[1]}
    if not isinstance(entry, dict) or any(key not in _POSITION_KEYS for key in entry):
        raise file.fault(f"position {number} cannot be read", f"keys among {', '.join(_POSITION_KEYS)}",
                         "positions", number)  # fmt: skip
    lines = [entry.get("strobe", entry.get("column")), entry.get("return", entry.get("row"))]
    if not all(isinstance(line, str | int) and not isinstance(line, bool) for line in lines):
        raise file.fault(
            f"position {number} lacks its strobe or return", "strobe and return", "positions", number
        )
    diode, flags = entry.get("diode", diodes), [entry.get("populated", True), entry.get("proven", False)]
    name = entry.get("name", "")
    if not (
        isinstance(diode, bool | str) and isinstance(name, str) and all(isinstance(f, bool) for f in flags)
    ):
        raise file.fault(f"position {number} has a flag or name of the wrong kind",
                         "name as text, diode, populated and proven true or false", "positions", number)  # fmt: skip
    refdes = diode if isinstance(diode, str) else ""
    has_diode = diode if isinstance(diode, bool) else (True if refdes else diodes)
    return Position(str(lines[0]), str(lines[1]), name, has_diode, refdes), flags[0], flags[1]


def _proven(
    file: _File, strobes: Sequence[str], returns: Sequence[str], dedicated: Sequence[str]
) -> dict[str, set[str]]:
    value = file.data.get("proven", [])
    found: dict[str, set[str]] = {"strobes": set(), "returns": set(), "dedicated": set(), "both": set()}
    kinds = {"strobes": strobes, "returns": returns, "dedicated": dedicated}
    if isinstance(value, dict):
        inner = _File(value, file.text, file.where)
        for key in value:
            names = _names(inner, key) if key in kinds else ()
            if key not in kinds or not set(names) <= set(kinds[key]):
                raise file.fault(f"proven has {key!r:.40} that are not in this matrix", "its own lines", key)
            found[key] |= set(names)
        return found
    for name in _names(file, "proven"):
        homes = [key for key, names in kinds.items() if name in names]
        if len(homes) > 1:
            raise file.fault(f"proven names {name!r:.40}, which is both a strobe and a return",
                             "[proven] with strobes = [...] and returns = [...]", "proven")  # fmt: skip
        if not homes and ":" not in name:
            raise file.fault(f"proven names {name!r:.40}", "a strobe, a return or STROBE:RETURN", "proven")
        found[homes[0] if homes else "both"].add(name)
    return found


def parse_observations(
    text: str, matrix: SwitchMatrix, where: str = "observations"
) -> tuple[Observation, ...]:
    """Rows ``closed,reported``, each a ";"-separated list of ``STROBE:RETURN``; either may be empty.

    The header row may be left out. Names of positions are read as well.

    Raises:
        InputError: If a row cannot be read; names its line.
    """
    found: list[Observation] = []
    for line, cells in _rows(text, where):
        if [c.lower() for c in cells[:2]] == ["closed", "reported"] and not found:
            continue
        if len(cells) < 2:
            raise InputError(
                f"{','.join(cells)!r:.80} is no observation", expected=_EXPECTED_ROW, where=where, line=line
            )
        closed, reported = (
            frozenset(matrix.crossing(part, where, line) for part in cell.split(";") if part.strip())
            for cell in cells[:2]
        )
        if bare := sorted(str(c) for c in closed if c not in matrix.at):
            raise InputError(f"{bare[0]} was closed but is not populated", expected="a populated position",
                             where=where, line=line)  # fmt: skip
        found.append(Observation(closed, reported))
    if len(found) > MOST_OBSERVATIONS:
        raise InputError(
            f"has {len(found)} observations", expected=f"at most {MOST_OBSERVATIONS}", where=where
        )
    return tuple(found)


def _rows(text: str, where: str) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline=""), strict=True)
    try:
        for row in reader:
            cells = [cell.strip() for cell in row]
            if "".join(row).strip() or len(row) > 1:
                yield reader.line_num, cells
    except csv.Error as error:
        raise InputError(
            f"broken CSV: {error}", expected=_EXPECTED_ROW, where=where, line=reader.line_num
        ) from None
