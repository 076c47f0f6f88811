"""Reference points that the user clicked: read, and checked for what no photo of the board can show."""

from __future__ import annotations

import json
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coppermend.board.model import Board, Layer
from coppermend.errors import InputError

MIN_POINTS = 4
_MAX_POINTS = 200
_OFF_BOARD_MM = 5.0
_FLAT_TRIANGLE = (
    0.01  # area, as a share of the square of the points' spread: flatter ones count as three in line
)
_EXPECTED = 'a JSON list of {"name", "board_mm": [x, y], "pixel": [u, v]}'


@dataclass(frozen=True)
class ReferenceClick:
    """One point: where it is on the board [mm], and where the user saw it in the upright photo [px]."""

    name: str
    board_mm: tuple[float, float]
    pixel: tuple[float, float]


def parse_points(text: str, where: str) -> tuple[ReferenceClick, ...]:
    """Read ``[{"name", "board_mm": [x, y], "pixel": [u, v]}]``; an object with such a list as ``points`` will do.

    Raises:
        InputError: If it is no such list, or a number is missing or not finite.
    """
    try:
        document = json.loads(text)
    except json.JSONDecodeError as error:
        raise InputError(
            f"broken JSON: {error.msg}", expected=_EXPECTED, where=where, line=error.lineno
        ) from None
    except (ValueError, RecursionError):
        raise InputError("JSON that no list of points needs", expected=_EXPECTED, where=where) from None
    rows = document.get("points") if isinstance(document, dict) else document
    if not isinstance(rows, list) or len(rows) > _MAX_POINTS:
        raise InputError("no list of points", expected=_EXPECTED, where=where)
    return tuple(_click(row, number, where) for number, row in enumerate(rows, start=1))


def _click(row: Any, number: int, where: str) -> ReferenceClick:
    if not isinstance(row, dict):
        raise InputError(f"point {number} is no object", expected=_EXPECTED, where=where)
    name = str(row.get("name") or f"point {number}")[:80]
    return ReferenceClick(
        name,
        _pair(row.get("board_mm"), f"board_mm of {name}", where),
        _pair(row.get("pixel"), f"pixel of {name}", where),
    )


def _pair(value: Any, what: str, where: str) -> tuple[float, float]:
    if (
        not isinstance(value, list)
        or len(value) != 2
        or any(isinstance(v, bool) or not isinstance(v, int | float) or not abs(v) < 1e6 for v in value)
    ):
        raise InputError(f"{what} is {json.dumps(value)[:60]}", expected="two finite numbers", where=where)
    return float(value[0]), float(value[1])


def check_points(
    clicks: tuple[ReferenceClick, ...], board: Board, size_px: tuple[int, int], side: Layer, where: str
) -> None:
    """Refuse points that determine no view of this board.

    Raises:
        InputError: If there are fewer than four; one lies off the board or the photo; two coincide; all (or all
            but one) lie in line; they show the board mirrored; or two were exchanged.
    """
    if len(clicks) < MIN_POINTS:
        raise InputError(
            f"{len(clicks)} points are too few", expected="at least four, far apart", where=where
        )
    for click in clicks:
        (x, y), (u, v) = click.board_mm, click.pixel
        if not (
            -_OFF_BOARD_MM <= x <= board.width_mm + _OFF_BOARD_MM
            and -_OFF_BOARD_MM <= y <= board.height_mm + _OFF_BOARD_MM
        ):
            raise InputError(
                f"{click.name} at {x:g}, {y:g} mm lies off the board", expected=f"0 to {board.width_mm:g} and 0 to {board.height_mm:g}",
                where=where,
            )  # fmt: skip
        if not (-1 <= u <= size_px[0] and -1 <= v <= size_px[1]):
            raise InputError(
                f"{click.name} at pixel {u:g}, {v:g} lies off the photo ({size_px[0]} x {size_px[1]} px)",
                where=where,
            )
    board_mm, pixel = (np.array([getattr(c, key) for c in clicks]) for key in ("board_mm", "pixel"))
    pixel = pixel * [1, -1]
    for places, what in ((board_mm, "on the board"), (pixel, "in the photo")):
        _check_spread(places, clicks, what, where)
    _check_turns(board_mm, pixel, clicks, side, where)


def _areas(places: NDArray[np.float64]) -> NDArray[np.float64]:
    """Signed area of every triangle, as a share of the square of the points' spread."""
    triangles = np.array(list(combinations(range(len(places)), 3)))
    a, b, c = (places[triangles[:, i]] for i in range(3))
    spread = float(np.ptp(places, axis=0).max()) or 1.0
    return np.asarray(((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]) / 2 / spread**2)


def _check_spread(
    places: NDArray[np.float64], clicks: tuple[ReferenceClick, ...], what: str, where: str
) -> None:
    spread = float(np.ptp(places, axis=0).max())
    for i, j in combinations(range(len(places)), 2):
        if np.hypot(*(places[i] - places[j])) <= 0.005 * spread:
            raise InputError(f"{clicks[i].name} and {clicks[j].name} are the same place {what}", where=where)
    # A view is determined when some four points have no three in line.
    best = max((np.abs(_areas(places[list(four)])).min() for four in _fours(places)), default=0.0)
    if best < _FLAT_TRIANGLE:
        raise InputError(
            f"the points lie in line {what}",
            expected="four points of which no three are in line, far apart",
            where=where,
        )


def _fours(places: NDArray[np.float64]) -> list[tuple[int, ...]]:
    """Every four of the points that span the most: their corners in eight directions."""
    turns = np.linspace(0, 2 * np.pi, 8, endpoint=False)
    corners = {int(np.argmax(places @ [np.cos(t), np.sin(t)])) for t in turns}
    chosen = sorted(corners | set(range(min(len(places), 6))))
    return list(combinations(chosen, 4))


def _check_turns(
    board_mm: NDArray[np.float64],
    pixel: NDArray[np.float64],
    clicks: tuple[ReferenceClick, ...],
    side: Layer,
    where: str,
) -> None:
    """Every triangle of points must turn the same way on the board and in the photo (the other way from below)."""
    on_board, in_photo = _areas(board_mm), _areas(pixel)
    clear = (np.abs(on_board) > _FLAT_TRIANGLE / 4) & (np.abs(in_photo) > _FLAT_TRIANGLE / 8)
    turned = np.sign(on_board) != np.sign(in_photo) * (1 if side == "top" else -1)
    if not (turned & clear).any():
        return
    if (turned | ~clear).all():
        other = "bottom" if side == "top" else "top"
        raise InputError(
            f"the points show the board mirrored: a photo of the {other}, or left and right exchanged", expected=f"a photo of the {side}",
            where=where,
        )  # fmt: skip
    triangles = np.array(list(combinations(range(len(clicks)), 3)))[turned & clear]
    worst = int(np.bincount(triangles.ravel(), minlength=len(clicks)).argmax())
    raise InputError(
        f"{clicks[worst].name} is on the wrong side of the others: exchanged or misplaced?", where=where
    )
