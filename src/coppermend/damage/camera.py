"""How a photo sees the board: a homography and one radial lens term, and the fit of both to matched points.

Board points are (x, y) [mm], y up; photo points are (u, v) [px], v down, (0, 0) = centre of the upper-left pixel.
Finding the matches is left to ``registration`` and ``refine``.
Reference: R. Hartley, A. Zisserman, Multiple View Geometry, 2nd ed., section 4.1 (direct linear transform with
normalised points), 7.4 (radial distortion); the lens term is k1 of OpenCV's camera model.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]

TYPICAL_FOCAL = (
    1.2  # of the longer side: a phone's main camera (common practice, no source); only k1/f² matters
)
K1_SIGMA = 0.04  # how strong a phone's distortion is expected to be (common practice, no source)
BIAS_SIGMA_MM = 0.2  # light from one side moves the look of a track by up to its width; our choice
_UNDISTORT_ROUNDS = 6
_FIT_ROUNDS = 10
_SMALL_CHANGE = 1e-5  # of half the board: a micrometre or so


@dataclass(frozen=True)
class Camera:
    """Lens: ideal pixels, seen without distortion, become photo pixels by the factor 1 + k1 r²."""

    fx: float
    fy: float
    cx: float
    cy: float
    k1: float = 0.0

    @classmethod
    def typical(cls, width_px: int, height_px: int) -> Camera:
        """An undistorted lens of common focal length looking through the photo's centre."""
        focal = TYPICAL_FOCAL * max(width_px, height_px)
        return cls(focal, focal, (width_px - 1) / 2, (height_px - 1) / 2)

    def distort(self, ideal_px: Points) -> Points:
        """(n, 2) ideal pixels as (n, 2) photo pixels."""
        normal = (ideal_px - [self.cx, self.cy]) / [self.fx, self.fy]
        factor = 1 + self.k1 * np.sum(normal**2, axis=-1, keepdims=True)
        return np.asarray(normal * factor * [self.fx, self.fy] + [self.cx, self.cy])

    def undistort(self, photo_px: Points) -> Points:
        """(n, 2) photo pixels as (n, 2) ideal pixels; the inverse of ``distort``, by fixed-point iteration."""
        seen = (photo_px - [self.cx, self.cy]) / [self.fx, self.fy]
        normal = seen
        for _ in range(_UNDISTORT_ROUNDS):
            normal = seen / (1 + self.k1 * np.sum(normal**2, axis=-1, keepdims=True))
        return np.asarray(normal * [self.fx, self.fy] + [self.cx, self.cy])

    def to_json(self) -> dict[str, float]:
        """Keys fx, fy, cx, cy [px] and k1."""
        return {"fx": self.fx, "fy": self.fy, "cx": self.cx, "cy": self.cy, "k1": self.k1}


@dataclass(frozen=True)
class View:
    """The whole way from board to photo: ``mm_to_px`` (3x3, to ideal pixels), then ``camera``."""

    mm_to_px: NDArray[np.float64]
    camera: Camera

    def pixels(self, board_mm: Points) -> Points:
        """(n, 2) board points [mm] as (n, 2) photo pixels."""
        return self.camera.distort(apply_homography(self.mm_to_px, board_mm))

    def board_mm(self, photo_px: Points) -> Points:
        """(n, 2) photo pixels as (n, 2) board points [mm]."""
        ideal = self.camera.undistort(np.asarray(photo_px, dtype=np.float64))
        return apply_homography(np.asarray(np.linalg.inv(self.mm_to_px), np.float64), ideal)

    @property
    def px_to_mm(self) -> NDArray[np.float64]:
        """3x3 from ideal pixels to board mm, its last element 1."""
        inverse = np.linalg.inv(self.mm_to_px)
        return np.asarray(inverse / inverse[2, 2])

    def px_per_mm(self, board_mm: Points) -> NDArray[np.float64]:
        """(n,) how many photo pixels a millimetre spans at each point: root of the area scale."""
        at = np.asarray(board_mm, dtype=np.float64)
        step = 0.5
        along = np.array([step, 0.0])
        along_x = self.pixels(at + along) - self.pixels(at - along)
        along_y = self.pixels(at + along[::-1]) - self.pixels(at - along[::-1])
        return np.sqrt(np.abs(along_x[:, 0] * along_y[:, 1] - along_x[:, 1] * along_y[:, 0])) / (2 * step)

    def scaled(self, factor: float) -> View:
        """The same view in a photo resized by ``factor`` (pixel centres move: (u + 1/2) factor - 1/2)."""
        shift = (factor - 1) / 2
        matrix = np.array([[factor, 0, shift], [0, factor, shift], [0, 0, 1.0]])
        lens = self.camera
        camera = replace(
            lens,
            fx=lens.fx * factor,
            fy=lens.fy * factor,
            cx=lens.cx * factor + shift,
            cy=lens.cy * factor + shift,
        )
        return View(matrix @ self.mm_to_px, camera)


def apply_homography(matrix: NDArray[np.float64], points: Points) -> Points:
    """(n, 2) points through a 3x3 homography, as (n, 2).

    >>> apply_homography(np.diag([2.0, 3.0, 1.0]), np.array([[1.0, 1.0]])).tolist()
    [[2.0, 3.0]]
    """
    w = points @ matrix[2, :2] + matrix[2, 2]
    return np.asarray((points @ matrix[:2, :2].T + matrix[:2, 2]) / w[..., None])


def fit_homography(source: Points, target: Points) -> NDArray[np.float64]:
    """The 3x3 homography from (n, 2) ``source`` to (n, 2) ``target``, n >= 4, least algebraic error.

    The direct linear transform on normalised points (Hartley and Zisserman, algorithm 4.2). The last element is 1.

    Raises:
        ValueError: If the points determine none (three of four in line, or points that coincide).
    """
    to_source, to_target = _normaliser(source), _normaliser(target)
    a, b = apply_homography(to_source, source), apply_homography(to_target, target)
    x, y = a.T
    zero, one = np.zeros(len(a)), np.ones(len(a))
    rows_u = np.column_stack([x, y, one, zero, zero, zero, -b[:, 0] * x, -b[:, 0] * y, -b[:, 0]])
    rows_v = np.column_stack([zero, zero, zero, x, y, one, -b[:, 1] * x, -b[:, 1] * y, -b[:, 1]])
    _, strength, right = np.linalg.svd(np.vstack([rows_u, rows_v]))
    if strength[7] < 1e-6 * strength[0]:
        raise ValueError("the points determine no homography")
    matrix = np.linalg.inv(to_target) @ right[8].reshape(3, 3) @ to_source
    return np.asarray(matrix / matrix[2, 2])


def _normaliser(points: Points) -> NDArray[np.float64]:
    """Similarity that moves the centroid to 0 and the mean distance to sqrt 2."""
    centre = points.mean(axis=0)
    spread = float(np.mean(np.linalg.norm(points - centre, axis=1)))
    if not spread > 0:
        raise ValueError("the points coincide")
    scale = np.sqrt(2) / spread
    return np.array([[scale, 0, -scale * centre[0]], [0, scale, -scale * centre[1]], [0, 0, 1.0]])


def fit_view(
    start: View,
    board_mm: Points,
    photo_px: Points,
    *,
    information: NDArray[np.float64] | None = None,
    scale_mm: float = 0.15,
    with_k1: bool = True,
    bias: NDArray[np.float64] | None = None,
) -> View:
    """Least squares from ``start`` to matched points, outliers weighted down (Cauchy weights, Gauss-Newton).

    Args:
        start: A view that is nearly right.
        board_mm: (n, 2) board points [mm].
        photo_px: (n, 2) where the photo shows them [px].
        information: (n, 2, 2) how much each match tells in each direction; None counts all alike.
        scale_mm: Residuals well above this count little [mm].
        with_k1: Fit k1 too, held near 0 by what lenses are like; else it stays.
        bias: (n,) how many times each match is off by one small common shift, which is fitted and dropped.

    Reference: Z. Zhang, Parameter estimation techniques, Image and Vision Computing 15 (1997), M-estimators.
    """
    measured = start.board_mm(photo_px)
    info = np.broadcast_to(np.eye(2), (len(board_mm), 2, 2)) if information is None else information
    centre, unit = board_mm.mean(axis=0), max(float(np.ptp(board_mm, axis=0).max()), 1.0) / 2
    shifted = np.zeros((len(board_mm), 1)) if bias is None else bias[:, None]

    def residuals(parameters: NDArray[np.float64]) -> Points:
        seen = start.board_mm(_moved(start, parameters, centre, unit).pixels(board_mm))
        return seen + shifted * parameters[9:] - measured

    parameters = np.zeros(11)
    active = np.array([*range(8), *([8] if with_k1 else []), *([9, 10] if shifted.any() else [])])
    # What is expected without any match counts as one match of the usual precision.
    expected = np.array([0.0] * 8 + [(scale_mm / K1_SIGMA) ** 2] + [(scale_mm / BIAS_SIGMA_MM) ** 2] * 2)
    offset = np.array([0.0] * 8 + [start.camera.k1, 0.0, 0.0])
    for _ in range(_FIT_ROUNDS):
        now = residuals(parameters)
        weight = 1 / (1 + np.einsum("ni,nij,nj->n", now, info, now) / scale_mm**2)
        steps = 1e-4 * np.eye(11)[active[active < 9]]
        slopes = [(residuals(parameters + step) - now) / 1e-4 for step in steps]
        if shifted.any():
            slopes += [shifted * (1, 0), shifted * (0, 1)]
        jacobian = np.stack(slopes, axis=2)
        weighted = info * weight[:, None, None]
        normal = np.einsum("nip,nij,njq->pq", jacobian, weighted, jacobian, optimize=True)
        gradient = np.einsum("nip,nij,nj->p", jacobian, weighted, now, optimize=True)
        normal += np.diag(expected[active]) + 1e-9 * np.trace(normal) / len(active) * np.eye(len(active))
        gradient += (expected * (parameters + offset))[active]
        change = -np.linalg.solve(normal, gradient)
        parameters[active] += change
        if np.abs(change).max() < _SMALL_CHANGE:
            break
    return _moved(start, parameters, centre, unit)


def _moved(start: View, parameters: NDArray[np.float64], centre: Points, unit: float) -> View:
    """``start`` after a small homography of the board about ``centre`` and a change of k1."""
    small = np.eye(3) + np.append(parameters[:8], 0.0).reshape(3, 3)
    frame = np.array([[1 / unit, 0, -centre[0] / unit], [0, 1 / unit, -centre[1] / unit], [0, 0, 1.0]])
    matrix = start.mm_to_px @ np.linalg.inv(frame) @ small @ frame
    camera = replace(start.camera, k1=start.camera.k1 + float(parameters[8]))
    return View(matrix / matrix[2, 2], camera)
