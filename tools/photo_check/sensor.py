"""What the phone makes of the light: shadow of a hand, blur, white balance, noise, curve and sharpening."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from photo_check.fields import Plane, Random, ease, resized, rough


def hand_shadow(rng: Random, size: tuple[int, int]) -> Plane | None:
    """A soft shadow across the photo, now and then."""
    if rng.random() < 0.55:
        return None
    small = (size[0] // 8, size[1] // 8)
    x, y = np.meshgrid(np.linspace(-1, 1, small[1]), np.linspace(-0.75, 0.75, small[0]))
    turn, far = rng.uniform(0, 2 * np.pi), rng.uniform(-0.3, 0.6)
    edge = x * np.cos(turn) + y * np.sin(turn) - far + 0.08 * rough(rng, small, small[1] / 2, 2)
    if rng.random() < 0.5:  # the phone's own: a band
        edge = rng.uniform(0.15, 0.4) - np.abs(edge)
    soft = rng.uniform(0.02, 0.35)
    return resized(1 - rng.uniform(0.15, 0.6) * ease(edge.astype(np.float32), -soft, soft), size)


def developed(linear: Plane, rng: Random) -> NDArray[np.uint8]:
    """8-bit RGB as a phone makes it of linear light: vignetting, blur, balance, noise, curve, sharpening."""
    columns = linear.shape[1]
    linear = _weakened(linear, rng)
    sigma = float(np.exp(rng.uniform(np.log(0.4), np.log(1.5)))) * (columns / 3000) ** 0.5
    linear = cv2.GaussianBlur(linear, (0, 0), sigma)
    if rng.random() < 0.2:
        linear = cv2.filter2D(linear, -1, _smear(rng, columns / 3000))
    middle = np.median(linear[::16, ::16].reshape(-1, 3), axis=0)
    # The phone corrects the light's colour in part, and exposes for the middle, but not so that much burns out.
    balance = (middle.mean() / np.maximum(middle, 0.02)) ** rng.uniform(0, 0.5) * np.exp(
        rng.normal(0, 0.05, 3)
    )
    exposure = np.exp(rng.uniform(np.log(0.08), np.log(0.2))) / max(float(middle.mean()), 0.02)
    bright = float(np.quantile(linear[::16, ::16].mean(axis=2), 0.95))
    exposure = min(exposure, rng.uniform(0.3, 0.8) / max(bright, 0.02))
    veil = rng.uniform(0, 0.02)
    linear = cv2.transform(linear, np.column_stack([np.diag(balance * exposure), np.full(3, veil)]))
    tile = rng.standard_normal((512, 768, 3), dtype=np.float32)
    if rng.random() < 0.7:  # demosaicing and noise reduction leave it clumped
        tile = cv2.GaussianBlur(tile, (0, 0), rng.uniform(0.5, 1.1))
    grain = np.tile(tile, (linear.shape[0] // 512 + 1, columns // 768 + 1, 1))[: linear.shape[0], :columns]
    shot = cv2.sqrt(np.maximum(linear, 0, out=linear))
    shot *= np.float32(rng.uniform(0.003, 0.03))
    shot += np.float32(0.002)
    shot *= grain
    linear += shot
    linear *= np.float32(4095 / 1.4)
    index = np.clip(linear, 0, 4095, out=linear).astype(np.uint16)
    shade = np.linspace(0, 1.4, 4096)
    shade = (
        np.where(shade > 0.8, 0.8 + 0.2 * np.tanh((shade - 0.8) / 0.2), shade)
        if rng.random() < 0.7
        else shade.clip(0, 1)
    )
    shade = np.clip(shade, 0, 1) ** (1 / rng.uniform(1.9, 2.4))
    bend = rng.uniform(-0.05, 0.45)
    shade = shade * (1 - bend) + bend * shade * shade * (3 - 2 * shade)
    photo = np.asarray((255 * shade).astype(np.uint8)[index])
    strength = rng.uniform(0, 1.2) if rng.random() < 0.75 else 0.0
    if strength:
        soft = cv2.GaussianBlur(photo, (0, 0), rng.uniform(0.8, 2.2))
        photo = cv2.addWeighted(photo, 1 + strength, soft, -strength, 0)
    return _saturated(photo, rng.uniform(0.75, 1.2))


def _weakened(linear: Plane, rng: Random) -> Plane:
    """Corners darker, and now and then a hand's shadow."""
    size = linear.shape[:2]
    y, x = np.mgrid[-1:1:32j, -1:1:32j].astype(np.float32)
    factor = resized(1 - rng.uniform(0, 0.4) * (x * x + y * y) / 2, size)
    shadow = hand_shadow(rng, (size[0], size[1]))
    if shadow is not None:
        factor *= shadow
    linear *= factor[..., None]
    return linear


def _smear(rng: Random, scale: float) -> NDArray[np.float32]:
    length, turn = max(2.0, rng.uniform(2, 6) * scale), rng.uniform(0, np.pi)
    kernel = np.zeros((15, 15), np.uint8)
    reach = np.array([np.cos(turn), np.sin(turn)]) * length / 2 * 16
    ends = [(int(112 + s * reach[0]), int(112 + s * reach[1])) for s in (-1, 1)]
    cv2.line(kernel, ends[0], ends[1], 255, 1, cv2.LINE_AA, 4)
    return np.asarray(kernel / np.float32(kernel.sum()), np.float32)


def _saturated(photo: NDArray[np.uint8], amount: float) -> NDArray[np.uint8]:
    luma = np.array([0.299, 0.587, 0.114])
    matrix = amount * np.eye(3) + (1 - amount) * np.tile(luma, (3, 1))
    return np.asarray(cv2.transform(photo, matrix), np.uint8)
