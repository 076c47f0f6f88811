"""What stands on the report of arrival and finding, and which sides its drawings show."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from coppermend.board.atrisk import Touch, TouchedPad, TouchedTrack
from coppermend.board.folder import parse_board_folder
from coppermend.board.model import Board
from coppermend.board.parttypes import standard_library
from coppermend.copper.records import Jumper
from coppermend.demo.board_data import demo_board_files
from coppermend.demo.story import damage_area
from coppermend.job.assess import Assessment, assess
from coppermend.job.state import JobState, NoteLine
from coppermend.papers.contents import report_content
from coppermend.papers.drawings import damaged_sides, report_drawings, work_overlays

LIBRARY, AT = standard_library(), datetime(2026, 3, 4, 9, 30, tzinfo=UTC)


@pytest.fixture(scope="module")
def board() -> Board:
    return parse_board_folder(demo_board_files())


@pytest.fixture(scope="module")
def found(board: Board) -> Assessment:
    """The demo job with a note from three stages."""
    stages = {"receive": "came in a padded box", "inspect": "crust under U5", "plan": "ask for the price"}
    notes = tuple(
        NoteLine(text, "R. Tansy", AT, stage, seq) for seq, (stage, text) in enumerate(stages.items())
    )
    return assess(board, LIBRARY, JobState(number="26-0001-B", damage=damage_area(), notes=notes))


def test_notes_stand_where_they_were_taken(board: Board, found: Assessment):
    """What was noted at receive is about arrival, at inspect about what was found, at plan in neither."""
    report = report_content(board, LIBRARY, found.state, found, who="R. Tansy", date="2026-03-04")

    assert report.arrival == ("came in a padded box",)
    assert report.found[-1] == "crust under U5"
    assert not any("padded" in line or "price" in line for line in report.found)


def test_both_sides_are_drawn_where_both_are_damaged(board: Board, found: Assessment):
    """The demo board has tracks in the leak on both sides: a close-up of each, the solder side turned over."""
    drawn = {picture.file: picture.data for picture in report_drawings(board, LIBRARY, found)}

    assert {track.layer for track in found.touch.tracks} == {"top", "bottom"}
    assert list(drawn) == ["damage.svg", "work-top.svg", "work-bottom.svg"]
    assert drawn["work-top.svg"] != drawn["work-bottom.svg"]


def test_the_side_is_told_by_copper_of_one_side():
    """Tracks and pads of one side tell; pads with holes do not, and nothing at all leaves the parts side."""
    track = TouchedTrack(1, "N1", "bottom", 0.8, 0.5)
    through, surface = (TouchedPad("U1.1", "N1", side, 0.8, 0.5) for side in ("both", "top"))

    assert damaged_sides(Touch()) == damaged_sides(Touch(pads=(through,))) == ("top",)
    assert damaged_sides(Touch(tracks=(track,), pads=(through,))) == ("bottom",)
    assert damaged_sides(Touch(tracks=(track,), pads=(surface,))) == ("top", "bottom")


def test_a_wire_is_drawn_on_its_side(board: Board, found: Assessment):
    """A wire on the solder side is not on the parts side; one that goes through is on both."""
    wires = tuple(
        Jumper(net, "R7.2", "Q3.2", side, 10.0, (), 30) for net, side in (("A", "bottom"), ("B", "both"))
    )
    wired = replace(found, copper=replace(found.copper, fitted=wires))

    counts = {
        side: sum(o.kind == "jumper" for o in work_overlays(wired, side)) for side in ("top", "bottom", None)
    }
    assert counts == {"top": 1, "bottom": 2, None: 2}


def test_without_damage_nothing_is_drawn(board: Board):
    """A report of a board without a damaged area has no drawing."""
    sound = assess(board, LIBRARY, JobState(number="26-0001-B"))

    assert report_drawings(board, LIBRARY, sound) == ()
