"""Laying a photo over the drawing, beside OpenCV and beside synthetic photographs with exact truth."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.board.model import Board
from coppermend.damage.camera import Camera, View, apply_homography, fit_homography, fit_view
from coppermend.damage.photo import read_photo
from coppermend.damage.points import ReferenceClick, check_points, parse_points
from coppermend.damage.registration import register, view_from_clicks
from coppermend.errors import InputError
from photo_render.boards import random_board
from photo_render.sample import clicks_of, grid_rms_mm, small_scene

BOARD = Board("plain", 100.0, 80.0)
CAMERA = Camera.typical(2000, 1500)
VIEW = View(np.array([[15.0, 1.0, 200.0], [-0.5, -14.0, 1300.0], [2e-4, 1e-4, 1.0]]), CAMERA)
CORNERS = np.array(
    [(5.0, 5.0), (95.0, 5.0), (95.0, 75.0), (5.0, 75.0), (50.0, 40.0), (20.0, 60.0), (70.0, 20.0)]
)


def clicked(count: int, view: View = VIEW) -> list[ReferenceClick]:
    return [
        ReferenceClick(f"p{i + 1}", tuple(mm), tuple(px))
        for i, (mm, px) in enumerate(
            zip(CORNERS[:count].tolist(), view.pixels(CORNERS[:count]).tolist(), strict=True)
        )
    ]


@settings(max_examples=40)
@given(st.lists(st.floats(-0.2, 0.2), min_size=9, max_size=9), st.integers(4, 7))
def test_homographies_agree_with_opencv(wobble: list[float], count: int) -> None:
    """Four to seven exact matches give the homography that OpenCV's least squares gives."""
    matrix = np.array([[15, 0, 200], [0, -15, 1300], [0, 0, 1.0]]) + np.array(wobble).reshape(3, 3) * [
        [5],
        [5],
        [1e-3],
    ]
    target = apply_homography(matrix, CORNERS[:count])

    mine = fit_homography(CORNERS[:count], target)

    theirs, _ = cv2.findHomography(CORNERS[:count], target, 0)
    np.testing.assert_allclose(apply_homography(mine, CORNERS), apply_homography(theirs, CORNERS), atol=1e-4)


def test_lens_term_is_that_of_opencv() -> None:
    """The camera distorts as OpenCV's model with k1 alone, and undistorting undoes it."""
    camera = Camera(1800.0, 1800.0, 990.0, 740.0, -0.03)
    ideal = np.array([[100.0, 90.0], [990.0, 740.0], [1900.0, 1400.0]])
    rays = np.column_stack([(ideal - [990, 740]) / 1800, np.ones(3)])

    seen = camera.distort(ideal)

    lens = np.array([[1800.0, 0, 990], [0, 1800, 740], [0, 0, 1]])
    theirs, _ = cv2.projectPoints(rays, np.zeros(3), np.zeros(3), lens, np.array([-0.03, 0, 0, 0]))
    np.testing.assert_allclose(seen, theirs[:, 0], atol=1e-6)
    np.testing.assert_allclose(camera.undistort(seen), ideal, atol=1e-3)


def test_a_resized_photo_keeps_its_view() -> None:
    """Pixel centres of a halved photo lie where its pixels were averaged."""
    half = VIEW.scaled(0.5)

    np.testing.assert_allclose(half.pixels(CORNERS), (VIEW.pixels(CORNERS) + 0.5) * 0.5 - 0.5, atol=1e-9)


def test_six_points_tell_the_lens() -> None:
    """With six or more points k1 is found, from exact clicks nearly exactly."""
    bent = View(VIEW.mm_to_px, replace(CAMERA, k1=-0.03))

    view, left_out = view_from_clicks(tuple(clicked(7, bent)), 2000, 1500)

    assert left_out == () and -0.03 < view.camera.k1 < -0.005  # held near 0 by what lenses are like
    assert np.abs(view.board_mm(bent.pixels(CORNERS)) - CORNERS).max() < 0.1


def test_outliers_hardly_move_a_fit() -> None:
    """One match that is 20 mm off moves the rest by less than a tenth of a millimetre."""
    pixels = VIEW.pixels(CORNERS)
    pixels[4] += 300

    view = fit_view(VIEW, CORNERS, pixels, scale_mm=0.15, with_k1=False)

    others = np.delete(CORNERS, 4, axis=0)
    assert np.abs(view.board_mm(VIEW.pixels(others)) - others).max() < 0.1


@pytest.mark.parametrize("bad", range(6))
def test_the_one_bad_click_is_left_out(bad: int) -> None:
    """Of six clicks one is 12 mm off: it alone is left out."""
    clicks = clicked(6)
    u, v = clicks[bad].pixel
    clicks[bad] = replace(clicks[bad], pixel=(u + 120, v - 130))

    _, left_out = view_from_clicks(tuple(clicks), 2000, 1500)

    assert left_out == (bad,)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda c: c[:3], "too few"),
        (lambda c: [*c[:3], replace(c[2], name="twin")], "same place"),
        (lambda c: [replace(p, pixel=(2000 - p.pixel[0], p.pixel[1])) for p in c[:4]], "mirrored"),
        (lambda c: [replace(c[0], pixel=c[1].pixel), replace(c[1], pixel=c[0].pixel), *c[2:5]], "wrong side"),
        (lambda c: [replace(c[0], board_mm=(200.0, 5.0)), *c[1:4]], "off the board"),
        (lambda c: [replace(c[0], pixel=(-50.0, 5.0)), *c[1:4]], "off the photo"),
        (lambda c: [replace(p, board_mm=(20.0 * i, 10.0)) for i, p in enumerate(c[:4])], "in line"),
        (lambda c: [*c[:3], replace(c[3], board_mm=(50.0, 5.0), pixel=tuple(VIEW.pixels(np.array([[50.0, 5.0]]))[0]))],
         "in line"),
    ],
)  # fmt: skip
def test_points_that_show_no_view_are_refused(change, words: str) -> None:
    """Too few, doubled, mirrored, exchanged, misplaced and collinear points are each named."""
    with pytest.raises(InputError) as caught:
        check_points(tuple(change(clicked(5))), BOARD, (2000, 1500), "top", "points.json")

    assert words in caught.value.found and caught.value.where == "points.json"


def test_the_bottom_is_seen_mirrored() -> None:
    """Mirrored points are right for the bottom, and the unmirrored ones wrong."""
    mirrored = tuple(replace(p, pixel=(2000 - p.pixel[0], p.pixel[1])) for p in clicked(4))

    check_points(mirrored, BOARD, (2000, 1500), "bottom", "points")
    with pytest.raises(InputError, match="mirrored"):
        check_points(tuple(clicked(4)), BOARD, (2000, 1500), "bottom", "points")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{", "broken JSON"),
        ("7", "no list"),
        ("[3]", "no object"),
        ('[{"name": "a", "board_mm": [1], "pixel": [2, 3]}]', "board_mm of a"),
        ('[{"name": "a", "board_mm": [1, true], "pixel": [2, 3]}]', "board_mm of a"),
        ('[{"name": "a", "board_mm": [1, 2], "pixel": [NaN, 3]}]', "pixel of a"),
        ("[" * 100_000, "no list of points needs"),
    ],
)
def test_broken_points_files_are_named(text: str, words: str) -> None:
    """What is wrong with a points file is said in one line that names the file."""
    with pytest.raises(InputError) as caught:
        parse_points(text, "points.json")

    assert words in caught.value.found and caught.value.where == "points.json"


def test_points_may_come_in_an_object() -> None:
    """A list under ``points`` is read too, and a missing name is made up."""
    (click,) = parse_points('{"points": [{"board_mm": [1, 2], "pixel": [3.5, 4]}]}', "points")

    assert click == ReferenceClick("point 1", (1.0, 2.0), (3.5, 4.0))


def test_refinement_beats_the_clicks() -> None:
    """On a synthetic photograph the drawing's own pads and tracks bring the error below 0.12 mm."""
    board, _, shot = small_scene()
    photo = read_photo(shot.jpeg, "photo")

    by_hand = register(photo, board, clicks_of(shot), refine=False)
    refined = register(photo, board, clicks_of(shot))

    assert grid_rms_mm(board, shot.view, refined.view) < min(
        0.12, grid_rms_mm(board, shot.view, by_hand.view)
    )
    assert refined.matches > 20 and not any(p.suspect for p in refined.points)
    assert len(refined.to_json()["pixel_to_mm"]) == 3 and refined.rms_mm < 0.6


def test_a_click_that_the_photo_contradicts_is_pointed_out() -> None:
    """A fifth click 4 mm off is named, and does not spoil the view."""
    board, _, shot = small_scene()
    photo = read_photo(shot.jpeg, "photo")
    middle = np.array([[board.width_mm / 2, board.height_mm / 3]])
    wrong = ReferenceClick("stray", tuple(middle[0]), tuple(shot.view.pixels(middle + 4.0)[0]))

    found = register(photo, board, (*clicks_of(shot), wrong))

    assert [p.name for p in found.points if p.suspect] == ["stray"] and "stray" in " ".join(found.notes)
    assert grid_rms_mm(board, shot.view, found.view) < 0.15


def test_a_photo_of_another_board_is_refused() -> None:
    """Four points clicked well, but the drawing is another board's: its copper is not there, and that is said."""
    board, _, shot = small_scene()
    other = random_board(71)
    shrink = np.array([other.width_mm / board.width_mm, other.height_mm / board.height_mm])
    clicks = tuple(
        replace(c, board_mm=tuple(np.multiply(c.board_mm, shrink).tolist())) for c in clicks_of(shot)
    )
    photo = read_photo(shot.jpeg, "photo")

    with pytest.raises(InputError) as caught:
        register(photo, other, clicks, where="points.json")

    assert "not where the points put them" in caught.value.found and caught.value.where == "points.json"
    assert register(photo, other, clicks, refine=False).matches == 0


def test_a_drawing_without_copper_leaves_the_clicks() -> None:
    """With next to nothing to look for, not to find it refuses nothing: the clicks count, and that is said."""
    board, _, shot = small_scene()
    photo = read_photo(shot.jpeg, "photo")
    plain = Board("plain", board.width_mm, board.height_mm)
    sparse = replace(plain, pads=tuple(p for p in board.pads if p.hole_mm > 3)[:1])

    for drawing in (plain, sparse):
        found = register(photo, drawing, clicks_of(shot))

        assert found.matches == 0 and "only the clicked points count" in " ".join(found.notes)
        assert grid_rms_mm(board, shot.view, found.view) < 0.6
