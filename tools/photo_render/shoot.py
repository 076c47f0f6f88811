"""One synthetic photograph: the scene drawn on the board, seen through a camera, with its exact truth."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.board.model import Board
from coppermend.damage.camera import Camera, View, apply_homography
from coppermend.damage.features import photo_canvas
from coppermend.damage.layers import Canvas
from coppermend.damage.rectify import rectify
from photo_render.disturb import blotted_out
from photo_render.leak import corrode, leak_field
from photo_render.noise import cloud, smooth
from photo_render.parts import (
    Stage,
    battery_shape,
    crust_on_low,
    draw_battery,
    draw_flux_and_dust,
    draw_labels_and_wires,
    draw_parts,
)
from photo_render.scene import Scene
from photo_render.surface import draw_surface

Picture = NDArray[np.float32]
TRUTH_PX_PER_MM = 4.0


@dataclass(frozen=True)
class Shot:
    """A photograph (uint8 RGB) with its truth.

    Attributes:
        jpeg: The photograph as a file.
        photo: The same, decoded.
        view: The exact way from board to photo.
        severity: uint8 at 4 px/mm, as the photo shows it.
        parts: uint8 at 4 px/mm, 255 where something stands before the surface.
        points_mm, exact_px, clicked_px: Reference points, and where a careful user clicks them.
    """

    jpeg: bytes
    photo: NDArray[np.uint8]
    view: View
    severity: NDArray[np.uint8]
    parts: NDArray[np.uint8]
    points_mm: NDArray[np.float64]
    exact_px: NDArray[np.float64]
    clicked_px: NDArray[np.float64]


def shoot(board: Board, scene: Scene) -> Shot:
    """Photograph ``board`` as ``scene`` says; the same input gives the same photograph."""
    rng = np.random.default_rng([scene.seed, 37])
    view, camera_mm = _pose(board, scene, rng)
    centre = np.array([[board.width_mm / 2, board.height_mm / 2]])
    scale = float(np.clip(view.px_per_mm(centre)[0], 6, 13))
    canvas = Canvas(board.width_mm, board.height_mm, scale)
    picture, severity, covered = _board_picture(board, scene, canvas, camera_mm, rng)
    photo = _seen(picture, board, scene, canvas, view, rng)
    ok, data = cv2.imencode(
        ".jpg", cv2.cvtColor(photo, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, scene.jpeg]
    )
    assert ok
    decoded = cv2.cvtColor(cv2.imdecode(data, cv2.IMREAD_COLOR), cv2.COLOR_BGR2RGB)
    seen = blotted_out(rectify(decoded, view, photo_canvas(board)), _at_truth_scale(severity, board))
    points = np.array([(p.x_mm, p.y_mm) for p in board.reference_points])
    exact = view.pixels(points)
    return Shot(
        data.tobytes(), decoded, view, seen, _at_truth_scale((covered > 127).astype(np.float32), board),
        points, exact, exact + rng.normal(0, scene.click_sigma_px, exact.shape),
    )  # fmt: skip


def _pose(board: Board, scene: Scene, rng: np.random.Generator) -> tuple[View, NDArray[np.float64]]:
    """A camera that looks at the board's middle, so near that the board fills its share of the photo."""
    wide, high = scene.photo_size
    focal = scene.focal * wide
    camera = Camera(
        focal,
        focal,
        (wide - 1) / 2 + rng.normal(0, 0.015 * wide),
        (high - 1) / 2 + rng.normal(0, 0.015 * wide),
        scene.k1,
    )
    share = scene.fill * min(wide / board.width_mm, high / board.height_mm)
    distance = focal / share
    tilt, turn, roll = np.deg2rad(scene.tilt_deg), rng.uniform(0, 2 * np.pi), np.deg2rad(scene.roll_deg)
    middle = np.array([board.width_mm / 2, board.height_mm / 2, 0.0])
    out = np.array([np.sin(tilt) * np.cos(turn), np.sin(tilt) * np.sin(turn), np.cos(tilt)])
    position = middle + out * distance
    forward = -out
    right = np.cross(forward, np.array([-np.sin(roll), np.cos(roll), 0.0]))
    right /= np.linalg.norm(right)
    rotation = np.array([right, np.cross(forward, right), forward])
    lens = np.array([[focal, 0, camera.cx], [0, focal, camera.cy], [0, 0, 1]])
    matrix = lens @ np.column_stack([rotation[:, 0], rotation[:, 1], -rotation @ position])
    aim = apply_homography(matrix, middle[None, :2])[0]
    off = np.array([(wide - 1) / 2, (high - 1) / 2]) + rng.normal(0, 0.02 * wide, 2) - aim
    shift = np.array([[1, 0, off[0]], [0, 1, off[1]], [0, 0, 1.0]])
    matrix = shift @ matrix
    return View(matrix / matrix[2, 2], camera), position


def _board_picture(
    board: Board, scene: Scene, canvas: Canvas, camera_mm: NDArray[np.float64], rng: np.random.Generator
) -> tuple[Picture, NDArray[np.float32], NDArray[np.uint8]]:
    surface, layers = draw_surface(board, scene, canvas, rng)
    field = leak_field(scene, canvas, rng)
    severity = corrode(surface, field, board, layers, scene, canvas, rng)
    quarter = (canvas.shape[0] // 4 + 1, canvas.shape[1] // 4 + 1)
    stage = Stage(
        surface.copy(),
        surface,
        canvas.blank(),
        canvas.blank(),
        np.zeros(quarter, np.float32),
        canvas,
        scene,
        camera_mm,
        rng,
    )
    draw_flux_and_dust(stage, board)
    keep_out = battery_shape(scene)
    draw_parts(
        stage, board, keep_out if scene.grade != "none" or scene.battery.fitted else shapely.Point(-9, -9)
    )
    draw_battery(stage)
    seen = crust_on_low(stage, surface, severity, field)
    draw_labels_and_wires(stage)
    if scene.labels or scene.wires:
        seen = np.where((stage.covered > 127) & (stage.low < 128), 0, seen)
    return stage.picture, seen, stage.covered


def _seen(
    picture: Picture, board: Board, scene: Scene, canvas: Canvas, view: View, rng: np.random.Generator
) -> NDArray[np.uint8]:
    wide, high = scene.photo_size
    shape = (high, wide)
    x, y = _board_pixels(view, canvas, shape)
    cover = canvas.blank()
    outline = shapely.Polygon(board.outline)
    canvas.fill(cover, outline)
    photo = cv2.remap(picture, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    alpha = (
        cv2.remap(cover, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT).astype(np.float32)[..., None]
        / 255
    )
    behind = _background(scene, shape, rng)
    soft_edge = cv2.GaussianBlur(alpha[..., 0], (0, 0), 0.008 * wide)
    behind *= (1 - 0.5 * np.roll(soft_edge, (round(0.008 * wide), round(-0.004 * wide)), (0, 1)))[..., None]
    photo = photo * alpha + behind * (1 - alpha)
    _light(photo, scene, rng)
    photo = cv2.GaussianBlur(photo, (0, 0), scene.blur_px)
    if scene.sharpen > 0.1:
        photo += np.float32(scene.sharpen) * (photo - cv2.GaussianBlur(photo, (0, 0), scene.blur_px * 1.5))
    grain = np.float32(scene.noise) * (0.5 + 0.5 * np.sqrt(np.clip(photo, 0.02, 1)))
    photo += grain * rng.standard_normal(photo.shape, dtype=np.float32)
    return np.clip(photo * 255 + 0.5, 0, 255).astype(np.uint8)


def _board_pixels(view: View, canvas: Canvas, shape: tuple[int, int]) -> tuple[Picture, Picture]:
    """Column and row on the canvas of every photo pixel: exact on a coarse grid, cubic between."""
    step = 8
    rows, columns = shape[0] // step + 3, shape[1] // step + 3
    u, v = np.meshgrid(np.arange(columns) * float(step), np.arange(rows) * float(step))
    at = view.board_mm(np.column_stack([u.ravel(), v.ravel()]))
    x = (at[:, 0] * canvas.px_per_mm - 0.5).reshape(rows, columns).astype(np.float32)
    y = ((canvas.height_mm - at[:, 1]) * canvas.px_per_mm - 0.5).reshape(rows, columns).astype(np.float32)
    fine_u, fine_v = np.meshgrid(
        np.arange(shape[1], dtype=np.float32) / step, np.arange(shape[0], dtype=np.float32) / step
    )
    return (
        cv2.remap(x, fine_u, fine_v, cv2.INTER_LINEAR), cv2.remap(y, fine_u, fine_v, cv2.INTER_LINEAR)
    )  # fmt: skip


def _light(photo: Picture, scene: Scene, rng: np.random.Generator) -> None:
    """Uneven coloured light, shadows with soft edges, lamp reflections."""
    high, wide = photo.shape[:2]
    coarse = (high // 8 + 1, wide // 8 + 1)
    gy, gx = np.mgrid[: coarse[0], : coarse[1]].astype(np.float32)
    gx, gy = gx / coarse[1] * 2 - 1, gy / coarse[0] * 2 - 1
    turn = rng.uniform(0, 2 * np.pi)
    light = (
        1 + scene.uneven * (gx * np.cos(turn) + gy * np.sin(turn)) + 0.1 * smooth(rng, coarse, coarse[1] / 3)
    )
    for _ in range(scene.shadows):
        nx, ny = np.cos(a := rng.uniform(0, 2 * np.pi)), np.sin(a)
        edge = (gx * nx + gy * ny - rng.uniform(0.1, 0.9)) / rng.uniform(0.03, 0.4)
        light *= 1 - scene.shadow_depth / (1 + np.exp(-np.clip(edge * 4, -30, 30)))
    glare = np.zeros(coarse, np.float32)
    for _ in range(scene.glare):
        cx, cy = rng.uniform(-0.7, 0.7, 2)
        a, b, turn = rng.uniform(0.02, 0.09), rng.uniform(0.02, 0.09), rng.uniform(0, np.pi)
        p, q = (
            (gx - cx) * np.cos(turn) + (gy - cy) * np.sin(turn),
            (gy - cy) * np.cos(turn) - (gx - cx) * np.sin(turn),
        )
        d = (p / a) ** 2 + (q / b) ** 2
        # From a veil, through which print and tracks are seen, to a spot burnt out.
        peak, wide_peak = np.exp(rng.uniform(-1.6, 1.4)), rng.uniform(0.02, 0.2)
        glare += np.float32(peak) * np.exp(-(d ** rng.uniform(0.8, 3))) + np.float32(wide_peak) * np.exp(
            -d / 8
        )
    size = (wide, high)
    photo *= (
        cv2.resize(np.clip(light, 0.1, 2).astype(np.float32), size)[..., None]
        * np.asarray(scene.gains, np.float32)
        * np.float32(scene.exposure)
    )
    if scene.glare:
        photo += cv2.resize(glare, size)[..., None] * np.asarray(scene.gains, np.float32) * 0.9


def _background(scene: Scene, shape: tuple[int, int], rng: np.random.Generator) -> Picture:
    base = {
        "wood": (0.55, 0.32, 0.16),
        "grey": (0.5, 0.49, 0.46),
        "mat": (0.2, 0.38, 0.65),
        "cloth": (0.25, 0.45, 0.3),
    }[scene.background]
    behind = np.empty((*shape, 3), np.float32)
    behind[:] = np.asarray(base, np.float32) * np.float32(rng.uniform(0.6, 1.3))
    if scene.background == "wood":
        grain = cv2.resize(cloud(rng, (shape[0], 64), 60, 5), (shape[1], shape[0]))
        behind *= 1 + 0.15 * grain[..., None]
    behind *= 1 + 0.04 * cloud(rng, shape, 30, 4)[..., None]
    return behind


def _at_truth_scale(image: NDArray[np.float32], board: Board) -> NDArray[np.uint8]:
    rows, columns = Canvas(board.width_mm, board.height_mm, TRUTH_PX_PER_MM).shape
    small = cv2.resize(image, (columns, rows), interpolation=cv2.INTER_AREA)
    return np.clip(small * 255 + 0.5, 0, 255).astype(np.uint8)
