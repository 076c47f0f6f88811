"""What rooms say in English is said in German on pages: every pattern is translated, found again, and no two are mixed up."""

import re

import pytest

import sentences as tool
from coppermend.errors import InputError, UnknownName
from coppermend.web import language
from coppermend.web.sentences import Book, book, holes, say, say_in, say_titles

PATTERNS = sorted(tool.patterns())
WITH_HOLES = [text for text in PATTERNS if holes(text)]
SAMPLES = {"": "Q{0}", ":w": "QA {0}", "!r": "'Q {0}'", ":n": "{0}{0}"}


def sample(text):
    """A sentence of a pattern, with values that stand in no pattern."""
    filled = re.sub(
        r"\{(\d+)(!r|:n|:w)?\}", lambda hole: SAMPLES[hole[2] or ""].format(int(hole[1]) + 1), text
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
         "Anschluss 22 von U4 (5101), 1st von der Kerbe in der Reihe gegenüber Anschluss 1, oben rechts, beide Seiten"),
        ("Never charge a primary lithium cell", "Never charge a primary lithium cell"),  # a caution: in the other catalogue
        ("", ""),
    ],
)  # fmt: skip
def test_sentences_put_together_of_known_ones_are_said_in_german(english, german):
    """Patterns within patterns, several with semicolons between, and capitals at their beginning."""
    assert say_in("de", english) == german


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
    """The name of the file, the line and the wrong value are not words: they come through as they are."""
    wrong = InputError(
        "x_mm is 'abc'", expected="a number from 0 to 10000, such as 12.7", where="parts.csv", line=3
    )
    unknown = UnknownName("part", "U99", "Saltmarsh Ramble control board")

    assert (
        say_in("de", str(wrong))
        == "parts.csv:3: x_mm ist 'abc'; erwartet eine Zahl von 0 bis 10000, etwa 12.7"
    )
    assert say_in("de", str(unknown)) == "Bauteil 'U99' nicht vorhanden in Saltmarsh Ramble control board"
