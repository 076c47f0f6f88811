"""``copper expect``: what a meter should read, as a user and a script see it."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest

from coppermend.copper.expect import Expectation
from coppermend.demo.story import damage_area


def test_a_pull_up_pair_is_told_from_a_short(demo_folder: Path, call: Any) -> None:
    """In words, and as JSON with every key of the record."""
    said = call("copper", "expect", demo_folder, "RN1.2", "RN1.3")
    document = call("copper", "expect", demo_folder, "RN1.2", "RN1.3", "--json").document

    assert (
        said.status == 0
        and "5.4 kΩ" in said.out
        and "a pull-up pair, not a short" in " ".join(said.out.split())
    )
    assert set(document) == set(Expectation.__slots__)
    assert document["ohms"] == pytest.approx(5400, rel=1e-3) and document["through"] == ["RN1"]


def test_a_part_that_is_off_does_not_count(demo_folder: Path, call: Any) -> None:
    """Without the network the meter shows OL."""
    answer = call("copper", "expect", demo_folder, "RN1.2", "RN1.3", "--off", "RN1")

    assert answer.status == 0 and "RN1.2 to RN1.3: OL" in answer.out


@pytest.mark.parametrize(
    ("words", "told"), [(["RN1.2", "X9.1"], "X9.1"), (["RN1.2", "RN1.3", "--off", "X9"], "no part 'X9'")]
)
def test_what_the_board_does_not_have_is_refused(
    words: list[str], told: str, demo_folder: Path, call: Any
) -> None:
    """A point or part by its name, in one line."""
    answer = call("copper", "expect", demo_folder, *words)

    assert answer.status == 2 and told in answer.err and answer.err.count("\n") == 1


def leak(tmp_path: Path) -> Path:
    """A damaged area on the sample board."""
    path = tmp_path / "leak.geojson"
    path.write_text(json.dumps(damage_area()))
    return path


def test_the_wire_list_names_every_jumper_with_what_to_cut(
    demo_folder: Path, tmp_path: Path, call: Any
) -> None:
    """An open at every probe of one net: each jumper is a row, cut 10 mm longer than it runs, and a total is said."""
    area, readings, wires = leak(tmp_path), tmp_path / "r.csv", tmp_path / "wires.csv"
    words = ("copper", "plan", demo_folder, "--area", area, "--readings", readings)
    readings.write_text("a,b,ohms\n")
    for _ in range(20):
        plan = call(*words, "--isolation", "none", "--json").document
        if not plan["probes"]:
            break
        with readings.open("a") as file:
            file.writelines(f"{p['a']},{p['b']},OL\n" for p in plan["probes"][:40])

    said = call(*words, "--isolation", "none", "--wires", wires)
    rows = list(csv.DictReader(wires.open()))

    assert plan["jumpers"] and [(row["from"], row["to"]) for row in rows] == [
        (j["a"], j["b"]) for j in plan["jumpers"]
    ]
    assert all(10 <= int(row["cut_mm"]) - float(row["run_mm"]) <= 11 for row in rows)
    assert all(
        len(row["corners_mm"].split("; ")) == len(j["route"])
        for row, j in zip(rows, plan["jumpers"], strict=True)
    )
    assert f"{sum(int(row['cut_mm']) for row in rows if row['gauge_awg'] == '30')} mm to cut" in said.out


def test_a_part_that_was_lifted_is_left_out_of_the_plan(demo_folder: Path, tmp_path: Path, call: Any) -> None:
    """--off is checked against the board."""
    area = leak(tmp_path)

    good = call("copper", "plan", demo_folder, "--area", area, "--off", "RN1", "--json")
    bad = call("copper", "plan", demo_folder, "--area", area, "--off", "X99")

    assert good.status == 0 and good.document["masked"] == []
    assert bad.status == 2 and "no part 'X99'" in bad.err
