"""What rooms say in English is said in German on pages: every pattern is translated, found again, and no two are mixed up."""

import re
from html.parser import HTMLParser

import pypdfium2
import pytest
from fastapi.testclient import TestClient

import sentences as tool
from coppermend.demo.story import HEADER
from coppermend.errors import InputError, UnknownName
from coppermend.job.entry import STAGES
from coppermend.web import language
from coppermend.web.app import create_app
from coppermend.web.pages import room_words
from coppermend.web.sentences import Book, book, holes, say, say_in, say_titles
from measure_pages import half_done

VOID = ("input", "img", "link", "meta", "br", "hr", "path", "use", "rect", "circle", "line")
PATTERNS = sorted(tool.patterns())
WITH_HOLES = [text for text in PATTERNS if holes(text)]
SAMPLES = {"": "Q{0}", ":w": "QA {0}", "!r": "'Q {0}'", ":n": "{0}{0}", ":p": "U{0}.{0}"}


def sample(text):
    """A sentence of a pattern, with values that stand in no pattern."""
    filled = re.sub(
        r"\{(\d+)(!r|:[nwp])?\}", lambda hole: SAMPLES[hole[2] or ""].format(int(hole[1]) + 1), text
    )
    return filled.replace("{{", "{").replace("}}", "}")


@pytest.fixture
def german():
    language.speak("de")
    yield
    language.speak("en")


@pytest.mark.parametrize("name", sorted(path.name for path in tool.LOCALES.iterdir()))
def test_every_sentence_is_translated(name):
    """With the same holes; when it fails: python tools/sentences.py says which."""
    catalogue = tool.updated(name)

    assert tool.troubles(catalogue) == []
    assert len(catalogue) > 2500


def test_every_pattern_is_found_again_in_what_it_says():
    """Said in English again, through each pattern's own words, a sentence of it is what it was."""
    english = Book((text, text) for text in PATTERNS)

    assert [text for text in PATTERNS if english.say(sample(text)) != sample(text)] == []
    assert [text for text in WITH_HOLES if english.match(tool.bare(sample(text))) is None] == []


def test_no_two_patterns_are_mixed_up():
    """A sentence is found as the pattern that made it, or as one that is translated to the same words."""
    german, translated = book("de"), {str(m.id): str(m.string) for m in tool.updated("de") if m.id}

    wrong = []
    for text in WITH_HOLES:
        found, _ = german.match(tool.bare(sample(text)))
        if found.english != text:
            alone = Book([(text, translated[text])])
            if alone.say(sample(text)) != Book([(found.english, found.other)]).say(sample(text)):
                wrong.append((text, found.english))
    assert wrong == []


@pytest.mark.parametrize(
    ("english", "german"),
    [
        ("U3 has no point 'U3.99'; expected a pin on a net such as U3.9, a via such as V17, or a net's name",
         "U3 hat keinen Punkt 'U3.99'; erwartet ein Anschluss an einem Netz wie U3.9, eine Durchkontaktierung wie V17 oder der Name eines Netzes"),
        ("Pads C3.1 and C3.2 lie in heavy damage; its body covers damaged copper of net GND and copper of net VRAM.",
         "Lötaugen C3.1 und C3.2 liegen in schwerem Schaden; sein Körper verdeckt beschädigtes Kupfer des Netzes GND und Kupfer des Netzes VRAM."),
        ("Splits the suspicion 23/77: more here means the VRAM rail; less clears it.",
         "Teilt den Verdacht 23/77: mehr heißt hier Versorgung VRAM; weniger entlastet es."),
        ("drives lamp tide H at J4.8 and 7 more", "treibt Lampe tide H an J4.8 und 7 weitere"),
        ("pin 22 of U4 (5101), 1st from the notch in the row opposite pin 1, upper right, both sides",
         "Anschluss 22 von U4 (5101), 1. von der Kerbe in der Reihe gegenüber Anschluss 1, oben rechts, beide Seiten"),
        ("Never charge a primary lithium cell", "Never charge a primary lithium cell"),  # a caution: in the other catalogue
        ("", ""),
    ],
)  # fmt: skip
def test_sentences_put_together_of_known_ones_are_said_in_german(english, german):
    """Patterns within patterns, several with semicolons between, and capitals at their beginning."""
    assert say_in("de", english) == german


@pytest.mark.parametrize(
    ("english", "german"),
    [
        ("at most 5.5 V", "höchstens 5,5 V"),  # a number that a pattern knows
        ("4.05 V to 5 V", "4,05 V bis 5 V"),  # one with a unit in a hole
        ("2.5 kΩ", "2,5 kΩ"),  # nothing but an amount
        ("6.996 days", "6,996 Tage"),
        ("R14 (5.6 kΩ)", "R14 (5,6 kΩ)"),
        ("clock at Y1 (4.000MHz)", "Takt an Y1 (4.000MHz)"),  # the value on a part
        ("x_mm is '2.5 V'", "x_mm ist '2.5 V'"),  # what was typed
        ("DISC-5.08", "DISC-5.08"),
        ("VRAM reads 2.5 V to the sockets", "VRAM reads 2.5 V to the sockets"),  # what somebody wrote
        ("stripe (cathode) to the left (D2.1, net VRAM)", "Ring (Kathode) nach links (D2.1, Netz VRAM)"),
    ],
)
def test_numbers_that_were_worked_out_have_a_comma(english, german):
    """As CLDR has it for German; names, values on parts, what was typed and what people wrote keep their signs."""
    assert say_in("de", english) == german


def test_lengths_in_inches_have_a_comma_too(german):
    """The units are put in after the words: the mark is that of the language either way."""
    language.speak("de", "inch")

    assert room_words("its body stands within 2.5 mm of damaged copper").endswith(
        "0,098 in zu beschädigtem Kupfer"
    )
    assert language.length_words(38.1, 1) == "1,500 in"


@pytest.mark.parametrize(
    "written",
    [
        "The pump is dead, and lamps glow dimly",
        "R. Tansy",
        "VRAM reads open towards the memory sockets.",
        "U3.9",
    ],
)
def test_what_people_wrote_stays(german, written):
    """A text that no room says comes back letter by letter."""
    assert say(written) == written


def test_english_is_left_alone():
    """What a room says is English already: nothing is looked up."""
    assert say("no pin has a name") == "no pin has a name"
    assert say_titles("<title>comes off</title>") == "<title>comes off</title>"


def test_titles_of_drawings_speak(german):
    """Only between the marks of a title; signs of markup stay escaped."""
    assert (
        say_titles("<title>comes off</title><text>comes off</text>")
        == "<title>kommt herunter</title><text>comes off</text>"
    )
    assert say_titles("<title>net A&lt;3</title>") == "<title>Netz A&lt;3</title>"


def test_refusals_keep_file_line_and_what_was_found():
    """The name of the file, the line and the wrong value are not words: they come through as they are, and so does what is to be typed."""
    wrong = InputError(
        "x_mm is 'abc'", expected="a number from 0 to 10000, such as 12.7", where="parts.csv", line=3
    )
    unknown = UnknownName("part", "U99", "Saltmarsh Ramble control board")

    assert (
        say_in("de", str(wrong))
        == "parts.csv:3: x_mm ist 'abc'; erwartet eine Zahl von 0 bis 10000, etwa 12.7"
    )
    typed = InputError("logic value 'x'", expected="one of good, low, stuck high")
    assert say_in("de", str(typed)) == "Logikpegel 'x'; erwartet eines von good, low, stuck high"
    assert say_in("de", str(unknown)) == "Bauteil 'U99' nicht vorhanden in Saltmarsh Ramble control board"


# Words that an English sentence can hardly do without, and those of the trade that German says otherwise.
ENGLISH = re.compile(
    r"\b(?:the|and|of|is|are|to|with|its|it|on|not|for|from|by|at|or|has|be|which|that|each|than|as|only|measured|board|pins?"
    r"|reset line|rail|address|line|supply|tracks?|pads?|damage|heavy|light|moderate|high|low|open|short|socket|ground|leads)\b"
)
# What is typed or told as it stands: values, keys of choices, ids and types; a list of values that a field takes.
TYPED = re.compile(
    r"[\w.]+(?:-[\w.]+)+|(?:low|high|open-drain|no|other): .*|good, bad, wrong, .*|\S+: logic .*"
)


class Read(HTMLParser):
    """Collects what a page shows in words, outside code, scripts and ``translate="no"``."""

    def __init__(self):
        super().__init__()
        self.silent, self.found = [], []

    def handle_starttag(self, tag, attrs):
        named = dict(attrs)
        if not self.silent:
            self.found += [
                named[key] for key in ("title", "aria-label", "placeholder", "alt") if named.get(key)
            ]
        if tag not in VOID and (
            self.silent or tag in ("code", "script", "style") or named.get("translate") == "no"
        ):
            self.silent.append(tag)

    def handle_endtag(self, tag):
        if self.silent and self.silent[-1] == tag:
            self.silent.pop()

    def handle_data(self, data):
        if not self.silent and data.strip():
            self.found.append(" ".join(data.split()))


@pytest.fixture(scope="module")
def worked_on(tmp_path_factory):
    """A client, and the addresses of pages of a job with damage, a remedy, an observation and a few readings."""
    app = create_app(tmp_path_factory.mktemp("record"))
    number = half_done(app.state.desk)
    board = app.state.desk.store.boards()[0].sha256
    with TestClient(app) as client:
        app.state.desk.errands.patience_s = 120.0
        stages = [f"/jobs/{number}/{stage}" for stage in STAGES]
        more = ("/copper/expect?a=U1.1&b=U1.2", "/prove/one", "/record", "/prove/matrix")
        figures = ("", "/cleaning", "/reset", "?text=yel+vio+red+gold")
        yield client, [
            *stages, *(f"/jobs/{number}{one}" for one in more), f"/boards/{board}", *(f"/figures{one}" for one in figures),
            "/rom/devices?a=2332&b=2732",
        ], board  # fmt: skip


def test_pages_in_german_hold_no_english(worked_on):
    """But what people wrote: the job, the board's own names, and what is typed as it stands."""
    client, pages, sha256 = worked_on
    board = client.app.state.desk.board(sha256)
    own = [
        board.name,
        board.notes,
        *(s.title for s in board.sections),
        *(p.notes for p in board.parts if p.notes),
    ]
    own += [*HEADER.values(), *(label for c in board.connectors for label in c.signals.values())]
    own += [s.name for s in board.sections]

    left = {}
    for address in pages:
        answer = client.get(address, headers={"Accept-Language": "de"})
        assert answer.status_code == 200, address
        assert '<html lang="de"' in answer.text, address
        read = Read()
        read.feed(answer.text)
        for said in read.found:
            rest = said
            for word in sorted((one for one in own if len(one) > 3), key=len, reverse=True):
                rest = rest.replace(word, "")
            if ENGLISH.search(rest) and not TYPED.fullmatch(said):
                left.setdefault(said, address)
    assert left == {}, [*left]


@pytest.mark.parametrize(
    ("what", "words"),
    [
        (
            "sheet",
            ("Beanstandung: It will not boot", "Verbleib", "Lötaugen", "Abstand von 2,5 mm", "Seite 1 von"),
        ),
        ("report", ("It will not boot", "35 cm²", "Versorgung +3,6 V", "Seite 1 von")),
    ],
)
def test_a_paper_is_in_the_language_of_the_page(worked_on, what, words):
    """The heads of the paper, its sentences, its numbers and the cautions; the complaint stays as it was written."""
    client, pages, _ = worked_on
    job = pages[0].rpartition("/")[0]
    sent = {"what": what, "who": "R. Tansy", "paper": "a4"}

    client.post(f"{job}/paper", data=sent, headers={"Accept-Language": "de"}, follow_redirects=False)

    desk = client.app.state.desk
    kept = desk.job(job.rpartition("/")[2]).state.papers[-1]
    first = pypdfium2.PdfDocument(desk.store.attachment(kept.sha256))[0].get_textpage().get_text_range()
    assert [one for one in words if one not in " ".join(first.split())] == []


def test_what_is_sent_back_stays_as_rooms_know_it():
    """Only what people read is translated: values of fields, and what scripts compare, are not."""
    unread = re.compile(r'(?<![\w-])(?:value|name|href|action|data-(?!good|bad)[\w-]+)="[^"]*\|say\b')

    wrong = [
        path.name for path in (tool.SOURCES / "web").rglob("*.html") if unread.search(path.read_text("utf-8"))
    ]

    assert wrong == []
