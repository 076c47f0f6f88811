"""Pieces of pages that are printed once: told apart by all that they show, held within a limit, never out of date."""

from __future__ import annotations

import pytest
from fastapi.testclient import TestClient
from jinja2 import Environment

from coppermend.job.entry import STAGES
from coppermend.web.app import create_app
from coppermend.web.language import speak
from coppermend.web.pages import templates
from coppermend.web.pieces import Pieces

WHO = "R. Tansy"
TEXT = "{% macro shown(a, b='') %}{{ count() }} {{ a }} {{ b }}{% endmacro %}"


class Thing:
    """Something frozen, as far as anybody knows."""


@pytest.fixture
def macro():
    """A macro that says how often it was printed."""
    made = Environment(autoescape=True)
    printed: list[int] = []
    made.globals["count"] = lambda: printed.append(1) or len(printed)
    return made.from_string(TEXT).module.shown


@pytest.fixture(autouse=True)
def english_again():
    yield
    speak("en")


def test_the_same_things_are_printed_once(macro):
    """Texts, numbers and tuples count by value, anything else by being the very same."""
    kept, thing = Pieces(), Thing()

    first = kept(macro, thing, ("a", (1, None)))

    assert kept(macro, thing, ("a", (1, None))) is first
    assert kept(macro, Thing(), ("a", (1, None))) != first


@pytest.mark.parametrize(
    ("one", "other"), [(1, True), (0, False), (1, 1.0), ("<b>", "&lt;b&gt;"), ((1,), (True,)), (None, "None")]
)
def test_what_prints_differently_is_told_apart(macro, one, other):
    """Python takes 1, 1.0 and True for the same key; a page does not."""
    kept = Pieces()

    assert kept(macro, one) == f"1 {'&lt;b&gt;' if one == '<b>' else one} "
    assert kept(macro, other).startswith("2 ")


def test_each_language_and_unit_has_its_own(macro):
    """A piece of a German page, or of one in inches, is none of an English one in mm."""
    kept, printed = Pieces(), []
    for language, units in (("en", "mm"), ("de", "mm"), ("en", "inch"), ("en", "mm")):
        speak(language, units)
        printed.append(kept(macro, "x")[0])

    assert printed == ["1", "2", "3", "1"]


@pytest.mark.parametrize("thing", [[1], {"a": 1}, {1}, ("a", [1])])
def test_what_may_change_is_refused(macro, thing):
    """A list could be another one inside tomorrow, under the same name."""
    with pytest.raises(TypeError, match="could change unseen"):
        Pieces()(macro, thing)


def test_pieces_stay_within_their_limit(macro):
    """Of more, what was asked for longest ago goes; one that is too long by itself is printed all the same."""
    kept = Pieces(most_characters=25)
    for text in ("aaaaa", "bbbbb"):
        kept(macro, text)
    kept(macro, "aaaaa")
    kept(macro, "ccccc")

    assert (len(kept), kept.characters) == (3, 24)
    kept(macro, "ddddd")
    assert kept(macro, "aaaaa") == "1 aaaaa "
    assert kept(macro, "bbbbb") == "5 bbbbb "
    assert len(kept(macro, "e" * 30)) == 33
    assert (len(kept), kept.characters) == (0, 0)


ENTRIES = (
    (
        ("reading", "copper", {"a": "R1.1", "b": "R1.2", "ohms": 3.0}),
        ("remedy", "plan", {"id": "reset-supervisor", "chosen": True}),
        ("observation", "isolate", {"point": "U1.40", "kind": "logic", "value": "stuck low", "condition": ""}),
        ("evidence", "prove", {"proof": "discharge", "passed": True, "note": "0.1 V"}),
    ),
    (
        ("void", "plan", {"seq": 5}),
        ("evidence", "prove", {"proof": "discharge", "passed": False, "note": "12 V"}),
        ("note", "prove", {"text": "<again>"}),
    ),
)  # fmt: skip


def test_a_page_after_an_entry_is_that_of_a_bench_opened_anew(damaged):
    """Whatever is remembered from before, every stage's page says what a bench says that remembers nothing, in each language."""
    folder = damaged.desk.store.files.folder.parent
    english = [f"/{stage}" for stage in STAGES] + ["", "/record", "/prove/one"]
    asked = [
        *(("en", page) for page in english),
        *(("de", f"/{stage}") for stage in STAGES[1:4]),
        ("de", "/prove"),
    ]

    def shown(client: TestClient) -> list[str]:
        return [
            client.get(f"/jobs/{damaged.number}{page}", headers={"Accept-Language": language}).text
            for language, page in asked
        ]

    before = shown(damaged.client)
    for entries in ENTRIES:
        for kind, stage, body in entries:
            damaged.desk.store.append(damaged.number, kind, stage, body, who=WHO)
        after = shown(damaged.client)
        assert all(one != other for one, other in zip(before, after, strict=True))
        before = after
    templates.cache_clear()
    with TestClient(create_app(folder, shop="Fen Lane Board Works")) as anew:
        anew.cookies.set("who", "R.%20Tansy")

        assert after == shown(anew)
