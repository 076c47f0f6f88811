"""Laying a photo over the board drawing: from clicked points to a view, refined by what the photo shows.

Robust estimation of the homography, and of the lens where there are points enough; then ``refine``. Reading files is
left to ``photo`` and ``points``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coppermend.board.model import Board, Layer
from coppermend.damage.camera import Camera, View, fit_homography, fit_view
from coppermend.damage.photo import Photo
from coppermend.damage.points import ReferenceClick, check_points
from coppermend.damage.refine import refine_view
from coppermend.errors import InputError

POINTS_FOR_K1 = 6
BAD_CLICK_MM = 1.5  # a careful click is right to about 0.3 mm; our choice
ENOUGH_TO_TELL = 40  # windows with copper; with fewer, not to find them says nothing. Our choice
_BAD_CLICK_RATIO = 4.0  # and stands out from the others by so much


@dataclass(frozen=True)
class PointResidual:
    """How far a click is from where the whole photo says the point is [mm]; ``suspect`` when it looks wrong."""

    name: str
    residual_mm: float
    suspect: bool


@dataclass(frozen=True)
class Registration:
    """How the photo sees the board.

    Attributes:
        view: Board mm to pixels of the upright photo at full size.
        points: Residual of every click.
        matches: Places where the drawing was found in the photo; 0 when only the clicks count.
        agreement: Share of the places looked at that agree, 0..1.
        match_mm: Root mean square residual of those [mm]; None without any.
        notes: What the user should know, in sentences.
    """

    view: View
    points: tuple[PointResidual, ...]
    matches: int = 0
    agreement: float = 0.0
    match_mm: float | None = None
    notes: tuple[str, ...] = ()

    @property
    def rms_mm(self) -> float:
        """Root mean square residual of the clicks that do not look wrong [mm]."""
        kept = [p.residual_mm for p in self.points if not p.suspect] or [p.residual_mm for p in self.points]
        return float(np.sqrt(np.mean(np.square(kept))))

    def to_json(self) -> dict[str, Any]:
        """Keys pixel_to_mm (3x3, after ``camera``), camera, rms_mm, points, matches, agreement, match_mm, notes."""
        return {
            "pixel_to_mm": self.view.px_to_mm.tolist(),
            "camera": self.view.camera.to_json(),
            "rms_mm": round(self.rms_mm, 4),
            "points": [
                {"name": p.name, "residual_mm": round(p.residual_mm, 4), "suspect": p.suspect}
                for p in self.points
            ],
            "matches": self.matches,
            "agreement": round(self.agreement, 4),
            "match_mm": None if self.match_mm is None else round(self.match_mm, 4),
            "notes": list(self.notes),
        }


def register(
    photo: Photo,
    board: Board,
    clicks: tuple[ReferenceClick, ...],
    *,
    side: Layer = "top",
    refine: bool = True,
    where: str = "points",
) -> Registration:
    """Lay a photo over the drawing.

    Args:
        photo: The photo.
        board: The drawing.
        clicks: At least four reference points.
        side: Which side the photo shows; the bottom is seen mirrored.
        refine: Match pads and tracks too; else the clicks alone count.
        where: What the points came from, for errors.

    Raises:
        InputError: If the points determine no view of the board (see ``check_points``), or the photo shows
            something else than this board.
    """
    check_points(clicks, board, (photo.width_px, photo.height_px), side, where)
    start, left_out = view_from_clicks(clicks, photo.width_px, photo.height_px, where)
    _check_in_front(start, board, where)
    notes = [f"{clicks[i].name} was left out: the other points agree without it" for i in left_out]
    if not refine:
        return Registration(start, _residuals(start, clicks), notes=tuple(notes))
    kept = [c for i, c in enumerate(clicks) if i not in left_out]
    by_hand = (
        np.array([c.board_mm for c in kept]),
        (np.array([c.pixel for c in kept]) + 0.5) * photo.scale - 0.5,
    )
    found = refine_view(photo.rgb, board, start.scaled(photo.scale), side, by_hand)
    if found.matches == 0 and found.looked_at >= ENOUGH_TO_TELL:
        raise InputError(
            "the drawing's pads and tracks are not where the points put them in the photo",
            expected="a photo of this board with the points clicked in the right places, or the clicks alone",
            where=where,
        )
    if found.matches == 0:
        notes.append("too little of the drawing was found in the photo: only the clicked points count")
        return Registration(start, _residuals(start, clicks), notes=tuple(notes))
    view = found.view.scaled(1 / photo.scale)
    _check_in_front(view, board, where)
    points = _residuals(view, clicks)
    notes += [
        f"{p.name} looks wrong: {p.residual_mm:.1f} mm from where the photo shows it"
        for p, click in zip(points, clicks, strict=True)
        if p.suspect and click.name not in {clicks[i].name for i in left_out}
    ]
    return Registration(view, points, found.matches, found.agreement, found.residual_mm, tuple(notes))


def view_from_clicks(
    clicks: tuple[ReferenceClick, ...], width_px: int, height_px: int, where: str = "points"
) -> tuple[View, tuple[int, ...]]:
    """The view that fits the clicks best, and which of them were left out as wrong.

    With five or more points a single wrong one is found by leaving each out in turn; with six or more the lens term
    k1 is fitted too.

    Raises:
        InputError: If the points determine no homography.
    """
    board_mm = np.array([c.board_mm for c in clicks])
    pixel = np.array([c.pixel for c in clicks])
    camera = Camera.typical(width_px, height_px)
    try:
        out = _odd_one(board_mm, pixel)
        kept = np.array([i not in out for i in range(len(clicks))])
        view = View(fit_homography(board_mm[kept], pixel[kept]), camera)
    except ValueError:
        raise InputError(
            "the points determine no view", expected="four points, no three in line", where=where
        ) from None
    if np.count_nonzero(kept) > MIN_FOR_FIT:
        view = fit_view(
            view,
            board_mm[kept],
            pixel[kept],
            scale_mm=0.15,
            with_k1=bool(np.count_nonzero(kept) >= POINTS_FOR_K1),
        )
    return view, out


MIN_FOR_FIT = 4


def _odd_one(board_mm: NDArray[np.float64], pixel: NDArray[np.float64]) -> tuple[int, ...]:
    """The one point without which the others agree far better, if there is one."""
    if len(board_mm) <= MIN_FOR_FIT:
        return ()

    def misfit(kept: list[int], at: list[int]) -> float:
        matrix = fit_homography(pixel[kept], board_mm[kept])
        seen = np.column_stack([pixel[at], np.ones(len(at))]) @ matrix.T
        return float(np.sqrt(np.mean(np.sum((seen[:, :2] / seen[:, 2:] - board_mm[at]) ** 2, axis=1))))

    everyone = list(range(len(board_mm)))
    whole = misfit(everyone, everyone)
    if whole < BAD_CLICK_MM / 4:
        return ()
    best, odd = whole, -1
    for i in everyone:
        rest = [j for j in everyone if j != i]
        try:
            alone = misfit(rest, [i])
            without = (
                misfit(rest, rest)
                if len(rest) > MIN_FOR_FIT
                else _agreement_of_four(board_mm, pixel, i, whole)
            )
        except ValueError:
            continue
        if without < best and alone > BAD_CLICK_MM:
            best, odd = without, i
    return (odd,) if odd >= 0 and best < whole / 3 else ()


def _agreement_of_four(
    board_mm: NDArray[np.float64], pixel: NDArray[np.float64], left_out: int, whole: float
) -> float:
    """Four points always fit exactly: judge them by whether they look like a flat board before a common lens."""
    kept = [i for i in range(len(board_mm)) if i != left_out]
    matrix = fit_homography(board_mm[kept], pixel[kept])
    skew = plane_skew(matrix, pixel)
    return whole * min(1.0, skew / 0.15)


def plane_skew(mm_to_px: NDArray[np.float64], pixel: NDArray[np.float64]) -> float:
    """How unlike a flat, evenly scaled board a homography is: 0 for a perfect one.

    The first two columns, seen from the lens, must be at right angles and equally long
    (Hartley and Zisserman, section 8.1).
    """
    span = float(np.ptp(pixel, axis=0).max())
    focal, centre = 1.6 * span, pixel.mean(axis=0)
    lens = np.linalg.inv(np.array([[focal, 0, centre[0]], [0, focal, centre[1]], [0, 0, 1.0]]))
    a, b, _ = (lens @ mm_to_px).T
    long = float(np.linalg.norm(a) * np.linalg.norm(b)) or 1.0
    return float(abs(a @ b) / long + abs(np.log((np.linalg.norm(a) + 1e-12) / (np.linalg.norm(b) + 1e-12))))


def _residuals(view: View, clicks: tuple[ReferenceClick, ...]) -> tuple[PointResidual, ...]:
    off = np.linalg.norm(
        view.board_mm(np.array([c.pixel for c in clicks])) - np.array([c.board_mm for c in clicks]), axis=1
    )
    limit = max(BAD_CLICK_MM, _BAD_CLICK_RATIO * float(np.median(off)))
    return tuple(PointResidual(c.name, float(r), bool(r > limit)) for c, r in zip(clicks, off, strict=True))


def _check_in_front(view: View, board: Board, where: str) -> None:
    """All of the board must lie before the camera."""
    corners = np.array([[x, y, 1.0] for x in (0, board.width_mm) for y in (0, board.height_mm)])
    depth = corners @ view.mm_to_px[2]
    if not (np.all(depth > 0) or np.all(depth < 0)):
        raise InputError(
            "the points put part of the board behind the camera",
            expected="points clicked in the right places",
            where=where,
        )
