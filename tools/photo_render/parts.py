"""Parts, battery, labels, wires and dirt on a board, seen by a near camera: tall things lean outwards."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from coppermend.board.model import Board, Part
from coppermend.board.packages import body_height_mm, body_shape
from coppermend.damage.layers import Canvas
from photo_render.noise import cloud, smooth
from photo_render.scene import Scene
from photo_render.surface import Picture, mix, soft

Field = NDArray[np.float32]
_SHIFT = 4


@dataclass
class Stage:
    """The picture so far, the bare surface, where parts cover it, and how high they stand (0..1, for low parts)."""

    picture: Picture
    surface: Picture
    covered: NDArray[np.uint8]
    low: NDArray[np.uint8]
    shadow: Field
    canvas: Canvas
    scene: Scene
    camera_mm: NDArray[np.float64]  # x, y, height above the board
    rng: np.random.Generator

    def lean(self, xy_mm: NDArray[np.float64], height_mm: float) -> NDArray[np.float64]:
        """Where points at a height appear in the board's plane."""
        share = height_mm / (self.camera_mm[2] - height_mm)
        return xy_mm + (xy_mm - self.camera_mm[:2]) * share

    def fill(
        self, xy_mm: NDArray[np.float64], colour: object, low: bool = False
    ) -> tuple[slice, slice, Field]:
        """Draw a polygon; returns the window it lies in and its coverage there."""
        corners = self.canvas.fine(np.asarray(xy_mm, dtype=float))
        x, y = corners[:, 0] >> _SHIFT, corners[:, 1] >> _SHIFT
        rows, columns = self.canvas.shape
        c0, c1 = max(0, int(x.min()) - 2), min(columns, int(x.max()) + 3)
        r0, r1 = max(0, int(y.min()) - 2), min(rows, int(y.max()) + 3)
        if c1 <= c0 or r1 <= r0:
            return slice(0, 0), slice(0, 0), np.zeros((0, 0), np.float32)
        cover = np.zeros((r1 - r0, c1 - c0), np.uint8)
        cv2.fillPoly(
            cover, [corners - np.array([c0, r0], np.int32) * (1 << _SHIFT)], 255, cv2.LINE_AA, _SHIFT
        )
        window = slice(r0, r1), slice(c0, c1)
        share = soft(cover)
        patch = self.picture[window]
        patch += (np.asarray(colour, np.float32) - patch) * share[..., None]
        np.maximum(self.covered[window], cover, out=self.covered[window])
        self.low[window] = np.where(cover > 127, 255 if low else 0, self.low[window])
        return (*window, share)

    def cast(self, xy_mm: NDArray[np.float64], height_mm: float) -> None:
        """Add a drop shadow."""
        away = -np.array(self.scene.lamp) * height_mm * 0.35
        hull = shapely.MultiPoint(np.vstack([xy_mm, xy_mm + away])).convex_hull
        if hull.geom_type == "Polygon":
            corners = self.canvas.fine(shapely.get_coordinates(hull)[:-1]) // 4
            cv2.fillPoly(self.shadow, [corners], 1.0, cv2.LINE_AA, _SHIFT)  # type: ignore[call-overload]


def _tint(rng: np.random.Generator, colour: object, by: float = 0.12) -> NDArray[np.float32]:
    return np.clip(np.asarray(colour, np.float32) * rng.uniform(1 - by, 1 + by, 3), 0, 1).astype(np.float32)


def _prism(
    stage: Stage, base: NDArray[np.float64], height_mm: float, side: object, top: object, low: bool = False
) -> tuple[slice, slice, Field]:
    """A straight-sided body: its leaning walls, then its top."""
    upper = stage.lean(base, height_mm)
    hull = shapely.MultiPoint(np.vstack([base, upper])).convex_hull
    stage.fill(shapely.get_coordinates(hull)[:-1], side, low)
    rows, columns, cover = stage.fill(upper, top, low)
    patch = stage.picture[rows, columns]
    patch *= 1 + 0.03 * (smooth(stage.rng, patch.shape[:2], 1.5) * cover)[..., None] if patch.size else 1
    return rows, columns, cover


def _disc(x: float, y: float, diameter: float) -> NDArray[np.float64]:
    turn = np.linspace(0, 2 * np.pi, 28, endpoint=False)
    return np.column_stack([x + diameter / 2 * np.cos(turn), y + diameter / 2 * np.sin(turn)])


def _box(x: float, y: float, along: NDArray[np.float64], length: float, width: float) -> NDArray[np.float64]:
    across = np.array([-along[1], along[0]])
    corners = [(s * length / 2, t * width / 2) for s, t in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    return np.array([[x, y] + a * along + b * across for a, b in corners])


def draw_parts(stage: Stage, board: Board, keep_out: shapely.Geometry) -> None:
    """All parts but those in the battery's way; low ones first."""
    rng = stage.rng
    pads: dict[str, list[tuple[float, float]]] = {}
    for pad in board.pads:
        pads.setdefault(pad.refdes, []).append((pad.x_mm, pad.y_mm))
    fitted = []
    for part in board.parts:
        body = body_shape(board, part)
        if (
            body.is_empty
            or part.package.startswith("HOLE")
            or body.intersects(keep_out)
            or rng.random() < 0.04
        ):
            continue
        fitted.append((body_height_mm(part) or 5.0, part, body))
    for height, _, body in fitted:
        stage.cast(shapely.get_coordinates(body.convex_hull)[:-1], height)
    flush_shadow(stage)
    for height, part, body in sorted(fitted, key=lambda row: row[0]):
        _draw(stage, part, body, height, np.array(pads.get(part.refdes, [(part.x_mm, part.y_mm)])))


def flush_shadow(stage: Stage) -> None:
    """Darken what the shadows fall on."""
    rows, columns = stage.canvas.shape
    dark = cv2.GaussianBlur(stage.shadow, (0, 0), max(0.8, 0.18 * stage.canvas.px_per_mm))
    full = cv2.resize(dark, (columns, rows), interpolation=cv2.INTER_LINEAR)
    stage.picture *= 1 - np.float32(stage.rng.uniform(0.2, 0.5)) * full[..., None]
    stage.shadow[:] = 0


def _axis(pads: NDArray[np.float64], body: shapely.Geometry) -> NDArray[np.float64]:
    left, bottom, right, top = body.bounds
    if len(pads) == 2 and np.hypot(*(pads[1] - pads[0])) > 0.1:
        return (pads[1] - pads[0]) / np.hypot(*(pads[1] - pads[0]))
    return np.array([1.0, 0.0]) if right - left >= top - bottom else np.array([0.0, 1.0])


def _draw(stage: Stage, part: Part, body: shapely.Geometry, height: float, pads: NDArray[np.float64]) -> None:
    rng = stage.rng
    kind = part.package.split("-")[0].upper()
    base = shapely.get_coordinates(body.convex_hull)[:-1]
    middle = np.array(body.centroid.coords[0])
    along = _axis(pads, body)
    if kind in ("DIP", "SIP", "RNET", "SW") and "PUSH" not in part.package.upper():
        _chip(stage, part, base, middle, along, height, pads)
    elif kind == "AXIAL":
        _axial(stage, base, middle, along, pads)
    elif kind == "DISC":
        colour = [(0.1, 0.3, 0.7), (0.1, 0.42, 0.2), (0.85, 0.65, 0.15), (0.85, 0.45, 0.1), (0.6, 0.4, 0.2)][
            int(rng.integers(5))
        ]
        tone = _tint(rng, colour)
        _prism(stage, base, height * rng.uniform(0.7, 1.1), tone * 0.75, tone)
        _shine(stage, middle, 1.2, height)
    elif kind in ("RADIAL", "LED", "TO"):
        _round(stage, kind, body, middle, height)
    elif kind in ("HDR", "EDGE"):
        _header(stage, base, height, pads)
    elif kind in ("HC", "SW", "TRIM"):
        tone = _tint(
            rng, {"HC": (0.68, 0.68, 0.67), "SW": (0.5, 0.5, 0.5), "TRIM": (0.1, 0.25, 0.6)}[kind], 0.06
        )
        _prism(stage, base, height * 0.6, tone * 0.6, tone)
        inner = _disc(*middle, 3.2) if kind != "HC" else base * 0.8 + middle * 0.2
        stage.fill(
            stage.lean(inner, height * 0.65),
            tone * (1.08 if kind == "HC" else 0.2 if kind == "SW" else 1.0) + (0.3 if kind == "TRIM" else 0),
        )
    else:
        tone = _tint(rng, [(0.06, 0.06, 0.06), (0.6, 0.6, 0.6), (0.85, 0.85, 0.8)][int(rng.integers(3))])
        _prism(stage, base, height, tone * 0.7, tone)


def _chip(
    stage: Stage,
    part: Part,
    base: NDArray[np.float64],
    middle: NDArray[np.float64],
    along: NDArray[np.float64],
    height: float,
    pads: NDArray[np.float64],
) -> None:
    rng = stage.rng
    tone = _tint(rng, (0.07, 0.07, 0.075), 0.3)
    length, width = _extent(base, middle, along)
    inner = _box(*middle, along, length, max(width * rng.uniform(0.78, 0.92), 2.2))
    if part.socketed and rng.random() < 0.4:
        _prism(stage, base, 3.0, tone * 0.6, tone)
        window = _box(*middle, along, length - 5, max(width - 5, 1.0))
        rows, columns, cover = stage.fill(window, stage.scene.mask_rgb)
        # An empty socket is a frame: the surface, and what grows on it, shows inside.
        patch = stage.picture[rows, columns]
        patch += (stage.surface[rows, columns] * 0.85 - patch) * cover[..., None]
        stage.covered[rows, columns] = np.where(cover > 0.5, 0, stage.covered[rows, columns])
        for x, y in pads:
            stage.fill(stage.lean(_box(x, y, along, 0.7, 0.45), 3.0), (0.6, 0.5, 0.3))
        return
    if part.socketed:
        _prism(stage, base, 3.5, tone * 0.6, tone * 0.9)
    for x, y in pads:
        toward = middle - [x, y]
        across = toward - along * float(toward @ along)
        size = np.hypot(*across)
        at = np.array([x, y]) + (across / size * 0.6 if size > 0.5 else 0)
        stage.fill(stage.lean(_box(*at, along, 1.3, 1.5), height * 0.5), _tint(rng, (0.62, 0.62, 0.60), 0.15))
    _prism(stage, inner, height, tone * 0.55, tone)
    _lettering(stage, part, inner, middle, along, height, length)
    if length > 25 and rng.random() < 0.3:
        label = _box(*middle, along, length * 0.4, width * 0.6)
        paper = _tint(
            rng,
            [(0.9, 0.9, 0.86), (0.62, 0.56, 0.4), (0.7, 0.8, 0.9), (0.85, 0.8, 0.4)][int(rng.integers(4))],
            0.05,
        )
        stage.fill(stage.lean(label, height), paper)
        _words(stage, stage.lean(label, height), "V3.2", along, (0.1, 0.1, 0.12))


def _extent(
    base: NDArray[np.float64], middle: NDArray[np.float64], along: NDArray[np.float64]
) -> tuple[float, float]:
    across = np.array([-along[1], along[0]])
    return 2 * float(np.abs((base - middle) @ along).max()), 2 * float(np.abs((base - middle) @ across).max())


def _lettering(
    stage: Stage,
    part: Part,
    inner: NDArray[np.float64],
    middle: NDArray[np.float64],
    along: NDArray[np.float64],
    height: float,
    length: float,
) -> None:
    words = f"{stage.rng.integers(74, 99)}{part.refdes}{stage.rng.integers(100, 999)}"
    _words(
        stage, stage.lean(_box(*middle, along, length * 0.6, 2.4), height), words, along, (0.28, 0.28, 0.28)
    )


def _words(
    stage: Stage, box_mm: NDArray[np.float64], words: str, along: NDArray[np.float64], ink: object
) -> None:
    """Words in the middle of a box, along it."""
    scale = stage.canvas.px_per_mm
    upright = abs(along[1]) > abs(along[0])
    spans = np.ptp(box_mm, axis=0) * scale
    w, h = (spans[1], spans[0]) if upright else (spans[0], spans[1])
    size = max(6, int(min(h * 0.75, w / max(1, len(words)) * 1.5)))
    paper = Image.fromarray(np.zeros((max(2, int(h)), max(2, int(w))), np.uint8))
    ImageDraw.Draw(paper).text((w * 0.05, h * 0.05), words, fill=255, font=ImageFont.load_default(size))
    cover = np.asarray(paper)
    cover = np.rot90(cover) if upright else cover
    centre = box_mm.mean(axis=0)
    left, top = (
        int(centre[0] * scale - cover.shape[1] / 2),
        int((stage.canvas.height_mm - centre[1]) * scale - cover.shape[0] / 2),
    )
    if left < 0 or top < 0:
        return
    patch = stage.picture[top : top + cover.shape[0], left : left + cover.shape[1]]
    share = soft(np.ascontiguousarray(cover[: patch.shape[0], : patch.shape[1]])) * 0.8
    patch += (np.asarray(ink, np.float32) - patch) * share[..., None]


_BANDS = (
    (0.1, 0.1, 0.1),
    (0.4, 0.2, 0.1),
    (0.75, 0.1, 0.1),
    (0.9, 0.45, 0.1),
    (0.9, 0.8, 0.2),
    (0.1, 0.5, 0.2),
    (0.1, 0.2, 0.7),
    (0.5, 0.2, 0.6),
    (0.75, 0.6, 0.2),
)


def _axial(
    stage: Stage,
    base: NDArray[np.float64],
    middle: NDArray[np.float64],
    along: NDArray[np.float64],
    pads: NDArray[np.float64],
) -> None:
    rng = stage.rng
    tone = _tint(
        rng,
        [
            (0.80, 0.66, 0.46),
            (0.80, 0.66, 0.46),
            (0.35, 0.62, 0.78),
            (0.2, 0.35, 0.25),
            (0.7, 0.3, 0.15),
            (0.12, 0.12, 0.12),
        ][int(rng.integers(6))],
    )
    length, width = _extent(base, middle, along)
    if len(pads) == 2:
        span = float(np.hypot(*(pads[1] - pads[0])))
        stage.fill(_box(*middle, along, span, 0.6), _tint(rng, (0.66, 0.66, 0.64)), low=True)
    across = np.array([-along[1], along[0]])
    _prism(stage, _box(*middle, along, length, width), 1.6, tone * 0.7, tone, low=True)
    top = stage.lean(middle[None, :], 1.6)[0]
    stage.fill(
        _box(*(top + across * width * 0.12), along, length * 0.9, width * 0.25),
        np.clip(tone * 1.25, 0, 1),
        low=True,
    )
    for place in np.linspace(-0.32, 0.32, int(rng.integers(1, 6))):
        stage.fill(
            _box(*(top + along * length * place), along, 0.5, width),
            _tint(rng, _BANDS[int(rng.integers(len(_BANDS)))]),
            low=True,
        )


def _round(
    stage: Stage, kind: str, body: shapely.Geometry, middle: NDArray[np.float64], height: float
) -> None:
    rng = stage.rng
    left, bottom, right, top = body.bounds
    diameter = min(right - left, top - bottom)
    base = _disc(*middle, diameter) if kind != "TO" else shapely.get_coordinates(body.convex_hull)[:-1]
    if kind == "RADIAL":
        tone = _tint(
            rng,
            [(0.15, 0.1, 0.4), (0.05, 0.07, 0.12), (0.07, 0.3, 0.16), (0.1, 0.2, 0.5), (0.3, 0.15, 0.1)][
                int(rng.integers(5))
            ],
        )
        height = diameter * rng.uniform(1.0, 1.7)
        _prism(stage, base, height, tone, tone)
        stage.fill(stage.lean(_disc(*middle, diameter * 0.86), height), _tint(rng, (0.72, 0.72, 0.70), 0.06))
        return
    colours = (
        [(0.8, 0.1, 0.08), (0.85, 0.65, 0.1), (0.12, 0.55, 0.2), (0.8, 0.83, 0.85)]
        if kind == "LED"
        else [(0.07, 0.07, 0.07)]
    )
    tone = _tint(rng, colours[int(rng.integers(len(colours)))])
    _prism(stage, base, height * 0.6, tone * 0.7, tone)
    if kind == "LED":
        stage.fill(stage.lean(_disc(*middle, diameter * 0.7), height * 0.8), np.clip(tone * 1.1, 0, 1))
        _shine(stage, middle, 1.0, height)


def _shine(stage: Stage, middle: NDArray[np.float64], size: float, height: float) -> None:
    at = stage.lean(middle[None, :], height)[0] + np.array(stage.scene.lamp) * size * 0.4
    column, row = (
        int(at[0] * stage.canvas.px_per_mm),
        int((stage.canvas.height_mm - at[1]) * stage.canvas.px_per_mm),
    )
    reach = max(2, int(size * stage.canvas.px_per_mm))
    patch = stage.picture[max(0, row - reach) : row + reach, max(0, column - reach) : column + reach]
    if patch.size:
        r, c = np.mgrid[: patch.shape[0], : patch.shape[1]]
        glow = np.exp(-((r - patch.shape[0] / 2) ** 2 + (c - patch.shape[1] / 2) ** 2) / (reach * 0.4) ** 2)
        patch += (0.5 * glow[..., None]).astype(np.float32)


def _header(stage: Stage, base: NDArray[np.float64], height: float, pads: NDArray[np.float64]) -> None:
    rng = stage.rng
    tone = _tint(rng, [(0.06, 0.06, 0.06), (0.06, 0.06, 0.06), (0.85, 0.84, 0.78)][int(rng.integers(3))])
    female = rng.random() < 0.5
    body = 8.5 if female else 2.5
    _prism(stage, base, body, tone * 0.6, tone)
    for x, y in pads:
        if female:
            stage.fill(stage.lean(_box(x, y, np.array([1.0, 0]), 0.7, 0.7), body), (0.3, 0.25, 0.12))
        else:
            foot, tip = (
                stage.lean(np.array([[x, y]]), body)[0],
                stage.lean(np.array([[x, y]]), max(height, 8))[0],
            )
            square = _box(0, 0, np.array([1.0, 0]), 0.65, 0.65)
            hull = shapely.MultiPoint(np.vstack([square + foot, square + tip])).convex_hull
            stage.fill(shapely.get_coordinates(hull)[:-1], (0.75, 0.6, 0.3))


def battery_shape(scene: Scene) -> shapely.Geometry:
    """What the battery covers [mm]."""
    b = scene.battery
    if b.kind == "coin":
        return shapely.Point(b.x_mm, b.y_mm).buffer(b.width_mm / 2)
    angle = np.deg2rad(b.angle_deg)
    return shapely.Polygon(
        _box(b.x_mm, b.y_mm, np.array([np.cos(angle), np.sin(angle)]), b.length_mm, b.width_mm)
    )


def draw_battery(stage: Stage) -> None:
    """The battery, when it is still fitted."""
    b, rng = stage.scene.battery, stage.rng
    if not b.fitted:
        return
    tone = _tint(rng, b.colour, 0.1)
    base = shapely.get_coordinates(battery_shape(stage.scene))[:-1]
    stage.cast(base, 9)
    flush_shadow(stage)
    if b.kind == "coin":
        _prism(stage, base, 4, tone * 0.4, (0.75, 0.75, 0.73))
        return
    angle = np.deg2rad(b.angle_deg)
    along = np.array([np.cos(angle), np.sin(angle)])
    across = np.array([-along[1], along[0]])
    height = b.width_mm * 0.8
    hull = shapely.MultiPoint(np.vstack([base, stage.lean(base, height * 0.5)])).convex_hull
    stage.fill(shapely.get_coordinates(hull)[:-1], tone * 0.5)
    count = 9
    for strip in range(count):
        t = (strip + 0.5) / count * 2 - 1
        centre = np.array([b.x_mm, b.y_mm]) + across * t * b.width_mm / 2
        rise = height * (0.5 + 0.5 * np.sqrt(max(0.0, 1 - t * t)))
        band = _box(*centre, along, b.length_mm, b.width_mm / count * 1.25)
        shade = 0.55 + 0.5 * np.sqrt(max(0.0, 1 - t * t)) + 0.25 * np.exp(-((t - 0.3) ** 2) / 0.03)
        stage.fill(stage.lean(band, rise), np.clip(tone * shade, 0, 1))
    _words(
        stage,
        stage.lean(_box(b.x_mm, b.y_mm, along, b.length_mm * 0.8, 4), height),
        "3.6V 60mAh",
        along,
        (0.8, 0.8, 0.75),
    )


def crust_on_low(stage: Stage, crusted: Picture, severity: Field, field: Field) -> Field:
    """Thick crust grows over low parts and the battery's ends; returns the severity that is seen."""
    over = (field > 0.62 + 0.06 * cloud(stage.rng, stage.canvas.shape, stage.canvas.px_per_mm, 3)) & (
        stage.low > 127
    )
    share = cv2.GaussianBlur(over.astype(np.float32), (0, 0), 0.7)
    stage.picture += (crusted - stage.picture) * share[..., None]
    free = (stage.covered < 128) | over
    return np.where(free, severity, 0).astype(np.float32)


def draw_flux_and_dust(stage: Stage, board: Board) -> None:
    """Amber flux about pads, dust and fibres: none of it corrosion."""
    rng, canvas, scale = stage.rng, stage.canvas, stage.canvas.px_per_mm
    for _ in range(stage.scene.flux):
        pad = board.pads[int(rng.integers(len(board.pads)))]
        _blot(stage, pad.x_mm + rng.normal(0, 1), pad.y_mm + rng.normal(0, 1), float(rng.uniform(1.5, 5)))
    for _ in range(stage.scene.dust):
        x, y = int(rng.uniform(0, canvas.shape[1])), int(rng.uniform(0, canvas.shape[0]))
        tone = tuple(float(t) for t in rng.uniform(0.6, 0.95) * np.ones(3))
        cv2.circle(
            stage.picture, (x, y), max(1, round(rng.uniform(0.04, 0.16) * scale)), tone, -1, cv2.LINE_AA
        )
    for _ in range(int(rng.integers(0, 6))):
        start = rng.uniform(0, 1, 2) * [canvas.shape[1], canvas.shape[0]]
        steps = np.cumsum(np.cumsum(rng.normal(0, 0.12 * scale, (14, 2)), axis=0), axis=0) + start
        tone = tuple(float(t) for t in rng.uniform(0.5, 0.9) * np.ones(3))
        cv2.polylines(
            stage.picture, [steps.astype(np.int32)], False, tone, max(1, round(0.06 * scale)), cv2.LINE_AA
        )


def _blot(stage: Stage, x: float, y: float, radius: float) -> None:
    scale = stage.canvas.px_per_mm
    reach = int(radius * 1.6 * scale)
    column, row = int(x * scale), int((stage.canvas.height_mm - y) * scale)
    patch = stage.picture[max(0, row - reach) : row + reach, max(0, column - reach) : column + reach]
    if min(patch.shape[:2]) < 8:
        return
    r, c = np.mgrid[: patch.shape[0], : patch.shape[1]].astype(np.float32)
    distance = np.hypot(r - patch.shape[0] / 2, c - patch.shape[1] / 2) / (radius * scale)
    wobble = distance + 0.2 * smooth(stage.rng, patch.shape[:2], max(2.0, 0.8 * scale))
    share = np.clip((1.0 - wobble) * 4, 0, 1) * np.float32(stage.rng.uniform(0.25, 0.7))
    amber = np.asarray(stage.rng.uniform((0.45, 0.25, 0.02), (0.75, 0.5, 0.15)), np.float32)
    patch += (patch * 0.4 + amber * 0.5 - patch) * share[..., None].astype(np.float32)


def draw_labels_and_wires(stage: Stage) -> None:
    """Paper labels with a bar code, and repair wires across the board."""
    rng, canvas = stage.rng, stage.canvas
    for _ in range(stage.scene.labels):
        w, h = rng.uniform(12, 28), rng.uniform(7, 14)
        x, y = (
            rng.uniform(w / 2 + 2, canvas.width_mm - w / 2 - 2),
            rng.uniform(h / 2 + 2, canvas.height_mm - h / 2 - 2),
        )
        turn = rng.normal(0, 0.04)
        along = np.array([np.cos(turn), np.sin(turn)])
        paper = _tint(
            rng,
            [(0.93, 0.92, 0.87), (0.93, 0.92, 0.87), (0.75, 0.86, 0.9), (0.85, 0.9, 0.75)][
                int(rng.integers(4))
            ],
            0.04,
        )
        stage.fill(_box(x, y, along, w, h), paper)
        across = np.array([-along[1], along[0]])
        _words(
            stage,
            _box(x, y + h * 0.22, along, w * 0.8, h * 0.4),
            f"SN {rng.integers(100000, 999999)}",
            along,
            (0.1, 0.1, 0.1),
        )
        at = -w * 0.35
        while at < w * 0.35:
            bar = rng.uniform(0.15, 0.6)
            stage.fill(
                _box(*(np.array([x, y]) + along * at - across * h * 0.2), along, bar, h * 0.4),
                (0.08, 0.08, 0.08),
            )
            at += bar + rng.uniform(0.2, 0.6)
    for _ in range(stage.scene.wires):
        ends = rng.uniform([4, 4], [canvas.width_mm - 4, canvas.height_mm - 4], (2, 2))
        bend = ends.mean(axis=0) + rng.normal(0, 12, 2)
        t = np.linspace(0, 1, 30)[:, None]
        path = (1 - t) ** 2 * ends[0] + 2 * t * (1 - t) * bend + t**2 * ends[1]
        tone = _tint(
            rng,
            [
                (0.1, 0.5, 0.2),
                (0.1, 0.25, 0.7),
                (0.8, 0.1, 0.1),
                (0.85, 0.8, 0.2),
                (0.85, 0.85, 0.85),
                (0.1, 0.6, 0.65),
            ][int(rng.integers(6))],
        )
        width = rng.uniform(0.7, 1.4)
        line = shapely.LineString(path)
        stage.fill(shapely.get_coordinates(line.buffer(width / 2).exterior)[:-1], tone * 0.8)
        stage.fill(
            shapely.get_coordinates(shapely.affinity.translate(line, 0.1, 0.1).buffer(width / 5).exterior)[
                :-1
            ],
            np.clip(tone * 1.2, 0, 1),
        )


__all__ = [
    "Stage", "battery_shape", "crust_on_low", "draw_battery", "draw_flux_and_dust", "draw_labels_and_wires", "draw_parts",
    "flush_shadow", "mix",
]  # fmt: skip
