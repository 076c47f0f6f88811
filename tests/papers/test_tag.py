"""The tag: one page of 60 x 100 mm whatever is written, and a code that a reader reads back."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pypdfium2
import pytest
import zxingcpp

from coppermend.papers.tag import TagContent, tag_pdf, tag_png

TAG = TagContent(
    number="26-0001-K",
    board="Sample control",
    date="2026-11-25",
    who="M. W.",
    done=("Leaked battery removed", "Jumper U3.9 to U7.2"),
    verdict="Proven",
)


def test_tag_is_one_page_of_60_by_100_mm():
    """The page box is the label's size in points (72 per inch)."""
    pdf = pypdfium2.PdfDocument(tag_pdf(TAG))

    width, height = pdf[0].get_size()

    assert len(pdf) == 1
    assert width == pytest.approx(60 / 25.4 * 72, abs=0.5)
    assert height == pytest.approx(100 / 25.4 * 72, abs=0.5)


def test_tag_code_reads_back_as_the_job_number():
    """An independent reader finds the number in the picture at thermal-printer resolution."""
    picture = cv2.imdecode(np.frombuffer(tag_png(TAG), np.uint8), cv2.IMREAD_GRAYSCALE)

    codes = zxingcpp.read_barcodes(picture)

    assert [code.text for code in codes] == ["26-0001-K"]


def test_tag_code_opens_the_job_on_the_bench():
    """With a bench address, the code is the address of the job's page."""
    tag = replace(TAG, bench_url="http://bench.example:8000/")
    picture = cv2.imdecode(np.frombuffer(tag_png(tag), np.uint8), cv2.IMREAD_GRAYSCALE)

    codes = zxingcpp.read_barcodes(picture)

    assert codes[0].text == "http://bench.example:8000/jobs/26-0001-K"


def test_tag_filled_to_the_brim_stays_one_page():
    """Long lines are cut and surplus ones counted, so that the tag never runs over."""
    tag = replace(
        TAG,
        shop="A workshop with a rather long name of its own",
        board="Board with a long descriptive name, revision D",
        machine="Machine with a long name",
        serial="0123456789-ABCDEF",
        done=tuple(
            f"piece of work number {i} described at tiresome length, over and over" for i in range(40)
        ),
        cautions=("No battery fitted: never fit a primary cell here without its diode.",) * 2,
        verdict="Not proven: 12 things are still open",
    )

    pdf = pypdfium2.PdfDocument(tag_pdf(tag))

    text = pdf[0].get_textpage().get_text_range()
    assert len(pdf) == 1
    assert "and 36 more" in text
    assert "Not proven" in text


def test_tag_without_work_says_so():
    """An empty list of work is said, not left blank."""
    pdf = pypdfium2.PdfDocument(tag_pdf(replace(TAG, done=())))

    assert "nothing recorded" in pdf[0].get_textpage().get_text_range()
