"""Parts, batteries, wires and labels as meshes, drawn face by face into the photograph, far ones first."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from photo_check.camera import Lens, Light
from photo_check.fields import Random

Points = NDArray[np.float64]
Colour = NDArray[np.float64]


def tone(hue: float, saturation: float, value: float) -> Colour:
    """Linear RGB 0..1 of a hue 0..1, saturation and display value."""
    chroma = np.clip(np.abs((hue * 6 + np.array([0, 4, 2])) % 6 - 3) - 1, 0, 1)
    return (value * (1 - saturation + saturation * chroma)) ** 2.2


def grey(value: float) -> Colour:
    """Linear RGB of a display grey."""
    return tone(0, 0, value)


@dataclass
class Painter:
    """The photograph in the making: ``image`` holds 255 √(light / 1.5), ``seen`` the severity at each pixel."""

    lens: Lens
    light: Light
    image: NDArray[np.uint8]
    seen: NDArray[np.uint8]

    def fine(self, xyz: Points) -> NDArray[np.int32]:
        """Pixels of points in OpenCV's fixed point."""
        return np.asarray(np.rint(self.lens.pixels(xyz) * 16), np.int32)

    def code(self, light: Colour) -> tuple[int, ...]:
        """A colour of light as stored."""
        return tuple(int(x) for x in 255 * np.sqrt(np.clip(light / 1.5, 0, 1)))

    def solid(
        self, rings: Points, colours: Colour, ends: tuple[Colour | None, Colour | None], gloss: float = 0.3
    ) -> None:
        """A convex body: (n, m, 3) rings of vertices, (n - 1, 3) colours between them, and its two ends' colours.

        Rings run counter-clockwise seen from the far end. Faces that look away are left out.
        """
        around = rings.shape[1]
        following = np.roll(rings, -1, axis=1)
        faces = np.stack([rings[:-1], following[:-1], following[1:], rings[1:]], axis=2).reshape(-1, 4, 3)
        shades = np.repeat(np.asarray(colours, float), around, axis=0)
        normals = np.cross(faces[:, 2] - faces[:, 0], faces[:, 3] - faces[:, 1])
        polygons, middles = list(faces), faces.mean(axis=1)
        axis = rings[-1].mean(axis=0) - rings[0].mean(axis=0)
        for ring, colour, way in ((rings[0], ends[0], -axis), (rings[-1], ends[1], axis)):
            if colour is not None:
                polygons.append(ring)
                middles = np.vstack([middles, ring.mean(axis=0)])
                shades = np.vstack([shades, colour])
                normals = np.vstack([normals, way])
        normals = normals / np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-9)
        towards = self.lens.centre - middles
        visible = np.einsum("ij,ij->i", normals, towards) > 0
        lit = self.light.on_faces(middles, normals, towards, shades, gloss)
        hull = cv2.convexHull(self.fine(rings.reshape(-1, 3)))
        if not visible.any():
            return
        cv2.fillConvexPoly(self.image, hull, self.code(np.median(lit[visible], axis=0)), cv2.LINE_AA, 4)
        cv2.fillConvexPoly(self.seen, hull, 0, cv2.LINE_8, 4)
        for i in np.flatnonzero(visible):
            cv2.fillConvexPoly(self.image, self.fine(polygons[i]), self.code(lit[i]), cv2.LINE_AA, 4)

    def prism(
        self,
        base: Points,
        z0: float,
        z1: float,
        side: Colour,
        top: Colour,
        gloss: float = 0.3,
        taper: float = 1.0,
    ) -> None:
        """An upright prism over a convex (m, 2) base, counter-clockwise; ``taper`` scales its top."""
        middle = base.mean(axis=0)
        rings = np.stack(
            [
                np.column_stack([b, np.full(len(b), z)])
                for b, z in ((base, z0), (middle + (base - middle) * taper, z1))
            ]
        )
        self.solid(rings, side[None], (None, top), gloss)

    def turned(
        self, foot: Points, axis: Points, stations: Points, colours: Colour, ends: tuple[Colour, Colour],
        gloss: float, around: int = 14,
    ) -> None:  # fmt: skip
        """A body of revolution: ``stations`` are (n, 2) distance along ``axis`` and radius [mm]."""
        axis = axis / np.linalg.norm(axis)
        other = np.cross(axis, [0.3, 0.5, 0.81] if abs(axis[2]) < 0.9 else [1.0, 0, 0])
        other /= np.linalg.norm(other)
        angle = np.arange(around) * 2 * np.pi / around
        circle = np.outer(np.cos(angle), other) + np.outer(np.sin(angle), np.cross(axis, other))
        rings = foot + stations[:, :1, None] * axis + stations[:, 1:, None] * circle
        self.solid(rings, colours, ends, gloss)

    def line(
        self, path: Points, width_mm: float, colour: Colour, gloss: float = 0.4, severity: int = 0
    ) -> None:
        """A wire or lead along (n, 3) points [mm], with a highlight; a corroded one is seen as ``severity``."""
        middle = path[len(path) // 2][None]
        px = max(1, round(width_mm * self.lens.px_per_mm))
        up = np.array([[0.0, 0.0, 1.0]])
        for part, tint in ((1.0, 0.6), (0.55, 1.0), (0.18, 1.0 + 1.2 * gloss)):
            lit = self.light.on_faces(middle, up, self.lens.centre - middle, colour[None] * tint, 0.0)[0]
            cv2.polylines(
                self.image, [self.fine(path)], False, self.code(lit), max(1, round(px * part)), cv2.LINE_AA, 4
            )
        cv2.polylines(self.seen, [self.fine(path)], False, severity, px, cv2.LINE_8, 4)

    def flat(self, corners: Points, picture: NDArray[np.float64]) -> None:
        """A picture of linear RGB laid over four (4, 3) corners: upper left, upper right, lower right, lower left."""
        rows, columns = picture.shape[:2]
        place = self.lens.pixels(corners)
        low = np.maximum(np.floor(place.min(axis=0)).astype(int) - 1, 0)
        high = np.minimum(np.ceil(place.max(axis=0)).astype(int) + 2, self.image.shape[1::-1])
        if (high <= low).any():
            return
        source = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], np.float32)
        matrix = cv2.getPerspectiveTransform(source, (place - low).astype(np.float32))
        size = (int(high[0] - low[0]), int(high[1] - low[1]))
        there = slice(low[1], high[1]), slice(low[0], high[0])
        middle = corners.mean(axis=0, keepdims=True)
        lit = self.light.on_faces(
            middle, np.array([[0, 0, 1.0]]), self.lens.centre - middle, np.ones((1, 3)), 0.0
        )[0]
        coded = (255 * np.sqrt(np.clip(picture * lit / 1.5, 0, 1))).astype(np.float32)
        cover = cv2.warpPerspective(np.ones((rows, columns), np.float32), matrix, size)[..., None]
        drawn = cv2.warpPerspective(coded, matrix, size, flags=cv2.INTER_AREA)
        self.image[there] = (self.image[there] * (1 - cover) + drawn * cover).astype(np.uint8)
        self.seen[there][cover[..., 0] > 0.5] = 0


def lettering(
    rng: Random, size: tuple[int, int], paper: Colour, ink: Colour, lines: int
) -> NDArray[np.float64]:
    """A picture of ``size`` (rows, columns) with lines of made-up letters."""
    mask = np.zeros(size, np.uint8)
    letters = np.array(list("ABCDEFHKLMNPRSTUVXZ0123456789-"))
    for line in range(lines):
        text = "".join(rng.choice(letters, int(rng.integers(4, 11))))
        scale = size[0] / (lines + 0.6) / 34
        at = (int(size[1] * rng.uniform(0.03, 0.15)), int(size[0] * (line + 0.9) / (lines + 0.35)))
        cv2.putText(
            mask, text, at, cv2.FONT_HERSHEY_SIMPLEX, scale, 255, max(1, round(scale * 2.2)), cv2.LINE_AA
        )
    cover = mask[..., None] / 255.0
    return np.asarray(paper * (1 - cover) + ink * cover)
