"""What a leak does to the surface: stains, dull metal, dark tracks, lifted mask and crystals."""

from __future__ import annotations

import cv2
import numpy as np

from coppermend.damage.layers import DrawnLayers
from photo_check.bodies import grey, tone
from photo_check.fields import Plane, Random, cells, ease, resized, rough
from photo_check.surface import Surface

_SEEN = (
    0.04,
    0.1,
)  # natural logarithm of a ratio of linear light; our estimate of what an eye finds in a photo
_DARK = 0.01
_NEAR_MM, _CRUSTED = 0.3, 0.3  # crust between whose crystals little else is seen


def corrode(out: Surface, layers: DrawnLayers, severity: Plane, rng: Random) -> Plane:
    """Draw a leak of the given severity; where the mask was lifted the severity rises, where nothing shows it falls.

    Returns:
        (rows, columns) severity as it can be seen.
    """
    before = cv2.resize(out.colour, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    shape, scale = severity.shape, out.scale
    pads = np.maximum(layers.pads, layers.vias).astype(np.float32) / 255
    tracks = np.maximum(layers.tracks, layers.areas).astype(np.float32) / 255 * (1 - pads)
    fine, middle = rough(rng, shape, 0.5 * scale, 3), rough(rng, shape, 3 * scale, 4)
    severity = np.asarray(severity * (1 + rng.uniform(0.02, 0.12) * fine), np.float32)
    severity, loose = _lifted(out, layers, severity, rng)
    dull, uneven = (
        ease(severity, rng.uniform(20, 36), rng.uniform(66, 110)),
        np.clip(1 + 0.35 * middle, 0.3, 1.5),
    )
    stains = [tone(0.08, 0.5, 0.55), tone(0.1, 0.3, 0.7), grey(0.5), tone(0.45, 0.25, 0.7)]
    stained = rng.uniform(0.2, 0.9)
    out.tint(stains[int(rng.integers(4))], np.clip(dull * stained * uneven, 0, 1))
    pale = tone(rng.uniform(0.05, 0.55), rng.uniform(0, 0.2), rng.uniform(0.5, 0.9))
    out.mix(
        pale,
        np.clip(
            ease(severity, rng.uniform(24, 38), 105) * rng.uniform(0.35 - 0.3 * stained, 0.45) * uneven, 0, 1
        ),
    )
    out.gloss *= 1 - 0.9 * dull
    dark = [grey(rng.uniform(0.08, 0.3)), tone(0.08, 0.5, rng.uniform(0.2, 0.4)), tone(0.45, 0.3, 0.35)]
    out.mix(dark[int(rng.integers(3))], np.clip(dull * tracks * rng.uniform(0.35, 0.85) * uneven, 0, 1))
    out.mix(dark[int(rng.integers(3))], np.clip(dull * pads * rng.uniform(0.5, 1) * uneven, 0, 1), gloss=0.05)
    severity = _graded(severity, _crust(out, severity, middle, rng), loose, scale)
    after = cv2.resize(out.colour, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    change = np.abs(np.log((after + _DARK) / (before + _DARK))).max(axis=2)
    change = cv2.GaussianBlur(np.asarray(change, np.float32), (0, 0), 0.15 * scale)
    return np.clip(severity, 0, 255) * resized(ease(change, *_SEEN), shape)


def _graded(severity: Plane, cover: Plane, loose: Plane, scale: float) -> Plane:
    """Moderate is where crust is seen, and where mask came off: not where it was meant to grow."""
    dense = cv2.GaussianBlur(cover, (0, 0), _NEAR_MM * scale)
    crusted = np.maximum(severity, 112 + 40 * ease(dense, _CRUSTED, 0.9))
    return np.where(dense > _CRUSTED, crusted, np.where(loose > 0.5, severity, np.minimum(severity, 111)))


def _lifted(out: Surface, layers: DrawnLayers, severity: Plane, rng: Random) -> tuple[Plane, Plane]:
    """Mask that came off in flakes, with a raised rim: at least moderate; and where it did, 0..1."""
    if rng.random() < 0.35:
        return severity, np.zeros_like(severity)
    _, share = cells(rng, severity.shape, rng.uniform(0.8, 3.5) * out.scale)
    loose = ((share < rng.uniform(0.1, 0.6)) & (severity > rng.uniform(70, 105))).astype(np.float32)
    loose = ease(cv2.GaussianBlur(loose, (0, 0), 0.12 * out.scale), 0.35, 0.65)
    if rng.random() < 0.5:
        loose *= layers.tracks.astype(np.float32) / 255  # only from the tracks
    rim = 4 * loose * (1 - loose)
    copper = np.maximum(layers.tracks, layers.areas).astype(np.float32) / 255
    under = tone(0.1, rng.uniform(0.15, 0.45), rng.uniform(0.5, 0.75))
    eaten = tone(rng.uniform(0.02, 0.5), rng.uniform(0.2, 0.6), rng.uniform(0.2, 0.5))
    out.mix(under + (eaten - under) * copper[..., None], loose * rng.uniform(0.7, 1), gloss=0.1)
    out.mix(grey(rng.uniform(0.6, 0.9)), rim * rng.uniform(0.1, 0.6), gloss=0.2)
    out.relief += np.float32(rng.uniform(0.03, 0.12)) * rim
    return np.where(loose > 0.5, np.maximum(severity, 122), severity), loose


def _crust(out: Surface, severity: Plane, middle: Plane, rng: Random) -> Plane:
    """Crystals: grains, plates, fluff or branches, in colours from green through blue to white and brown.

    Returns:
        (rows, columns) 0..1 how much they cover.
    """
    shape, scale = severity.shape, out.scale
    kind = int(rng.integers(4))
    if kind == 0:
        away, value = cells(rng, shape, rng.uniform(0.18, 0.7) * scale)
        grain = 0.9 - 1.6 * away + value
    elif kind == 1:
        away, value = cells(rng, shape, rng.uniform(0.6, 1.8) * scale)
        grain = 1.6 * value - 0.6 + 0.4 * rough(rng, shape, 0.3 * scale, 2)
    elif kind == 2:
        grain = 0.3 + 0.8 * rough(rng, shape, rng.uniform(0.5, 1.5) * scale, 5, 0.75)
    else:
        grain = 1.1 - 2.2 * np.abs(rough(rng, shape, rng.uniform(0.6, 1.6) * scale, 4, 0.6))
    blur = cv2.GaussianBlur(np.asarray(grain, np.float32), (0, 0), 0.03 * scale + 0.3)
    cover = ease(
        severity + np.float32(rng.uniform(12, 40)) * (blur - 0.3), rng.uniform(88, 104), rng.uniform(122, 165)
    )
    thick = ease(severity, 105, 230)
    hues = [tone(rng.uniform(0.4, 0.54), rng.uniform(0.25, 0.75), rng.uniform(0.5, 0.85)) for _ in range(2)]
    whites = [
        grey(rng.uniform(0.75, 0.97)),
        tone(rng.uniform(0.1, 0.5), 0.1, 0.85),
        grey(rng.uniform(0.5, 0.7)),
    ]
    brown = tone(rng.uniform(0.05, 0.11), rng.uniform(0.4, 0.7), rng.uniform(0.3, 0.55))
    greenness = rng.uniform(-0.6, 1.6)
    mix = ease(greenness + 0.6 * middle - rng.uniform(-0.4, 0.8) * thick, -0.1, 1.1)[..., None]
    shade = ease(blur, -0.6, 1.4)[..., None]
    first = hues[0] + (hues[1] - hues[0]) * shade
    colour = whites[int(rng.integers(3))] * (1 - mix) + first * mix
    colour *= 0.75 + 0.35 * shade
    out.mix(colour, cover * rng.uniform(0.7, 1), gloss=0.1)
    if rng.random() < 0.6:
        rust = ease(rough(rng, shape, rng.uniform(1.5, 5) * scale, 4), rng.uniform(0, 1), 1.8)
        out.tint(brown + 0.25, rust * ease(severity, 60, 130) * rng.uniform(0.4, 1))
    out.relief += cover * (
        np.float32(rng.uniform(0.05, 0.5)) * thick + np.float32(rng.uniform(0.03, 0.15)) * blur
    )
    return cover
