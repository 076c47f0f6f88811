"""The words of tag and report follow the record: what came off, was measured, bridged, passed; nothing of what was not."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from coppermend.board.folder import parse_board_folder
from coppermend.board.lengths import Lengths
from coppermend.board.model import Board
from coppermend.board.parttypes import standard_library
from coppermend.copper.records import Jumper
from coppermend.demo.board_data import demo_board_files
from coppermend.demo.story import damage_area
from coppermend.job.assess import Assessment, assess
from coppermend.job.state import EvidenceLine, JobState, JumperLine, ReadingLine
from coppermend.papers.contents import report_content, tag_content

LIBRARY = standard_library()
WORDS = {"who": "R. Tansy", "date": "2026-03-04"}


@pytest.fixture(scope="module")
def board() -> Board:
    return parse_board_folder(demo_board_files())


@pytest.fixture(scope="module")
def worked(board: Board) -> Assessment:
    """A job in which all came off, one net was read good, one open and bridged, one test passed, one failed."""
    plain = JobState(number="26-0001-B", damage=damage_area(), remedies=("remote-pack",))
    found = assess(board, LIBRARY, plain)
    new = [item.refdes for item in found.refit if item.source == "new"][:2]
    proofs = found.proofs[:2]
    state = replace(
        plain, seq=9,
        strip={item.refdes: item.fate for item in found.strip}, refit=dict.fromkeys(new, ""),
        readings=(ReadingLine("R28.1", "J3.8", 0.3, "", 3), ReadingLine("C3.1", "D2.1", None, "", 4)),
        jumpers=(JumperLine("VRAM", "C3.1", "D2.1", "bottom", 5),),
        evidence={p.id: EvidenceLine(p.id, not n, f"note {n}", 6 + n) for n, p in enumerate(proofs)},
    )  # fmt: skip
    again = assess(board, LIBRARY, state)
    wire = Jumper("VRAM", "C3.1", "D2.1", "both", 18.0, (), 26)
    undrawn = replace(again.touch, areas=())  # drawings have tests of their own, and take their time
    return replace(
        again, touch=undrawn, copper=replace(again.copper, fitted=(wire,), proven=("RETURN7", "VRAM"))
    )


def test_the_report_tells_what_was_done(board: Board, worked: Assessment):
    """Parts, readings with their verdicts, the wire with its gauge and way, tests with their results."""
    report = report_content(board, LIBRARY, worked.state, worked, **WORDS)
    what = {row.where: row.what for row in report.work}

    assert "parts came off, 2 were fitted new" in report.summary
    assert (
        "2 measurements; 1 were bridged by a wire." in report.summary and "1 tests passed" in report.summary
    )
    assert what["C3.1 to D2.1"] == "Wire added on VRAM: 18 mm of AWG 26, from side to side"
    assert what["wire"].startswith("In all 1 wire of AWG 26")
    assert [(row.measured, row.verdict) for row in report.readings] == [
        ("0.3 Ω", "good"), ("OL", "open, bridged by a wire"),
    ]  # fmt: skip
    assert [row.result for row in report.tests] == ["passed", "failed"]


def test_the_tag_tells_the_same_in_short(board: Board, worked: Assessment):
    """Copper first, new parts counted, the wire, the tests."""
    done = tag_content(board, LIBRARY, worked.state, worked, **WORDS).done

    assert done[0] == f"Damage cleaned, copper proven: 2 of {len(worked.touch.nets)} nets"
    assert "Jumper on VRAM: C3.1 to D2.1" in done and done[-1] == "1 tests passed"
    assert sum(line.startswith("New: ") for line in done) == 1


def test_the_report_of_a_shop_in_mils_has_no_millimetres(board: Board, worked: Assessment):
    """Damage in square inches; wires and distances in mils: 18 mm are 709."""
    wire = Jumper("VRAM", "C3.1", "D2.1", "both", 18.0, (), 26)
    wired = replace(worked, copper=replace(worked.copper, fitted=(wire,)))

    report = report_content(board, LIBRARY, wired.state, wired, lengths=Lengths("mil"), **WORDS)

    assert re.search(r"about \d+\.\d in² and", report.summary)
    assert any("709 mil of AWG 26" in row.what for row in report.work)
    assert re.findall(r"\d [cm]m\b", str((report.summary, report.work, report.open))) == []


def test_an_open_connection_without_a_wire_is_open(board: Board, worked: Assessment):
    """What is not proven is said to be measured, or open; never good."""
    unproven = replace(worked, copper=replace(worked.copper, proven=()))

    verdicts = [
        row.verdict for row in report_content(board, LIBRARY, worked.state, unproven, **WORDS).readings
    ]
    assert verdicts == ["measured", "open"]


def test_a_board_without_damage_says_so(board: Board):
    """No damaged area, no work, no complaint: each in words."""
    state = JobState(number="26-0001-B")
    report = report_content(board, LIBRARY, state, assess(board, LIBRARY, state), **WORDS)

    assert report.summary == "No damaged area was recorded for this board."
    assert report.complaint == "None was given." and report.work == ()


def test_another_language_leaves_what_people_wrote(board: Board, worked: Assessment):
    """Every sentence of ours goes through the function that is handed in; complaint, notes and names do not."""
    state = replace(worked.state, complaint="it is dark", customer="O. Penhallow")

    report = report_content(board, LIBRARY, state, worked, say=lambda text: f"«{text}»", **WORDS)
    tag = tag_content(board, LIBRARY, state, worked, say=lambda text: f"«{text}»", **WORDS)

    assert (report.complaint, report.customer, report.who) == ("it is dark", "O. Penhallow", "R. Tansy")
    assert {row.note for row in report.tests} == {"note 0", "note 1"}
    said = (
        report.verdict, report.summary, report.readings_note, *report.cautions, *report.care, *tag.done, tag.verdict,
        *(row.why for row in report.work), *(row.verdict for row in report.readings), *(row.title for row in report.tests),
    )  # fmt: skip
    assert [words for words in said if not re.fullmatch("«.*»", words)] == []
    assert dict(report.words)["Return report"] == "«Return report»"
