"""``damage touch``, ``strip``, ``refit``, ``copper plan``: stateless answers that a script can chain."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

PLAN_KEYS = {
    "probes",
    "proven",
    "opens",
    "shorts",
    "jumpers",
    "fitted",
    "masked",
    "counts",
    "route_mm",
    "naive_route_mm",
    "notes",
}
PROBE_KEYS = {"id", "net", "a", "b", "purpose", "expect_ohms", "where_a", "where_b", "side"}


def _answered(probes: list[dict[str, Any]], dead: frozenset[str] = frozenset()) -> list[str]:
    """Rows that a meter gives: as expected, or OL on a dead net."""
    return [f"{p['a']},{p['b']},{'OL' if p['net'] in dead else p['expect_ohms']}" for p in probes]


def test_touch_lists_what_lies_under_the_area(small: Path, small_area: Path, call: Any) -> None:
    """Part, via, net and section under the area are named, in JSON and in words."""
    document = call("damage", "touch", small, "--area", small_area, "--json").document
    text = call("damage", "touch", small, "--area", small_area).out

    assert [part["refdes"] for part in document["parts"]] == ["R1"]
    assert [via["name"] for via in document["vias"]] == ["V1"]
    assert "N1" in [net["net"] for net in document["nets"]]
    assert "200 mm² damaged: 1 part," in text and f"strip {small} --area {small_area}" in text


def test_strip_gives_order_reason_and_fate(small: Path, small_area: Path, call: Any) -> None:
    """What comes off has an order, reasons and a fate, and the cautions of the step come first."""
    items = call("strip", small, "--area", small_area, "--json").document["strip"]
    text = call("strip", small, "--area", small_area).out

    assert [item["order"] for item in items] == list(range(1, len(items) + 1))
    assert {item["fate"] for item in items} <= {"discard", "test", "refit"}
    assert text.startswith("caution: ") and "1  R1, 10k: " in text


def test_strip_with_nothing_to_do_says_so(small: Path, tmp_path: Path, call: Any) -> None:
    """Damage on bare board takes nothing off."""
    area = tmp_path / "corner.wkt"
    area.write_text("POLYGON((55 1, 59 1, 59 5, 55 5, 55 1))")

    assert call("strip", small, "--area", area).out == "nothing has to come off\n"
    assert "nothing has to go on\n" in call("refit", small, "--area", area).out


def test_refit_follows_the_chosen_remedy(demo_folder: Path, demo_area: Path, call: Any) -> None:
    """A chosen remedy is marked, takes its parts off and brings its own into the kit."""
    base = ["refit", demo_folder, "--area", demo_area, "--json"]
    plain = call(*base).document
    chosen = call(*base, "--remedy", "reset-supervisor").document

    assert [r["id"] for r in chosen["remedies"] if r["chosen"]] == ["reset-supervisor"]
    brought = {item["refdes"] for item in chosen["refit"]} - {item["refdes"] for item in plain["refit"]}
    assert brought and any(set(line["refdes"]) & brought for line in chosen["kit"])
    strip = call("strip", demo_folder, "--area", demo_area, "--remedy", "reset-supervisor", "--json").document
    assert {item["refdes"] for item in strip["strip"]} > {"R8"}  # beyond the damage: part of the old reset


@pytest.mark.parametrize("words", [["strip"], ["refit"], ["prove", "plan"], ["prove", "gate"]])
def test_an_unknown_remedy_is_refused(words: list[str], small: Path, small_area: Path, call: Any) -> None:
    """A remedy that is not on offer is named together with those that are."""
    answer = call(*words, small, "--area", small_area, "--remedy", "gold-plating", "--json")

    assert answer.status == 2 and "no remedy 'gold-plating'; offered: " in answer.err


def test_copper_plan_has_the_agreed_keys(demo_folder: Path, demo_area: Path, call: Any) -> None:
    """JSON has the keys that scripts rely on, and fewer probes than pad by pad."""
    document = call("copper", "plan", demo_folder, "--area", demo_area, "--json").document

    assert set(document) == PLAN_KEYS
    assert all(set(probe) == PROBE_KEYS for probe in document["probes"])
    assert {probe["purpose"] for probe in document["probes"]} <= {"continuity", "isolation"}
    assert 0 < document["counts"]["probes"] == len(document["probes"])
    assert document["counts"]["probes"] < document["counts"]["naive_probes"]


def test_copper_plan_fed_its_own_answers_comes_to_an_end(
    demo_folder: Path, demo_area: Path, tmp_path: Path, call: Any
) -> None:
    """No probe is asked twice, opens get jumpers, and with those fitted nothing is left to probe."""
    readings = tmp_path / "readings.csv"
    rows, asked = ["a,b,ohms"], set[str]()
    dead = frozenset({"RETURN2"})
    for _ in range(20):
        readings.write_text("\n".join(rows) + "\n")
        plan = call(
            "copper", "plan", demo_folder, "--area", demo_area, "--readings", readings, "--json"
        ).document
        ids = {probe["id"] for probe in plan["probes"]}
        assert not ids & asked
        asked |= ids if dead else set()
        if not (ids or plan["jumpers"]):
            break
        rows += _answered(plan["probes"], dead)
        if not ids:
            assert {wire["net"] for wire in plan["jumpers"]} == {"RETURN2"}
            rows += [f"{wire['a']},{wire['b']},jumper" for wire in plan["jumpers"]]
            dead, asked = frozenset(), set()
    assert (plan["probes"], plan["opens"], plan["jumpers"]) == ([], [], [])
    assert "RETURN2" in plan["proven"]


def test_copper_plan_says_what_to_do_next(small: Path, small_area: Path, tmp_path: Path, call: Any) -> None:
    """In words: probes with their points and ohms first; with all answered, that nothing is left."""
    base = ["copper", "plan", small, "--area", small_area]
    first = call(*base)
    readings = tmp_path / "readings.csv"
    readings.write_text("\n".join(_answered(call(*base, "--json").document["probes"])))

    last = call(*base, "--readings", readings)

    assert " to " in first.out and "Ω" in first.out and "next: make the probes" in first.out
    assert last.out.rstrip().endswith("done: no probe is left to make")


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("R1.2,U99.1,0.3", "Small has no point 'U99.1'"),
        ("R1.2,V9,0.3", "no point 'V9'"),
        ("R1.2,R2.1,often", "expected ohms, or OL"),
        ("R1.2,R2.1", "is no reading"),
        ("R1.2,R1.2,0", "both points are 'R1.2'"),
        ("R1.2,R2.1,-4", "is no resistance"),
    ],
)
@pytest.mark.parametrize("words", [["copper", "plan"], ["prove", "plan"], ["prove", "gate"]])
def test_a_wrong_reading_names_file_and_line(
    words: list[str], row: str, told: str, small: Path, small_area: Path, tmp_path: Path, call: Any
) -> None:
    """Every command that takes readings refuses a wrong row with its place."""
    readings = tmp_path / "readings.csv"
    readings.write_text(f"a,b,ohms\nR1.2,R2.1,0.3\n{row}\n")

    answer = call(*words, small, "--area", small_area, "--readings", readings, "--json")

    assert answer.status == 2
    assert f"{readings}:3: " in answer.err and told in answer.err


def test_every_text_fits_eighty_columns(demo_folder: Path, demo_area: Path, call: Any) -> None:
    """Nothing but a command to copy is wider than the screen, and nothing is cut short."""
    area = ["--area", demo_area]
    answers = [
        call("board", "show", demo_folder), call("board", "check", demo_folder),
        call("damage", "touch", demo_folder, *area), call("strip", demo_folder, *area),
        call("refit", demo_folder, *area), call("copper", "plan", demo_folder, *area),
        call("prove", "plan", demo_folder, *area, "--all"), call("prove", "gate", demo_folder, *area),
    ]  # fmt: skip

    lines = [line for answer in answers for line in answer.out.splitlines()]
    assert [line for line in lines if len(line) > 80 and "coppermend " not in line] == []
    assert not any("…" in line for line in lines)
