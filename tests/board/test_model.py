"""The records of a board: how points are written, and what is filled in when a file is silent."""

from __future__ import annotations

import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coppermend.board.model import Board, Pad, Part, PinRef, Track, Via
from coppermend.errors import InputError

names = st.text(min_size=1, max_size=8).map(str.strip).filter(bool)


@given(names, names.filter(lambda pin: "." not in pin))
def test_pins_are_read_as_written(refdes, pin):
    """``REFDES.PIN`` read back is the same pin, dots in the refdes included."""
    assert PinRef.parse(str(PinRef(refdes, pin))) == PinRef(refdes, pin)


@pytest.mark.parametrize("text", ["", "U3", ".", "U3.", ".9", "  . "])
def test_half_a_pin_is_refused(text):
    """A point without both refdes and pin is an InputError that shows how to write one."""
    with pytest.raises(InputError) as caught:
        PinRef.parse(text)

    assert "U3.9" in caught.value.expected


def test_pads_are_as_high_as_wide():
    """A pad without a height is as high as it is wide; one with a height keeps it."""
    assert Pad("R1", "1", 0, 0, 0.8, 1.6).height_mm == 1.6
    assert Pad("R1", "1", 0, 0, 0.8, 1.6, height_mm=2.5).height_mm == 2.5


def test_pads_know_their_pin():
    """A pad's ``ref`` is the pin that is soldered in it."""
    assert Pad("R1", "2", 0, 0, 0.8, 1.6).ref == PinRef("R1", "2")


def test_vias_get_a_ring():
    """A via without a size gets an annular ring of 0.3 mm; one with a size keeps it."""
    assert Via("V1", "A", 0, 0, 0.4).size_mm == pytest.approx(1.0)
    assert Via("V1", "A", 0, 0, 0.4, 0.8).size_mm == 0.8


def test_counts():
    """Counts count pins on nets, not pads, and keep duplicates."""
    board = Board(
        "B", 10, 10,
        parts=(Part("R1"), Part("R1")),
        nets={"A": (PinRef("R1", "1"), PinRef("R1", "1")), "B": ()},
        pads=(Pad("R1", "1", 0, 0, 0, 1),),
        tracks=(Track("A", "top", 0, 0, 1, 1, 0.3),),
    )  # fmt: skip

    assert board.counts() == {"parts": 2, "pins": 2, "nets": 2, "pads": 1, "vias": 0, "tracks": 1, "areas": 0}


def test_lookups_are_built_once():
    """Index and space are made on first use and kept, and a board cannot be changed under them."""
    board = Board("B", 10, 10)

    assert board.index is board.index and board.space is board.space
    with pytest.raises(dataclasses.FrozenInstanceError):
        board.name = "C"
