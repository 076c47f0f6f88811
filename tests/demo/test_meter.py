"""The sample meter: it reads what the copper of the board would let it read."""

from __future__ import annotations

import pytest

from coppermend.board.model import Board, Pad, PinRef, Track
from coppermend.demo.meter import SampleMeter, nearest_tracks
from coppermend.errors import UnknownName

BOARD = Board(
    "line of three pads",
    40,
    10,
    nets={"A": (PinRef("P1", "1"), PinRef("P2", "1"), PinRef("P3", "1"))},
    pads=tuple(Pad(f"P{i}", "1", 10.0 * i, 5.0, 0.8, 1.6) for i in (1, 2, 3)),
    tracks=(Track("A", "top", 10, 5, 20, 5, 0.4), Track("A", "top", 20, 5, 30, 5, 0.4)),
)


def test_sound_copper_reads_a_little_above_expected():
    """Contacts add between 0.08 and 0.13 ohm, rounded to what a meter shows."""
    ohms = SampleMeter(BOARD, ()).read("P1.1", "P3.1", 0.25)

    assert 0.33 <= ohms <= 0.38


def test_eaten_track_reads_open_across_it_only():
    """Track 2 is gone: its far pad is cut off, the near pair still reads."""
    meter = SampleMeter(BOARD, {2})

    assert meter.read("P1.1", "P3.1", 0.2) is None
    assert meter.read("P1.1", "P2.1", 0.2) is not None


def test_jumper_closes_the_open():
    """A wire over the gap joins both sides again, also for points beyond its ends."""
    meter = SampleMeter(BOARD, {2})

    meter.fit_jumper("P2.1", "P3.1")

    assert meter.read("P1.1", "P3.1", 0.2) is not None


def test_unknown_point_is_named():
    """A probe on a point that the board lacks is an error, not an open."""
    with pytest.raises(UnknownName) as caught:
        SampleMeter(BOARD, ()).read("P1.1", "P9.1", 0.2)

    assert caught.value.name == "P9.1"


def test_nearest_track_is_by_the_middle_of_the_track():
    """The track whose middle lies closest to the place is eaten first; numbers count from 1."""
    assert nearest_tracks(BOARD, ["A"], 12, 5) == (1,)
    assert nearest_tracks(BOARD, ["A"], 29, 5) == (2,)
