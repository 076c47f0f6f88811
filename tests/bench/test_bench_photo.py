"""How long a 12-megapixel photo takes to become a damage map; the aim is 2.5 s on two idle cores."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from coppermend.damage.corrosion import corrosion_map
from coppermend.damage.photo import read_photo
from coppermend.damage.points import ReferenceClick
from coppermend.damage.registration import register
from photo_render.sample import clicks_of, small_scene

FACTOR = 2.5  # 1600 x 1200 made 4000 x 3000


@pytest.fixture(scope="module")
def large_photo() -> bytes:
    """The sample photograph at 12 megapixels."""
    photo = cv2.resize(small_scene()[2].photo, None, fx=FACTOR, fy=FACTOR, interpolation=cv2.INTER_CUBIC)
    return cv2.imencode(".jpg", cv2.cvtColor(photo, cv2.COLOR_RGB2BGR))[1].tobytes()


def test_photo_to_map(benchmark, large_photo: bytes) -> None:
    """From the file's bytes to the map."""
    board, _, shot = small_scene()
    clicks = tuple(
        ReferenceClick(c.name, c.board_mm, tuple(((np.array(c.pixel) + 0.5) * FACTOR - 0.5).tolist()))
        for c in clicks_of(shot)
    )

    def whole():
        photo = read_photo(large_photo, "photo")
        return corrosion_map(photo, board, register(photo, board, clicks).view)

    found = benchmark.pedantic(whole, rounds=3, warmup_rounds=1)

    assert found.shape == shot.severity.shape
