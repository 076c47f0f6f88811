"""Damage maps as PNG: placed right, checked before they are unpacked, and outlined exactly."""

from __future__ import annotations

import json
import struct
import zlib

import cv2
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from coppermend.board.model import Board
from coppermend.damage.area import area_to_geojson, parse_area
from coppermend.damage.maps import map_zones
from coppermend.errors import InputError

BOARD = Board("b", 10.0, 5.0)  # 40 x 20 px


def png(grid: np.ndarray) -> bytes:
    return cv2.imencode(".png", grid)[1].tobytes()


def read(grid: np.ndarray | bytes):
    return parse_area(grid if isinstance(grid, bytes) else png(grid), BOARD, "map.png")


def blank() -> np.ndarray:
    return np.zeros((20, 40), np.uint8)


def test_row_0_is_the_top_edge():
    """The pixel in column 0 of row 0 is the upper left corner of the board, a quarter millimetre wide."""
    grid = blank()
    grid[0, 0] = 200

    (zone,) = read(grid).zones

    assert zone.shape.equals(shapely.box(0.0, 4.75, 0.25, 5.0))
    assert zone.severity == pytest.approx(200 / 255)


def test_grades_start_at_48_112_and_176():
    """A value just below a step belongs to the grade before; 47 is sound."""
    grid = blank()
    grid[3, :6] = [47, 48, 111, 112, 175, 176]

    zones = read(grid).zones

    assert [(zone.shape.area, round(zone.severity * 255)) for zone in zones] == [
        (0.125, 111), (0.125, 175), (0.0625, 176),
    ]  # fmt: skip


def test_area_counts_damaged_pixels():
    """Sixteen pixels make a square millimetre."""
    grid = blank()
    grid[:4, :8] = 255

    assert read(grid).area_mm2 == 2.0 == read(grid).shape.area


def test_a_sound_map_is_an_empty_area():
    """Nothing damaged is no error."""
    area = read(blank())

    assert area.zones == () and area.shape.is_empty and area.area_mm2 == 0


@pytest.mark.parametrize("shape", [(18, 40), (22, 42), (20, 38)])
def test_size_may_differ_by_two_pixels(shape):
    """Rounding of the board's size is no reason to refuse a map."""
    assert read(np.full(shape, 255, np.uint8)).area_mm2 == shape[0] * shape[1] / 16


def test_another_size_is_refused_with_the_expected_one():
    """The message tells the size that fits."""
    with pytest.raises(InputError) as caught:
        read(np.zeros((20, 43), np.uint8))

    assert "43 x 20 px" in str(caught.value) and "40 x 20 px" in caught.value.expected


def test_grey_stored_as_colour_is_accepted():
    """Three equal channels, with or without an opaque fourth, are grey."""
    grid = blank()
    grid[5, 5] = 99
    colour = cv2.cvtColor(grid, cv2.COLOR_GRAY2BGR)

    assert read(colour).zones == read(cv2.cvtColor(grid, cv2.COLOR_GRAY2BGRA)).zones == read(grid).zones


def test_colour_is_refused():
    """A photograph is no damage map."""
    colour = np.zeros((20, 40, 3), np.uint8)
    colour[2, 2] = (10, 200, 30)

    with pytest.raises(InputError, match="a colour PNG"):
        read(colour)


def test_transparency_is_refused():
    """What lies under a transparent pixel is anybody's guess."""
    with pytest.raises(InputError, match="transparent"):
        read(np.zeros((20, 40, 4), np.uint8))


def test_16_bits_are_refused():
    """Severity has 8 bits."""
    with pytest.raises(InputError, match="16 bits"):
        read(np.zeros((20, 40), np.uint16))


def chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def header(columns: int, rows: int) -> bytes:
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", columns, rows, 8, 0, 0, 0, 0))


def test_a_bomb_is_refused_by_its_header():
    """A PNG that claims 60,000 x 60,000 pixels is never unpacked."""
    bomb = header(60_000, 60_000) + chunk(b"IDAT", zlib.compress(bytes(1000))) + chunk(b"IEND", b"")

    with pytest.raises(InputError, match="60000 x 60000 px"):
        read(bomb)


def test_a_bomb_on_an_endless_board_is_refused():
    """Even when the board claims to be as large."""
    with pytest.raises(InputError, match="too large"):
        parse_area(header(60_000, 60_000), Board("b", 15_000.0, 15_000.0), "map.png")


@pytest.mark.parametrize("keep", [9, 20, 40, -8, -20])
def test_a_cut_map_is_refused(keep):
    """The missing rest must not count as sound."""
    with pytest.raises(InputError, match="cut short"):
        read(png(np.full((20, 40), 255, np.uint8))[:keep])


def test_a_damaged_map_is_refused():
    """A flipped bit is found by the check sum."""
    data = bytearray(png(np.full((20, 40), 255, np.uint8)))
    data[50] ^= 1

    with pytest.raises(InputError, match="check sum"):
        read(bytes(data))


def test_pixels_that_do_not_unpack_are_refused():
    """Right check sums around rubbish do not help."""
    with pytest.raises(InputError, match="cannot be decoded"):
        read(header(40, 20) + chunk(b"IDAT", b"rubbish") + chunk(b"IEND", b""))


def test_noise_is_refused(monkeypatch):
    """A map of specks would take minutes to outline."""
    monkeypatch.setattr("coppermend.damage.maps._MAX_RUNS", 100)
    noise = np.random.default_rng(1).integers(0, 256, (20, 40)).astype(np.uint8)

    with pytest.raises(InputError, match="speckled"):
        read(noise)


@given(hnp.arrays(np.uint8, st.tuples(st.integers(1, 9), st.integers(1, 9)), elements=st.integers(0, 255)))
def test_outlines_cover_exactly_their_pixels(grid):
    """Each grade's outline holds the centres of its pixels and no others, and has their area."""
    rows, columns = np.indices(grid.shape)
    centres = shapely.points((columns + 0.5) / 4, 5 - (rows + 0.5) / 4)
    steps = [48, 112, 176, 256]

    for shape, worst in map_zones(grid, 5.0):
        grade = max(i for i in range(3) if steps[i] <= worst)
        cells = (grid >= steps[grade]) & (grid < steps[grade + 1])
        assert shape.is_valid and shape.area == pytest.approx(cells.sum() / 16)
        assert (shapely.contains(shape, centres) == cells).all()
        assert worst == grid[cells].max()


@settings(max_examples=30)
@given(hnp.arrays(np.uint8, (20, 40), elements=st.sampled_from([0, 60, 130, 200])))
def test_a_map_survives_geojson(grid):
    """Written as GeoJSON and read back, the grades keep their outlines and worst severities."""
    area = read(grid)
    if not area.zones:
        return

    again = parse_area(json.dumps(area_to_geojson(area)).encode(), BOARD, "again")

    assert [z.severity for z in again.zones] == [z.severity for z in area.zones]
    assert all(a.shape.equals(b.shape) for a, b in zip(again.zones, area.zones, strict=True))


@given(st.data())
def test_a_spoiled_png_is_read_or_refused(data):
    """Any byte changed, and the rest kept: our error or an area."""
    spoiled = bytearray(png(np.full((20, 40), 130, np.uint8)))
    at = data.draw(st.integers(0, len(spoiled) - 1))
    spoiled[at] = data.draw(st.integers(0, 255))
    try:
        area = read(bytes(spoiled))
    except InputError as error:
        assert error.where == "map.png"
    else:
        assert area.area_mm2 == 50.0
