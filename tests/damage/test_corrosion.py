"""The corrosion map on synthetic photographs with exact truth, and the steps that lead to it."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from coppermend.board.model import Board, Pad, Part, Track, Via
from coppermend.damage.camera import Camera, View
from coppermend.damage.corrosion import corrosion_map, encode_map, rooted, severity_of
from coppermend.damage.features import (
    BRIGHTEST,
    COUNT,
    FINE_CONTRAST,
    channels,
    drawing_channels,
    mask_colour,
    photo_canvas,
)
from coppermend.damage.layers import Canvas, draw_layers
from coppermend.damage.maps import read_map
from coppermend.damage.photo import Photo, read_photo
from coppermend.damage.rectify import rectify, shown
from coppermend.damage.registration import register
from photo_render.sample import clicks_of, small_scene

SMALL = Board(
    "small", 40.1, 30.0,
    parts=(Part("R1", x_mm=5, y_mm=5, package="AXIAL-10.16"), Part("D1", x_mm=20, y_mm=20, side="bottom", package="LED-5")),
    pads=(Pad("U1", "1", 10, 20, 1.0, 2.0), Pad("U1", "2", 30, 20, 0.0, 2.0, "bottom", 1.0, False)),
    vias=(Via("V1", "N", 20, 10, 0.5, 1.0),), tracks=(Track("N", "top", 10, 20, 20, 10, 0.5),),
)  # fmt: skip


def iou(mine: np.ndarray, true: np.ndarray) -> float:
    return float(np.count_nonzero(mine & true) / max(1, np.count_nonzero(mine | true)))


def test_heavy_damage_is_found() -> None:
    """On a synthetic photograph, registered by clicks and matching, moderate and worse overlaps the truth."""
    board, _, shot = small_scene()
    photo = read_photo(shot.jpeg, "photo")

    found = corrosion_map(photo, board, register(photo, board, clicks_of(shot)).view)

    assert found.shape == shot.severity.shape and found.dtype == np.uint8
    # Measured 0.82 and 0.88; this seed is not among those trained on.
    assert iou(found >= 112, shot.severity >= 112) > 0.76
    assert iou(found >= 48, shot.severity >= 48) > 0.76


def test_sound_board_is_left_alone() -> None:
    """On a board without damage next to nothing is marked, in spite of labels, flux and lamps."""
    board, _, shot = small_scene(16, "none", small=True)
    photo = read_photo(shot.jpeg, "photo")

    found = corrosion_map(photo, board, shot.view)

    assert (found >= 48).mean() < 0.003


def test_what_the_photo_does_not_show_is_sound() -> None:
    """A place outside the photo is 0, and so is one off the board's outline."""
    photo = Photo(np.full((300, 400, 3), 90, np.uint8), 400, 300)
    view = View(np.array([[20.0, 0, -100], [0, -20, 500], [0, 0, 1]]), Camera.typical(400, 300))
    canvas = Canvas(SMALL.width_mm, SMALL.height_mm, 4)

    found = corrosion_map(photo, SMALL, view)

    hidden = ~shown(view, canvas, photo.rgb.shape)
    assert hidden.any() and not found[hidden].any()


def test_severities_follow_the_grades() -> None:
    """Each grade starts at its step, and rises towards the next with its probability."""
    chances = np.array(
        [[0.4, 0, 0], [0.5, 0, 0], [1, 0.49, 0], [1, 0.5, 0], [1, 1, 0.5], [1, 1, 1]], np.float32
    )

    found = severity_of(chances.T.reshape(3, 1, 6), (0.5, 0.5, 0.5))[0].tolist()

    assert found == [0, 48, 111, 112, 176, 255]


def planes_of(chances: np.ndarray, contrast: float = 0.2) -> np.ndarray:
    """Channels with the same contrast from cell to cell everywhere, such as crust has it, and nothing near burning out."""
    planes = np.zeros((COUNT, *chances.shape[1:]), np.float32)
    planes[FINE_CONTRAST] = contrast
    return planes


@pytest.mark.parametrize(
    ("contrast_there", "usual", "brightest_there", "is_lamp"),
    [
        (0.02, 0.2, 0.0, True),
        (0.03, 0.2, 0.0, False),
        (0.03, 0.2, 1.0, True),
        (0.02, 0.05, 0.0, False),  # all of the photo is blurred
        (0.2, 0.2, 1.0, False),  # crust in bright light keeps its grain
    ],
)
def test_smooth_patch_is_a_lamp_not_a_leak(
    contrast_there: float, usual: float, brightest_there: float, is_lamp: bool
) -> None:
    """A mirrored lamp, however sure the network is of it, is no core, nor what hangs together with it near a leak; rough crust
    smaller than a tenth of it still is one.
    """
    chances = np.zeros((3, 120, 300), np.float32)
    lamp, crust = (slice(20, 100), slice(20, 100)), (slice(50, 60), slice(140, 152))
    chances[:, *lamp] = chances[:, *crust] = 0.95
    chances[0, 40:80, 100:120] = 0.6
    planes = planes_of(chances, usual)
    planes[FINE_CONTRAST, *lamp], planes[BRIGHTEST, *lamp] = contrast_there, brightest_there

    kept = rooted(chances, planes)[0] > 0

    assert kept[crust].all() and kept[lamp].any() != is_lamp
    assert not is_lamp or not kept[:, :120].any()
    chances[:, *crust] = 0
    assert rooted(chances, planes).any() != is_lamp


def test_damage_without_a_core_is_dropped() -> None:
    """Likely cells count within 12 mm of a patch of sure crust, and not elsewhere; a patch that is too small is no core."""
    chances = np.zeros((3, 200, 400), np.float32)
    chances[0, 90:110, 10:390] = 0.9
    chances[1, 95:105, 20:40] = 0.9
    chances[1, 95:98, 360:363] = 0.9

    kept = rooted(chances, planes_of(chances))[0] > 0

    assert kept[100, 12:84].all() and not kept[:, 39 + 12 * 4 + 2 :].any()
    chances[1, :, :300] = 0
    assert not rooted(chances, planes_of(chances)).any()


def test_leak_creeps_from_patch_to_patch() -> None:
    """A small patch counts within 20 mm of the leak or of a patch that does; far off only one a tenth as large does."""
    chances = np.zeros((3, 120, 1200), np.float32)

    def patch(left_px: int, columns: int, rows: int = 10) -> tuple[slice, slice]:
        place = slice(50, 50 + rows), slice(left_px, left_px + columns)
        chances[:, *place] = 0.9
        return place

    leak, near, next_to_it = patch(10, 100, 40), patch(150, 10), patch(220, 10)
    print_far_off, second_leak, beside_it = patch(420, 12), patch(900, 41), patch(1000, 12)

    kept = rooted(chances, planes_of(chances))[0] > 0

    assert all(kept[place].all() for place in (leak, near, next_to_it, second_leak, beside_it))
    assert not kept[print_far_off].any()


def test_maps_are_read_back() -> None:
    """What is written as a map is what ``--area`` reads."""
    severity = np.zeros((120, 160), np.uint8)
    severity[10:50, 20:60] = 200

    assert (read_map(encode_map(severity), 40.0, 30.0, "map") == severity).all()


def test_drawing_lies_where_the_board_says() -> None:
    """Pads, holes, tracks and bodies of a side are drawn to scale, row 0 at the top edge."""
    layers = draw_layers(SMALL, 10)

    assert (
        layers.pads[100, 100]
        and layers.holes[100, 100]
        and layers.pads[100, 109]
        and not layers.holes[100, 109]
    )
    assert layers.vias[200, 200] and layers.tracks[150, 150] and not layers.pads[100, 300]
    assert layers.bodies[250, 100] and draw_layers(SMALL, 10, "bottom").pads[100, 300]
    assert np.count_nonzero(layers.pads > 127) / 100 == pytest.approx(np.pi, rel=0.12)


def test_rectified_photo_matches_opencv() -> None:
    """Without distortion a straightened photo is OpenCV's perspective warp."""
    rng = np.random.default_rng(1)
    photo = cv2.GaussianBlur(rng.integers(0, 255, (300, 400, 3), dtype=np.uint8), (0, 0), 3)
    view = View(np.array([[8.0, 0.5, 20], [-0.3, -7.5, 260], [1e-4, 2e-4, 1]]), Camera.typical(400, 300))
    canvas = Canvas(40.0, 30.0, 8)

    mine = rectify(photo, view, canvas)

    to_mm = np.array([[1 / 8, 0, 0.5 / 8], [0, -1 / 8, 30 - 0.5 / 8], [0, 0, 1]])
    theirs = cv2.warpPerspective(
        photo, view.mm_to_px @ to_mm, (320, 240), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    )
    assert np.abs(mine.astype(int) - theirs).mean() < 0.6


def test_fine_photos_are_averaged() -> None:
    """A checkerboard finer than the map becomes grey, not a moiré."""
    photo = np.indices((1200, 1600)).sum(axis=0) % 2 * 255
    view = View(np.array([[40.0, 0, 0], [0, -40, 1200], [0, 0, 1]]), Camera.typical(1600, 1200))

    grey = rectify(photo.astype(np.uint8), view, Canvas(40.0, 30.0, 8))

    assert grey[20:-20, 20:-20].std() < 12 and grey[20:-20, 20:-20].mean() == pytest.approx(127, abs=4)


def test_channels_are_free_of_the_light() -> None:
    """Twice the light, warmer, and unevenly so: the colour against the mask nearby hardly changes, absolute brightness does."""
    canvas, drawing = photo_canvas(SMALL), drawing_channels(SMALL)
    photo = np.full((*canvas.shape, 3), (20, 60, 36), np.float64)
    photo[100:130, 200:240] = (90, 110, 105)  # a crust
    slope = np.linspace(1, 2.2, canvas.shape[1])[None, :, None] * np.array([1.1, 1.0, 0.8])

    plain, lit = (channels((photo * light).round().astype(np.uint8), drawing) for light in (1.0, slope))

    crust = slice(52, 63), slice(102, 118)
    assert plain.shape == (COUNT, *drawing.shape[1:]) and canvas.shape == (240, 320)
    assert plain[:3, *crust].mean() > 0.5 and abs(plain[:3, 10:40, 60:80].mean()) < 0.02
    assert np.abs(lit[:3, *crust] - plain[:3, *crust]).mean() < 0.25
    assert lit[5, *crust].mean() > 1.3 * plain[5, *crust].mean()
    np.testing.assert_allclose(plain[17:20] * 255, drawing, atol=0.01)


def test_grain_is_what_varies_within_a_cell() -> None:
    """A checkerboard of single sub-pixels has grain, stripes as wide as a cell have none inside it."""
    canvas, drawing = photo_canvas(SMALL), drawing_channels(SMALL)
    fine = np.indices(canvas.shape).sum(axis=0) % 2 * 100 + 50
    wide = np.indices(canvas.shape)[0] // 2 % 2 * 100 + 50

    grains = [
        channels(np.repeat(image[..., None], 3, axis=2).astype(np.uint8), drawing)[6]
        for image in (fine, wide)
    ]

    expected = 4 * np.std(np.log(np.array([50, 150]) / 255 + 0.02))
    assert (
        grains[0][5:-5, 5:-5].mean() == pytest.approx(expected, rel=0.01) and np.abs(grains[1]).max() < 1e-3
    )


def test_burnt_out_cells_are_named() -> None:
    """Where the photo is white nothing can be told from colour, and the channels say so."""
    canvas, drawing = photo_canvas(SMALL), drawing_channels(SMALL)
    photo = np.full((*canvas.shape, 3), 80, np.uint8)
    photo[:40, :40] = 255

    planes = channels(photo, drawing)

    assert planes[3:5, :19, :19].min() == 1 and planes[3:5, 22:, 22:].max() == 0


def test_mask_colour_is_that_of_bare_board() -> None:
    """Pads and parts do not count for the colour of the mask; a board that is all pads still has one."""
    canvas, drawing = photo_canvas(SMALL), drawing_channels(SMALL)
    photo = np.full((*canvas.shape, 3), (20, 120, 60), np.uint8)
    photo[cv2.resize(np.maximum(drawing[0], drawing[2]), canvas.shape[::-1]) > 0] = 250

    assert (mask_colour(photo, drawing) * 255).round().tolist() == [20, 120, 60]
    assert mask_colour(photo, np.full_like(drawing, 255)).shape == (3,)
