"""Windows of a drawing correlated with a photo that hardly shows it."""

from __future__ import annotations

import numpy as np

from coppermend.damage.layers import Canvas
from coppermend.damage.matches import found_alone, found_together
from coppermend.damage.windows import Look, correlated, high_pass, means_nearby, pattern_of


def test_means_nearby_count_only_what_tells() -> None:
    """Beside a sum written out, at the rim too."""
    rng = np.random.default_rng(1)
    values, told = rng.normal(size=(20, 2)), rng.random(20) < 0.6
    values[~told] = np.nan  # what does not tell must not be read

    means, near = means_nearby(values, told, (4, 5), 3)

    for row in range(4):
        for column in range(5):
            around = [
                r * 5 + c
                for r in range(max(0, row - 1), min(4, row + 2))
                for c in range(max(0, column - 1), min(5, column + 2))
                if told[r * 5 + c]
            ]
            assert near[row * 5 + column] == len(around) > 0
            np.testing.assert_allclose(means[row * 5 + column], values[around].mean(axis=0))


def test_windows_together_find_what_none_finds_alone() -> None:
    """Copper at a fifteenth of the noise, seen 0.5 mm to the right and 0.25 mm up: every other window finds it, all in common do."""
    canvas, rng = Canvas(120.0, 100.0, 4.0), np.random.default_rng(2)
    drawn = high_pass(rng.normal(size=canvas.shape).astype(np.float32), 4.0)
    noise = high_pass(rng.normal(size=canvas.shape).astype(np.float32), 4.0)
    seen = noise + np.roll(drawn, (-1, 2), axis=(0, 1)) / 15
    surfaces = correlated(seen, {"drawn": pattern_of(drawn, canvas, 1.25)}, 1.25)["drawn"]

    alone, together = (found(surfaces, Look(1.0), canvas) for found in (found_alone, found_together))

    right = [np.hypot(*(m.shift_mm - (0.5, 0.25)).T) < 0.125 for m in (alone, together)]
    assert len(right[1]) > 20 and right[1].mean() > 0.95 and right[0].mean() < 0.6
