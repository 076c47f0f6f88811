"""Gerber aperture macros (%AM): expressions and primitives turned into one shape. No other apertures.

Reference: Gerber Layer Format Specification 2024.05, section 4.5 (primitive 6 and code 2 from older editions).
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import shapely
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from coppermend.errors import InputError

MAX_STATEMENTS = 400
MAX_TOKENS = 500
MAX_VERTICES = 5_000
MAX_SIZE_MM = 2_000.0
MAX_NUMBER = 1e6
ARC_SEGMENTS = 16  # per quarter circle: 0.12 % of the radius at most

_TOKEN = re.compile(r"\s*(?:(\d+\.?\d*|\.\d+)|\$(\d{1,4})|([-+xX/()]))")
_STRENGTH = {"+": 1, "-": 1, "x": 2, "/": 2, "neg": 3}
Rpn = tuple[float | str, ...]


class _Assign(NamedTuple):
    variable: str
    value: Rpn


class _Draw(NamedTuple):
    code: int
    modifiers: tuple[Rpn, ...]


@dataclass(frozen=True)
class Macro:
    """A macro as defined: statements in order, each with its expressions in reverse Polish order."""

    name: str
    statements: tuple[_Assign | _Draw, ...]

    @property
    def cost(self) -> int:
        """How much work one use of the macro is, in expressions; readers cap the sum over a file."""
        return sum(1 if isinstance(s, _Assign) else len(s.modifiers) + 1 for s in self.statements)


def parse_expression(text: str) -> Rpn:
    """An arithmetic expression of a macro in reverse Polish order; variables stay as "$n".

    Raises:
        InputError: If it is no expression of numbers, $n, + - x / and parentheses, or has too many terms.

    >>> parse_expression("$1+2x$3")
    ('$1', 2.0, '$3', 'x', '+')
    """
    output: list[float | str] = []
    pending: list[str] = []
    at, end, operand_next = 0, len(text.rstrip()), True
    expected = "numbers, $n, + - x / and parentheses"
    while at < end:
        found = _TOKEN.match(text, at)
        if not found or len(output) + len(pending) > MAX_TOKENS:
            raise InputError(f"aperture macro expression {text[:60]!r}", expected=expected)
        at = found.end()
        number, variable, mark = found.groups()
        if mark is None:
            if not operand_next:
                raise InputError(f"aperture macro expression {text[:60]!r}", expected="an operator")
            output.append(float(number) if number else f"${int(variable)}")
            operand_next = False
        else:
            operand_next = _take_mark(mark.lower(), operand_next, output, pending, text)
    if operand_next:
        raise InputError(f"aperture macro expression {text[:60]!r} ends early", expected="a number or $n")
    while pending:
        if (mark := pending.pop()) == "(":
            raise InputError(f"aperture macro expression {text[:60]!r}", expected="a closing parenthesis")
        output.append(mark)
    return tuple(output)


def _take_mark(
    mark: str, operand_next: bool, output: list[float | str], pending: list[str], text: str
) -> bool:
    """Shunt one operator or parenthesis; True when an operand must follow."""
    if operand_next:
        if mark == "-":
            pending.append("neg")
        elif mark == "(":
            pending.append("(")
        elif mark != "+":
            raise InputError(f"aperture macro expression {text[:60]!r}", expected=f"a number before {mark!r}")
        return True
    if mark == "(":
        raise InputError(f"aperture macro expression {text[:60]!r}", expected="an operator before '('")
    if mark == ")":
        while pending and pending[-1] != "(":
            output.append(pending.pop())
        if not pending:
            raise InputError(f"aperture macro expression {text[:60]!r}", expected="an opening parenthesis")
        pending.pop()
        return False
    while pending and _STRENGTH.get(pending[-1], 0) >= _STRENGTH[mark]:
        output.append(pending.pop())
    pending.append(mark)
    return True


def evaluate(rpn: Rpn, variables: Mapping[str, float]) -> float:
    """The value of an expression; a variable never set is 0, as the specification has it.

    Raises:
        InputError: If it divides by zero.
    """
    stack: list[float] = []
    for item in rpn:
        if isinstance(item, float):
            stack.append(item)
        elif item.startswith("$"):
            stack.append(variables.get(item, 0.0))
        elif item == "neg":
            stack.append(-stack.pop())
        else:
            right, left = stack.pop(), stack.pop()
            if item == "/" and right == 0:
                raise InputError("aperture macro divides by zero")
            stack.append(_apply(item, left, right))
    return stack[0]


def _apply(operator: str, left: float, right: float) -> float:
    match operator:
        case "+":
            return left + right
        case "-":
            return left - right
        case "x":
            return left * right
    return left / right


def parse_macro(name: str, blocks: Sequence[str]) -> Macro:
    """Read the blocks between %AMname* and %.

    Raises:
        InputError: If a block is no comment, assignment or primitive, or there are too many.
    """
    if len(blocks) > MAX_STATEMENTS:
        raise InputError(
            f"aperture macro {name} has {len(blocks)} blocks", expected=f"{MAX_STATEMENTS} at most"
        )
    statements: list[_Assign | _Draw] = []
    for raw in blocks:
        block = raw.strip()
        if not block or block == "0" or block.startswith(("0 ", "0,", "0\t")):
            continue
        if found := re.fullmatch(r"\$(\d{1,4})\s*=(.*)", block, re.DOTALL):
            statements.append(_Assign(f"${int(found[1])}", parse_expression(found[2])))
            continue
        code, *modifiers = block.split(",")
        if code.strip() not in _PRIMITIVES:
            raise InputError(
                f"aperture macro {name} has block {block[:40]!r}",
                expected="primitive 1, 4, 5, 6, 7, 20 or 21",
            )
        if len(modifiers) > 2 * MAX_VERTICES:
            raise InputError(f"aperture macro {name} has an outline of too many points")
        statements.append(_Draw(int(code), tuple(parse_expression(m) for m in modifiers)))
    return Macro(name, tuple(statements))


def macro_shape(macro: Macro, arguments: Sequence[float], mm_per_unit: float) -> BaseGeometry:
    """The shape [mm] of one use of a macro, around the flash point.

    Raises:
        InputError: If a primitive has too few modifiers or impossible ones.
    """
    variables = {f"${n}": value for n, value in enumerate(arguments, 1)}
    shape: BaseGeometry = shapely.Polygon()
    dark: list[BaseGeometry] = []  # joined at once: a union after every primitive is slow
    for statement in macro.statements:
        if isinstance(statement, _Assign):
            variables[statement.variable] = evaluate(statement.value, variables)
            continue
        values = [evaluate(m, variables) for m in statement.modifiers]
        if not all(abs(v) <= MAX_NUMBER for v in values):  # not-a-number fails this too
            raise InputError(f"aperture macro {macro.name} has a number beyond {MAX_NUMBER:g}")
        try:
            exposed, drawn = _PRIMITIVES[str(statement.code)](values)
        except IndexError:
            raise InputError(
                f"aperture macro {macro.name}, primitive {statement.code}, has {len(values)} modifiers",
                expected="more",
            ) from None
        if exposed:
            dark.append(drawn)
        else:
            shape, dark = shapely.union_all([shape, *dark]).difference(drawn), []
    whole = affinity.scale(shapely.union_all([shape, *dark]), mm_per_unit, mm_per_unit, origin=(0, 0))
    if not whole.is_empty and max(map(abs, whole.bounds)) > MAX_SIZE_MM:
        raise InputError(f"aperture macro {macro.name} is too large", expected=f"{MAX_SIZE_MM:g} mm at most")
    return whole


def disc(x: float, y: float, diameter: float) -> BaseGeometry:
    """A disc around (x, y), in any unit; empty when the diameter is not positive."""
    return (
        shapely.Point(x, y).buffer(diameter / 2, quad_segs=ARC_SEGMENTS)
        if diameter > 0
        else shapely.Polygon()
    )


def regular_polygon(x: float, y: float, diameter: float, corners: int, rotation_deg: float) -> BaseGeometry:
    """A regular polygon with its first corner at ``rotation_deg`` from the x axis."""
    turn = math.radians(rotation_deg)
    angles = [turn + 2 * math.pi * k / corners for k in range(corners)]
    return shapely.Polygon([(x + diameter / 2 * math.cos(a), y + diameter / 2 * math.sin(a)) for a in angles])


def _optional(values: Sequence[float], at: int) -> float:
    return values[at] if len(values) > at else 0.0


def _turned(shape: BaseGeometry, rotation_deg: float) -> BaseGeometry:
    return affinity.rotate(shape, rotation_deg, origin=(0, 0)) if rotation_deg else shape


def _circle(v: Sequence[float]) -> tuple[bool, BaseGeometry]:
    return v[0] != 0, _turned(disc(v[2], v[3], v[1]), _optional(v, 4))


def _vector_line(v: Sequence[float]) -> tuple[bool, BaseGeometry]:
    line = shapely.LineString([(v[2], v[3]), (v[4], v[5])])
    return v[0] != 0, _turned(line.buffer(v[1] / 2, cap_style="flat"), _optional(v, 6))


def _centre_line(v: Sequence[float]) -> tuple[bool, BaseGeometry]:
    x, y, half_w, half_h = v[3], v[4], v[1] / 2, v[2] / 2
    return v[0] != 0, _turned(shapely.box(x - half_w, y - half_h, x + half_w, y + half_h), _optional(v, 5))


def _lower_left_line(v: Sequence[float]) -> tuple[bool, BaseGeometry]:
    return v[0] != 0, _turned(shapely.box(v[3], v[4], v[3] + v[1], v[4] + v[2]), _optional(v, 5))


def _outline(v: Sequence[float]) -> tuple[bool, BaseGeometry]:
    count = int(v[1])
    if not 3 <= count <= MAX_VERTICES or len(v) < 2 * count + 4:
        raise InputError(
            f"macro outline of {count} points with {len(v)} modifiers", expected="3 points or more"
        )
    corners = [(v[2 + 2 * k], v[3 + 2 * k]) for k in range(count)]
    return v[0] != 0, _turned(shapely.Polygon(corners).buffer(0), _optional(v, 2 * count + 4))


def _polygon(v: Sequence[float]) -> tuple[bool, BaseGeometry]:
    corners = int(v[1])
    if not 3 <= corners <= 64:
        raise InputError(f"macro polygon with {corners} corners", expected="3 to 12")
    return v[0] != 0, _turned(regular_polygon(v[2], v[3], v[4], corners, 0), _optional(v, 5))


def _moire(v: Sequence[float]) -> tuple[bool, BaseGeometry]:
    x, y, outer, thick, gap, rings, cross, length, turn = v[:9]
    shape: BaseGeometry = shapely.Polygon()
    for k in range(min(int(rings), 100)):
        diameter = outer - 2 * k * (thick + gap)
        shape = shape.union(disc(x, y, diameter).difference(disc(x, y, diameter - 2 * thick)))
    for w, h in ((length, cross), (cross, length)):
        shape = shape.union(shapely.box(x - w / 2, y - h / 2, x + w / 2, y + h / 2))
    return True, _turned(shape, turn)


def _thermal(v: Sequence[float]) -> tuple[bool, BaseGeometry]:
    x, y, outer, inner, gap = v[:5]
    ring = disc(x, y, outer).difference(disc(x, y, inner))
    for w, h in ((2 * outer, gap), (gap, 2 * outer)):
        ring = ring.difference(shapely.box(x - w / 2, y - h / 2, x + w / 2, y + h / 2))
    return True, _turned(ring, v[5])


_PRIMITIVES: Mapping[str, Callable[[Sequence[float]], tuple[bool, BaseGeometry]]] = {
    "1": _circle, "2": _vector_line, "20": _vector_line, "21": _centre_line, "22": _lower_left_line,
    "4": _outline, "5": _polygon, "6": _moire, "7": _thermal,
}  # fmt: skip
