"""What leaked electrolyte does to a board's surface: haze, dull solder, dark tracks, lifted mask, crust; with its severity."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from coppermend.board.model import Board
from coppermend.damage.layers import Canvas, DrawnLayers
from photo_render.noise import cloud, smooth
from photo_render.scene import Scene
from photo_render.surface import Picture, emboss, mix, soft

Field = NDArray[np.float32]
LIGHT, MODERATE, HEAVY = 48 / 255, 112 / 255, 176 / 255


def leak_field(scene: Scene, canvas: Canvas, rng: np.random.Generator) -> Field:
    """Strength of the leak everywhere, about -1..1.2; severity where it is above ``LIGHT``."""
    if scene.grade == "none":
        return np.full(canvas.shape, -1, np.float32)
    rows, columns = canvas.shape
    small = 2.0  # px/mm is enough for the distance
    r, c = max(2, round(canvas.height_mm * small)), max(2, round(canvas.width_mm * small))
    x = (np.arange(c, dtype=np.float32) + 0.5) / small
    y = canvas.height_mm - (np.arange(r, dtype=np.float32) + 0.5) / small
    field = np.full((r, c), -5, np.float32)
    for sx, sy, weight in scene.sources:
        turn, stretch = rng.uniform(0, np.pi), rng.uniform(1, 2.2)
        dx, dy = x[None, :] - sx, y[:, None] - sy
        a, b = dx * np.cos(turn) + dy * np.sin(turn), dy * np.cos(turn) - dx * np.sin(turn)
        d = np.sqrt((a / stretch) ** 2 + (b * stretch**0.5) ** 2)
        field = np.maximum(field, weight * (1.15 - d / scene.reach_mm))
    field = np.maximum(field, -1.2)
    field = cv2.resize(field, (columns, rows), interpolation=cv2.INTER_LINEAR)
    scale = canvas.px_per_mm
    rough = float(rng.uniform(0.2, 0.5))
    grain = float(rng.uniform(0.5, 0.72) if rng.random() < 0.8 else rng.uniform(0.72, 0.85))
    field += rough * cloud(rng, canvas.shape, rng.uniform(4, 12) * scale, 7, grain)
    return field


def corrode(
    picture: Picture, field: Field, board: Board, layers: DrawnLayers, scene: Scene, canvas: Canvas,
    rng: np.random.Generator,
) -> Field:  # fmt: skip
    """Draw the damage into ``picture``; returns the severity 0..1 of what was drawn."""
    if scene.grade == "none":
        return np.zeros(canvas.shape, np.float32)
    scale, shape = canvas.px_per_mm, canvas.shape
    fine = smooth(rng, shape, max(1.0, 0.12 * scale))
    crisp = rng.random() < 0.75
    # The truth is what is seen, so severity follows the edge of the crust as it is drawn.
    thick = field + np.float32(rng.uniform(0.0, 0.04) if crisp else rng.uniform(0.03, 0.1)) * fine
    severity = np.where(thick >= LIGHT, np.clip(thick, 0, 1), 0).astype(np.float32)
    on_board = soft(layers.board)
    # Haze and stain.
    haze = np.clip((field - 0.12) / 0.35, 0, 1) * np.float32(rng.uniform(0.15, 0.45))
    haze *= np.clip(0.8 + 0.35 * cloud(rng, shape, 2.5 * scale, 4), 0.1, 1.6)
    stain = np.asarray(rng.uniform((0.25, 0.2, 0.1), (0.55, 0.5, 0.42)), np.float32)
    mix(picture, stain, np.clip(haze, 0, 0.8))
    _dark_tracks(picture, severity, field, layers, canvas, rng)
    _specks(picture, severity, field, canvas, rng)
    _lifted_mask(picture, severity, field, layers, canvas, rng)
    _dull_solder(picture, severity, field, board, canvas, rng)
    # Crust.
    # How much earlier crust shows than it counts as thin crust differs: where haze ends is a matter of judgement.
    edge_width = np.float32(rng.uniform(0.02, 0.07) if crisp else rng.uniform(0.05, 0.16))
    before = np.float32(rng.uniform(0.3, 1.1)) * edge_width + np.float32(max(0.0, rng.uniform(-0.05, 0.1)))
    # Grains of crust lie beyond the edge too, where the damage as a whole is light.
    grains = np.float32(max(0.0, rng.uniform(-0.06, 0.12))) * cloud(
        rng, shape, rng.uniform(0.7, 3) * scale, 4
    )
    cover = np.clip((thick + grains - MODERATE + before) / edge_width, 0, 1)
    colour = _crust_colour(field, canvas, rng)
    bumps = (
        cv2.GaussianBlur(np.clip(field, 0.3, 1.3), (0, 0), 0.5)
        + 0.07 * fine
        + 0.12 * cloud(rng, shape, 0.8 * scale, 3)
    )
    colour *= (
        1
        + np.clip(emboss(bumps, scene.lamp) * np.float32(scale / 12 * rng.uniform(0.2, 0.5)), -0.45, 0.35)[
            ..., None
        ]
    )
    opaque = np.float32(rng.uniform(0.65, 1)) + np.float32(rng.uniform(0, 0.15)) * cloud(
        rng, shape, 4 * scale, 3
    )
    cover *= np.clip(opaque, 0.5, 1) + np.clip(field - 0.6, 0, 0.25)
    np.clip(cover, 0, 1, out=cover)
    edge = cv2.GaussianBlur(cover, (0, 0), 0.15 * scale)
    picture *= 1 - 0.25 * np.clip(edge - cover, 0, 1)[..., None]
    picture += (colour - picture) * cover[..., None]
    severity *= on_board * (1 - ((soft(layers.holes) > 0.5) & (cover < 0.5)))
    return np.where(severity >= LIGHT, severity, 0).astype(np.float32)


def _crust_colour(field: Field, canvas: Canvas, rng: np.random.Generator) -> Picture:
    shape, scale = canvas.shape, canvas.px_per_mm
    white = np.asarray(rng.uniform((0.78, 0.82, 0.76), (0.95, 0.97, 0.94)) * rng.uniform(0.7, 1), np.float32)
    teal = np.asarray(rng.uniform((0.15, 0.5, 0.45), (0.45, 0.8, 0.85)), np.float32)
    blend = rng.uniform(-0.5, 0.6) + 0.6 * cloud(rng, shape, 5 * scale, 5) + 0.8 * (field - 0.6)
    colour = np.empty((*shape, 3), np.float32)
    colour[:] = white
    mix(colour, teal, np.clip(blend, 0, 1).astype(np.float32))
    rust = np.clip((cloud(rng, shape, 3.5 * scale, 5) - rng.uniform(1.0, 2.2)) * 2.5, 0, 1)
    mix(colour, rng.uniform((0.3, 0.15, 0.05), (0.55, 0.35, 0.18)), rust.astype(np.float32))
    return colour * (1 + 0.06 * smooth(rng, shape, 1.0)[..., None])


def _dark_tracks(
    picture: Picture,
    severity: Field,
    field: Field,
    layers: DrawnLayers,
    canvas: Canvas,
    rng: np.random.Generator,
) -> None:
    """Copper creeps under the mask: tracks go dark further out than anything else shows."""
    near = np.clip((field + rng.uniform(0.0, 0.14) - 0.16) / 0.15, 0, 1)
    near *= cloud(rng, canvas.shape, 5 * canvas.px_per_mm, 3) > -0.6
    tracks = soft(np.maximum(layers.tracks, layers.vias)) * near
    mix(
        picture,
        rng.uniform((0.08, 0.06, 0.04), (0.25, 0.2, 0.14)),
        (tracks * np.float32(rng.uniform(0.4, 0.75))).astype(np.float32),
    )
    np.maximum(severity, np.where(tracks > 0.5, np.float32(rng.uniform(0.2, 0.36)), 0), out=severity)


def _specks(
    picture: Picture, severity: Field, field: Field, canvas: Canvas, rng: np.random.Generator
) -> None:
    """Brown dots in the stained zone."""
    dots = (
        cloud(rng, canvas.shape, 0.9 * canvas.px_per_mm, 3) - rng.uniform(1.2, 2.0) + np.clip(field, 0, 0.5)
    )
    cover = np.clip(dots * 3, 0, 1) * (field > LIGHT)
    mix(picture, rng.uniform((0.12, 0.08, 0.03), (0.35, 0.25, 0.12)), (cover * 0.8).astype(np.float32))


def _lifted_mask(
    picture: Picture,
    severity: Field,
    field: Field,
    layers: DrawnLayers,
    canvas: Canvas,
    rng: np.random.Generator,
) -> None:
    """Flakes of mask gone: laminate, or bare copper gone brown, with a dark rim."""
    flakes = cloud(rng, canvas.shape, rng.uniform(2, 4) * canvas.px_per_mm, 4) - rng.uniform(1.0, 1.9)
    cover = np.clip(flakes * 5, 0, 1) * np.clip((field - 0.28) / 0.06, 0, 1)
    rim = np.clip(cv2.GaussianBlur(cover, (0, 0), 0.2 * canvas.px_per_mm) * 3 - cover * 2, 0, 1)
    mix(picture, (0.12, 0.08, 0.05), (rim * 0.5).astype(np.float32))
    copper = soft(layers.tracks)[..., None]
    laminate = np.asarray(rng.uniform((0.5, 0.42, 0.22), (0.72, 0.64, 0.42)), np.float32)
    colour = laminate * (1 - copper) + np.asarray((0.45, 0.26, 0.15), np.float32) * copper
    picture += (colour - picture) * (cover * 0.9)[..., None]
    np.maximum(
        severity,
        np.where(cover > 0.5, np.maximum(field, MODERATE + 0.02), 0),
        out=severity,
        casting="same_kind",
    )


def _dull_solder(
    picture: Picture, severity: Field, field: Field, board: Board, canvas: Canvas, rng: np.random.Generator
) -> None:
    """Pads near the leak go dull, then black, whole."""
    scale = canvas.px_per_mm
    mottle = cloud(rng, canvas.shape, 0.6 * scale, 3)
    rows, columns = canvas.shape
    for pad in board.pads:
        half = max(pad.size_mm, pad.height_mm) / 2 + 0.2
        c0, c1 = (int(np.clip((pad.x_mm + s * half) * scale, 0, columns)) for s in (-1, 1))
        r0, r1 = (int(np.clip((canvas.height_mm - pad.y_mm + s * half) * scale, 0, rows)) for s in (-1, 1))
        if c1 <= c0 or r1 <= r0:
            continue
        here = slice(r0, r1), slice(c0, c1)
        hit = float(field[here].mean()) + rng.normal(0, 0.05)
        if hit < 0.12:
            continue
        one = Canvas(canvas.width_mm, canvas.height_mm, scale)
        cover = _pad_cover(one, pad, r0, r1, c0, c1)
        depth = float(np.clip(0.35 + hit * 1.1, 0.3, 0.95))
        dark = np.asarray((0.36, 0.34, 0.31), np.float32) * (1.15 - 0.6 * hit)
        patch = picture[here]
        patch += (dark * (1 + 0.25 * mottle[here][..., None]) - patch) * (cover * depth)[..., None]
        grade = np.float32(np.clip(0.22 + 0.45 * hit, 0.2, 0.6))
        np.maximum(severity[here], np.where(cover > 0.5, grade, 0), out=severity[here])


def _pad_cover(canvas: Canvas, pad: object, r0: int, r1: int, c0: int, c1: int) -> Field:
    scale = canvas.px_per_mm
    x = (np.arange(c0, c1) + 0.5) / scale - pad.x_mm  # type: ignore[attr-defined]
    y = canvas.height_mm - (np.arange(r0, r1) + 0.5) / scale - pad.y_mm  # type: ignore[attr-defined]
    gx, gy = np.meshgrid(np.abs(x), np.abs(y))
    w, h = pad.size_mm / 2, pad.height_mm / 2  # type: ignore[attr-defined]
    if pad.round:  # type: ignore[attr-defined]
        run = np.maximum(gx - max(w - h, 0), 0) ** 2 + np.maximum(gy - max(h - w, 0), 0) ** 2
        inside, reach = np.sqrt(run), min(w, h)
        cover = np.clip((reach - inside) * scale + 0.5, 0, 1)
        hole = np.hypot(gx, gy) < pad.hole_mm / 2  # type: ignore[attr-defined]
        return (cover * ~hole).astype(np.float32)
    return ((gx <= w) & (gy <= h) & (np.hypot(gx, gy) >= pad.hole_mm / 2)).astype(np.float32)  # type: ignore[attr-defined]
