"""The craft behind each stage: a page each with a drawing and sources, and the words of the trade."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from coppermend.job.entry import STAGES
from coppermend.web.words import WORDS

GLOSSARY = Path(__file__).resolve().parents[2] / "docs" / "glossary.md"


@pytest.mark.parametrize("stage", STAGES)
def test_each_stage_has_its_page_with_a_drawing_and_its_sources(bench, stage):
    """A described drawing, at least one source, the stage's cautions, and a way on."""
    shown = bench.client.get(f"/craft/{stage}")
    assert shown.status_code == 200
    assert re.search(r'<svg [^>]*role="img" aria-label="[^"]{20,}"', shown.text)
    sources = shown.text.partition("<h2>Sources</h2>")[2]
    assert sources.count("<li>") >= 1
    assert 'class="cautions"' in shown.text
    around = [
        f'href="/craft/{STAGES[at]}"'
        for at in (STAGES.index(stage) - 1, STAGES.index(stage) + 1)
        if 0 <= at < 9
    ]
    assert all(link in shown.text for link in around)


def test_a_stage_leads_to_its_craft(at_work):
    """From the stage's page it is one press."""
    assert 'href="/craft/copper"' in at_work.get("/copper").text


def test_a_stage_that_does_not_exist_has_no_page(bench):
    """One clear line, with the stages that there are."""
    shown = bench.client.get("/craft/polish")
    assert shown.status_code == 400 and "polish" in shown.text and "receive" in shown.text


def test_the_glossary_on_the_page_is_the_one_in_the_document(bench):
    """Word for word, so that the two cannot drift apart."""
    rows = re.findall(r"^\| (.+?) \| (.+) \|$", GLOSSARY.read_text("utf-8"), re.M)
    assert [(word, meaning.replace("`", "")) for word, meaning in rows if word != "word"] == list(WORDS)
    shown = bench.client.get("/craft/words").text
    assert shown.count('<th scope="row">') == len(WORDS)
