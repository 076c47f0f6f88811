"""Where the camera stands, what light falls on the board and what mirrors in it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from coppermend.damage.camera import Camera, View
from photo_check.fields import Plane, Random, rough

_TANGENT = 1.6  # the surroundings reach this far off the upright, as a tangent
_COARSE_PX = 16


@dataclass(frozen=True)
class Lens:
    """A pinhole camera with pose: ``matrix`` (3x4) takes (x, y, z) [mm] to ideal pixels."""

    matrix: NDArray[np.float64]
    centre: NDArray[np.float64]
    camera: Camera
    px_per_mm: float

    @property
    def view(self) -> View:
        """How it sees the board's surface, z = 0."""
        flat = self.matrix[:, [0, 1, 3]]
        return View(flat / flat[2, 2], self.camera)

    def pixels(self, xyz: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 2) photo pixels of (n, 3) points [mm]."""
        seen = xyz @ self.matrix[:, :3].T + self.matrix[:, 3]
        return self.camera.distort(seen[:, :2] / seen[:, 2:])

    def board_at(
        self, size: tuple[int, int], height_mm: float = 0.0, first: tuple[int, int] = (0, 0)
    ) -> tuple[Plane, Plane]:
        """Board x and y [mm], on the level ``height_mm``, of ``size`` (rows, columns) pixels from ``first`` (u, v) on."""
        level = self.matrix[:, [0, 1, 3]].copy()
        level[:, 2] += height_mm * self.matrix[:, 2]
        view = View(level / level[2, 2], self.camera)
        rows, columns = size[0] // _COARSE_PX + 2, size[1] // _COARSE_PX + 2
        u, v = np.meshgrid(np.arange(columns) * float(_COARSE_PX), np.arange(rows) * float(_COARSE_PX))
        at = (
            view.board_mm(np.column_stack([u.ravel() + first[0], v.ravel() + first[1]]))
            .reshape(rows, columns, 2)
            .astype(np.float32)
        )
        step = np.array([[1 / _COARSE_PX, 0, 0], [0, 1 / _COARSE_PX, 0]])
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        x, y = (
            cv2.warpAffine(np.ascontiguousarray(at[..., i]), step, size[::-1], flags=flags) for i in (0, 1)
        )
        return np.asarray(x, np.float32), np.asarray(y, np.float32)


def random_lens(rng: Random, width_mm: float, height_mm: float, size: tuple[int, int], fill: float) -> Lens:
    """A hand-held camera over the board that fills ``fill`` of a photo of ``size`` (rows, columns)."""
    rows, columns = size
    focal = float(rng.uniform(0.75, 1.5)) * max(size)
    centre_px = np.array([(columns - 1) / 2, (rows - 1) / 2])
    tilt = rng.normal(0, np.radians(rng.choice([2.5, 7.0])), 2).clip(-0.3, 0.3)
    turn = rng.normal(0, 0.03) + (np.pi if rng.random() < 0.15 else 0)
    rotation = _turned(2, turn) @ _turned(1, tilt[1]) @ _turned(0, np.pi + tilt[0])
    middle = np.array([width_mm / 2, height_mm / 2, 0.0])
    corners = np.array([[x, y, 0.0] for x in (0, width_mm) for y in (0, height_mm)])
    shift, distance = np.zeros(2), 1.5 * max(width_mm, height_mm)
    slack = rng.uniform(-0.4, 0.4, 2) * (1 - fill)
    for _ in range(30):
        seen = (corners - middle) @ rotation.T + [*shift, distance]
        at = focal * seen[:, :2] / seen[:, 2:] + centre_px
        span = at.max(axis=0) - at.min(axis=0)
        wanted = centre_px + slack * [columns, rows]
        shift += (wanted - (at.max(axis=0) + at.min(axis=0)) / 2) * distance / focal
        distance *= float(max(span / [columns, rows])) / fill
    lens = np.array([[focal, 0, centre_px[0]], [0, focal, centre_px[1]], [0, 0, 1]])
    offset = np.array([*shift, distance]) - rotation @ middle
    k1 = float(np.clip(rng.normal(0, 0.025), -0.06, 0.06))
    camera = Camera(focal, focal, float(centre_px[0]), float(centre_px[1]), k1)
    return Lens(lens @ np.column_stack([rotation, offset]), -rotation.T @ offset, camera, focal / distance)


def _turned(axis: int, angle: float) -> NDArray[np.float64]:
    matrix, (a, b) = np.eye(3), [i for i in range(3) if i != axis]
    matrix[a, a] = matrix[b, b] = np.cos(angle)
    matrix[a, b], matrix[b, a] = -np.sin(angle), np.sin(angle)
    return matrix


def temperature(kelvin: float) -> NDArray[np.float64]:
    """Linear RGB of a lamp, green 1: a straight line through common white-balance gains, from memory."""
    warm = np.clip((6500 - kelvin) / 3500, -1, 1.1)
    return np.array([1 + 0.45 * warm, 1.0, 1 - 0.55 * warm if warm > 0 else 1 - 0.3 * warm])


@dataclass(frozen=True)
class Light:
    """A main lamp with its direction and falling off over the board, light from all sides, and what mirrors."""

    main: NDArray[np.float64]
    ambient: NDArray[np.float64]
    towards: NDArray[np.float64]
    slope: NDArray[np.float64]
    middle: NDArray[np.float64]
    mirrored: tuple[Plane, Plane, Plane]

    def strength(self, x_mm: NDArray[np.floating], y_mm: NDArray[np.floating]) -> NDArray[np.floating]:
        """How much of the main lamp reaches a place."""
        slant = self.slope[0] * (x_mm - self.middle[0]) + self.slope[1] * (y_mm - self.middle[1])
        return np.exp(np.clip(slant, -1.4, 1.2))

    def on_faces(
        self, at: NDArray[np.float64], normals: NDArray[np.float64], towards_eye: NDArray[np.float64],
        colours: NDArray[np.float64], gloss: float,
    ) -> NDArray[np.float64]:  # fmt: skip
        """(n, 3) light from faces of the given colours; ``gloss`` 0..1 mirrors the surroundings."""
        falls = np.clip(normals @ self.towards, 0, None)[:, None] * self.strength(at[:, 0], at[:, 1])[:, None]
        sky = (0.55 + 0.45 * normals[:, 2:]) * self.ambient
        eye = towards_eye / np.linalg.norm(towards_eye, axis=1, keepdims=True)
        mirror = 2 * np.einsum("ij,ij->i", normals, eye)[:, None] * normals - eye
        up = np.maximum(mirror[:, 2:], 0.15)
        glint = self.looked_up(mirror[:, 0] / up[:, 0], mirror[:, 1] / up[:, 0], 1 if gloss > 0.5 else 2)
        lit = colours * (self.main * falls + sky)
        return np.asarray(lit + (0.03 + 0.2 * gloss**2) * glint * (mirror[:, 2:] > 0.1))

    def looked_up(self, x: NDArray[np.floating], y: NDArray[np.floating], blur: int) -> Plane:
        """(..., 3) light from the direction whose tangents are x and y; ``blur`` 0 sharp, 1 soft, 2 dull."""
        picture = self.mirrored[blur]
        middle, per_unit = (len(picture) - 1) / 2, len(picture) / (2 * _TANGENT)
        u = np.atleast_2d(np.asarray(x * per_unit + middle, np.float32))
        v = np.atleast_2d(np.asarray(y * per_unit + middle, np.float32))
        found = cv2.remap(picture, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(found.reshape(*np.shape(x), 3), np.float32)


def random_light(rng: Random, width_mm: float, height_mm: float) -> Light:
    """A lamp, a room and its windows of any colour."""
    around, height = rng.uniform(0, 2 * np.pi), rng.uniform(0.5, 1.45)
    towards = np.array([np.cos(around) * np.cos(height), np.sin(around) * np.cos(height), np.sin(height)])
    main = temperature(rng.uniform(2700, 8000)) * rng.uniform(0.25, 1.0)
    ambient = temperature(rng.uniform(3000, 8000)) * rng.uniform(0.2, 0.6)
    fall = rng.uniform(0, 0.9) / max(width_mm, height_mm)
    room = _surroundings(rng, main, ambient)
    blurred = tuple(cv2.GaussianBlur(room, (0, 0), s) for s in (rng.uniform(0.8, 3), rng.uniform(7, 14), 30))
    return Light(
        main, ambient, towards, fall * np.array([np.cos(around), np.sin(around)]),
        np.array([width_mm / 2, height_mm / 2]), blurred,
    )  # fmt: skip


def _surroundings(rng: Random, main: NDArray[np.float64], ambient: NDArray[np.float64]) -> Plane:
    """What mirrors in the board: a ceiling, windows, tubes and lamps, and the dark of the one who holds the camera."""
    room = (1 + 0.25 * rough(rng, (192, 192), 80, 2))[..., None] * (0.7 * ambient)
    room = np.ascontiguousarray(np.clip(room, 0.02, None), np.float32)
    for _ in range(int(rng.integers(1, 5))):
        # Some mirror in the middle, where the board is, the others off to the side.
        at = rng.normal(96, 28, 2) if rng.random() < 0.35 else rng.uniform(0, 192, 2)
        bright = (main + 0.3 * ambient) * np.exp(rng.uniform(np.log(1.5), np.log(14)))
        kind, turn = rng.integers(3), rng.uniform(0, 180)
        size = [(rng.uniform(15, 60), rng.uniform(15, 70)), (rng.uniform(60, 190), rng.uniform(3, 9))][
            kind % 2
        ]
        if kind == 2:
            cv2.circle(
                room, at.astype(int).tolist(), int(rng.uniform(3, 14)), bright.tolist(), -1, cv2.LINE_AA
            )
        else:
            box = cv2.boxPoints(((float(at[0]), float(at[1])), size, float(turn)))
            cv2.fillConvexPoly(room, box.astype(np.int32), bright.tolist(), cv2.LINE_AA)
    if rng.random() < 0.7:
        at, radii = rng.normal(96, 12, 2).astype(int), rng.uniform(10, 45, 2).astype(int)
        cv2.ellipse(
            room,
            at.tolist(),
            radii.tolist(),
            float(rng.uniform(0, 180)),
            0,
            360,
            (0.03, 0.03, 0.03),
            -1,
            cv2.LINE_AA,
        )
    return room
