"""``coppermend refit``: a chosen remedy in full, its drawing, its figure, and the kit against a shelf."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest


@pytest.fixture
def words(demo_folder: Path, demo_area: Path) -> list[Any]:
    return ["refit", demo_folder, "--area", demo_area]


def test_a_chosen_remedy_is_told_in_full(words: list[Any], call: Any, tmp_path: Path) -> None:
    """Parts off and on with places, wires, steps, proofs, the command of its figure, and the sum."""
    shelf = tmp_path / "shelf.csv"
    shelf.write_text("type,value,package,quantity,price,place\nresistor,100k,AXIAL-10.16,3,0.02,A3\n")
    drawings = tmp_path / "drawings"
    drawings.mkdir()

    ran = call(
        *words,
        "--remedy",
        "reset-supervisor",
        "--remedy",
        "larger-eprom",
        "--drawings",
        drawings,
        "--shelf",
        shelf,
    )
    text = " ".join(ran.out.split())

    assert ran.status == 0
    assert "off: C1, D1, Q1" in text and "U27 wired, free spot at" in text
    assert "proofs that it calls for: program, contents:U28" in text
    assert "figure: coppermend figure reset 'rail=5.0 5%' grade=4.63 cpu=6502" in text
    assert "1 from A3" in text and "chosen remedies: 92 min" in text
    assert sorted(path.name for path in drawings.iterdir()) == ["larger-eprom.svg", "reset-supervisor.svg"]
    assert (drawings / "reset-supervisor.svg").read_text(encoding="utf-8").startswith("<svg")


def test_the_document_says_what_the_page_says(words: list[Any], call: Any) -> None:
    """Findings and proofs of every remedy, the figure behind each check, and what the choice comes to."""
    document = call(*words, "--remedy", "supercapacitor-BT1", "--json").document
    remedy = next(r for r in document["remedies"] if r["id"] == "supercapacitor-BT1")

    assert remedy["findings"] == [] and remedy["proofs"] == ["retention:BT1"]
    assert {c["figure"]["name"] for c in remedy["checks"] if c["figure"]} == {"retention", "inrush"}
    assert document["chosen"] == ["supercapacitor-BT1"] and document["conflicts"] == []
    assert document["price"] == pytest.approx(document["parts_price"] + document["labour"], abs=0.02)


def test_what_cannot_be_is_refused(words: list[Any], call: Any, tmp_path: Path) -> None:
    """Two that exclude each other, an unknown remedy, a shelf that is none: status 2 and one line."""
    broken = tmp_path / "shelf.csv"
    broken.write_text("type,value\nresistor,1k\n")

    both = call(*words, "--remedy", "supercapacitor-BT1", "--remedy", "coin-cell-BT1")
    unknown = call(*words, "--remedy", "gold-plating")
    shelf = call(*words, "--shelf", broken)

    assert [r.status for r in (both, unknown, shelf)] == [2, 2, 2]
    assert "exclude each other" in both.err and "gold-plating" in unknown.err
    assert "shelf.csv" in shelf.err and "no column 'quantity'" in shelf.err
