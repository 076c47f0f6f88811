"""What is on the surface and no corrosion, but might pass for it: flux, rework, dust, fibres, fingers and scratches."""

from __future__ import annotations

import cv2
import numpy as np
import shapely

from coppermend.board.model import Board
from coppermend.damage.layers import Canvas, DrawnLayers
from photo_check.bodies import grey, tone
from photo_check.fields import Plane, Random, cells, ease, rough
from photo_check.surface import Surface


def handled(out: Surface, board: Board, layers: DrawnLayers, rng: Random) -> None:
    """Old work and wear, before the leak."""
    if rng.random() < 0.75:
        _flux(out, board, rng)
    if rng.random() < 0.35:
        _reworked(out, board, layers, rng)
    if rng.random() < 0.4:
        _scratched(out, rng)
    if rng.random() < 0.35:
        _fingers(out, rng)


def _flux(out: Surface, board: Board, rng: Random) -> None:
    """Amber resin around joints: clear, glossy and thicker in the middle."""
    shape = out.relief.shape
    pools = np.zeros(shape, np.float32)
    pads = [p for p in board.pads if not p.refdes.startswith("H")]
    groups = rng.integers(0, max(1, len(pads)), int(rng.integers(1, 9))) if pads else []
    for index in groups:
        near = pads[int(index) : int(index) + int(rng.integers(1, 15))]
        for pad in near:
            at = (int(pad.x_mm * out.scale), int((board.height_mm - pad.y_mm) * out.scale))
            axes = tuple(int(out.scale * rng.uniform(0.8, 2.6)) for _ in range(2))
            cv2.ellipse(pools, at, axes, float(rng.uniform(0, 180)), 0, 360, 1.0, -1)
    pools = ease(
        cv2.GaussianBlur(pools, (0, 0), 0.5 * out.scale) + 0.15 * rough(rng, shape, 2 * out.scale, 3),
        0.3,
        0.8,
    )
    amber = tone(rng.uniform(0.07, 0.12), rng.uniform(0.4, 0.8), rng.uniform(0.6, 0.95))
    out.tint(amber, pools * rng.uniform(0.3, 0.95))
    out.gloss += (np.float32(0.9) - out.gloss) * pools
    out.relief += np.float32(0.12) * pools


def _reworked(out: Surface, board: Board, layers: DrawnLayers, rng: Random) -> None:
    """Fresh solder, too much of it, and mask scraped or touched up."""
    canvas = Canvas(board.width_mm, board.height_mm, out.scale, out.relief.shape)
    blobs, patch = canvas.blank(), canvas.blank()
    x, y = rng.uniform(0, board.width_mm), rng.uniform(0, board.height_mm)
    for pad in board.pads:
        if (
            np.hypot(pad.x_mm - x, pad.y_mm - y) < 14
            and rng.random() < 0.7
            and not pad.refdes.startswith("H")
        ):
            canvas.disc(blobs, pad.x_mm, pad.y_mm, pad.size_mm * rng.uniform(1, 1.35))
    dome = cv2.distanceTransform((blobs > 127).astype(np.uint8), cv2.DIST_L2, 3) / out.scale
    out.mix(grey(rng.uniform(0.8, 0.95)), blobs.astype(np.float32) / 255, metal=0.95, gloss=1.0)
    out.relief += np.float32(rng.uniform(0.3, 1)) * dome
    middle = canvas.fine(np.array([[x, y]]))[0] // 16
    size = (float(rng.uniform(2, 9) * out.scale), float(rng.uniform(2, 6) * out.scale))
    box = cv2.boxPoints(((float(middle[0]), float(middle[1])), size, float(rng.uniform(0, 180))))
    cv2.fillConvexPoly(patch, box.astype(np.int32), 255)
    soft = cv2.GaussianBlur(patch.astype(np.float32) / 255, (0, 0), 0.3 * out.scale)
    cover = ease(soft + 0.12 * rough(rng, patch.shape, out.scale, 3), 0.35, 0.65) * (layers.pads < 60)
    out.mix(
        tone(rng.uniform(0.25, 0.6), rng.uniform(0.3, 0.9), rng.uniform(0.2, 0.6)),
        cover * rng.uniform(0.3, 1),
        gloss=0.8,
    )


def _scratched(out: Surface, rng: Random) -> None:
    """Fine bright lines."""
    shape = out.relief.shape
    lines = np.zeros(shape, np.uint8)
    for _ in range(int(rng.integers(1, 14))):
        at, turn, long = (
            rng.uniform(0, 1, 2) * shape[::-1],
            rng.uniform(0, 2 * np.pi),
            rng.uniform(3, 40) * out.scale,
        )
        end = at + long * np.array([np.cos(turn), np.sin(turn)])
        cv2.line(
            lines,
            at.astype(int).tolist(),
            end.astype(int).tolist(),
            int(rng.integers(60, 255)),
            1,
            cv2.LINE_AA,
        )
    cover = lines.astype(np.float32) / 255 * np.clip(0.6 + rough(rng, shape, 2 * out.scale, 3), 0, 1)
    out.mix(tone(0.12, 0.15, rng.uniform(0.5, 0.8)), cover * rng.uniform(0.1, 0.6), gloss=0.3)


def _fingers(out: Surface, rng: Random) -> None:
    """Greasy ridges that dull the gloss and hardly change the colour."""
    shape = out.relief.shape
    r, c = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    for _ in range(int(rng.integers(1, 4))):
        row, column = rng.uniform(0, shape[0]), rng.uniform(0, shape[1])
        far = np.hypot((r - row) / 1.3, c - column) / np.float32(out.scale)
        ridges = 0.5 + 0.5 * np.sin(
            far * np.float32(2 * np.pi / 0.5) + 1.5 * rough(rng, shape, 6 * out.scale, 2)
        )
        print_ = ridges * ease(8 - far, 0, 3)
        out.gloss *= 1 - np.float32(rng.uniform(0.2, 0.7)) * print_
        out.mix(grey(0.6), print_ * np.float32(rng.uniform(0, 0.03)))


def dusted(out: Surface, rng: Random) -> None:
    """Specks and fibres that lie on top of everything."""
    shape = out.relief.shape
    if rng.random() < 0.6:
        away, value = cells(rng, shape, rng.uniform(1.2, 5) * out.scale)
        size = np.float32(rng.uniform(0.02, 0.09)) * value**4
        specks = ease(size - away, 0, 0.02) * np.float32(rng.uniform(0.4, 0.9))
        out.mix(grey(rng.uniform(0.45, 0.8)), specks, gloss=0.0)
    if rng.random() < 0.35:
        film = np.clip(0.5 + 0.5 * rough(rng, shape, 30 * out.scale, 4), 0, 1) * rng.uniform(0.01, 0.08)
        out.mix(grey(0.55), film.astype(np.float32))
    lint = np.zeros(shape, np.uint8)
    for _ in range(int(rng.choice([0, rng.integers(1, 10), 25]))):
        turn = rng.uniform(0, 2 * np.pi) + np.cumsum(rng.normal(0, 0.35, 14))
        step = rng.uniform(0.1, 0.6) * out.scale
        path = rng.uniform(0, 1, 2) * shape[::-1] + np.cumsum(
            step * np.column_stack([np.cos(turn), np.sin(turn)]), axis=0
        )
        cv2.polylines(
            lint, [(path * 16).astype(np.int32)], False, int(rng.integers(120, 255)), 1, cv2.LINE_AA, 4
        )
    out.mix(
        tone(rng.random(), rng.uniform(0, 0.4), rng.uniform(0.2, 0.9)),
        lint.astype(np.float32) / 255 * np.float32(rng.uniform(0.4, 0.9)),
    )


def spot_left(out: Surface, height_mm: float, room: shapely.Geometry, rng: Random) -> None:
    """Where a battery was: another colour, old glue, cleaner than around."""
    ring = np.array(room.convex_hull.exterior.coords)
    mask = np.zeros(out.relief.shape, np.uint8)
    corners = np.column_stack([ring[:, 0], height_mm - ring[:, 1]]) * out.scale
    cv2.fillConvexPoly(mask, corners.astype(np.int32), 255, cv2.LINE_AA)
    soft: Plane = cv2.GaussianBlur(mask.astype(np.float32) / 255, (0, 0), 0.4 * out.scale)
    out.tint(np.exp(rng.normal(0, 0.12, 3)).clip(0.6, 1.3), soft)
