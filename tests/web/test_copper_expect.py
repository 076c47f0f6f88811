"""The page that says what the meter should read, the wire list, and the walk's order from probe to probe."""

from __future__ import annotations

import csv
import io
import json
import re

import pytest

from coppermend.copper.expect import expect
from coppermend.demo.story import damage_area


def test_two_points_of_a_job_are_answered_with_the_why(damaged):
    """The pull-up pair of the sample board, as the library says it."""
    known = expect(damaged.job.board, damaged.desk.library, "RN1.2", "RN1.3")

    page = damaged.get("/copper/expect?a=RN1.2&b=RN1.3").text

    assert "5.4 kΩ" in page and known.says[1:].replace("&", "&amp;") in page.replace("&#39;", "'")
    assert f"{known.red_on_a_v:.2f} V" in page or known.red_on_a_v is None
    assert 'data-find="RN1"' in page


def test_a_board_without_a_job_is_asked_alike(damaged):
    """With the network off the meter shows OL; copper names its limit."""
    without = damaged.client.get(f"/boards/{damaged.board}/expect?a=RN1.2&b=RN1.3&off=RN1").text
    probe = next(p for p in damaged.job.found.copper.probes if p.purpose == "continuity")
    copper = damaged.client.get(f"/boards/{damaged.board}/expect?a={probe.a}&b={probe.b}").text

    assert ">OL<" in without and "5.4 kΩ" not in without
    assert (
        "Sound copper up to" in copper
        and f"/boards/{damaged.board}/expect" in damaged.client.get(f"/boards/{damaged.board}").text
    )


@pytest.mark.parametrize(
    ("query", "told"),
    [
        ("a=U1.1&b=X9.1", "X9.1"),
        ("a=U1.1&b=U1.1", "two different points"),
        ("a=U1.1&b=U1.2&off=X99", "X99"),
        (f"a=U1.1&b=U1.2&off={'+'.join(['R1'] * 401)}", "at most 400"),
    ],
)
def test_what_the_board_does_not_have_is_told_on_the_page(damaged, query, told):
    """One sentence, and what was typed stays in its field."""
    answer = damaged.get(f"/copper/expect?{query}")

    assert answer.status_code == 400 and told in answer.text and 'value="U1.1"' in answer.text


def test_nothing_asked_is_an_empty_form(damaged, at_work, bench):
    """Both pages stand without a question; a job without a board is told to choose one."""
    assert damaged.get("/copper/expect").status_code == 200
    number = bench.desk.store.new_job({"customer": "O. Penhallow", "complaint": "dark"}, who="R. Tansy")

    assert bench.client.get(f"/jobs/{number}/copper/expect").status_code == 400
    assert bench.client.get(f"/jobs/{number}/copper/wires.csv").text.startswith("net,from,to")


def test_the_wire_list_is_what_the_page_draws(damaged):
    """Each proposed jumper is a row, drawn along its run and numbered."""
    for _ in range(60):
        plan = damaged.job.found.copper
        if plan.jumpers:
            break
        damaged.kept("reading", a=plan.probes[0].a, b=plan.probes[0].b, answer="open")
    rows = list(csv.DictReader(io.StringIO(damaged.get("/copper/wires.csv").text)))
    page = damaged.get("/copper").text

    assert [(row["from"], row["to"]) for row in rows] == [(j.a, j.b) for j in plan.jumpers]
    assert 'data-label="W1"' in page and "mm to cut" in page
    wire = plan.jumpers[0]
    damaged.kept("jumper", a=wire.a, b=wire.b, side=wire.side if wire.side != "both" else "")
    assert [(j.a, j.b) for j in damaged.job.found.copper.fitted] == [(wire.a, wire.b)]
    assert damaged.get("/copper/wires.csv").text.count("\n") >= 2


def test_a_probe_put_off_does_not_come_back_at_once(damaged):
    """Later leads to the probe after; its answer leads on, not back to the one put off."""
    first, second, third = damaged.job.found.copper.probes[:3]
    page = damaged.get(f"/copper?probe={second.id}").text

    assert (
        f'name="next" value="{third.id}"' in page
        and first.id not in re.findall(r'id="later" href="([^"]+)"', page)[0]
    )
    answer = damaged.post("reading", a=second.a, b=second.b, answer="good", next=third.id)
    followed = damaged.client.get(answer.headers["location"]).text

    asked = set(re.findall(r'name="[ab]" value="([^"]+)"', followed)[:2])
    assert asked & {third.a, third.b} and asked != {first.a, first.b}


def test_an_isolation_probe_asks_for_apart_or_short(at_work):
    """Its page has the two answers of its kind; Apart keeps OL or what the parts read, and the walk goes on."""
    damaged = at_work
    damaged.kept("damage", area=json.dumps(damage_area()))
    probe = next(p for p in damaged.job.found.copper.probes if p.purpose == "isolation")

    page = damaged.get(f"/copper?probe={probe.id}").text
    damaged.kept("reading", a=probe.a, b=probe.b, answer="good")

    nets = [damaged.job.board.index.place(point).net for point in (probe.a, probe.b)]
    assert f"Nets <b>{nets[0]}</b> and <b>{nets[1]}</b>" in page
    assert "<b>Apart</b>" in page and "<b>Short</b>" in page and "<b>Open</b>" not in page
    assert "Two nets that must not be joined" in page
    (reading,) = damaged.job.state.readings
    assert reading.ohms == probe.expect_ohms and not damaged.job.found.copper.shorts
    assert probe.id not in {p.id for p in damaged.job.found.copper.probes}
