"""Improving a photo's view of the board without the user: the drawing's pads and tracks are found in it.

Windows of the drawing are correlated with the straightened photo. What stands out is compared, not brightness: light
is uneven, and under mask a track may be lighter or darker than the board. Light from one side makes one edge of a
track bright and the other dark, as in a relief: that look is tried too, and since correlation is linear it costs
nothing more. Such light also shifts the look of all copper a little to one side: mounting holes, dark discs with a
sharp edge, are free of that and count most. A window of parallel tracks tells little along them, so every match
carries the structure tensor of its window as its information. Where copper hardly shows, one window finds it seldom, but
many neighbours agree on a shift that none of them shows alone: that gives the first round a better start.
Reference: J. Shi, C. Tomasi, Good features to track, CVPR 1994 (structure tensor).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from coppermend.board.model import Board, Layer
from coppermend.damage.camera import View, fit_view
from coppermend.damage.layers import Canvas, DrawnLayers, draw_layers
from coppermend.damage.matches import (
    MIN_HOLE_SCORE,
    MIN_RELIEF,
    MIN_SCORE,
    Matches,
    found_alone,
    found_together,
    hole_matches,
)
from coppermend.damage.rectify import rectify
from coppermend.damage.windows import (
    Look,
    Pattern,
    Plane,
    Surfaces,
    correlated,
    high_pass,
    luminance,
    pattern_of,
    relief_of,
    scores_under,
    shrunk,
)

_PX_PER_MM = (4.0, 8.0)
# Which of the two scales, search radius mm, residual scale mm: under half the pitch of pins at first, then less.
_ROUNDS = ((0, 1.25, 0.4), (1, 0.5, 0.15), (1, 0.375, 0.1))
_MIN_MATCHES = 8
_CLICK_MM = 0.25  # how precise a careful click is


@dataclass(frozen=True)
class Refined:
    """The better view, and what it rests on.

    Attributes:
        view: The view after refinement; the start when too little of the drawing was found.
        matches: How many windows agree with it.
        agreement: Share of the windows that could be seen and were found where they should be, 0..1.
        residual_mm: Root mean square distance of the agreeing matches across their edges [mm]; nan without any.
        looked_at: In how many windows the drawing has copper to look for.
    """

    view: View
    matches: int
    agreement: float
    residual_mm: float
    looked_at: int


_TURNS = np.arange(8) * np.pi / 4
_LEANS = [(float(np.cos(a)), float(np.sin(a))) for a in _TURNS]
_TRACK_LOOKS = (Look(1.0), Look(-1.0), *(Look(0.0, lean) for lean in _LEANS))
_PAD_LOOK = Look(1.0)


def refine_view(
    photo: NDArray[np.uint8],
    board: Board,
    start: View,
    side: Layer = "top",
    clicks: tuple[NDArray[np.float64], NDArray[np.float64]] | None = None,
) -> Refined:
    """Fit ``start`` to the pads and tracks that the photo shows.

    Args:
        photo: (rows, columns, 3) uint8 RGB.
        board: The drawing.
        start: A view that is right to about 1 mm.
        side: Which side the photo shows.
        clicks: (n, 2) board points [mm] and (n, 2) photo pixels that a user clicked; they count a little.
    """
    grey, factor = _smaller(np.asarray(cv2.cvtColor(photo, cv2.COLOR_RGB2GRAY), np.uint8), board, start)
    view = start.scaled(factor)
    by_hand = None if clicks is None else (clicks[0], (clicks[1] + 0.5) * factor - 0.5)
    canvases = [_canvas(board, scale) for scale in _PX_PER_MM]
    drawn = _drawn(board, side, canvases)
    looks: dict[str, Look] = {}
    patterns: dict[int, dict[str, Pattern]] = {}  # of a scale, of the kinds that are looked for
    for level, reach_mm, scale_mm in _ROUNDS:
        canvas = canvases[level]
        light = luminance(rectify(grey, view, canvas))
        seen = relief_of(light, canvas.px_per_mm)
        if level not in patterns:  # the first round at a scale looks furthest
            kinds = looks or drawn
            patterns[level] = {k: pattern_of(drawn[k][level], canvas, reach_mm) for k in kinds}
        surfaces = correlated(seen, patterns[level], reach_mm)
        looks = looks or _best_looks(surfaces)
        matches = hole_matches(light, board, canvas, reach_mm)
        for kind, look in looks.items():
            matches = matches.joined(found_alone(surfaces[kind], look, canvas))
        good = matches.score >= np.where(matches.bias == 0, MIN_HOLE_SCORE, MIN_SCORE)
        if np.count_nonzero(good) < _MIN_MATCHES:
            return Refined(start, 0, 0.0, float("nan"), len(matches.score))
        if level == 0:  # later, what is common to a wide place is less exact than its windows
            for kind, look in looks.items():
                matches = matches.joined(found_together(surfaces[kind], look, canvas))
            good = np.append(good, matches.score[len(good) :] >= MIN_SCORE)
        view = _fitted(view, matches, good, scale_mm, by_hand)
    return _judged(view.scaled(1 / factor), matches)


def _smaller(grey: NDArray[np.uint8], board: Board, view: View) -> tuple[NDArray[np.uint8], float]:
    """The photo at not much more than the finest scale that is looked at, and by what factor it shrank."""
    middle = np.array([[board.width_mm / 2, board.height_mm / 2]])
    ratio = 1.3 * _PX_PER_MM[-1] / float(view.px_per_mm(middle)[0])
    if ratio > 0.85:
        return grey, 1.0
    width = round(grey.shape[1] * ratio)
    factor = width / grey.shape[1]
    size = (width, round(grey.shape[0] * factor))
    return np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), np.uint8), factor


def _canvas(board: Board, px_per_mm: float) -> Canvas:
    """A canvas at a scale, of twice as many rows and columns at twice the scale."""
    rows, columns = Canvas(board.width_mm, board.height_mm, _PX_PER_MM[0]).shape
    times = round(px_per_mm / _PX_PER_MM[0])
    return Canvas(board.width_mm, board.height_mm, px_per_mm, (times * rows, times * columns))


def _drawn(board: Board, side: Layer, canvases: Sequence[Canvas]) -> dict[str, list[Plane]]:
    """What is looked for, at every scale: pads, tracks, and tracks with copper areas."""
    layers = draw_layers(board, _PX_PER_MM[-1], side, canvases[-1].shape)
    kinds = {"pads": _pad_image(layers), "tracks": layers.tracks}
    if layers.areas.any():
        kinds["areas"] = np.maximum(layers.tracks, layers.areas)
    return {
        kind: [high_pass(np.asarray(shrunk(image, c.shape) / 255, np.float32), c.px_per_mm) for c in canvases]
        for kind, image in kinds.items()
        if image.any()
    }


def _pad_image(layers: DrawnLayers) -> NDArray[np.uint8]:
    """Pads bright, their holes dark."""
    return np.asarray(np.maximum(layers.pads, layers.vias) * (layers.holes < 128), np.uint8)


def _best_looks(surfaces: dict[str, Surfaces]) -> dict[str, Look]:
    """For pads, and for tracks with or without copper areas, the look under which the drawing is found best."""

    def worth(kind: str, look: Look) -> float:
        scores, _ = scores_under(surfaces[kind], look)
        best = scores[1:-1, 1:-1].reshape(-1, scores.shape[2]).max(axis=0)
        best = best[surfaces[kind].moments[:, 0, 0] >= MIN_RELIEF**2]
        return float(np.sum(np.clip(best - MIN_SCORE, 0, None) ** 2))

    tracks = [(kind, look) for kind in ("tracks", "areas") if kind in surfaces for look in _TRACK_LOOKS]
    looks = {"pads": _PAD_LOOK} if "pads" in surfaces else {}
    if tracks:
        kind, look = max(tracks, key=lambda choice: worth(*choice))
        looks[kind] = look
    return looks


def _fitted(
    view: View,
    matches: Matches,
    good: NDArray[np.bool_],
    scale_mm: float,
    clicks: tuple[NDArray[np.float64], NDArray[np.float64]] | None,
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


def _judged(view: View, matches: Matches) -> Refined:
    seen = matches.score > -1
    across = np.sqrt(
        np.einsum("ni,nij,nj->n", matches.shift_mm, matches.information, matches.shift_mm)
        / np.maximum(np.trace(matches.information, axis1=1, axis2=2), 1e-9)
    )
    agree = (matches.score >= MIN_SCORE) & (across < 0.2)
    residual = float(np.sqrt(np.mean(across[agree] ** 2))) if agree.any() else float("nan")
    share = float(agree.sum() / max(1, seen.sum()))
    return Refined(view, int(agree.sum()), share, residual, len(matches.score))
