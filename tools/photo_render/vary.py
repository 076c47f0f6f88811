"""Straightened photographs made unlike the renderer that drew them, for training: the look of crust, its grain, the scale, the
camera and the place of a leak are drawn anew at every sight. Arrays in, arrays out.

A network trained on one renderer learns that renderer's grain and colours, and what is gained on its held-out seeds is then
lost on other photographs. What is varied here therefore covers more than is likely to be met (Tobin et al., "Domain
Randomization for Transferring Deep Neural Networks from Simulation to the Real World", IROS 2017; laying cut pieces over other pictures:
Ghiasi et al., "Simple Copy-Paste is a Strong Data Augmentation Method", CVPR 2021).
"""

from __future__ import annotations

import cv2
import numpy as np

from photo_render.noise import cloud

LIGHT, MODERATE = 48, 112
_CRUSTS = np.array(  # RGB: white, grey, turquoise, blue, green, yellowish, tan
    [
        (0.92, 0.94, 0.92), (0.62, 0.64, 0.62), (0.35, 0.72, 0.68), (0.30, 0.58, 0.80), (0.40, 0.70, 0.42),
        (0.85, 0.84, 0.62), (0.66, 0.56, 0.42),
    ],
    np.float32,
)  # fmt: skip


def reshaped(photo, drawing, severity, rng: np.random.Generator):
    """Everything at another scale, sheared and bent together, so that grain and edges come in other sizes.

    Args:
        photo: (2 rows, 2 columns, 3) uint8.
        drawing: (planes, rows, columns) uint8.
        severity: (rows, columns) uint8.
        rng: What draws the lots.
    """
    rows, columns = severity.shape
    zoom, stretch = np.exp(rng.uniform(-0.35, 0.35)), np.exp(rng.uniform(-0.12, 0.12))
    turn, shear = rng.uniform(-0.1, 0.1), rng.uniform(-0.1, 0.1)
    matrix = np.array(
        [[np.cos(turn), -np.sin(turn) + shear], [np.sin(turn), np.cos(turn)]]
    ) @ np.diag([zoom * stretch, zoom / stretch])  # fmt: skip
    y, x = np.mgrid[:rows, :columns].astype(np.float32)
    x, y = x - (columns - 1) / 2, y - (rows - 1) / 2
    from_x = (matrix[0, 0] * x + matrix[0, 1] * y + (columns - 1) / 2).astype(np.float32)
    from_y = (matrix[1, 0] * x + matrix[1, 1] * y + (rows - 1) / 2).astype(np.float32)
    cell = rng.uniform(12, 50)
    bend = np.float32(rng.uniform(0, 0.05) * cell)
    from_x += bend * cloud(rng, (rows, columns), cell, 1)
    from_y += bend * cloud(rng, (rows, columns), cell, 1)
    fine_x, fine_y = (2 * cv2.resize(m, (2 * columns, 2 * rows)) + 0.5 for m in (from_x, from_y))
    edge = cv2.BORDER_REFLECT_101
    photo = cv2.remap(photo, fine_x, fine_y, cv2.INTER_LINEAR, borderMode=edge)
    stacked = cv2.remap(
        np.ascontiguousarray(np.moveaxis(drawing, 0, -1)), from_x, from_y, cv2.INTER_LINEAR, borderMode=edge
    )
    severity = cv2.remap(severity, from_x, from_y, cv2.INTER_NEAREST, borderMode=edge)
    return photo, np.ascontiguousarray(np.moveaxis(stacked, -1, 0)), severity


def _soft(cells, size, edge_px: float):
    """Share 0..1 of the chosen cells at the photo's scale, with an edge that wide."""
    return cv2.GaussianBlur(cv2.resize(cells.astype(np.float32), size), (0, 0), edge_px)[..., None]


def recrusted(photo, severity, rng: np.random.Generator):
    """The crust in other colours, with other contrast and other grain, lit as it was."""
    high, wide = photo.shape[:2]
    cover = _soft(severity >= MODERATE, (wide, high), rng.uniform(0.4, 1.6))
    if cover.max() < 0.5:
        return photo
    colour = photo.astype(np.float32)
    light = colour.mean(axis=2, keepdims=True)
    around = cv2.GaussianBlur(light, (0, 0), rng.uniform(4, 20))[..., None]
    grain = (light + 4) / (around + 4)
    usual = float(np.median(light[cover[..., 0] > 0.5]))
    pair = _CRUSTS[rng.integers(len(_CRUSTS), size=2)] * rng.uniform(0.85, 1.15, (2, 3)).astype(np.float32)
    broad = cloud(rng, (high // 4, wide // 4), rng.uniform(3, 16), 3)
    share = np.clip(0.5 + rng.uniform(0.2, 0.8) * cv2.resize(broad, (wide, high)), 0, 1)[..., None]
    paint = pair[0] + (pair[1] - pair[0]) * share
    paint *= np.float32(usual * rng.uniform(0.75, 1.3) / max(0.3, float(paint.mean())))
    # Half of the old shade stays: light falls unevenly over the photo.
    paint = (
        paint
        * ((around + 4) / (usual + 4)) ** np.float32(rng.uniform(0.3, 1))
        * grain ** np.float32(rng.uniform(0.6, 1.6))
    )
    paint *= (
        1 + np.float32(rng.uniform(0, 0.15)) * cloud(rng, (high, wide), rng.uniform(1.2, 7), 3)[..., None]
    )
    strength = np.float32(rng.uniform(0.3, 1)) * cover
    return np.clip(colour + (paint - colour) * strength, 0, 255).astype(np.uint8)


def restained(photo, severity, rng: np.random.Generator):
    """What is only stained or dulled in another tint, darker as a rule."""
    cover = _soft((severity >= LIGHT) & (severity < MODERATE), photo.shape[1::-1], rng.uniform(0.5, 3))
    tint = (rng.uniform(0.75, 1.05) * rng.uniform(0.92, 1.08, 3)).astype(np.float32)
    return np.clip(photo * (1 + (tint - 1) * cover), 0, 255).astype(np.uint8)


def leaked_upon(case, other, rng: np.random.Generator):
    """The crust of another photograph laid upon this one, under its parts as a rule.

    Args:
        case: (photo, drawing, severity).
        other: (photo, drawing, severity) of a photograph with crust; turned by lot.
        rng: What draws the lots.
    """
    photo, drawing, severity = case
    from_photo, _, from_severity = other
    rows, columns = (min(a, b) for a, b in zip(severity.shape, from_severity.shape, strict=True))
    turns = int(rng.integers(0, 4, 1)[0]) if rows == columns else 2 * int(rng.integers(2))
    from_photo = np.rot90(from_photo[: 2 * rows, : 2 * columns], turns)
    from_severity = np.rot90(from_severity[:rows, :columns], turns)
    crust = np.where(from_severity >= MODERATE, from_severity, 0).astype(np.uint8)
    here, fine = (slice(0, rows), slice(0, columns)), (slice(0, 2 * rows), slice(0, 2 * columns))
    hidden = drawing[2][here] > 100
    if rng.random() < 0.8:
        crust = np.where(hidden, 0, crust).astype(np.uint8)
    if np.count_nonzero(crust) < 60:
        return case
    cover = _soft(crust >= MODERATE, (2 * columns, 2 * rows), rng.uniform(0.4, 1.6))
    gain = np.float32(
        (np.median(photo[::4, ::4]) + 20) / (np.median(from_photo[::4, ::4]) + 20)
    ) ** np.float32(rng.uniform(0, 1))
    laid = photo.copy()
    under = photo[fine].astype(np.float32)
    laid[fine] = np.clip(under + (from_photo * gain - under) * cover, 0, 255).astype(np.uint8)
    severity = severity.copy()
    severity[here] = np.maximum(severity[here], crust)
    return laid, drawing, severity


def rephotographed(photo, rng: np.random.Generator):
    """Through another camera: a coarser sensor, shake, noise with grain, sharpening, a tone curve, JPEG."""
    high, wide = photo.shape[:2]
    colour = photo.astype(np.float32)
    if rng.random() < 0.3:
        size = (round(wide * (share := rng.uniform(0.45, 0.9))), round(high * share))
        colour = cv2.resize(
            cv2.resize(colour, size, interpolation=cv2.INTER_AREA),
            (wide, high),
            interpolation=cv2.INTER_CUBIC,
        )
    if rng.random() < 0.2:
        length, turn = int(rng.integers(2, 6)), rng.uniform(0, np.pi)
        kernel = np.zeros((7, 7), np.float32)
        cv2.line(kernel, *(
            (round(3 + s * length / 2 * np.cos(turn)), round(3 + s * length / 2 * np.sin(turn))) for s in (-1, 1)
        ), 1.0)  # fmt: skip
        colour = cv2.filter2D(colour, -1, kernel / kernel.sum())
    if rng.random() < 0.4:
        noise = rng.standard_normal((high, wide, 3), dtype=np.float32)
        if rng.random() < 0.5:
            noise = 2 * cv2.GaussianBlur(noise, (0, 0), rng.uniform(0.5, 1.2))
        colour = colour + noise * np.float32(rng.uniform(1, 7))
    if rng.random() < 0.35:
        width = rng.uniform(0.7, 2.2)
        colour = colour + np.float32(rng.uniform(0.3, 1.3)) * (
            colour - cv2.GaussianBlur(colour, (0, 0), width)
        )
    if rng.random() < 0.4:
        tone = np.clip(colour / 255, 0, 1)
        bent = tone * tone * (3 - 2 * tone)
        colour = 255 * (tone + np.float32(rng.uniform(-0.35, 0.6)) * (bent - tone))
    photo = np.clip(colour, 0, 255).astype(np.uint8)
    if rng.random() < 0.35:
        data = cv2.imencode(".jpg", photo, [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(45, 92))])[1]
        photo = np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR), np.uint8)
    return photo
