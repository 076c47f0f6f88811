"""A waiver is printed on the report with its reason, and the tag's verdict says that the job went back by one."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pypdfium2
import pytest

from coppermend.board.folder import parse_board_folder
from coppermend.board.parttypes import standard_library
from coppermend.demo.board_data import demo_board_files
from coppermend.demo.story import damage_area
from coppermend.job.assess import assess
from coppermend.job.release import holding
from coppermend.job.state import JobState, WaiverLine
from coppermend.papers.contents import report_content, tag_content, verdict, waiver_words
from coppermend.papers.report import report_pdf

AT = datetime(2026, 3, 4, 9, 30, tzinfo=UTC)


@pytest.fixture(scope="module")
def papers():
    """Tag and report of a job on the demo board whose gate is open but waived."""
    board, library = parse_board_folder(demo_board_files()), standard_library()
    state = JobState(number="26-0001-B", customer="O. Penhallow", damage=damage_area())
    items = holding(assess(board, library, state).gate)
    state = replace(state, waiver=WaiverLine("spare board, tested in the machine", items, "R. Tansy", AT, 7))
    found = assess(board, library, state)
    words = {"who": "R. Tansy", "date": "2026-03-04"}
    return (
        found,
        tag_content(board, library, state, found, **words),
        report_content(board, library, state, found, **words),
    )


def test_verdict_says_by_waiver(papers):
    """On the tag and on the report; without a waiver it does not."""
    found, tag, report = papers

    assert tag.verdict == report.verdict == verdict(found)
    assert verdict(found).startswith("Not proven: ") and verdict(found).endswith("returned by a waiver")
    bare = assess(found.board, standard_library(), replace(found.state, waiver=None))
    assert "waiver" not in verdict(bare) and waiver_words(bare) == ""


def test_report_prints_the_reason(papers):
    """Reason and author stand below what is not proven."""
    _, _, report = papers

    pdf = pypdfium2.PdfDocument(report_pdf(report))
    text = " ".join(" ".join(page.get_textpage().get_text_range() for page in pdf).split())

    assert (
        "Returned with this open, by R. Tansy on 2026-03-04. Reason: spare board, tested in the machine"
        in text
    )
    assert text.index("Not proven") < text.index("Returned with this open")


def test_report_of_a_failed_proof_alone_prints_the_waiver_too(papers):
    """A heading stands above it though no item is open."""
    _, _, report = papers

    pdf = pypdfium2.PdfDocument(report_pdf(replace(report, open=())))

    text = " ".join(page.get_textpage().get_text_range() for page in pdf)
    assert "Not proven" in text and "Returned with this open" in text
