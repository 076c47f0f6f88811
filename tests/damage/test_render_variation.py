"""What makes training photographs unlike their renderer must not move the truth away from the picture."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from photo_render.disturb import glaring
from photo_render.vary import leaked_upon, recrusted, rephotographed, reshaped, restained

ROWS, COLUMNS = 120, 160
SEEDS = range(6)


def case(spot: tuple[int, int] = (60, 80), grade: int = 160) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A dark board with one light round patch; a part at the left edge."""
    severity = np.zeros((ROWS, COLUMNS), np.uint8)
    cv2.circle(severity, spot[::-1], 30, grade, -1)
    photo = np.full((2 * ROWS, 2 * COLUMNS, 3), 60, np.uint8)
    photo[cv2.resize(severity, (2 * COLUMNS, 2 * ROWS), interpolation=cv2.INTER_NEAREST) > 0] = 200
    drawing = np.zeros((3, ROWS, COLUMNS), np.uint8)
    drawing[2, :, :30] = 255
    return photo, drawing, severity


def bright(photo: np.ndarray) -> np.ndarray:
    return (
        cv2.resize(photo.mean(axis=2).astype(np.float32), (COLUMNS, ROWS), interpolation=cv2.INTER_AREA) > 130
    )


@pytest.mark.parametrize("seed", SEEDS)
def test_truth_is_bent_with_the_photo(seed: int) -> None:
    """At another scale, sheared and bent, the patch in the photo and the patch of the truth stay one."""
    photo, drawing, severity = reshaped(*case(), np.random.default_rng(seed))

    seen, true = bright(photo), severity >= 112

    assert drawing.shape == (3, ROWS, COLUMNS) and (seen | true).any()
    assert np.count_nonzero(seen & true) / np.count_nonzero(seen | true) > 0.93
    assert abs(true.sum() / (case()[2] >= 112).sum() - 1) > 0.005


@pytest.mark.parametrize("seed", SEEDS)
def test_only_crust_gets_another_crust(seed: int) -> None:
    """What is further from the crust than its soft edge keeps its colours."""
    photo, _, severity = case()
    near = cv2.dilate(cv2.resize(severity, (2 * COLUMNS, 2 * ROWS)), np.ones((17, 17), np.uint8)) > 0

    changed = (recrusted(photo, severity, np.random.default_rng(seed)) != photo).any(axis=2)

    assert changed[near].mean() > 0.5 and not changed[~near].any()


def test_clean_photo_keeps_its_colours() -> None:
    """Where there is no crust and no stain, there is nothing to colour."""
    photo = case()[0]
    clean = np.zeros((ROWS, COLUMNS), np.uint8)

    assert np.array_equal(recrusted(photo, clean, np.random.default_rng(1)), photo)
    assert np.array_equal(restained(photo, clean, np.random.default_rng(1)), photo)


def test_stain_is_shaded_crust_is_not() -> None:
    """Light corrosion changes its tint; the middle of crust does not."""
    photo, _, light = case(grade=80)
    shaded = restained(photo, light, np.random.default_rng(2))

    assert (shaded[120, 160] < photo[120, 160]).any()
    assert np.array_equal(restained(photo, case()[2], np.random.default_rng(2)), photo)


@pytest.mark.parametrize("seed", SEEDS)
def test_crust_laid_over_counts_where_it_is_seen(seed: int) -> None:
    """The truth grows by just what the photo shows of the other leak; most lots leave parts uncovered."""
    under = (
        np.full((2 * ROWS, 2 * COLUMNS, 3), 60, np.uint8),
        case()[1],
        np.zeros((ROWS, COLUMNS), np.uint8),
    )

    photo, _, severity = leaked_upon(under, case((50, 40)), np.random.default_rng(seed))

    seen, true = (photo.mean(axis=2) > 90)[::2, ::2], severity >= 112
    assert np.count_nonzero(seen & true) / np.count_nonzero(seen | true) > 0.85
    if seed == 0:
        assert not true[:, :30].any()


def test_leak_too_small_to_see_is_not_laid() -> None:
    """A few cells of crust are not worth a truth."""
    whole = case()
    speck = np.zeros((ROWS, COLUMNS), np.uint8)
    speck[3:6, 3:6] = 200

    assert leaked_upon(whole, (whole[0], whole[1], speck), np.random.default_rng(0)) is whole


def test_same_lots_same_photo() -> None:
    """A seed gives the same photograph again, another seed another."""
    photo = case()[0]
    first, again, other = (rephotographed(photo, np.random.default_rng(seed)) for seed in (3, 3, 4))

    assert np.array_equal(first, again) and not np.array_equal(first, other)
    assert first.shape == photo.shape and first.dtype == np.uint8


def test_what_a_lamp_veils_is_not_counted() -> None:
    """Of the grain of crust that a veil takes from the truth little is left in the photo; most crust stays."""
    photo, drawing, severity = case()
    photo[::2, ::2][severity > 0] = 120
    grainy = photo.astype(np.float32)
    bodies = cv2.resize(drawing[2], (2 * COLUMNS, 2 * ROWS)).astype(np.float32) / 255
    hidden, kept = 0, 0
    for seed in range(40):
        lit, left = glaring(grainy, bodies, severity, np.random.default_rng(seed))
        gone = (severity > 0) & (left == 0)
        hidden, kept = hidden + gone.sum(), kept + (left > 0).sum()
        if gone.any():
            contrast = lit[1::2, 1::2].mean(axis=2) - lit[::2, ::2].mean(axis=2)
            assert np.abs(contrast[gone]).mean() < 0.2 * 80

    assert 0 < hidden < kept
