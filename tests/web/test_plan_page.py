"""The plan stage: ticks show what they come to before anything is kept, and are kept as one choice."""

from __future__ import annotations

import pytest

from coppermend.job.shelf import Shelved, receive


def effect(work, *ids):
    asked = "&".join(f"tick-{name}=1" for name in ids)
    return work.get(f"/plan/effect?{asked}").text


def test_ticks_show_kit_price_and_proofs(damaged):
    """Nothing is kept by looking."""
    before = damaged.job.state.seq
    text = effect(damaged, "reset-supervisor")

    assert "1</strong> ticked: 58 min" in text
    assert "4.63 V" in text and "U27" in text and "order 1" in text
    assert "Carried out on the netlist: all connections made" in text
    assert damaged.job.state.seq == before


def test_no_ticks_bring_nothing(damaged):
    """The bare job's kit and proofs."""
    text = effect(damaged)

    assert "0</strong> ticked: 0 min" in text
    assert "No other proofs than without remedies" in text


def test_a_new_part_brings_its_own_proof(damaged):
    """One larger ROM must be read back; the coin cell shown to take no current."""
    text = effect(damaged, "larger-eprom", "coin-cell-BT1")

    assert "contents of U28 read back" in text
    assert "no current into BT2" in text


def test_two_that_exclude_each_other_say_so(damaged):
    """An answer in words, not an error of the page."""
    answer = damaged.get("/plan/effect?tick-supercapacitor-BT1=1&tick-coin-cell-BT1=1")

    assert answer.status_code == 200
    assert "exclude each other" in answer.text


def test_the_page_tries_ticks_without_scripts(damaged):
    """The form's own answer is the whole page with the ticks as they were sent."""
    text = damaged.get("/plan?try=1&tick-reset-supervisor=1").text

    assert 'name="tick-reset-supervisor" value="1" checked' in text
    assert 'name="tick-supercapacitor-BT1" value="1">' in text


def test_a_choice_is_kept_as_a_whole(damaged):
    """One entry for each that changes; what is no longer ticked is given up."""
    damaged.kept("remedies", **{"tick-supercapacitor-BT1": "1", "tick-reset-supervisor": "1"})
    first, count = damaged.job.state.remedies, damaged.job.state.seq
    damaged.kept("remedies", **{"tick-coin-cell-BT1": "1", "tick-reset-supervisor": "1"})

    assert set(first) == {"supercapacitor-BT1", "reset-supervisor"}
    assert set(damaged.job.state.remedies) == {"coin-cell-BT1", "reset-supervisor"}
    assert damaged.job.state.seq == count + 2


def test_a_choice_that_cannot_be_is_refused_whole(damaged):
    """Nothing of it is kept."""
    before = damaged.job.state.seq
    answer = damaged.post("remedies", **{"tick-supercapacitor-BT1": "1", "tick-coin-cell-BT1": "1"})

    assert answer.status_code == 400 and "exclude each other" in answer.text
    assert damaged.job.state.seq == before


@pytest.fixture
def plan(damaged):
    return damaged.get("/plan").text


def test_each_remedy_shows_drawing_wires_places_and_links(plan):
    """What Deliver 3 asks for, on the page: parts with places, wires, drawing, checks that lead to their figure."""
    assert '<svg xmlns="http://www.w3.org/2000/svg"' in plan and 'class="circuit"' in plan
    assert "<code>U27.2</code>" in plan
    assert "free spot at" in plan
    assert 'href="/figures/retention?capacitance=1.5+20%25' in plan
    assert "Carried out on the netlist: just the connections that are meant." in plan


def test_the_linked_figure_opens_with_the_values_filled_in(damaged, plan, bench):
    """The same numbers as in the check."""
    import html
    import re

    link = html.unescape(re.search(r'href="(/figures/reset\?[^"]+)"', plan)[1])
    text = bench.client.get(link).text

    assert 'value="1000000.0 Hz"' in text and "a healthy rail never trips it" in text


def test_the_kit_comes_off_the_shelf(damaged):
    """What the shop has is taken at its own price and place; the rest is to order."""
    part = Shelved("supercapacitor", "1.5 F", "RADIAL-POL-5.08", place="B2")
    receive(damaged.desk.store, part, 2, who="R. Tansy", price="4.10")

    text = effect(damaged, "supercapacitor-BT1")

    assert "1 from the shelf (B2)" in text and "4.10" in text
