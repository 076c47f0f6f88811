"""Track resistance beside published figures."""

from __future__ import annotations

import pytest

from coppermend.copper.resistance import WIRE_OHM_PER_M, limit_ohm, track_resistance_ohm


@pytest.mark.parametrize(
    ("length_mm", "width_mm", "milliohm"),
    [(100, 0.5, 98.52), (100, 0.25, 197.0), (50, 1.0, 24.63)],
)
def test_35_um_examples(length_mm, width_mm, milliohm):
    """Resistivity of 100 % IACS copper, 1.7241e-8 ohm metre (NBS Handbook 100), at 35 µm."""
    assert 1000 * track_resistance_ohm(length_mm, width_mm) == pytest.approx(milliohm, rel=5e-4)


def test_a_square_of_35_um_copper():
    """Any square has 0.4926 mΩ, whatever its size (ρ / t)."""
    assert 1000 * track_resistance_ohm(7, 7) == pytest.approx(0.4926, rel=1e-4)


def test_wrapping_wire():
    """AWG 30 by ASTM B258 is 0.127 * 92^((36 - 30) / 39) mm thick."""
    diameter_mm = 0.127 * 92 ** (6 / 39)
    ohm_mm2_per_m = 1.7241e-2

    assert pytest.approx(ohm_mm2_per_m / (3.141592654 * diameter_mm**2 / 4), rel=1e-3) == WIRE_OHM_PER_M


def test_a_track_without_width_is_an_error():
    """No width, no resistance."""
    with pytest.raises(ValueError, match="must have copper"):
        track_resistance_ohm(10, 0)


def test_up_to_an_ohm_more_counts_as_sound():
    """Common practice, no source: more than 1 Ω above the computed value is suspect."""
    assert limit_ohm(0.3) == pytest.approx(1.3)
