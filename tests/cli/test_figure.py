"""``coppermend figure`` as a user and a script meet it."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from coppermend.rework.figures.catalog import FIGURES


def test_the_list_names_every_figure(call: Any) -> None:
    """Without a name, all figures and lookups are told."""
    answer = call("figure", "--json")

    assert [f["name"] for f in answer.document["figures"]] == list(FIGURES)
    assert {one["name"] for one in answer.document["lookups"]} == {
        "cleaning",
        "code",
        "marking",
        "substitute",
        "value",
    }
    assert "retention" in call("figure").out


@pytest.mark.parametrize("name", FIGURES)
def test_every_figure_is_shown_and_told(name: str, call: Any) -> None:
    """Text and JSON with the defaults; status follows the checks."""
    text, document = call("figure", name), call("figure", name, "--json")

    assert FIGURES[name].title in text.out.replace("\n  ", " ")
    assert document.document["figure"] == name
    assert document.status == text.status == (0 if document.document["ok"] else 1)


def test_retention_with_limits_and_samples(call: Any) -> None:
    """0.08 F at 12 µA from 4.43 to 2 V holds 4.5 h (reference table); the samples lie within the corners."""
    words = (
        "capacitance=0.08F", "rail=4.75V", "diode=0.32", "load=10uA", "diode-leak=2uA", "leak=none", "esr=0",
        "ageing=0", "temperature=25", "wanted=4h", "series=180 5%",
    )  # fmt: skip
    answer = call("figure", "retention", *words, "--samples", 1000, "--seed", 3, "--json")

    found = answer.document["outputs"]["hold_up_s"]
    assert (answer.status, answer.document["ok"]) == (0, True)
    assert found["nominal"] == pytest.approx(16_200, rel=1e-4)
    assert found["quantiles"]["p50"] == pytest.approx(16_200, rel=1e-4)
    assert "peak charge current" in call("figure", "retention", *words, "--samples", 100).out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("retention", "capacitance=2.2 banana"), "is in banana"),
        (("retention", "capacitance=-1F"), "capacitance is -1F"),
        (("rc", "threshold=6V"), "is not below the supply"),
        (("rc", "threshold"), "'threshold' sets nothing"),
        (("rc", "threshold=1", "threshold=2"), "threshold is given twice"),
        (("rc", "colour=red"), "no input 'colour'"),
        (("horoscope",), "no figure 'horoscope'"),
        (("code", "2.2", "banana"), "is no marking"),
        (("code",), "is no marking"),
        (("value",), "no value is wanted"),
        (("substitute",), "0 parts"),
        (("cleaning", "now"), "cleaning takes no 'now'"),
        (("substitute", "XYZ1"), "no part 'XYZ1'"),
        (("value", "1k", "colour=red"), "colour is no input of value"),
        (("value", "1k", "series=E5"), "no series 'E5'"),
        (("marking", "4753.2"), "no code writes"),
        (("rc", "--samples", "99999999999"), "samples"),
    ],
)
def test_wrong_input_is_one_line(words: tuple[str, ...], says: str, call: Any) -> None:
    """Status 2 and what was wrong."""
    answer = call("figure", *words)

    assert answer.status == 2
    assert says in answer.err


def test_a_plot_is_written_as_svg(tmp_path: Path, call: Any) -> None:
    """Well-formed XML of the SVG namespace (W3C SVG 1.1)."""
    out = tmp_path / "hold.svg"

    call("figure", "retention", "--plot", out)

    assert ElementTree.parse(out).getroot().tag == "{http://www.w3.org/2000/svg}svg"


def test_a_marking_is_read_with_all_its_meanings(call: Any) -> None:
    """A "104" is 100 kΩ on a chip resistor and 100 nF on a capacitor."""
    answer = call("figure", "code", "104")
    document = call("figure", "code", "yel", "vio", "red", "gold", "--json").document

    assert "100 kΩ  (3-digit code)" in answer.out and "100 nF  (capacitor code)" in answer.out
    assert document["meanings"][0]["value"] == 4700


@pytest.mark.parametrize(
    ("words", "texts"),
    [
        (("4.7k", "5%"), {"yellow violet red gold", "4K7J", "472", "4701"}),
        (("49.9", "1%"), {"yellow white white gold brown", "49R9F", "49R9", "68X"}),
        (("100n",), {"100n", "104"}),
        (("0.1uF", "10%"), {"100nK", "104K"}),
    ],
)
def test_a_value_is_written_in_every_code(words: tuple[str, ...], texts: set[str], call: Any) -> None:
    """Codes that have room for value and tolerance."""
    document = call("figure", "marking", *words, "--json").document

    assert {marking["text"] for marking in document["markings"]} == texts


def test_a_value_is_made_from_series_or_shelf(call: Any) -> None:
    """E12 comes within half a per cent; a shelf of two capacitors gives 94 nF in parallel."""
    series = call("figure", "value", "7.25k", "series=e12", "--json").document
    shelf = call("figure", "value", "100nF", "shelf=47n, 220n", "--json").document

    assert abs(series["ways"][0]["error"]) < 0.005
    assert shelf["ways"][0]["words"] == "47 nF in parallel with 47 nF"
    assert "in series with" in call("figure", "value", "22mH", "shelf=10mH,12mH").out


def test_a_chosen_remedy_is_carried_out_on_the_netlist(demo_folder: Path, demo_area: Path, call: Any) -> None:
    """Its wires are listed, and the edited board is sound."""
    words = ("refit", demo_folder, "--area", demo_area, "--remedy", "reset-supervisor")
    document, text = call(*words, "--json").document, call(*words).out

    chosen = next(r for r in document["remedies"] if r["chosen"])
    assert (len(chosen["jumpers"]), len(chosen["connections"]), chosen["findings"]) == (3, 3, [])
    assert "U27.2" in text and "nothing left floating" in text


def test_a_substitute_is_compared(call: Any) -> None:
    """BC547B cannot carry the current of a 2N3904, and its leads are the other way round."""
    answer = call("figure", "substitute", "2N3904", "BC547B")
    document = call("figure", "substitute", "1N4001", "--json")

    assert answer.status == 1 and "collector current" in answer.out and "leads:" in answer.out
    assert document.status == 0 and document.document["substitutes"][0]["new"] == "1N4004"


def test_cleaning_is_told_step_by_step(call: Any) -> None:
    """With times, signs to stop at and cautions; without a coat on demand."""
    text, document = call("figure", "cleaning").out, call("figure", "cleaning", "coat=no", "--json").document

    assert "Neutralise (20 min)" in text and "caution:" in text
    assert document["steps"][-1]["id"] == "prove"


def test_options_are_compared_with_their_break_even(demo_folder: Path, demo_area: Path, call: Any) -> None:
    """Three take the battery's place and exclude each other: of each two one is told to be cheaper, until when."""
    words = ("refit", demo_folder, "--area", demo_area)
    document, text = call(*words, "--json").document, call(*words).out

    assert {o["id"] for o in document["options"]} >= {"supercapacitor-BT1", "coin-cell-BT1"}
    assert len(document["break_even"]) == 3
    assert "options compared" in text
