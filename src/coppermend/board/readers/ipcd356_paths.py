"""The free part of IPC-D-356A records: conductor paths (378), outlines (389), adjacency (379). No whole file.

From memory of IPC-D-356A (the standard's text could not be seen). Continuations are joined before they
come here. Errors carry the line number and leave the file's name to the caller.
"""

from __future__ import annotations

import re

from coppermend.board.readers.ipcd356_lines import Frame
from coppermend.board.readers.ipcd356_records import Adjacency, Conductor, Outline, Point
from coppermend.errors import InputError

OUTLINE_KINDS = ("BOARD_EDGE", "PANEL_EDGE", "SCORE_LINE", "OTHER_FAB")

_CONDUCTOR_HEAD = re.compile(r"378(.{14}) L([0-9 ]{2}) X([0-9]{1,5})(?:Y([0-9]{1,5}))? (.*)")
# X starts a point, with Y right behind it or as before; a lone Y keeps X; an asterisk lifts the pen.
_NUMBER = r"([-+]?[0-9]{1,7})(?![0-9])"
_STEP = re.compile(rf" *(?:X{_NUMBER}(?:Y{_NUMBER})?|Y{_NUMBER}|(\*))")


def read_conductors(line: str, number: int, frame: Frame) -> list[Conductor]:
    """The paths of one joined 378 record: net in columns 4-17, L and layer in 19-21, aperture from 23.

    Raises:
        InputError: If layer or aperture is missing, or the chain of coordinates is broken or empty.
    """
    match = _CONDUCTOR_HEAD.fullmatch(line)
    if match is None or not match[2].strip().isdigit():
        expected = "a net, L and 2 digits in columns 19-21, and an aperture such as X0100 from column 23"
        raise InputError(f"378 record {line[3:40].rstrip()!r} cannot be read", expected=expected, line=number)
    net = frame.net(match[1].strip())
    width_mm, height_mm = frame.mm(int(match[3])), frame.mm(int(match[4] or 0))
    paths = _read_chains(match[5], number, frame)
    return [Conductor(net, int(match[2]), width_mm, path, height_mm, number) for path in paths]


def read_outlines(line: str, number: int, frame: Frame) -> list[Outline]:
    """The paths of one joined 389 record: its kind in columns 4-17, coordinates from 18.

    Raises:
        InputError: If the kind is unknown, or the chain of coordinates is broken or empty.
    """
    kind = line[3:17].strip()
    if kind not in OUTLINE_KINDS:
        raise InputError(f"389 record {kind!r}", expected=" or ".join(OUTLINE_KINDS), line=number)
    return [Outline(kind, path, number) for path in _read_chains(line[17:], number, frame)]


def read_adjacency(line: str, number: int, frame: Frame) -> Adjacency:
    """One joined 379 record: a net and at least one other, with blanks between.

    Raises:
        InputError: If there are fewer than two names.
    """
    net, *others = [frame.net(name) for name in line[3:].split()] or [""]
    if not others:
        raise InputError("379 record names no neighbour", expected="two or more nets", line=number)
    return Adjacency(net, tuple(others), number)


def _read_chains(text: str, number: int, frame: Frame) -> list[tuple[Point, ...]]:
    """Paths of coordinates [mm]; X and Y carry over from point to point, also past an asterisk."""
    paths: list[list[Point]] = [[]]
    x: int | None = None
    y: int | None = None
    end = 0
    while end < len(text):
        step = _STEP.match(text, end)
        if step is None:
            found = f"{text[end : end + 20].strip()!r} in a chain of coordinates"
            raise InputError(found, expected="X and Y with up to 7 digits, or *", line=number)
        end = step.end()
        new_x, new_y, lone_y, lift = step.groups()
        x = x if new_x is None else int(new_x)
        y = y if (new_y or lone_y) is None else int(new_y or lone_y)
        if lift:
            paths.append([])
        else:
            paths[-1].append(_point(x, y, number, frame))
    if not any(paths):
        raise InputError("a chain without coordinates", expected="X and Y of at least one point", line=number)
    return [tuple(path) for path in paths if path]


def _point(x: int | None, y: int | None, number: int, frame: Frame) -> Point:
    """One point in mm, once both coordinates are known."""
    if x is None or y is None:
        raise InputError("a chain that starts with one coordinate", expected="X and Y", line=number)
    return frame.mm(x), frame.mm(y)
