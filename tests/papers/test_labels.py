"""Labels of any size: code and number always, more where there is room; black dots only for a thermal printer."""

from __future__ import annotations

import io
from dataclasses import replace

import pypdfium2
import pytest
import zxingcpp
from PIL import Image

from coppermend.errors import InputError
from coppermend.papers.code import modules, tag_text
from coppermend.papers.labelsize import SIZES, LabelSize, parse_size
from coppermend.papers.marks import Mark
from coppermend.papers.tag import TagContent, tag_pdf, tag_png

TAG = TagContent(
    number="26-0042-U", board="Saltmarsh Ramble control, revision C", date="2026-11-28", who="R. Tansy",
    done=("Leaked battery removed",), verdict="Proven", machine="Saltmarsh Ramble", serial="SR-00231",
    shop="Fen Lane Board Works", marks=(Mark("J2", "2 wires added"), Mark("OK", "nothing is left unproven")),
)  # fmt: skip
EVERY = [*SIZES, "30x50", "40x40", "20x12", "12x20", "80x80"]


@pytest.mark.parametrize("name", EVERY)
@pytest.mark.parametrize("dots", [203, 300])
def test_every_size_is_one_picture_of_that_size_whose_code_reads_back(name: str, dots: int):
    """One pixel a dot, black or white, resolution noted; an independent reader finds the number."""
    size = parse_size(name)

    picture = Image.open(io.BytesIO(tag_png(TAG, size, dots)))

    assert picture.mode == "1"
    assert picture.width == pytest.approx(size.width_mm / 25.4 * dots, abs=1)
    assert picture.height == pytest.approx(size.height_mm / 25.4 * dots, abs=1)
    assert picture.info["dpi"] == pytest.approx((dots, dots), abs=0.1)
    assert [code.text for code in zxingcpp.read_barcodes(picture.convert("L"))] == ["26-0042-U"]


@pytest.mark.parametrize("name", EVERY)
def test_every_size_is_one_page_with_the_number_to_read(name: str):
    """Whatever the size, the number stands below or beside the code, on the only page."""
    pdf = pypdfium2.PdfDocument(tag_pdf(TAG, parse_size(name)))

    assert len(pdf) == 1
    assert "26-0042-U" in pdf[0].get_textpage().get_text_range()


def test_short_label_shows_marks_and_cuts_nothing_it_shows():
    """Most telling first: board, marks, date; hostile long words stay on the page."""
    long = replace(TAG, board="X" * 200, machine="<script>" * 30, serial="#" * 80)

    pdf = pypdfium2.PdfDocument(tag_pdf(long, parse_size("small")))

    assert len(pdf) == 1
    assert "J2 OK" in pdf[0].get_textpage().get_text_range()


def test_address_is_left_out_where_its_code_would_be_too_fine():
    """A long address on a small label gives way to the number alone, which works without a bench."""
    url = "https://bench.a-workshop-with-a-long-name.example:8390"

    assert tag_text("26-0042-U", url, 24).startswith(url)
    assert tag_text("26-0042-U", url, 12) == "26-0042-U"
    assert modules("26-0042-U") == 21 + 2 * 4  # ISO/IEC 18004: version 1 has 21 modules (from memory)


@pytest.mark.parametrize(
    "text", ["", "50", "50x", "9x50", "400x50", "12x12", "-50x30", "50x30x2", "huge", "1e3x20", "５０x30"]
)
def test_no_such_label(text: str):
    """Neither a name nor a size that a printer could print and a phone could read."""
    with pytest.raises(InputError) as refusal:
        parse_size(text)

    assert "label" in refusal.value.found


def test_sizes_as_people_type_them():
    """Commas, blanks, the unit, the sign for times."""
    assert parse_size("50,5 × 30 mm") == LabelSize(50.5, 30)
    assert parse_size("50mm x 30mm").words == "50 x 30 mm"


def test_resolution_is_that_of_a_printer():
    """Others are refused, and so is a code that would need half dots."""
    with pytest.raises(InputError, match="72 dots"):
        tag_png(TAG, dots_per_inch=72)
    with pytest.raises(InputError, match="no room for its code"):
        tag_png(TAG, LabelSize(20, 7), 150)
