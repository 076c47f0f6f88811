"""Remedies compared by price and time, with the break-even; and the cleaning steps."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from coppermend.errors import InputError
from coppermend.rework.cleaning import STEPS, cleaning_steps
from coppermend.rework.options import (
    break_even,
    break_evens,
    compare_options,
    parse_prices,
    usual_prices,
)
from coppermend.rework.records import Check, KitLine, Remedy

PRICES = replace(
    usual_prices(), hourly=60.0, part_off_min=1.0, part_on_min=2.0, jumper_min=3.0, call_price=10.0,
    parts={"cell": 3.0, "other": 8.0}, life_years={"cap": 5.0},
)  # fmt: skip


def life(years):
    return Check("life of the cell, worst case", f"{years} years", "1 year", True, "test")


CELL = Remedy(
    "cell-1", "cell", "w", parts_off=("B1", "R1"), parts_on=(KitLine("cell", "", "", 1, ("B2",)),),
    jumpers=(("B2.1", "U1.1"),), checks=(life(2),), excludes=("store-1",),
)  # fmt: skip
STORE = Remedy("store-1", "store", "w", parts_on=(KitLine("memory", "", "", 4, ("U1",)),))
CAP = Remedy("cap-1", "cap", "w", parts_on=(KitLine("cell", "", "", 1, ("C1",)),))


def test_an_option_adds_parts_and_time():
    """3 for the cell, 2·1 + 2 + 3 minutes at 60 an hour: 10 at first; 3 + 3 + 10 every two years."""
    option = compare_options([CELL], PRICES)[0]

    assert (option.parts_price, option.minutes, option.first_price) == (3.0, 7.0, 10.0)
    assert (option.life_years, option.yearly_price) == (2.0, 8.0)
    assert option.total(5) == 50.0


def test_break_even_of_two_that_exclude_each_other():
    """Cell 10 and 8 a year; store 32 + 8 = 40 and nothing a year: even after 30/8 = 3.75 years."""
    found = break_evens([CELL, STORE], PRICES)

    assert [(b.cheaper_first, b.cheaper_later, b.years) for b in found] == [("cell-1", "store-1", 3.75)]
    assert "first 3.8 years" in found[0].words
    option = {o.id: o for o in compare_options([CELL, STORE], PRICES)}
    assert option["cell-1"].total(3.75) == pytest.approx(option["store-1"].total(3.75))


def test_one_may_stay_the_cheaper():
    """Cheaper at first and not dearer later."""
    cap, store = compare_options([replace(CAP, id="x-1"), STORE], PRICES)

    assert break_even(cap, store).years is None
    assert "however long" in break_even(store, cap).words


def test_the_life_of_other_remedies_is_from_the_prices():
    """By the first words of the id; a note is left out."""
    note = replace(CAP, id="n", note_only=True)

    assert [o.life_years for o in compare_options([CAP, STORE, note], PRICES)] == [5.0, None]


def test_the_small_board_compares_capacitor_and_cell(keep_board, library, touch_of):
    """Real remedies with the usual prices: plain JSON, risks named."""
    from coppermend.rework.remedies import remedies

    offered = remedies(keep_board(U2v=""), library, touch_of())
    options = {o.id: o for o in compare_options(offered)}

    assert any("hours to days" in risk for risk in options["supercapacitor-BT1"].risks)
    assert [b.to_json()["words"] for b in break_evens(offered)]
    assert json.loads(json.dumps([o.to_json() for o in options.values()]))


GOOD = (
    "hourly = 1\nyears = 1\npart_off_min = 1\npart_on_min = 1\njumper_min = 1\nplug_wire_min = 1\ncall_price = 1\n"
    "[parts]\nother = 1\n[life_years]\n"
)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("x = [", "nvalid"),
        (GOOD.replace("hourly = 1", 'hourly = "much"'), "hourly is 'much'"),
        (GOOD.replace("hourly = 1", "hourly = -1"), "hourly is -1"),
        (GOOD.replace("[life_years]", ""), "life_years is missing"),
        (GOOD.replace("other = 1", "x = 1"), "parts.other is missing"),
        (GOOD + "cap = 0", "life_years.cap is 0"),
    ],
)
def test_broken_prices_are_refused(text, says):
    """One clear error that names the file."""
    with pytest.raises(InputError) as caught:
        parse_prices(text, "mine.toml")

    assert says in caught.value.found
    assert caught.value.where == "mine.toml"


def test_own_prices_are_read():
    """A shop's file."""
    assert parse_prices(GOOD).parts == {"other": 1.0}


def test_cleaning_neutralises_before_it_dries_and_proves_before_it_coats():
    """The order that matters: neutralise, rinse, abrade, dry, inspect, prove, coat."""
    order = [step.id for step in cleaning_steps()]

    assert order == sorted(order, key=["protect", "loose", "neutralise", "rinse", "abrade", "wash", "rinse-2", "dry",
                                       "inspect", "prove", "mask", "coat", "cure"].index)  # fmt: skip
    assert [step.id for step in cleaning_steps(coat=False)][-1] == "prove"


def test_every_cleaning_step_has_a_stop_and_a_source():
    """Times where a timer helps; about 20 minutes for the acid (published repair articles)."""
    assert all(step.stop and step.source and step.materials for step in STEPS)
    assert next(step.seconds for step in STEPS if step.id == "neutralise") == 1200
    assert json.loads(json.dumps([step.to_json() for step in STEPS]))


def test_the_ionic_limit_is_shown_as_process_control_only():
    """IPC-WP-019B: the 1.56 µg/cm² limit is declared obsolete."""
    stop = next(step.stop for step in STEPS if step.id == "inspect")

    assert "process control only" in stop and "obsolete" in stop


def test_bicarbonate_is_called_wrong_for_an_alkaline_leak():
    """Right for acid, wrong for potassium hydroxide."""
    assert "wrong for potassium hydroxide" in next(s.how for s in STEPS if s.id == "neutralise")
