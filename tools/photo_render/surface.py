"""The bare side of a board as it looks straight from above: mask, copper, solder, print. No parts, no damage."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from coppermend.board.model import Board
from coppermend.board.packages import body_shape
from coppermend.damage.layers import Canvas, DrawnLayers, draw_layers
from photo_render.noise import cloud, smooth
from photo_render.scene import Scene

Picture = NDArray[np.float32]
_WORDS = (
    "MAIN BOARD", "ROM 1", "ROM 2", "RESET", "+5V", "GND", "TEST", "SOUND", "DISPLAY DRIVER", "IRQ", "CLK", "A0", "A15",
    "D7", "BUS", "Rev. C", "1984", "ADJUST", "JP1", "MEMORY", "NMI", "SERIAL OUT", "PWR", "INTERFACE", "No. 4417-2",
)  # fmt: skip


def mix(picture: Picture, colour: object, share: NDArray[np.float32]) -> None:
    """Lay ``colour`` over the picture in place, ``share`` 0..1."""
    colour = np.asarray(colour, np.float32)
    for channel in range(3):
        plane = picture[..., channel]
        plane += (colour[channel] - plane) * share


def soft(cover: NDArray[np.uint8]) -> NDArray[np.float32]:
    """0..255 as 0..1."""
    return cover.astype(np.float32) / 255


def emboss(height: NDArray[np.float32], lamp: tuple[float, float]) -> NDArray[np.float32]:
    """Slope towards the lamp; rows run down, board y up."""
    height = height.astype(np.float32)
    gx, gy = cv2.Sobel(height, cv2.CV_32F, 1, 0), cv2.Sobel(height, cv2.CV_32F, 0, 1)
    return -(gx * lamp[0] - gy * lamp[1])


def draw_surface(
    board: Board, scene: Scene, canvas: Canvas, rng: np.random.Generator
) -> tuple[Picture, DrawnLayers]:
    """The board's top side, float RGB 0..1, and the layers it was drawn from."""
    layers = draw_layers(board, canvas.px_per_mm)
    scale, shape = canvas.px_per_mm, canvas.shape
    base = np.asarray(scene.mask_rgb, np.float32)
    picture = np.empty((*shape, 3), np.float32)
    picture[:] = base
    bare = scene.mask == "tan" and rng.random() < 0.8
    bottom = draw_layers(board, scale, "bottom").tracks
    picture *= 1 - rng.uniform(0.04, 0.14) * cv2.GaussianBlur(soft(bottom), (0, 0), 0.12 * scale)[..., None]
    copper = soft(layers.tracks)
    pour = _pour(board, layers, bottom, canvas) if scene.pour else None
    if pour is not None:
        copper = np.maximum(copper, pour)
    copper = np.maximum(copper, soft(layers.vias) * 0.9)
    colour: object = base * (1 + 0.4 * scene.track_sign) + 0.035 * scene.track_sign
    if bare:
        colour = [(0.72, 0.72, 0.70), (0.74, 0.45, 0.25)][int(rng.integers(2))]
    mix(picture, np.clip(colour, 0, 1), copper * np.float32(rng.uniform(0.55, 1.0)))
    relief = emboss(cv2.GaussianBlur(copper, (0, 0), max(0.7, 0.05 * scale)), scene.lamp)
    picture *= 1 + np.float32(rng.uniform(0.02, 0.13)) * relief[..., None]
    picture *= 1 + np.float32(rng.uniform(0.01, 0.05)) * cloud(rng, shape, 14 * scale, 6)[..., None]
    _holes_and_solder(picture, layers, scene, canvas, rng)
    _print(picture, board, layers, scene, canvas, rng)
    return np.clip(picture, 0, 1, out=picture), layers


def _pour(
    board: Board, layers: DrawnLayers, bottom: NDArray[np.uint8], canvas: Canvas
) -> NDArray[np.float32]:
    """Ground all over, kept clear of other copper; the drawing's own areas where it has some."""
    if board.areas:
        return soft(layers.areas)
    gap = max(1, round(0.45 * canvas.px_per_mm))
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * gap + 1, 2 * gap + 1))
    busy = cv2.dilate(np.maximum(np.maximum(layers.tracks, layers.pads), layers.vias), kernel)
    rim = max(2, round(rng_rim(board) * canvas.px_per_mm))
    inner = cv2.erode(
        layers.board,
        np.ones((2 * rim + 1, 2 * rim + 1), np.uint8),
        borderType=cv2.BORDER_CONSTANT,
        borderValue=0,
    )
    return soft(np.where(busy > 60, 0, inner).astype(np.uint8))


def rng_rim(board: Board) -> float:
    """How far a pour stays from the edge [mm]: fixed per board."""
    return 0.8 + (len(board.pads) % 5) * 0.7


def _holes_and_solder(
    picture: Picture, layers: DrawnLayers, scene: Scene, canvas: Canvas, rng: np.random.Generator
) -> None:
    pads = soft(layers.pads)
    colour = {"tin": (0.78, 0.78, 0.76), "gold": (0.84, 0.66, 0.34), "copper": (0.76, 0.46, 0.28)}[
        scene.finish
    ]
    moat = cv2.GaussianBlur(pads, (0, 0), 0.25 * canvas.px_per_mm)
    picture *= 1 - 0.25 * np.clip(moat * 2 - 0.2, 0, 1)[..., None] * (1 - pads[..., None])
    mix(picture, colour, pads)
    dome = cv2.GaussianBlur(pads, (0, 0), 0.3 * canvas.px_per_mm)
    shade = emboss(dome, scene.lamp) * np.float32(rng.uniform(0.15, 0.45)) + 0.06 * smooth(
        rng, canvas.shape, 0.3 * canvas.px_per_mm
    )
    picture *= 1 + (shade * pads)[..., None]
    holes = soft(layers.holes)
    mix(picture, (0.06, 0.05, 0.05), holes * np.float32(0.85))


def _print(
    picture: Picture,
    board: Board,
    layers: DrawnLayers,
    scene: Scene,
    canvas: Canvas,
    rng: np.random.Generator,
) -> None:
    """Silkscreen: outlines, names, words, a filled badge; never on solder."""
    ink = Image.fromarray(np.zeros(canvas.shape, np.uint8))
    pen = ImageDraw.Draw(ink)
    scale = canvas.px_per_mm

    def place(x: float, y: float) -> tuple[float, float]:
        return x * scale, (canvas.height_mm - y) * scale

    line = max(1, round(rng.uniform(0.12, 0.22) * scale))
    for part in board.parts:
        left, bottom, right, top = body_shape(board, part).bounds or (0, 0, 0, 0)
        if not right > left:
            continue
        if rng.random() < 0.75 and not part.package.startswith("HOLE"):
            pen.rectangle(
                (*place(left - 0.3, top + 0.3), *place(right + 0.3, bottom - 0.3)), outline=255, width=line
            )
        size = rng.uniform(1.0, 1.9)
        _text(pen, place(left, top + size + 0.6), part.refdes, size * scale)
    for _ in range(int(rng.integers(3, 16))):
        at = place(rng.uniform(2, canvas.width_mm - 25), rng.uniform(4, canvas.height_mm - 3))
        _text(pen, at, str(rng.choice(_WORDS)), rng.uniform(1.2, 4.0) * scale)
    for _ in range(int(rng.integers(0, 3))):
        x, y = rng.uniform(5, canvas.width_mm - 15), rng.uniform(8, canvas.height_mm - 5)
        w, h = rng.uniform(3, 12), rng.uniform(2, 6)
        box = (*place(x, y), *place(x + w, y - h))
        (pen.ellipse if rng.random() < 0.4 else pen.rectangle)(box, fill=255)
        _text(pen, place(x + 0.5, y - 0.2), "OK", h * 0.7 * scale, 0)
    cover = soft(np.asarray(ink)) * (1 - soft(layers.pads)) * soft(layers.board)
    worn = np.clip(0.93 + 0.05 * cloud(rng, canvas.shape, 3 * scale, 3), 0.5, 1)
    mix(picture, scene.silk, (cover * worn).astype(np.float32))


def _text(
    pen: ImageDraw.ImageDraw, at: tuple[float, float], words: str, size_px: float, ink: int = 255
) -> None:
    pen.text(at, words, fill=ink, font=ImageFont.load_default(max(5, round(size_px))))
