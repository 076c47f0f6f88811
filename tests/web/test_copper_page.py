"""The copper stage: readings, opens, jumpers, and the order of probes."""

from __future__ import annotations

import re
from urllib.parse import unquote

import pytest

from coppermend.web.copper_view import BEEPER

from .conftest import square


def test_good_without_a_number_is_kept_as_the_beepers_word(damaged):
    """The expected resistance is recorded with the beeper named, since no meter was read."""
    probe = damaged.job.found.copper.probes[0]

    damaged.kept("reading", a=probe.a, b=probe.b, answer="good")

    (reading,) = damaged.job.state.readings
    assert (reading.ohms, reading.instrument) == (probe.expect_ohms, BEEPER)


def test_a_typed_number_counts_more_than_the_button(damaged):
    """What the meter said is kept as it was typed."""
    probe = damaged.job.found.copper.probes[0]

    damaged.kept("reading", a=probe.a, b=probe.b, ohms="4k7", answer="good")

    (reading,) = damaged.job.state.readings
    assert (reading.ohms, reading.instrument) == (4700.0, "")


def test_open_proposes_a_jumper_that_can_be_fitted(damaged):
    """OL leads to a proposed jumper; fitting it is recorded on the net of its points."""
    for _ in range(60):
        plan = damaged.job.found.copper
        if plan.jumpers:
            break
        damaged.kept("reading", a=plan.probes[0].a, b=plan.probes[0].b, answer="open")
    wire = damaged.job.found.copper.jumpers[0]
    assert "Jumper fitted" in damaged.get("/copper").text

    damaged.kept("jumper", a=wire.a, b=wire.b, side=wire.side if wire.side != "both" else "")

    assert [(j.net, j.a, j.b) for j in damaged.job.state.jumpers] == [(wire.net, wire.a, wire.b)]
    assert 'class="overlay jumper"' in damaged.get("/copper").text


@pytest.mark.parametrize(
    ("sent", "told"),
    [
        ({"a": "U1.1", "b": "U1.8", "ohms": "a lot"}, "a lot"),
        ({"a": "U1.1", "b": "U1.8", "ohms": "-1"}, "below zero"),
        ({"a": "U1.1", "b": "U1.8", "answer": "good"}, "no reading was given"),
        ({"a": "U1.1", "b": "U999.1", "ohms": "1"}, "U999.1"),
        ({"a": "U1.1", "b": "U1.1", "ohms": "1"}, "two different points"),
        ({"ohms": "1"}, "no point"),
    ],
)
def test_readings_that_make_no_sense_are_refused(damaged, sent, told):
    """The page says which value is wrong and shows it again; nothing is recorded."""
    answer = damaged.post("reading", **sent)

    assert answer.status_code == 400 and told in answer.text
    assert damaged.job.state.readings == ()


def test_a_jumper_joins_points_of_one_net_only(damaged):
    """Two nets are not joined by a form."""
    board = damaged.job.board
    a, b = (pins[0] for pins in list(board.nets.values())[:2])

    assert damaged.post("jumper", a=str(a), b=str(b)).status_code == 400
    assert damaged.job.state.jumpers == ()


def test_measuring_needs_a_board(bench):
    """Readings and jumpers are refused in words while the board is not known."""
    number = bench.desk.store.new_job({"customer": "O. Penhallow"}, who="R. Tansy")

    for action in ("reading", "jumper", "remedy", "evidence"):
        sent = {"a": "U1.1", "b": "U1.2", "id": "x", "chosen": "1", "proof": "x", "passed": "1", "ohms": "1"}
        assert bench.client.post(f"/jobs/{number}/{action}", data=sent).status_code == 400


def test_a_probe_can_be_put_off(damaged):
    """Another probe of the plan can be made first; an unknown one falls back to the next."""
    later = damaged.job.found.copper.probes[3]

    assert (
        f'name="a" value="{later.a}"'
        in damaged.client.get(f"/jobs/{damaged.number}/copper", params={"probe": later.id}).text
    )
    first = damaged.job.found.copper.probes[0]
    assert f'name="a" value="{first.a}"' in damaged.get("/copper?probe=none").text


def test_all_pairs_of_nets_can_be_asked_for_and_stay_asked_for(at_work):
    """More probes than the likely few; an answer is judged by that plan and leads back to it."""
    at_work.kept("damage", area=square(left=40, bottom=120, size=40))
    likely = {probe.id for probe in at_work.job.found.copper.probes}
    page = unquote(at_work.get("/copper?isolation=all").text)
    asked = re.findall(r"probe=([^&\"]+)&amp;isolation=all#probe", page)
    a, b = next(pair for pair in asked if pair not in likely).split("~")

    answer = at_work.post("reading?isolation=all", a=a, b=b, answer="good")

    assert answer.status_code == 303 and "isolation=all" in answer.headers["location"]
    assert [(r.a, r.b, r.instrument) for r in at_work.job.state.readings] == [(a, b, BEEPER)]


def test_an_unknown_choice_of_nets_is_refused(damaged):
    """The page names what can be chosen."""
    answer = damaged.get("/copper?isolation=some")

    assert answer.status_code == 400 and "likely, all, none" in answer.text
