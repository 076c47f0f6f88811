"""What the drawing shows on a page, and what an entry says in words."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from coppermend.job.entry import Entry
from coppermend.web.drawing import around, drawing_of, probe_overlays
from coppermend.web.pages import entry_words


def test_points_without_a_place_are_not_drawn(at_work):
    """A probe whose points the board does not have leaves the net alone and no box to look at."""
    board = at_work.job.board
    net = next(iter(board.nets))

    assert [o.kind for o in probe_overlays(board, net, "X9.1", "U1.1")] == ["net"]
    assert around(board, "X9.1", "U1.1") is None


def test_the_box_around_a_probe_holds_both_points(at_work):
    """Both ends lie inside the box that is shown large."""
    board = at_work.job.board
    pads = [board.index.place("U1.1"), board.index.place("U2.1")]

    left, bottom, right, top = around(board, "U1.1", "U2.1")

    assert all(left < pad.x_mm < right and bottom < pad.y_mm < top for pad in pads)


def test_both_sides_show_the_same_overlays_mirrored(damaged):
    """Top and bottom carry each overlay once, at mirrored places."""
    net = damaged.job.found.touch.nets[0].net
    drawing = drawing_of(damaged.desk, damaged.board, probe_overlays(damaged.job.board, net, "U1.1", "U1.2"))
    top, bottom = (sheet.overlays for sheet in drawing.sheets)

    assert top.count('class="overlay') == bottom.count('class="overlay') == 3
    assert top != bottom


@pytest.mark.parametrize(
    ("kind", "body", "words"),
    [
        ("reading", {"a": "U1.1", "b": "V2", "ohms": "OL"}, "U1.1 to V2: OL"),
        (
            "reading",
            {"a": "U1.1", "b": "V2", "ohms": 0.3, "instrument": "beeper"},
            "U1.1 to V2: 0.3 Ω (beeper)",
        ),
        ("strip", {"refdes": "C3", "done": True, "fate": "test"}, "C3 is off: test"),
        ("refit", {"refdes": "C3", "done": False}, "C3 is not on"),
        ("void", {"seq": 4, "why": "slip"}, "entry 4 no longer counts: slip"),
        ("reading", {"from": "a later version"}, ""),
    ],
)
def test_entries_are_told_in_words(kind, body, words):
    """Each kind has its words; an entry of a later version is shown by its kind alone."""
    entry = Entry("26-0001-B", 5, datetime.now(UTC), "R. Tansy", "copper", kind, body)

    assert entry_words(entry) == words
