"""The report: every row that it is given is on paper, on either paper size."""

from __future__ import annotations

from dataclasses import replace

import pypdfium2
import pytest

from coppermend.papers.report import Picture, ProofRow, ReadingRow, ReportContent, WorkRow, report_pdf

SVG = b'<svg xmlns="http://www.w3.org/2000/svg" width="100" height="60"><rect width="90" height="50"/></svg>'
REPORT = ReportContent(
    number="26-0001-K",
    board="Sample control",
    date="2026-11-25",
    who="M. Weaver",
    verdict="Proven: nothing that was touched is left open",
    summary="The battery had leaked over the memory section.",
    complaint="It will not boot.",
    pictures=(Picture("before.svg", SVG, "Damage on arrival"),),
    work=(WorkRow("BT1", "removed", "leaking"),),
    readings=(ReadingRow("A3", "U3.9", "U7.2", "address line 3", "0.4 Ω", "good"),),
    tests=(ProofRow("+5 V rail", "bench", "passed", "5.02 V"),),
    open=("net D3: no passing test yet",),
    cautions=("Mains inside the cabinet.",),
    care=("Look at the capacitor once a year.",),
)


def text_of(pdf: bytes) -> str:
    """All text of a PDF, page after page."""
    pages = pypdfium2.PdfDocument(pdf)
    return "\n".join(page.get_textpage().get_text_range() for page in pages)


@pytest.mark.parametrize(("paper", "width_mm", "height_mm"), [("a4", 210, 297), ("us-letter", 215.9, 279.4)])
def test_report_uses_the_chosen_paper(paper, width_mm, height_mm):
    """A4 is ISO 216; Letter is ANSI/ASME Y14.1 size A."""
    pdf = pypdfium2.PdfDocument(report_pdf(REPORT, paper))

    width, height = pdf[0].get_size()

    assert width == pytest.approx(width_mm / 25.4 * 72, abs=0.5)
    assert height == pytest.approx(height_mm / 25.4 * 72, abs=0.5)


def test_report_holds_every_row():
    """Complaint, work, readings, tests, open items and cautions are all printed."""
    text = text_of(report_pdf(REPORT))

    for expected in (
        "It will not boot",
        "leaking",
        "U7.2",
        "5.02 V",
        "no passing test yet",
        "Mains inside",
        "once a year",
    ):
        assert expected in text


def test_report_leaves_out_empty_chapters():
    """A report without readings or open items has no chapter for them."""
    text = text_of(report_pdf(replace(REPORT, readings=(), open=(), tests=(), work=())))

    assert "Connections measured" not in text
    assert "Not proven" not in text
