"""Figures and markings in the browser: results, refusals, plots, the document."""

from __future__ import annotations

import pytest

from coppermend.job.shop import set_shop
from coppermend.rework.figures.catalog import FIGURES


@pytest.mark.parametrize("name", FIGURES)
def test_every_figure_has_a_page_with_results_and_a_plot_where_it_has_one(bench, name):
    """Inputs with their defaults, results, and our own SVG."""
    answer = bench.client.get(f"/figures/{name}")

    assert answer.status_code == 200
    assert all(f'name="{one.key}"' in answer.text for one in FIGURES[name].inputs)
    assert ('<svg class="plot"' in answer.text) is (FIGURES[name].plot is not None)
    assert "Source:" in answer.text


def test_the_list_leads_to_every_figure(bench):
    """One card each, from the main navigation."""
    text = bench.client.get("/figures").text

    assert all(f'href="/figures/{name}"' in text for name in FIGURES)
    assert 'href="/figures"' in bench.client.get("/").text


def test_what_was_typed_is_computed_and_kept(bench):
    """0.08 F at 12 µA from 4.43 to 2 V: 16,200 s, the reference value of 4.5 h."""
    asked = {
        "capacitance": "0.08F", "rail": "4.75", "diode": "0.32", "load": "10uA", "diode-leak": "2uA", "leak": "none",
        "esr": "0", "ageing": "0", "temperature": "25",
    }  # fmt: skip
    answer = bench.client.get("/figures/retention/result", params=asked)

    assert '<td class="num strong">4.5 h</td>' in answer.text
    assert 'value="0.08F"' in bench.client.get("/figures/retention", params=asked).text


def test_a_choice_brings_its_figures_unless_others_were_typed(bench):
    """The form sends all fields back; what only showed a default gives way to the memory that is chosen."""
    shown = {one.key: one.default for one in FIGURES["retention"].inputs}
    chosen = bench.client.get("/figures/retention", params={**shown, "memory": "5101"}).text
    typed = bench.client.get("/figures/retention", params={**shown, "memory": "5101", "load": "3uA"}).text

    assert 'value="1uA (1uA..200uA)"' in chosen
    assert 'value="3uA"' in typed


@pytest.mark.parametrize(("page", "status"), [("/figures/rc", 400), ("/figures/rc/result", 200)])
def test_a_wrong_input_is_told_and_kept(bench, page, status):
    """One clear sentence, the other results gone; status 400, but for the part that is asked for while one types."""
    answer = bench.client.get(page, params={"threshold": "6V"})

    assert answer.status_code == status
    assert "threshold of up to 6 V is not below the supply of 4.75 V" in answer.text
    assert "Source:" not in answer.text


def test_text_cannot_become_markup(bench):
    """What is typed is escaped in the form, in the message and in the plot."""
    hostile = '"><script>alert(1)</script>'
    for path, key in (("/figures/rc", "threshold"), ("/figures", "text"), ("/figures", "wanted")):
        assert "<script>alert" not in bench.client.get(path, params={key: hostile}).text


def test_a_marking_is_read_on_the_list(bench):
    """Colours in short, and all meanings of 104."""
    assert "4.7 kΩ 5 %" in bench.client.get("/figures", params={"text": "yel vio red gold"}).text
    assert "100 nF" in bench.client.get("/figures", params={"text": "104"}).text
    wrong = bench.client.get("/figures", params={"text": "2.2 banana"})
    assert wrong.status_code == 400 and "is no marking" in wrong.text


def test_a_value_is_made_on_the_list(bench):
    """From a series, from the shelf, and a refusal."""
    assert (
        "470 Ω in series with 6.8 kΩ"
        in bench.client.get("/figures", params={"wanted": "7.25k", "series": "E12"}).text
    )
    shelf = bench.client.get("/figures", params={"wanted": "94nF", "shelf": "47n"}).text
    assert "47 nF in parallel with 47 nF" in shelf
    assert bench.client.get("/figures", params={"wanted": "-1k"}).status_code == 400


def test_the_document_is_that_of_the_command(bench):
    """Same keys as ``figure NAME --json``."""
    document = bench.client.get(
        "/api/figures/rc", params={"resistance": "100k", "capacitance": "1uF", "supply": "5"}
    ).json()

    assert document["outputs"]["delay_s"]["nominal"] == pytest.approx(51.0826e-3, rel=1e-5)


def test_an_unknown_figure_is_no_page(bench):
    """404 in words and in JSON."""
    assert bench.client.get("/figures/horoscope").status_code == 404
    assert bench.client.get("/api/figures/horoscope").json()["error"].startswith("no figure")


def test_cleaning_has_timers_and_signs_to_stop(bench):
    """Each step with its materials, its stop, and a timer where there is a time."""
    text = bench.client.get("/figures/cleaning").text

    assert 'data-timer="1200"' in text and "pH 6.5 to 7.5" in text and "Follow local codes; leave" in text
    assert 'href="/figures/cleaning"' in bench.client.get("/figures").text


def test_the_plan_compares_options(at_work):
    """The stage page shows price, time and break-even of the remedies on offer, and leads to the figures."""
    text = at_work.get("/plan").text

    assert "Options compared" in text
    assert "costs less" in text.lower() and 'href="/figures"' in text


def test_a_value_is_written_in_every_code(bench):
    """Bands, letters and digits of 4.7 kΩ with 5 %; what is no value is told beside the field."""
    text = bench.client.get("/figures", params={"write": "4.7k 5%"}).text
    wrong = bench.client.get("/figures", params={"write": "much"})

    assert "yellow violet red gold" in text and "4K7J" in text
    assert wrong.status_code == 400 and 'value="much"' in wrong.text


def test_substitutes_are_compared_rating_by_rating(bench):
    """All that are known of a kind, or just one; the failing rating is named, other leads are told."""
    every = bench.client.get("/figures", params={"part": "2N3904"}).text
    one = bench.client.get("/figures", params={"part": "74LS", "instead": "74HC"}).text
    unknown = bench.client.get("/figures", params={"part": "mystery"})

    assert "2N4401" in every and "BC547B" in every
    assert (
        "input high level 3.15 V, at most 2 V" in one
        and "74HCT" not in one.partition("Meets all")[2].partition("</table>")[0]
    )
    assert unknown.status_code == 400 and "mystery" in unknown.text


def test_lengths_of_figures_follow_the_shop(bench):
    """AWG 30 is 0.01003 in, 10.03 mil (ASTM B258: 0.0100 in); a width is taken in mils, and the plot is drawn over mils."""
    for unit, shown in (("mm", "254.6 µm"), ("inch", "0.01003 in"), ("mil", "10.03 mil")):
        set_shop(bench.desk.store, {"units": unit}, who="R. Tansy")
        assert f">{shown}<" in bench.client.get("/figures/wire", params={"gauge": "30"}).text
    track = bench.client.get("/figures/track", params={"width": "20 mil"})

    assert track.status_code == 200 and 'value="20 mil"' in track.text
    assert "mil wide" in track.text and "mm wide" not in track.text
    assert '<body data-units="mil" data-point="."' in track.text
