"""What the bare board looks like, before it corrodes: colour, metal, gloss and relief at every place."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from coppermend.board.model import Board
from coppermend.board.packages import body_shape
from coppermend.damage.layers import Canvas, DrawnLayers
from photo_check.bodies import grey, tone
from photo_check.camera import Light
from photo_check.fields import Plane, Random, ease, resized, rough

MASKS = ("green", "green", "green", "green", "blue", "blue", "brown", "tan", "tan", "red", "dark")
_HUES = {
    "green": (0.27, 0.47),
    "blue": (0.54, 0.66),
    "brown": (0.03, 0.1),
    "red": (0.96, 1.01),
    "dark": (0, 1),
}

_THIRDS = np.full((1, 3), 1 / 3, np.float32)


@dataclass
class Surface:
    """The board seen from above, row 0 at its top edge; all arrays have the same rows and columns."""

    scale: float
    colour: Plane  # (rows, columns, 3) linear
    metal: Plane  # 0..1: mirrors in its own colour
    gloss: Plane  # 0..1
    relief: Plane  # [mm]

    def mix(
        self, colour: NDArray[np.floating], cover: Plane, *, metal: float = 0.0, gloss: float | None = None
    ) -> None:
        """Lay a colour over, where ``cover`` is 1."""
        cover = np.asarray(cover, np.float32)
        self.colour += (np.asarray(colour, np.float32) - self.colour) * cover[..., None]
        self.metal += (np.float32(metal) - self.metal) * cover
        if gloss is not None:
            self.gloss += (np.float32(gloss) - self.gloss) * cover

    def tint(self, colour: NDArray[np.floating], cover: Plane) -> None:
        """Darken through a transparent colour, where ``cover`` is 1."""
        self.colour *= 1 + (np.asarray(colour, np.float32) - 1) * np.asarray(cover, np.float32)[..., None]


def bare(board: Board, layers: DrawnLayers, scale: float, mask: str, rng: Random) -> Surface:
    """The board as it was made and aged, without parts and without corrosion."""
    shape = layers.board.shape
    tracks, areas, pads, vias = (
        p.astype(np.float32) / 255 for p in (layers.tracks, layers.areas, layers.pads, layers.vias)
    )
    copper = np.maximum(tracks, areas)
    if rng.random() < 0.35:
        copper = np.maximum(copper, _pour(layers, scale, rng))
    resin = tone(rng.uniform(0.08, 0.16), rng.uniform(0.2, 0.55), rng.uniform(0.45, 0.8))
    out = Surface(scale, np.empty((*shape, 3), np.float32), *(np.zeros(shape, np.float32) for _ in range(3)))
    out.colour[:] = resin
    out.colour *= 1 + np.float32(rng.uniform(0.01, 0.08)) * rough(rng, shape, 3 * scale, 4)[..., None]
    out.gloss[:] = rng.uniform(0, 0.9)
    out.relief += (
        np.float32(rng.uniform(0, 0.004)) * rough(rng, shape, 2.5 * scale, 3) + np.float32(0.035) * copper
    )
    tin = grey(rng.uniform(0.5, 0.82)) * (1, rng.uniform(0.96, 1), rng.uniform(0.9, 1))
    gold = tone(rng.uniform(0.1, 0.14), 0.5, 0.9)
    red = tone(rng.uniform(0.03, 0.09), rng.uniform(0.4, 0.7), rng.uniform(0.55, 0.85))
    if mask == "tan":
        bare_metal = tin if rng.random() < 0.6 else red
        out.mix(bare_metal, copper, metal=float(rng.uniform(0.3, 0.9)), gloss=rng.uniform(0.3, 0.9))
    else:
        _masked(out, copper, mask, rng)
    metal = gold if rng.random() < 0.15 else tin
    wet = rng.uniform(0.3, 1.0)
    out.mix(metal, np.maximum(pads, vias if rng.random() < 0.5 else 0 * vias), metal=0.9, gloss=wet)
    dome = cv2.distanceTransform((layers.pads > 127).astype(np.uint8), cv2.DIST_L2, 3) / scale
    out.relief += np.float32(rng.uniform(0.1, 0.9)) * np.minimum(dome, 0.8) + np.float32(
        0.012
    ) * pads * rough(rng, shape, 0.6 * scale, 2)
    _holes(out, board, layers, rng)
    if rng.random() < 0.85:
        _legend(out, board, layers, rng)
    return out


def _masked(out: Surface, copper: Plane, mask: str, rng: Random) -> None:
    """Solder mask, lighter or darker over copper."""
    hue, value = rng.uniform(*_HUES[mask]), rng.uniform(0.16, 0.52)
    if mask == "dark":
        value *= 0.4
    colour = tone(hue % 1, rng.uniform(0.35, 0.85) if mask != "dark" else rng.uniform(0, 0.4), value)
    shape = copper.shape
    over = colour * np.exp(rng.choice([-0.3, 0.35, 0.6, 0.9]) * rng.uniform(0.5, 1.2)) + grey(
        0.1
    ) * rng.uniform(0, 1)
    even = rng.uniform(0.01, 0.07) * rough(rng, shape, 25 * out.scale, 5)
    out.colour *= np.float32(rng.uniform(0, 0.12))
    out.colour += ((colour + (over - colour) * copper[..., None]) * (1 + even[..., None])).astype(np.float32)


def _pour(layers: DrawnLayers, scale: float, rng: Random) -> Plane:
    """A ground area around everything, solid or hatched."""
    busy = np.maximum.reduce([layers.tracks, layers.pads, layers.vias]) > 100
    away = cv2.distanceTransform((~busy).astype(np.uint8), cv2.DIST_L2, 3) / scale
    pour = ease(away, 0.35, 0.35 + 1 / scale)
    if rng.random() < 0.3:
        r, c = np.mgrid[: pour.shape[0], : pour.shape[1]] / (scale * rng.uniform(1.2, 2.6))
        pour *= ((r % 1 < 0.45) | (c % 1 < 0.45)).astype(np.float32)
    inside = cv2.distanceTransform(layers.board, cv2.DIST_L2, 3) / scale
    return pour * (inside > rng.uniform(0.4, 2))


def _holes(out: Surface, board: Board, layers: DrawnLayers, rng: Random) -> None:
    """Drilled vias are dark or filled; drilled pads show a lead, solder, or the hole."""
    canvas = Canvas(board.width_mm, board.height_mm, out.scale, layers.board.shape)
    dark, lead = canvas.blank(), canvas.blank()
    for via in board.vias:
        if rng.random() < 0.8:
            canvas.disc(dark, via.x_mm, via.y_mm, via.hole_mm * rng.uniform(0.6, 1))
    empty = rng.uniform(0, 0.5)
    for pad in board.pads:
        if pad.hole_mm and not pad.refdes.startswith("H"):
            canvas.disc(
                dark if rng.random() < empty else lead,
                pad.x_mm,
                pad.y_mm,
                pad.hole_mm * rng.uniform(0.5, 0.9),
            )
    out.mix(grey(0.08), dark.astype(np.float32) / 255, gloss=0.1)
    out.relief += lead * np.float32(0.5 / 255)


def _legend(out: Surface, board: Board, layers: DrawnLayers, rng: Random) -> None:
    """Outlines and names of parts in ink; the names are made up."""
    canvas = Canvas(board.width_mm, board.height_mm, out.scale, layers.board.shape)
    ink = canvas.blank()
    thick = max(1, int(rng.uniform(0.1, 0.28) * out.scale))
    for part in board.parts:
        outline = body_shape(board, part)
        if outline.is_empty or part.refdes.startswith("H"):
            continue
        ring = canvas.fine(np.array(outline.exterior.coords)) if outline.geom_type == "Polygon" else None
        if ring is not None:
            cv2.polylines(ink, [ring], True, 255, thick, cv2.LINE_AA, 4)
            at = canvas.fine(np.array([[outline.bounds[0], outline.bounds[3] + 0.5]]))[0] // 16
            cv2.putText(
                ink,
                part.refdes,
                at.tolist(),
                cv2.FONT_HERSHEY_SIMPLEX,
                out.scale * rng.uniform(1, 1.8) / 22,
                255,
                max(1, thick // 2),
                cv2.LINE_AA,
            )
    worn = np.clip(rng.uniform(0.8, 2) + rough(rng, ink.shape, 1.0 * out.scale, 3), 0, 1)
    cover = ink * np.float32(rng.uniform(0.6, 1) / 255) * worn * (layers.pads < 60)
    colours = [grey(rng.uniform(0.75, 0.97)), tone(0.14, 0.6, 0.9), grey(0.1)]
    out.mix(colours[int(rng.choice(3, p=[0.75, 0.17, 0.08]))], cover, gloss=0.3)


def lit(
    out: Surface, light: Light, centre: NDArray[np.float64], height_mm: float, shadow: Plane, rng: Random
) -> tuple[Plane, Plane]:
    """What the board sends to a camera at ``centre`` [mm]; ``shadow`` 1 = full light.

    Returns:
        (rows, columns, 3) light, and (rows, columns) 0..1 how much of it is mirrored.
    """
    rows, columns = out.relief.shape
    x = ((np.arange(columns) + 0.5) / out.scale).astype(np.float32)[None]
    y = (height_mm - (np.arange(rows) + 0.5) / out.scale).astype(np.float32)[:, None]
    steep = np.float32(out.scale / 8)  # of a Sobel pair, in mm per mm
    slope_x = np.clip(-steep * cv2.Sobel(out.relief, cv2.CV_32F, 1, 0), -1.5, 1.5)
    slope_y = np.clip(steep * cv2.Sobel(out.relief, cv2.CV_32F, 0, 1), -1.5, 1.5)
    towards = light.towards.astype(np.float32)
    falls = (slope_x * towards[0] + slope_y * towards[1] + towards[2]) / np.sqrt(1 + slope_x**2 + slope_y**2)
    small = np.meshgrid(np.linspace(0, x[0, -1], 48), np.linspace(y[0, 0], 0, 36))
    falls = (
        np.clip(falls, 0, None) * resized(light.strength(*small).astype(np.float32), (rows, columns)) * shadow
    )
    diffuse = falls[..., None] * light.main.astype(np.float32)
    diffuse += (0.75 + 0.25 * shadow[..., None]) * light.ambient.astype(np.float32)
    level = np.float32(centre[2])
    mirror_x = 2 * slope_x - (np.float32(centre[0]) - x) / level
    mirror_y = 2 * slope_y - (np.float32(centre[1]) - y) / level
    sharp = (
        light.looked_up(mirror_x, mirror_y, 0)
        if rng.random() < 0.6
        else light.looked_up(mirror_x, mirror_y, 1)
    )
    dim = light.looked_up(0.5 * mirror_x, 0.5 * mirror_y, 1)
    mirrored = dim + (sharp - dim) * ease(out.gloss, 0.4, 0.9)[..., None]
    reflects = (1 - out.metal)[..., None] * np.float32(rng.uniform(0.015, 0.06)) + out.colour * (
        0.8 * out.metal
    )[..., None]
    weak = (0.15 + 0.85 * out.gloss)[..., None]
    mirrored *= reflects * weak
    sent = out.colour * diffuse * (1 - 0.6 * out.metal)[..., None] + mirrored
    share = cv2.transform(mirrored, _THIRDS) / (cv2.transform(sent, _THIRDS) + np.float32(1e-3))
    return np.asarray(sent, np.float32), np.asarray(share, np.float32)
