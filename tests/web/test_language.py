"""Other languages: every word of a page is marked, the German catalogue is complete, and pages speak it."""

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from jinja2 import nodes

import coppermend.web
from catalogue import LOCALES, path_of, troubles, updated
from coppermend.errors import InputError
from coppermend.job.shop import set_shop
from coppermend.web import language
from coppermend.web.marking import marked
from coppermend.web.pages import templates

TEMPLATES = Path(coppermend.web.__file__).parent / "templates"
ALL = sorted(path.relative_to(TEMPLATES).as_posix() for path in TEMPLATES.rglob("*.html"))
# What needs no translation: units, formats, abbreviations, examples of what is typed, and our own name.
SAME = re.compile(r"(?:[\W\d_]|\b(?:mm²?|min|ms|ns|s|h|m?V|Ω|bit|px/mm|AWG|CSV|JSON|CPU|RAM|PDF|OL|[A-Z]\d*(?:\.\d)?|Coppermend)\b)*")  # fmt: skip


class Bare(HTMLParser):
    """Collects words that stand in a template's own text, outside ``code``, ``pre``, scripts and ``translate="no"``."""

    SPOKEN = ("aria-label", "title", "placeholder", "alt", "data-good", "data-bad")
    VOID = ("input", "img", "link", "meta", "br", "hr")

    def __init__(self):
        super().__init__()
        self.silent, self.found = [], []

    def handle_starttag(self, tag, attrs):
        if ("translate", "no") not in attrs:
            self.found += [v for k, v in attrs if k in self.SPOKEN and v and not SAME.fullmatch(v)]
        if tag not in self.VOID and (
            self.silent or tag in ("code", "pre", "script", "style") or ("translate", "no") in attrs
        ):
            self.silent.append(tag)

    def handle_endtag(self, tag):
        if self.silent and self.silent[-1] == tag:
            self.silent.pop()

    def handle_data(self, data):
        if not self.silent and not SAME.fullmatch(data):
            self.found.append(data.strip())


@pytest.mark.parametrize("name", ALL)
def test_no_word_stands_unmarked(name):
    """What is left of a template without its expressions holds no words."""
    text = re.sub(r"\{#.*?#\}", "", marked((TEMPLATES / name).read_text()), flags=re.DOTALL)
    bare = Bare()
    text = re.sub(r"\{%.*?%\}", "", text, flags=re.DOTALL)
    text = re.sub(r"(</?)\{\{.*?\}\}", r"\1div", text, flags=re.DOTALL)  # an element named by an expression
    bare.feed(re.sub(r"\{\{.*?\}\}", "", text, flags=re.DOTALL))

    assert bare.found == []


@pytest.mark.parametrize("name", ALL)
def test_no_word_stands_unmarked_in_an_expression(name):
    """What an expression prints in one case or another is marked by hand."""
    tree = templates().parse((TEMPLATES / name).read_text())
    printed = [child for output in tree.find_all(nodes.Output) for child in output.nodes]
    words = [word for expression in printed for word in _choices(expression)]

    assert [word for word in words if re.search(r"[A-Za-z]{2} [A-Za-z]|^[✓✗!] |^[A-Z][a-z]+$", word)] == []


def _choices(node):
    if isinstance(node, nodes.Const) and isinstance(node.value, str):
        yield node.value
    elif isinstance(node, nodes.CondExpr):
        yield from _choices(node.expr1)
        if node.expr2 is not None:
            yield from _choices(node.expr2)
    elif isinstance(node, nodes.Or | nodes.Add):
        yield from _choices(node.right)
    elif isinstance(node, nodes.Concat):
        for one in node.nodes:
            yield from _choices(one)


@pytest.mark.parametrize("name", sorted(path.name for path in LOCALES.iterdir()))
def test_catalogue_is_complete(name):
    """Every message is translated, with the same placeholders and tags; when it fails: python tools/catalogue.py."""
    catalogue = updated(name)

    assert troubles(catalogue) == []
    assert len(catalogue) > 1000
    assert path_of(name).read_bytes().count(b"#, fuzzy") == 0


def test_a_page_speaks_german(at_work):
    """By what the browser asks for; what people wrote into the record stays as it is."""
    page = at_work.client.get(f"/jobs/{at_work.number}/receive", headers={"Accept-Language": "de-AT,de;q=0.9,en;q=0.4"}).text  # fmt: skip

    assert '<html lang="de">' in page
    for words in ("Annahme", "Beanstandung", "Notiz speichern", "Hier fertig, weiter zu Sichtprüfung"):
        assert words in page
    assert at_work.desk.job(at_work.number).state.complaint in page
    assert "Keep the note" not in page
    assert '"Stop drawing": "Zeichnen beenden"' in page


def test_the_shop_decides_before_the_browser(at_work):
    """A shop that has set its language hears no other; a language that there is not is refused."""
    set_shop(at_work.desk.store, {"language": "en"}, who="R. Tansy")

    page = at_work.client.get("/", headers={"Accept-Language": "de"}).text

    assert '<html lang="en">' in page
    assert "New job" in page
    with pytest.raises(InputError, match="language is 'tlh'"):
        set_shop(at_work.desk.store, {"language": "tlh"}, who="R. Tansy")


@pytest.mark.parametrize(
    ("header", "spoken"),
    [
        ("", "en"),
        ("da, en-gb;q=0.8, en;q=0.7", "en"),  # RFC 9110, 12.5.4
        ("de-CH", "de"),
        ("en;q=0.4, de;q=0.9", "de"),
        ("de;q=0, en", "en"),  # q=0: not acceptable (RFC 9110, 12.4.2)
        ("*", "en"),
        ("de;q=x,\x00;;", "en"),
    ],
)
def test_the_best_language_asked_for_is_spoken(header, spoken):
    """Weights count, regions fall back to their language, nonsense is English."""
    assert language.asked_for(header) == spoken


def test_numbers_follow_the_language():
    """Decimal mark, groups and money as CLDR has them; English as the program always wrote them."""
    language.speak("de")
    try:
        assert language.number_words(1234.5, 1) == "1234,5"
        assert language.count_words(65536) == "65.536"
        assert language.money_words("12.5", "EUR") == "12,50\xa0€"
        assert language.translate_plural("one line added", "%(num)d lines added", 2).startswith(
            "%(num)d Zeilen"
        )
    finally:
        language.speak("en")
    assert (language.number_words(0.05, 2), language.count_words(65536)) == ("0.05", "65,536")


@pytest.mark.parametrize(
    ("said", "inch", "mil"),
    [
        ("its body stands within 2 mm of the damage", "within 0.08 in of", "within 79 mil of"),
        ("at x 12.0, y 3.0 mm", "at x 0.472, y 0.118 in", "at x 472, y 118 mil"),
        ("free spot at 38, 12 mm", "free spot at 1.50, 0.47 in", "free spot at 1496, 472 mil"),
        ("the board is said to be 254 x 127 mm", "10.00 x 5.00 in", "10000 x 5000 mil"),
        ("2 wires of AWG 30, 67 mm to cut", "AWG 30, 2.64 in to cut", "AWG 30, 2638 mil to cut"),
        ("one coat, 0.03 to 0.13 mm dry", "0.0012 to 0.0051 in dry", "coat, 1 to 5 mil dry"),
        ("U13.5 mm² 4 px/mm 3 mm/s", "U13.5 mm² 4 px/mm 3 mm/s", "U13.5 mm² 4 px/mm 3 mm/s"),
    ],
)
def test_lengths_in_sentences_follow_the_shop(said, inch, mil):
    """One number or two before mm are turned, by 25.4 mm to the inch; what is no length stays."""
    for unit, wanted in (("mm", said), ("inch", inch), ("mil", mil)):
        language.speak("en", unit)
        try:
            assert wanted in language.lengths_in(said)
        finally:
            language.speak("en")


def test_areas_follow_the_shop():
    """An inch squared is 645.16 mm²; who works in mils reads areas in in² as well."""
    shown = {}
    for unit in ("mm", "inch", "mil"):
        language.speak("en", unit)
        shown[unit] = language.area_words(645.16 * 1.5)
    language.speak("en")

    assert shown == {"mm": "968 mm²", "inch": "1.50 in²", "mil": "1.50 in²"}


TRADE = re.compile(r"(?:pins|contacts), \d\.\d\d mm")  # a pitch is part of the name that a part is ordered by


@pytest.mark.parametrize(
    ("stage", "shown"), [("", 1), ("/inspect", 1), ("/plan", 0), ("/strip", 1), ("/copper", 0), ("/refit", 0)]
)
def test_a_shop_in_inches_reads_no_millimetres(damaged, stage, shown):
    """Pages of a damaged job show lengths and areas in the shop's unit only, whoever worked them out."""
    set_shop(damaged.desk.store, {"units": "inch"}, who="R. Tansy")

    page = damaged.get(stage).text

    read = TRADE.sub("", re.sub(r"<(script|style|svg)\b.*?</\1>|<[^>]+>", " ", page, flags=re.DOTALL))
    assert re.findall(r".{0,30}\d mm(?:²|\b(?!/))", read) == []
    assert len(re.findall(r"\d\.\d+ in²?(?!\w)", read)) >= shown
