"""The shape of what stands on the board: a ground plan, a height and how it is drawn."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from photo_check.bodies import Painter

Points = NDArray[np.float64]


@dataclass(frozen=True)
class Thing:
    """Something on the board: its ground plan [mm], how high it is [mm], and how it is drawn."""

    plan: Points
    height_mm: float
    draw: Callable[[Painter], None]


@dataclass(frozen=True)
class Box:
    """A turned rectangle: middle, unit vectors along its long and short side, and half its sides [mm]."""

    middle: Points
    along: Points
    across: Points
    long: float
    short: float

    def at(self, u: float, v: float) -> Points:
        """The place u long sides and v short sides from the middle."""
        return np.asarray(self.middle + u * self.long * self.along + v * self.short * self.across)

    def corners(self, u: float = 1, v: float = 1) -> Points:
        """Counter-clockwise."""
        return np.array([self.at(-u, -v), self.at(u, -v), self.at(u, v), self.at(-u, v)])


def box_around(shape: shapely.Geometry) -> Box:
    """The smallest turned rectangle around an area that is not empty."""
    ring = np.array(shapely.minimum_rotated_rectangle(shape).exterior.coords)[:4]
    sides = ring[1] - ring[0], ring[2] - ring[1]
    lengths = [float(np.linalg.norm(s)) for s in sides]
    first = int(lengths[1] > lengths[0])
    along = sides[first] / lengths[first]
    return Box(
        ring.mean(axis=0), along, np.array([-along[1], along[0]]), lengths[first] / 2, lengths[1 - first] / 2
    )


def lifted(place: Points, z: float) -> Points:
    """A board place at the height ``z`` [mm]."""
    return np.append(place, z)


def rounded(box: Box, count: int = 20) -> Points:
    """(count, 2) corners of the ellipse that fills the box, counter-clockwise."""
    angle = np.arange(count) * 2 * np.pi / count
    return np.asarray(
        box.middle
        + np.outer(np.cos(angle) * box.long, box.along)
        + np.outer(np.sin(angle) * box.short, box.across)
    )
