"""Photos of a tag as a bench in use gives them: tilted, blurred, scratched, in low light. Invented, with fixed seeds."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray

Grey = NDArray[Any]
KINDS = ("blur", "scratch", "tilt", "low light", "all at once")


@dataclass(frozen=True)
class Degraded:
    """A photo and what was done to it."""

    kind: str
    picture: Grey
    how: str


def renders(label: Grey, count: int, seed: int) -> Iterator[Degraded]:
    """``count`` photos of ``label`` (grey, paper white), the kinds in turn.

    Every photo has the label turned, at 4 to 9 pixels a module of its code (as from 20 to 50 cm), on a grey bench and
    with sensor noise. Blur: 0.3 to 0.6 modules standard deviation, or motion of 0.5 to 1.4 modules. Scratch: 1 or 2 lines, bright or
    dark, 0.15 to 0.4 modules wide, from anywhere to anywhere on the code. Tilt: up to 50 degrees. Low light: 12 to 25 % of full scale,
    with shot noise and a shadow's edge. All at once: 0.45 of each together.
    """
    draw = np.random.default_rng(seed)
    for number in range(count):
        yield _render(label, KINDS[number % len(KINDS)], draw)


def _render(label: Grey, kind: str, draw: np.random.Generator) -> Degraded:
    module = draw.uniform(4, 9)
    mild = 0.45 if kind == "all at once" else 1.0
    source, how = label, f"{module:.1f} px a module"
    if kind in ("scratch", "all at once"):
        source = _scratched(source, max(int(draw.integers(1, 3) * mild), 1), draw)
    tilt = draw.uniform(20, 50) * mild if kind in ("tilt", "all at once") else draw.uniform(0, 15)
    picture = _photographed(source, module, tilt, draw).astype(float)
    if kind in ("blur", "all at once"):
        picture = _blurred(picture, module * mild, draw)
    light = (
        draw.uniform(0.12, 0.25) / mild if kind in ("low light", "all at once") else draw.uniform(0.7, 1.0)
    )
    if kind in ("low light", "all at once"):
        edge = np.linspace(-1, 1, picture.shape[1]) * np.cos(draw.uniform(0, 3))
        picture *= np.where(edge > draw.uniform(-0.5, 0.5), 1.0, 0.55)[None, :]
    photons = np.maximum(picture * light, 0) * 4
    picture = draw.poisson(photons) / 4 + draw.normal(0, 2.5, picture.shape)
    return Degraded(
        kind, np.clip(picture, 0, 255).astype(np.uint8), f"{how}, tilt {tilt:.0f}, light {light:.2f}"
    )


_MODULE_PX = 8  # of the label as given


def _scratched(label: Grey, count: int, draw: np.random.Generator) -> Grey:
    out = label.copy()
    where = zxingcpp.read_barcodes(label)[0].position
    corners = [(c.y, c.x) for c in (where.top_left, where.top_right, where.bottom_right, where.bottom_left)]
    low, high = np.min(corners, axis=0), np.max(corners, axis=0)
    for _ in range(count):
        ends = draw.uniform(low, high, (2, 2))
        width = max(round(draw.uniform(0.15, 0.4) * _MODULE_PX), 1)
        a, b = ((int(x), int(y)) for y, x in ends)
        cv2.line(out, a, b, int(draw.choice([30, 235])), width, cv2.LINE_AA)
    return out


def _photographed(label: Grey, module: float, tilt_deg: float, draw: np.random.Generator) -> Grey:
    """Seen from a tilted camera two and a half label lengths away, turned by any angle, on a grey bench."""
    height, width = label.shape
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], float) - (width / 2, height / 2)
    turn, tilt = draw.uniform(0, 2 * np.pi), np.deg2rad(tilt_deg)
    rotate = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    points = corners @ rotate.T * (module / _MODULE_PX)
    away = 2.5 * max(height, width) * module / _MODULE_PX
    depth = away + points[:, 1] * np.sin(tilt)
    seen = np.column_stack((points[:, 0], points[:, 1] * np.cos(tilt))) * (away / depth)[:, None]
    size = int(np.ptp(seen, axis=0).max() * 1.25)
    seen += size / 2
    flat = np.add(corners, (width / 2, height / 2)).astype(np.float32)
    matrix = cv2.getPerspectiveTransform(flat, seen.astype(np.float32))
    smooth = cv2.GaussianBlur(label, (0, 0), max(0.3 * _MODULE_PX / module, 0.01))
    return cv2.warpPerspective(
        smooth, matrix, (size, size), flags=cv2.INTER_AREA, borderMode=cv2.BORDER_CONSTANT,
        borderValue=float(draw.uniform(60, 170)),
    )  # fmt: skip


def _blurred(picture: Grey, module: float, draw: np.random.Generator) -> Grey:
    if draw.random() < 0.5:
        return cv2.GaussianBlur(picture, (0, 0), module * draw.uniform(0.3, 0.6))
    length = max(int(module * draw.uniform(0.5, 1.4)), 2)
    kernel = np.zeros((length, length))
    cv2.line(kernel, (0, int(draw.integers(0, length))), (length - 1, int(draw.integers(0, length))), 1.0)
    return cv2.filter2D(picture, -1, kernel / kernel.sum())
