"""A plot as data and as SVG text: lines, level marks, axes with round steps. Knows no figure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

_WIDTH, _HEIGHT = 640.0, 330.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 62.0, 14.0, 16.0, 62.0
_MOST_POINTS = 700
_STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True, slots=True)
class Line:
    """One curve: a name and equally many x and y. ``style`` is "", "dashed" or "faint"."""

    name: str
    x: tuple[float, ...]
    y: tuple[float, ...]
    style: str = ""


@dataclass(frozen=True, slots=True)
class Plot:
    """Curves over common axes; ``levels`` are horizontal marks (name, y)."""

    title: str
    x_label: str
    y_label: str
    lines: tuple[Line, ...]
    levels: tuple[tuple[str, float], ...] = ()


def line_of(
    name: str, x: Sequence[float] | np.ndarray, y: Sequence[float] | np.ndarray, style: str = ""
) -> Line:
    """A curve from arrays, thinned to what a page can show: in each stretch its least and greatest are kept."""
    xs, ys = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if len(xs) > _MOST_POINTS:
        edges = np.linspace(0, len(xs), _MOST_POINTS // 2 + 1).astype(int)
        order = np.unique([0, len(xs) - 1, *_first_least(ys, edges), *_first_least(-ys, edges)])
        xs, ys = xs[order], ys[order]
    return Line(name, tuple(map(float, xs)), tuple(map(float, ys)), style)


def _first_least(values: np.ndarray, edges: np.ndarray) -> np.ndarray:
    """Where the least value of each stretch between two edges comes first."""
    stretch = np.repeat(np.arange(len(edges) - 1), np.diff(edges))
    found = np.flatnonzero(values == np.minimum.reduceat(values, edges[:-1])[stretch])
    return found[np.unique(stretch[found], return_index=True)[1]]


def round_steps(low: float, high: float, most: int = 7) -> tuple[float, ...]:
    """Round numbers that cover ``low`` to ``high``, at most ``most`` steps.

    >>> round_steps(0.0, 4.7)
    (0.0, 1.0, 2.0, 3.0, 4.0, 5.0)
    """
    if not high > low:
        high = low + (abs(low) or 1.0)
    raw = (high - low) / most
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(power * s for s in _STEPS if power * s >= raw * (1 - 1e-9))
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return tuple(round(step * n, 12) for n in range(first, last + 1))


def plot_svg(plot: Plot) -> str:
    """The plot as an SVG element with classes ``plot``, ``axis``, ``curve``, ``level``; colours come from the page.

    Returns:
        One ``<svg>`` with a title for those who cannot see it; curves are told apart by dash, not by colour alone.
    """
    points = [(x, y) for line in plot.lines for x, y in zip(line.x, line.y, strict=True)]
    xs = round_steps(min(x for x, _ in points), max(x for x, _ in points))
    heights = [y for _, y in points] + [y for _, y in plot.levels]
    ys = round_steps(min(0.0, *heights), max(heights))
    frame = _Frame(xs[0], xs[-1], ys[0], ys[-1])
    parts = [
        f'<svg class="plot" viewBox="0 0 {_WIDTH:g} {_HEIGHT:g}" role="img" xmlns="http://www.w3.org/2000/svg">',
        f"<title>{escape(plot.title)}</title>",
        *_axes(plot, frame, xs, ys),
        *_levels(plot, frame),
        *(_curve(frame, line, number) for number, line in enumerate(plot.lines)),
        *_legend(plot),
        "</svg>",
    ]
    return "\n".join(parts)


@dataclass(frozen=True, slots=True)
class _Frame:
    x0: float
    x1: float
    y0: float
    y1: float

    def x(self, value: float) -> float:
        return _LEFT + (value - self.x0) / (self.x1 - self.x0) * (_WIDTH - _LEFT - _RIGHT)

    def y(self, value: float) -> float:
        return _HEIGHT - _BOTTOM - (value - self.y0) / (self.y1 - self.y0) * (_HEIGHT - _TOP - _BOTTOM)


def _axes(plot: Plot, frame: _Frame, xs: Sequence[float], ys: Sequence[float]) -> list[str]:
    bottom, right = _HEIGHT - _BOTTOM, _WIDTH - _RIGHT
    grid = [f"M{frame.x(x):.1f} {_TOP:g}V{bottom:g}" for x in xs]
    grid += [f"M{_LEFT:g} {frame.y(y):.1f}H{right:g}" for y in ys]
    return [
        f'<path class="axis" d="{"".join(grid)}"/>',
        *(_text(frame.x(x), bottom + 15, f"{x:g}", "middle") for x in xs),
        *(_text(_LEFT - 6, frame.y(y) + 4, f"{y:g}", "end") for y in ys),
        _text((_LEFT + right) / 2, bottom + 32, plot.x_label, "middle"),
        f'<text transform="translate(14 {(_TOP + bottom) / 2:g}) rotate(-90)" text-anchor="middle">'
        f"{escape(plot.y_label)}</text>",
    ]


def _levels(plot: Plot, frame: _Frame) -> list[str]:
    found = []
    for number, (name, y) in enumerate(sorted(plot.levels, key=lambda level: level[1])):
        at = frame.y(y)
        found.append(f'<path class="level" d="M{_LEFT:g} {at:.1f}H{_WIDTH - _RIGHT:g}"/>')
        # Below the lower of two levels and above the upper, so that near ones can be read.
        below = len(plot.levels) > 1 and number == 0
        found.append(_text(_WIDTH - _RIGHT - 4, at + 13 if below else at - 4, name, "end"))
    return found


def _curve(frame: _Frame, line: Line, number: int) -> str:
    path = "L".join(f"{frame.x(x):.1f} {frame.y(y):.1f}" for x, y in zip(line.x, line.y, strict=True))
    return f'<path class="curve curve-{number + 1} {line.style}" d="M{path}"/>'


def _legend(plot: Plot) -> list[str]:
    width = (_WIDTH - _LEFT) / max(len(plot.lines), 1)
    found = []
    for number, line in enumerate(plot.lines):
        x = _LEFT + number * width
        found.append(
            f'<path class="curve curve-{number + 1} {line.style}" d="M{x:.1f} {_HEIGHT - 10:g}h26"/>'
        )
        found.append(_text(x + 32, _HEIGHT - 6, line.name, "start"))
    return found


def _text(x: float, y: float, words: str, anchor: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(words)}</text>'
