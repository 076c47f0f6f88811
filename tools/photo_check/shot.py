"""One photograph with its truth: everything put together from a board and a seed."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from coppermend.board.model import Board
from coppermend.damage.camera import View
from coppermend.damage.layers import Canvas, DrawnLayers, draw_layers
from coppermend.damage.maps import PX_PER_MM
from coppermend.damage.rectify import rectify
from photo_check import laid, marks, surface
from photo_check.bodies import Painter, tone
from photo_check.camera import Lens, Light, random_lens, random_light
from photo_check.crust import corrode
from photo_check.fields import Plane, Random, ease, leak, resized, rough
from photo_check.fittings import fitted
from photo_check.sensor import developed
from photo_check.things import Thing

CLEAN_SHARE = 0.2
_STREAMS = (
    "kind", "lens", "light", "battery", "leak", "board", "hands", "crust", "dust", "parts", "loose", "shadow", "gloss",
    "sensor", "file", "clicks",
)  # fmt: skip
_BURNT, _GLARE = 252, 0.3
_LOW_MM = 4.5  # crust grows over what is lower


@dataclass(frozen=True)
class Shot:
    """A photograph (rows, columns, RGB), its file, how it sees the board, the severity seen at 4 px/mm, and what it is."""

    photo: NDArray[np.uint8]
    jpeg: bytes
    view: View
    severity: NDArray[np.uint8]
    clicked_px: NDArray[np.float64]
    mask: str
    grade: str


def shoot(board: Board, seed: int, size: tuple[int, int], fill: float, grade: str | None = None) -> Shot:
    """Photograph ``board`` at ``size`` (columns, rows); the same seed gives the same picture.

    ``grade`` is "none", "light", "moderate" or "heavy", or None to draw it.
    """
    # Each thing has a stream of its own: the same seed without a leak is the same photograph, sound.
    chance = {name: np.random.default_rng([seed, 101 + number]) for number, name in enumerate(_STREAMS)}
    mask = str(chance["kind"].choice(surface.MASKS))
    drawn = (
        "none"
        if chance["kind"].random() < CLEAN_SHARE
        else str(chance["kind"].choice(["light", "moderate", "heavy"]))
    )
    grade = grade or drawn
    lens = random_lens(chance["lens"], board.width_mm, board.height_mm, size[::-1], fill)
    light = random_light(chance["light"], board.width_mm, board.height_mm)
    scale = min(lens.px_per_mm, 14.0)
    layers = draw_layers(board, scale)
    standing, room, leaks = laid.battery(board, chance["battery"])
    attack = _attack(board, layers, scale, leaks, grade, chance["leak"])
    out = surface.bare(board, layers, scale, mask, chance["board"])
    marks.handled(out, board, layers, chance["hands"])
    if not standing and chance["hands"].random() < 0.6:
        marks.spot_left(out, board.height_mm, room, chance["hands"])
    severity = corrode(out, layers, attack, chance["crust"]) if attack.any() else attack
    marks.dusted(out, chance["dust"])
    canvas = Canvas(board.width_mm, board.height_mm, PX_PER_MM)
    coarse = np.asarray(cv2.resize(severity, canvas.shape[::-1], interpolation=cv2.INTER_AREA))

    def at(x_mm: float, y_mm: float) -> float:
        r, c = int((board.height_mm - y_mm) * PX_PER_MM), int(x_mm * PX_PER_MM)
        return float(coarse[min(max(r, 0), coarse.shape[0] - 1), min(max(c, 0), coarse.shape[1] - 1)])

    things = [*standing, *fitted(board, room, at, chance["parts"]), *laid.loose(board, chance["loose"])]
    shadow = _shadow(things, light, board.height_mm, out, chance["shadow"])
    sent, mirrored = surface.lit(out, light, lens.centre, board.height_mm, shadow, chance["gloss"])
    photo, seen = _exposed(board, lens, light, sent, severity, layers, things, scale, size, chance["sensor"])
    jpeg = cv2.imencode(
        ".jpg", photo[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, int(chance["file"].integers(60, 96))]
    )[1].tobytes()
    photo = np.asarray(cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)[..., ::-1], np.uint8)
    truth = rectify(seen, lens.view, canvas)
    burnt = rectify(((photo.min(axis=2) >= _BURNT) * 255).astype(np.uint8), lens.view, canvas)
    glare = cv2.resize(mirrored, canvas.shape[::-1], interpolation=cv2.INTER_AREA)
    truth[(burnt > 127) & (glare > _GLARE)] = (
        0  # nothing is seen there; white crust in full light is crust all the same
    )
    points = np.array([(p.x_mm, p.y_mm) for p in board.reference_points])
    clicks = chance["clicks"]
    clicked = lens.view.pixels(points) + clicks.normal(
        0, clicks.uniform(0.6, 2.2) * size[0] / 4000 + 0.3, (len(points), 2)
    )
    return Shot(np.ascontiguousarray(photo), jpeg, lens.view, truth, clicked, mask, grade)


def _attack(
    board: Board, layers: DrawnLayers, scale: float, leaks: list[NDArray[np.float64]], grade: str, rng: Random
) -> Plane:
    """Severity of the leak at ``scale``; grown on a coarser grid."""
    shape = layers.board.shape
    if grade == "none":
        return np.zeros(shape, np.float32)
    steps = 4.0 if board.width_mm * board.height_mm < 9000 else 2.5
    grid = draw_layers(board, steps)
    rows, columns = grid.board.shape
    ends = [
        (min(max(int((board.height_mm - y) * steps), 0), rows - 1), min(max(int(x * steps), 0), columns - 1))
        for x, y in leaks
    ]
    low, high = {"light": (0.01, 0.12), "moderate": (0.02, 0.22), "heavy": (0.04, 0.4)}[grade]
    worst = {"light": (75, 112), "moderate": (120, 180), "heavy": (185, 270)}[grade]
    share = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    return resized(leak(grid, steps, ends, share, rng.uniform(*worst), rng), shape, cv2.INTER_CUBIC).clip(
        0, 255
    )


def _shadow(things: list[Thing], light: Light, height_mm: float, out: surface.Surface, rng: Random) -> Plane:
    """1 where the main lamp reaches the board, darker behind what stands on it."""
    half = out.scale / 2
    rows, columns = (max(2, n // 2) for n in out.relief.shape)
    mask = np.zeros((rows, columns), np.uint8)
    lean = -light.towards[:2] / light.towards[2]
    for thing in things:
        if len(thing.plan):
            corners = np.vstack([thing.plan, thing.plan + lean * min(thing.height_mm, 15)])
            px = np.column_stack([corners[:, 0], height_mm - corners[:, 1]]) * half
            cv2.fillConvexPoly(mask, cv2.convexHull((px * 16).astype(np.int32)), 255, cv2.LINE_AA, 4)
    soft = cv2.GaussianBlur(mask, (0, 0), rng.uniform(0.1, 1.8) * half)
    return resized(1 - np.float32(rng.uniform(0.35, 0.95) / 255) * soft, out.relief.shape)


def _exposed(
    board: Board, lens: Lens, light: Light, sent: Plane, severity: Plane, layers: DrawnLayers, things: list[Thing],
    scale: float, size: tuple[int, int], rng: Random,
) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:  # fmt: skip
    """The photo before compression, and the severity that each of its pixels shows."""
    pixels = (size[1], size[0])
    x, y = lens.board_at(pixels)
    u, v = (
        x * np.float32(scale) - np.float32(0.5),
        (np.float32(board.height_mm) - y) * np.float32(scale) - np.float32(0.5),
    )
    coded = (255 * np.sqrt(np.clip(sent / np.float32(1.5), 0, 1))).astype(np.uint8)
    drilled = cv2.GaussianBlur(_drilled(board, layers, scale), (0, 0), 0.6)
    cover = cv2.threshold(cv2.remap(drilled, u, v, cv2.INTER_LINEAR), 127, 255, cv2.THRESH_BINARY)[1]
    image = _bench(pixels, light, rng)
    cv2.copyTo(cv2.remap(coded, u, v, cv2.INTER_LINEAR), cover, image)
    seen = cv2.bitwise_and(cv2.remap(severity.astype(np.uint8), u, v, cv2.INTER_LINEAR), cover)
    painter = Painter(lens, light, image, seen)
    for thing in sorted(things, key=lambda t: _turn(t, lens)):
        thing.draw(painter)
        if len(thing.plan) and thing.height_mm < _LOW_MM:
            _overgrown(painter, thing, coded, severity, board.height_mm, scale)
    decode = np.square(np.arange(256, dtype=np.float32)) * np.float32(1.5 / 255**2)
    linear = np.asarray(cv2.LUT(painter.image, decode), np.float32)
    return developed(linear, rng), painter.seen


def _turn(thing: Thing, lens: Lens) -> float:
    """Labels first, then what is farthest from under the camera, wires last."""
    if not len(thing.plan):
        return 1.0
    return -1e9 if thing.height_mm < 0.5 else -float(np.hypot(*(thing.plan.mean(axis=0) - lens.centre[:2])))


def _drilled(board: Board, layers: DrawnLayers, scale: float) -> NDArray[np.uint8]:
    """255 where there is board: its outline less its mounting holes."""
    canvas = Canvas(board.width_mm, board.height_mm, scale, layers.board.shape)
    solid = layers.board.copy()
    for pad in board.pads:
        if pad.refdes.startswith("H") and pad.hole_mm > 2:
            canvas.disc(solid, pad.x_mm, pad.y_mm, pad.hole_mm, 0)
    return solid


def _bench(size: tuple[int, int], light: Light, rng: Random) -> NDArray[np.uint8]:
    """What the board lies on: (rows, columns, 3), coded as the painter's image."""
    small = (max(8, size[0] // 2), max(8, size[1] // 2))
    colour = tone(
        rng.choice([rng.random(), rng.uniform(0.04, 0.13)]),
        rng.choice([0.03, 0.15, 0.4, 0.7], p=[0.4, 0.25, 0.25, 0.1]),
        rng.uniform(0.1, 0.8),
    )
    grain = rough(rng, small, small[1] * rng.uniform(0.02, 0.3), 6, rng.uniform(0.5, 0.9))
    if rng.random() < 0.35:  # wood
        grain = resized(rough(rng, (small[0], 16), small[0] / 20, 5), small)
    lit = colour * (light.main * light.towards[2] + light.ambient)
    cloudy = np.clip(1 + rng.uniform(0.02, 0.25) * grain, 0.2, 2)[..., None] * lit
    coded = 255 * np.sqrt(np.clip(cloudy / 1.5, 0, 1))
    return np.asarray(
        cv2.resize(coded.astype(np.uint8), size[::-1], interpolation=cv2.INTER_LINEAR), np.uint8
    )


def _overgrown(
    painter: Painter, thing: Thing, coded: NDArray[np.uint8], severity: Plane, height_mm: float, scale: float
) -> None:
    """Heavy crust climbs over low parts: what grows beneath shows at the part's height."""
    rise = 0.8 * thing.height_mm
    place = painter.lens.pixels(np.column_stack([thing.plan, np.full(len(thing.plan), rise)]))
    low = np.maximum(np.floor(place.min(axis=0)).astype(int), 0)
    high = np.minimum(np.ceil(place.max(axis=0)).astype(int) + 1, painter.image.shape[1::-1])
    r, c = ((height_mm - thing.plan[:, 1]) * scale).astype(int), (thing.plan[:, 0] * scale).astype(int)
    around = severity[max(0, r.min()) : r.max() + 1, max(0, c.min()) : c.max() + 1]
    if (high <= low).any() or not around.size or around.max() < 150:
        return
    x, y = painter.lens.board_at(
        (int(high[1] - low[1]), int(high[0] - low[0])), rise, (int(low[0]), int(low[1]))
    )
    u, v = (
        x * np.float32(scale) - np.float32(0.5),
        (np.float32(height_mm) - y) * np.float32(scale) - np.float32(0.5),
    )
    grown = cv2.remap(severity, u, v, cv2.INTER_LINEAR)
    inside = np.zeros(grown.shape, np.uint8)
    cv2.fillConvexPoly(inside, cv2.convexHull(((place - low) * 16).astype(np.int32)), 255, cv2.LINE_AA, 4)
    cover = ease(grown, 165, 200) * inside.astype(np.float32) / 255
    there = slice(int(low[1]), int(high[1])), slice(int(low[0]), int(high[0]))
    crust = cv2.remap(coded, u, v, cv2.INTER_LINEAR)
    painter.image[there] = (painter.image[there] * (1 - cover[..., None]) + crust * cover[..., None]).astype(
        np.uint8
    )
    painter.seen[there] = np.where(cover > 0.5, grown, painter.seen[there]).astype(np.uint8)
