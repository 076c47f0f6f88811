"""Damage maps: 8-bit grey PNG in board space, checked before decoding, and their outlines as polygons.

4 px/mm, row 0 at the board's top edge (y = height): the centre of the pixel in column c and row r is at
x = (c + 0.5) / 4, y = height - (r + 0.5) / 4. 0 is sound, from 48 light, from 112 moderate, from 176 heavy.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from itertools import pairwise

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from coppermend.errors import InputError

PX_PER_MM = 4
PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"
GRADE_STEPS = (48, 112, 176)
_SIZE_TOLERANCE_PX = 2
_MAX_RUNS = 60_000
_MAX_SIDE_PX = 8192  # 2 m of board: whatever claims more is no board, and must not be unpacked
_COLOUR_TYPES = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}  # PNG (W3C), table 11.1: samples per pixel


def read_map(data: bytes, width_mm: float, height_mm: float, where: str) -> NDArray[np.uint8]:
    """Decode a damage map for a board of the given size [mm].

    A colour PNG is accepted when all its pixels are grey; its size may differ by two pixels.

    Returns:
        (rows, columns) uint8 severities.

    Raises:
        InputError: If the PNG is broken or cut short, has 16 bits, colours or transparent pixels, or is not
            of the board's size.
    """
    columns, rows, depth, colour_type = _header(data, where)
    expected = (round(width_mm * PX_PER_MM), round(height_mm * PX_PER_MM))
    if max(abs(columns - expected[0]), abs(rows - expected[1])) > _SIZE_TOLERANCE_PX:
        raise InputError(
            f"the damage map is {columns} x {rows} px",
            expected=f"{expected[0]} x {expected[1]} px ({width_mm:g} x {height_mm:g} mm at 4 px/mm)",
            where=where,
        )
    if max(columns, rows) > _MAX_SIDE_PX:
        raise InputError(f"a map of {columns} x {rows} px is too large", where=where)
    if depth == 16 or colour_type not in _COLOUR_TYPES:
        raise InputError(f"a PNG of {depth} bits per sample", expected="8-bit grey", where=where)
    _check_chunks(data, where)
    grid = _grey(_decoded(data, where), where)
    _check_specks(grid, where)
    return grid


def map_zones(grid: NDArray[np.uint8], height_mm: float) -> Iterator[tuple[BaseGeometry, int]]:
    """Outline of each grade's pixels [mm] with the worst value in it, light first; grades without pixels left out."""
    steps = (*GRADE_STEPS, 256)
    for low, high in pairwise(steps):
        cells = (grid >= low) & (grid < high)
        if cells.any():
            yield outline(cells, height_mm), int(grid[cells].max())


def _header(data: bytes, where: str) -> tuple[int, int, int, int]:
    """Width, height, bits per sample and colour type that the PNG claims."""
    if len(data) < 33 or data[12:16] != b"IHDR":
        raise InputError("the PNG is cut short", expected="a whole damage map", where=where)
    columns, rows, depth, colour_type = struct.unpack(">IIBB", data[16:26])
    return columns, rows, depth, colour_type


def _check_chunks(data: bytes, where: str) -> None:
    """Refuse a PNG that is cut short or damaged: the decoder would fill the rest with zeros, which mean sound."""
    at, kind = len(PNG_SIGNATURE), b""
    while kind != b"IEND":
        if at + 12 > len(data):
            raise InputError("the PNG is cut short", expected="a whole damage map", where=where)
        (length,) = struct.unpack(">I", data[at : at + 4])
        kind, end = data[at + 4 : at + 8], at + 8 + length
        if end + 4 > len(data):
            raise InputError("the PNG is cut short", expected="a whole damage map", where=where)
        if zlib.crc32(data[at + 4 : end]) != int.from_bytes(data[end : end + 4], "big"):
            raise InputError("the PNG is damaged: a check sum is wrong", where=where)
        at = end + 4


def _decoded(data: bytes, where: str) -> NDArray[np.uint8]:
    try:
        image = cv2.imdecode(np.frombuffer(data, dtype=np.uint8), cv2.IMREAD_UNCHANGED)
    except cv2.error:
        image = None
    if image is None or image.dtype != np.uint8:
        raise InputError("the PNG cannot be decoded", expected="8-bit grey", where=where)
    return np.asarray(image)


def _grey(image: NDArray[np.uint8], where: str) -> NDArray[np.uint8]:
    """The one grey channel of an image whose colour channels are all alike."""
    if image.ndim == 2:
        return image
    if image.shape[2] == 4 and (image[:, :, 3] != 255).any():
        raise InputError("a PNG with transparent pixels", expected="8-bit grey", where=where)
    if (image[:, :, :1] != image[:, :, :3]).any():
        raise InputError("a colour PNG", expected="8-bit grey", where=where)
    return np.ascontiguousarray(image[:, :, 0])


def _check_specks(grid: NDArray[np.uint8], where: str) -> None:
    """Refuse noise: its outline would have hundreds of thousands of corners, and no leak looks like it."""
    grades = np.digitize(grid, GRADE_STEPS)
    runs = int(np.count_nonzero(np.diff(grades, axis=1))) // 2
    if runs > _MAX_RUNS:
        raise InputError(
            f"the damage map is speckled like noise ({runs} patches in its rows)",
            expected=f"a map with smooth areas, at most {_MAX_RUNS} patches",
            where=where,
        )


def outline(cells: NDArray[np.bool_], height_mm: float) -> BaseGeometry:
    """Exact outline of a set of pixels [mm], empty when there are none, without points in the middle of straight edges."""
    row, column = np.nonzero(cells)
    x1, x2 = column / PX_PER_MM, (column + 1) / PX_PER_MM
    y1, y2 = height_mm - (row + 1) / PX_PER_MM, height_mm - row / PX_PER_MM
    return shapely.simplify(shapely.coverage_union_all(shapely.box(x1, y1, x2, y2)), 0.0)
