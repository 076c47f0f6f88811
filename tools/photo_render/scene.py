"""What a photograph shows besides the board: mask, battery, leak, light, camera, things lying about. One seed each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

RGB = tuple[float, float, float]
MASKS: dict[str, tuple[RGB, ...]] = {
    "green": (
        (0.03, 0.27, 0.10),
        (0.05, 0.34, 0.16),
        (0.02, 0.20, 0.12),
        (0.10, 0.36, 0.14),
        (0.08, 0.30, 0.22),
    ),
    "blue": ((0.03, 0.13, 0.40), (0.05, 0.18, 0.50), (0.04, 0.12, 0.28)),
    "tan": ((0.70, 0.56, 0.32), (0.62, 0.52, 0.34), (0.76, 0.64, 0.40), (0.60, 0.46, 0.24)),
    "brown": ((0.42, 0.22, 0.08), (0.30, 0.16, 0.07), (0.52, 0.28, 0.12)),
}
GAINS: dict[str, RGB] = {
    "neutral": (1.0, 1.0, 1.0), "warm": (1.12, 1.0, 0.76), "cool": (0.88, 1.0, 1.15),
    "very warm": (1.2, 0.98, 0.62), "greenish": (0.94, 1.05, 0.9),
}  # fmt: skip
_REACH_MM = {"none": 0.0, "light": 9.0, "moderate": 14.0, "heavy": 22.0}


@dataclass(frozen=True)
class Battery:
    """Kind (barrel, pack, block, coin), place, size [mm], angle, and whether it is still fitted."""

    kind: str
    x_mm: float
    y_mm: float
    length_mm: float
    width_mm: float
    angle_deg: float
    fitted: bool
    colour: RGB


@dataclass(frozen=True)
class Scene:
    """Everything drawn by lot for one photograph."""

    seed: int
    mask: str
    mask_rgb: RGB
    finish: str
    pour: bool
    track_sign: float
    silk: RGB
    battery: Battery
    grade: str
    reach_mm: float
    sources: tuple[tuple[float, float, float], ...]  # x, y [mm], weight
    labels: int
    wires: int
    flux: int
    dust: int
    gains: RGB
    exposure: float
    uneven: float
    shadows: int
    shadow_depth: float
    glare: int
    tilt_deg: float
    roll_deg: float
    fill: float
    photo_size: tuple[int, int]
    focal: float
    k1: float
    blur_px: float
    noise: float
    sharpen: float
    jpeg: int
    background: str
    lamp: tuple[float, float]  # direction the light comes from, board x and y
    click_sigma_px: float


def random_scene(seed: int, width_mm: float, height_mm: float, grade: str | None = None) -> Scene:
    """Draw a scene for a board of the given size."""
    rng = np.random.default_rng([seed, 23])
    mask = str(rng.choice(list(MASKS), p=[0.45, 0.15, 0.2, 0.2]))
    base = MASKS[mask][int(rng.integers(len(MASKS[mask])))]
    rgb = tuple(
        float(np.clip(c * rng.uniform(0.8, 1.2) + rng.uniform(-0.015, 0.015), 0.005, 0.9)) for c in base
    )
    grade = grade or str(rng.choice(list(_REACH_MM), p=[0.15, 0.2, 0.35, 0.3]))
    battery = _battery(rng, width_mm, height_mm)
    megapixels = float(rng.choice([2.0, 5.0, 8.0, 12.0], p=[0.4, 0.35, 0.15, 0.1]))
    wide = round((megapixels * 1e6 * 4 / 3) ** 0.5 / 16) * 16
    angle = rng.uniform(0, 2 * np.pi)
    gains = np.array(GAINS[str(rng.choice(list(GAINS), p=[0.35, 0.25, 0.2, 0.1, 0.1]))])
    return Scene(
        seed, mask, rgb, str(rng.choice(["tin", "tin", "tin", "gold", "copper"])),  # type: ignore[arg-type]
        bool(rng.random() < 0.5), float(rng.choice([1, 1, 1, -0.6])),
        (0.93, 0.92, 0.87) if rng.random() < 0.85 else (0.9, 0.8, 0.35),
        battery, grade, _REACH_MM[grade] * float(rng.uniform(0.75, 1.3)), _sources(rng, battery),
        int(rng.integers(0, 3)), int(rng.integers(0, 4)) if rng.random() < 0.4 else 0,
        int(rng.integers(0, 9)), int(rng.integers(10, 160)),
        tuple(float(g) for g in gains * rng.uniform(0.94, 1.06, 3)),  # type: ignore[arg-type]
        float(rng.uniform(0.7, 1.25)), float(rng.uniform(0.08, 0.42)), int(rng.integers(0, 3)),
        float(rng.uniform(0.15, 0.5)), int(rng.integers(0, 4)),
        float(rng.uniform(2, 25)), float(rng.uniform(-9, 9)), float(rng.uniform(0.62, 0.82)),
        (wide, wide * 3 // 4), float(rng.uniform(1.02, 1.35)), float(rng.uniform(-0.035, 0.02)),
        float(rng.uniform(0.5, 1.3)), float(rng.uniform(0.004, 0.022)), float(rng.uniform(0, 0.7)),
        int(rng.integers(66, 90)), str(rng.choice(["wood", "grey", "mat", "cloth"])),
        (float(np.cos(angle)), float(np.sin(angle))), 3.0 * wide / 4000,
    )  # fmt: skip


def _battery(rng: np.random.Generator, width_mm: float, height_mm: float) -> Battery:
    kind = str(rng.choice(["barrel", "pack", "block", "coin"]))
    length, width = {"barrel": (26, 14.5), "pack": (24, 15.5), "block": (30, 13), "coin": (23, 21)}[kind]
    edge = 18.0
    x, y = rng.uniform(edge, width_mm - edge), rng.uniform(edge, height_mm - edge)
    colours: tuple[RGB, ...] = (
        (0.08, 0.16, 0.55), (0.1, 0.45, 0.2), (0.75, 0.62, 0.1), (0.6, 0.1, 0.1), (0.15, 0.15, 0.15), (0.55, 0.3, 0.1),
    )  # fmt: skip
    return Battery(
        kind, float(x), float(y), float(length), float(width), float(rng.choice([0, 90])),
        bool(rng.random() < 0.4), colours[int(rng.integers(len(colours)))],
    )  # fmt: skip


def _sources(rng: np.random.Generator, battery: Battery) -> tuple[tuple[float, float, float], ...]:
    """Where it leaks: at the battery's ends, and now and then further along."""
    angle = np.deg2rad(battery.angle_deg)
    along = np.array([np.cos(angle), np.sin(angle)])
    out = []
    for sign in (-1, 1):
        if rng.random() < 0.85:
            at = np.array([battery.x_mm, battery.y_mm]) + along * sign * battery.length_mm / 2 * rng.uniform(
                0.6, 1.1
            )
            out.append((float(at[0]), float(at[1]), float(rng.uniform(0.7, 1.0))))
    for _ in range(int(rng.integers(0, 3))):
        at = np.array([battery.x_mm, battery.y_mm]) + rng.normal(0, 16, 2)
        out.append((float(at[0]), float(at[1]), float(rng.uniform(0.3, 0.75))))
    return tuple(out) or ((battery.x_mm, battery.y_mm, 1.0),)
