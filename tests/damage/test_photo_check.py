"""The second renderer of synthetic photographs: what its truth says is what its photographs show."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from coppermend.damage.layers import Canvas
from coppermend.damage.photo import read_photo
from coppermend.damage.points import ReferenceClick
from coppermend.damage.rectify import rectify
from coppermend.damage.registration import register
from photo_check.bodies import Painter, grey
from photo_check.camera import random_lens, random_light
from photo_check.shot import Shot, shoot
from photo_render.boards import random_board
from photo_render.sample import grid_rms_mm

SEED = 23
BOARD = random_board(SEED, small=True)
CANVAS = Canvas(BOARD.width_mm, BOARD.height_mm, 4)


def photograph(grade: str) -> Shot:
    return shoot(BOARD, SEED, (800, 600), 0.85, grade)


@pytest.fixture(scope="module")
def leaked() -> Shot:
    return photograph("heavy")


@pytest.fixture(scope="module")
def sound() -> Shot:
    return photograph("none")


def test_same_seed_same_picture(leaked):
    """A seed draws one photograph and one truth, to the last bit."""
    again = photograph("heavy")

    assert again.jpeg == leaked.jpeg
    assert (again.severity == leaked.severity).all()


def test_sound_board_has_no_truth(sound):
    """Without a leak nothing is marked."""
    assert not sound.severity.any()


def test_truth_lies_where_the_leak_shows(leaked, sound):
    """Against the same photograph without the leak, what is marked differs and what is not marked hardly does."""
    seen, before = (np.log(rectify(s.photo, s.view, CANVAS).astype(np.float32) + 8) for s in (leaked, sound))
    change = seen - before
    change = np.abs(change - np.median(change[leaked.severity == 0], axis=0)).max(axis=2)
    inner = cv2.erode((leaked.severity >= 112).astype(np.uint8), np.ones((3, 3))) > 0
    outer = cv2.dilate(leaked.severity, np.ones((9, 9))) == 0

    assert inner.mean() > 0.01
    assert np.mean(change[inner] > 0.15) > 0.9
    assert np.mean(change[outer] > 0.15) < 0.02


def test_refinement_finds_the_view(sound):
    """Registration, which looks at the picture only, refines the clicks to the view that the truth states."""
    clicks = [
        ReferenceClick(p.name, (p.x_mm, p.y_mm), tuple(px))
        for p, px in zip(BOARD.reference_points, sound.clicked_px.tolist(), strict=True)
    ]

    found = register(read_photo(sound.jpeg, "made"), BOARD, clicks)

    assert grid_rms_mm(BOARD, sound.view, found.view) < 0.1


def test_body_hides_and_leans_outwards():
    """A tall block hides the corrosion under it, and beside it on the side away from the camera, not towards it."""
    lens = random_lens(np.random.default_rng(1), 60, 40, (300, 400), 0.9)
    light = random_light(np.random.default_rng(2), 60, 40)
    seen = np.full((300, 400), 200, np.uint8)
    painter = Painter(lens, light, np.zeros((300, 400, 3), np.uint8), seen)
    out = np.sign(55 - lens.centre[0])
    foot = np.array([[52.0, 18], [56, 18], [56, 22], [52, 22]])

    painter.prism(foot, 0.0, 10.0, grey(0.5), grey(0.5))

    def at(x_mm: float) -> int:
        u, v = np.rint(lens.pixels(np.array([[x_mm, 20.0, 0.0]]))[0]).astype(int)
        return int(seen[v, u])

    outer, inner = (56, 52) if out > 0 else (52, 56)
    assert at(54) == 0
    assert at(outer + 0.4 * out) == 0
    assert at(inner - 0.8 * out) == 200
