"""Papers in another language: what the program says is handed to one function, what people wrote is not."""

import re
from dataclasses import replace
from importlib import resources

import pypdfium2

from coppermend.papers.said import TEMPLATE_WORDS, Said, plain, sheet_said
from coppermend.papers.sheet import Sheet, Table, sheet_pdf

TABLE = Table("Off", ("Part", "Why"), (("resistor", "in the way"), ("U3", "off")), (1, 1))
SHEET = Sheet("Quote", "26-0042-U", "2026-11-28", lead="Complaint: dark", fields=(("by", "R. Tansy"),), tables=(TABLE,))  # fmt: skip


def marked(text):
    """A language of the test's own: every sentence between marks."""
    return f"«{text}»"


def test_a_shop_paper_says_heads_rows_and_words_of_its_template():
    """A single word in a row is a name, a type or a value, and stays; so do a field's value and the complaint."""
    said = sheet_said(SHEET, marked)

    assert (said.title, said.lead, said.fields) == ("«Quote»", "Complaint: dark", (("«by»", "R. Tansy"),))
    assert said.tables[0].heads == ("«Part»", "«Why»")
    assert said.tables[0].rows == (("resistor", "«in the way»"), ("U3", "«off»"))
    page = pypdfium2.PdfDocument(sheet_pdf(said))[0].get_textpage().get_text_range()
    assert "«job» 26-0042-U" in page


def test_what_was_said_when_it_was_made_is_not_said_again():
    """A cell or a note that is in the paper's language already, since units had to be put into it, stays as it is."""
    rows = ((Said("im Weg, 2,5 mm"), "in the way"),)
    said = sheet_said(
        replace(SHEET, tables=(replace(TABLE, rows=rows),), notes=(Said("gut"), "good")), marked
    )

    assert said.tables[0].rows == (("im Weg, 2,5 mm", "«in the way»"),)
    assert said.notes == ("gut", "«good»")


def test_in_english_a_shop_paper_is_left_alone():
    """Nothing is made anew where nothing is said otherwise."""
    assert sheet_said(SHEET, plain) is SHEET


def test_every_word_of_a_template_is_known_to_be_one():
    """What a template asks to be said is among the words that are handed to it."""
    folder = resources.files("coppermend.papers.templates")
    asked = [
        word
        for file in folder.iterdir()
        if file.name.endswith(".typ")
        for word in re.findall(r'\bw\("([^"]+)"\)', file.read_text("utf-8"))
    ]

    assert len(asked) > 30
    assert set(asked) <= set(TEMPLATE_WORDS)
