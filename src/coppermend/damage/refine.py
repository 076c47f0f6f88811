"""Improving a photo's view of the board without the user: pads, tracks and edges of the drawing are found in it.

Patches of the drawing are compared with the straightened photo. What stands
out is compared, not brightness: light is uneven, and under mask a track may be lighter or darker than the board. A patch of parallel tracks tells little along them, so
every match carries the structure tensor of its patch as its information.
Reference: J. Shi, C. Tomasi, Good features to track, CVPR 1994 (structure tensor); normalised correlation as in OpenCV.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import cv2
import numpy as np
from numpy.typing import NDArray

from coppermend.board.model import Board, Layer
from coppermend.damage.camera import View, fit_view
from coppermend.damage.layers import Canvas, DrawnLayers, draw_layers
from coppermend.damage.rectify import rectify

# px/mm, search radius mm, residual scale mm. Under half the pitch of pins at first, then under that of tracks.
_ROUNDS = ((5.0, 1.2, 0.4), (8.0, 0.6, 0.15), (10.0, 0.4, 0.1))
_MIN_SCORE = 0.24  # of normalised correlation; chance stays below it, see ``coverage``
_MIN_PAD_SCORE = 0.3  # pins beside a body look like pads, but lean outwards
_MIN_MATCHES = 8
_PAD_CELL_MM = 4.0
_CLICK_MM = 0.25  # how precise a careful click is
_BOTH_WAYS = 0.7
_Clicks = tuple[NDArray[np.float64], NDArray[np.float64]]
_MIN_RELIEF = 0.08  # standard deviation; a patch without copper shows nothing to find
_FINE_MM, _COARSE_MM = 0.15, 0.7  # relief: wider than a photo's blur, narrower than most parts
_PAD, _BOARD, _HOLE = 220.0, 80.0, 30.0  # brightness in the drawing, roughly as photos show it


@dataclass(frozen=True)
class Refined:
    """The better view, and what it rests on.

    Attributes:
        view: The view after refinement; the start when too little of the drawing was found.
        matches: How many patches agree with it.
        agreement: Share of the patches that could be seen and were found where they should be, 0..1.
        residual_mm: Root mean square distance of the agreeing matches across their edges [mm]; nan without any.
    """

    view: View
    matches: int
    agreement: float
    residual_mm: float


@dataclass(frozen=True)
class _Patches:
    """Where patches are [mm] and how large."""

    centres_mm: NDArray[np.float64]
    size_mm: float


@dataclass(frozen=True)
class _Look:
    """How copper under mask looks: lighter or darker than bare board, with or without the copper areas."""

    contrast: float
    areas: bool


_PADS_ONLY = _Look(0, False)
_LOOKS = (_Look(35, False), _Look(-35, False), _Look(35, True), _Look(-35, True))


@dataclass(frozen=True)
class _Matches:
    board_mm: NDArray[np.float64]
    shift_mm: NDArray[np.float64]
    information: NDArray[np.float64]
    score: NDArray[np.float64]
    bias: NDArray[np.float64]

    def joined(self, other: _Matches) -> _Matches:
        return _Matches(*(np.concatenate([getattr(m, f.name) for m in (self, other)]) for f in fields(self)))


_NOTHING = _Matches(np.zeros((0, 2)), np.zeros((0, 2)), np.zeros((0, 2, 2)), np.zeros(0), np.zeros(0))


def refine_view(
    photo: NDArray[np.uint8], board: Board, start: View, side: Layer = "top", clicks: _Clicks | None = None
) -> Refined:
    """Fit ``start`` to the pads, tracks and edges that the photo shows.

    Args:
        photo: (rows, columns, 3) uint8 RGB.
        board: The drawing.
        start: A view that is right to about 2 mm.
        side: Which side the photo shows.
        clicks: (n, 2) board points [mm] and (n, 2) photo pixels that a user clicked; they count a little.
    """
    view = start
    looks: tuple[tuple[_Look, float], ...] = ()
    on_pads, on_tracks = _Patches(_pad_centres(board, side), 10.0), _Patches(_grid(board, 7.0), 13.0)
    matches = _NOTHING
    finest = float(start.px_per_mm(np.array([[board.width_mm / 2, board.height_mm / 2]]))[0])
    for px_per_mm, reach_mm, scale_mm in _ROUNDS:
        canvas = Canvas(board.width_mm, board.height_mm, min(px_per_mm, max(4.0, 1.5 * finest)))
        layers = draw_layers(board, canvas.px_per_mm, side)
        seen = _relief(_luminance(rectify(photo, view, canvas)), canvas.px_per_mm)
        looks = looks or _best_looks(seen, layers, canvas, reach_mm, on_tracks)
        matches = _match(seen, _drawn_relief(layers, _PADS_ONLY, canvas.px_per_mm), canvas, reach_mm, on_pads)
        for look, bias in looks:
            drawn = _drawn_relief(layers, look, canvas.px_per_mm, with_pads=len(looks) == 1)
            matches = matches.joined(_match(seen, drawn, canvas, reach_mm, on_tracks, bias=bias))
        good = matches.score >= np.where(matches.bias == 0, _MIN_PAD_SCORE, _MIN_SCORE)
        if np.count_nonzero(good) < _MIN_MATCHES:
            return Refined(start, 0, 0.0, float("nan"))
        view = _fitted(view, matches, good, scale_mm, clicks)
    return _judged(view, matches)


def _pad_centres(board: Board, side: Layer) -> NDArray[np.float64]:
    """(n, 2) places of pads on a side [mm], thinned out so that each stands for those around it."""
    chosen: list[tuple[float, float]] = []
    taken: set[tuple[int, int]] = set()
    for pad in board.pads:
        cell = (round(pad.x_mm / _PAD_CELL_MM), round(pad.y_mm / _PAD_CELL_MM))
        if pad.side in (side, "both") and cell not in taken:
            taken.add(cell)
            chosen.append((pad.x_mm, pad.y_mm))
    return np.array(chosen, dtype=float).reshape(-1, 2)


def _grid(board: Board, step_mm: float) -> NDArray[np.float64]:
    """(n, 2) places all over the board [mm]."""
    x = np.arange(step_mm / 2, board.width_mm, step_mm)
    y = np.arange(step_mm / 2, board.height_mm, step_mm)
    return np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)


def _pixels_of(centres_mm: NDArray[np.float64], canvas: Canvas) -> list[tuple[int, int]]:
    """Columns and rows of places."""
    column = np.floor(centres_mm[:, 0] * canvas.px_per_mm).astype(int)
    row = np.floor((canvas.height_mm - centres_mm[:, 1]) * canvas.px_per_mm).astype(int)
    return list(zip(column.tolist(), row.tolist(), strict=True))


def _best_looks(
    seen: NDArray[np.float32], layers: DrawnLayers, canvas: Canvas, reach_mm: float, patches: _Patches
) -> tuple[tuple[_Look, float], ...]:
    """The guess under which the drawing is found best; with its opposite when both are found about as well.

    Light from one side makes one edge of a track bright and the other dark: it is then found twice, once to
    each side of its middle, and both together tell where it is.

    Returns:
        Each look with how far it is off its tracks, in units of a shift that is to be fitted.
    """
    some = _Patches(patches.centres_mm[::3], patches.size_mm)

    def found(look: _Look) -> float:
        matches = _match(seen, _drawn_relief(layers, look, canvas.px_per_mm, False), canvas, reach_mm, some)
        return float(np.sum(np.clip(matches.score - _MIN_SCORE, 0, None) ** 2))

    worth = {look: found(look) for look in _LOOKS}
    best = max(_LOOKS, key=lambda look: worth[look])
    opposite = _Look(-best.contrast, best.areas)
    if worth[opposite] > _BOTH_WAYS * worth[best]:
        return (best, 1.0), (opposite, -1.0)
    return ((best, 1.0),)


def _fitted(
    view: View, matches: _Matches, good: NDArray[np.bool_], scale_mm: float, clicks: _Clicks | None
) -> View:
    at, shift, bias = matches.board_mm[good], matches.shift_mm[good], matches.bias[good]
    information = matches.information[good] * ((matches.score[good] - 0.15) ** 2)[:, None, None] * 4
    # Matching gives where the drawing is now thought to be seen, too far by ``shift``.
    pixels = view.pixels(at + shift)
    if clicks is not None:
        by_hand = np.broadcast_to(np.eye(2) * (scale_mm / _CLICK_MM) ** 2, (len(clicks[0]), 2, 2))
        at, pixels = np.concatenate([at, clicks[0]]), np.concatenate([pixels, clicks[1]])
        information = np.concatenate([information, by_hand])
        bias = np.concatenate([bias, np.zeros(len(clicks[0]))])
    return fit_view(view, at, pixels, information=information, scale_mm=scale_mm, bias=bias)


def _judged(view: View, matches: _Matches) -> Refined:
    seen = matches.score > -1
    across = np.sqrt(
        np.einsum("ni,nij,nj->n", matches.shift_mm, matches.information, matches.shift_mm)
        / np.maximum(np.trace(matches.information, axis1=1, axis2=2), 1e-9)
    )
    agree = (matches.score >= _MIN_SCORE) & (across < 0.2)
    residual = float(np.sqrt(np.mean(across[agree] ** 2))) if agree.any() else float("nan")
    return Refined(view, int(agree.sum()), float(agree.sum() / max(1, seen.sum())), residual)


def _match(
    seen: NDArray[np.float32],
    drawn: NDArray[np.float32],
    canvas: Canvas,
    reach_mm: float,
    patches: _Patches,
    *,
    bias: float = 0.0,
) -> _Matches:
    """Find every patch of the drawing's relief near its place in the straightened photo's."""
    gx, gy = cv2.Sobel(drawn, cv2.CV_32F, 1, 0), cv2.Sobel(drawn, cv2.CV_32F, 0, 1)
    half, reach = round(patches.size_mm / 2 * canvas.px_per_mm), round(reach_mm * canvas.px_per_mm)
    rows, columns = canvas.shape
    around = cv2.copyMakeBorder(seen, reach, reach, reach, reach, cv2.BORDER_REFLECT)
    found: list[tuple[float, ...]] = []
    information: list[NDArray[np.float64]] = []
    for column, row in _pixels_of(patches.centres_mm, canvas):
        top, left = max(0, row - half), max(0, column - half)
        bottom, right = min(rows, row + half + 1), min(columns, column + half + 1)
        patch = drawn[top:bottom, left:right]
        if min(patch.shape) < half or patch.std() < _MIN_RELIEF:
            continue
        window = around[top : bottom + 2 * reach, left : right + 2 * reach]
        score, dx, dy = _best(
            np.asarray(cv2.matchTemplate(window, patch, cv2.TM_CCOEFF_NORMED), np.float32), reach
        )
        sub_x, sub_y = gx[top:bottom, left:right], gy[top:bottom, left:right]
        xx, xy, yy = float(np.mean(sub_x**2)), -float(np.mean(sub_x * sub_y)), float(np.mean(sub_y**2))
        x, y = (left + right) / 2 / canvas.px_per_mm, canvas.height_mm - (top + bottom) / 2 / canvas.px_per_mm
        found.append((x, y, dx / canvas.px_per_mm, -dy / canvas.px_per_mm, score))
        information.append(np.array([[xx, xy], [xy, yy]]) * (2 / max(xx + yy, 1e-9)))
    table = np.array(found, dtype=float).reshape(-1, 5)
    return _Matches(
        table[:, :2],
        table[:, 2:4],
        np.array(information, dtype=float).reshape(-1, 2, 2),
        table[:, 4],
        np.full(len(table), bias),
    )


def _best(scores: NDArray[np.float32], reach: int) -> tuple[float, float, float]:
    """Best score and its offset (dx, dy) [px], to a fraction of a pixel by parabolas; -1 at the window's rim."""
    row, column = np.unravel_index(int(np.argmax(scores)), scores.shape)
    if not (0 < row < scores.shape[0] - 1 and 0 < column < scores.shape[1] - 1):
        return -0.5, 0.0, 0.0
    here = float(scores[row, column])
    dx = _peak(float(scores[row, column - 1]), here, float(scores[row, column + 1]))
    dy = _peak(float(scores[row - 1, column]), here, float(scores[row + 1, column]))
    return here, column - reach + dx, row - reach + dy


def _peak(before: float, here: float, after: float) -> float:
    """Vertex of the parabola through three neighbours, within half a step."""
    bend = before - 2 * here + after
    return 0.0 if bend >= 0 else float(np.clip((before - after) / (2 * bend), -0.5, 0.5))


def _luminance(image: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Logarithm of the brightness: a line in shadow counts as much as one in light."""
    grey = cv2.cvtColor(image, cv2.COLOR_RGB2GRAY)
    table = np.log(np.arange(256, dtype=np.float32) + 12.0)
    return np.asarray(table[grey], np.float32)


def _relief(image: NDArray[np.float32], px_per_mm: float) -> NDArray[np.float32]:
    """What stands out from its surroundings, lighter or darker, in units of what is usual, and bounded."""
    fine = cv2.GaussianBlur(image, (0, 0), _FINE_MM * px_per_mm)
    quarter = cv2.resize(fine, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    coarse = cv2.GaussianBlur(quarter, (0, 0), _COARSE_MM * px_per_mm / 4)
    relief = fine - cv2.resize(coarse, (image.shape[1], image.shape[0]), interpolation=cv2.INTER_LINEAR)
    usual = float(np.sqrt(np.mean(np.minimum(relief[::4, ::4] ** 2, 0.25)))) + 1e-6
    return np.asarray(np.tanh(relief / (1.5 * usual)), np.float32)


def _drawn_relief(
    layers: DrawnLayers, look: _Look, px_per_mm: float, with_pads: bool = True
) -> NDArray[np.float32]:
    """The drawing's relief under one guess of how its copper looks."""
    # Outside the outline the photo may show anything: the drawing claims no edge there.
    copper = np.maximum(layers.tracks, layers.areas) if look.areas else layers.tracks
    image = _BOARD + copper.astype(np.float32) * np.float32(look.contrast / 255)
    for cover, value in ((layers.pads, _PAD), (layers.holes, _HOLE)) if with_pads else ():
        share = cover.astype(np.float32) * np.float32(1 / 255)
        image += (value - image) * share
    return _relief(np.log(np.maximum(image, 0) + 40.0), px_per_mm)
