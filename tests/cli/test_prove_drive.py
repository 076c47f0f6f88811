"""``prove drive``: a dark lamp leads to its driver; unknown outputs and broken rows are one line."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest


def test_a_dark_lamp_leads_to_its_driver(demo_folder: Path, tmp_path: Path, call: Any) -> None:
    """Status 1, the driver first, cautions and the pulse limit with it."""
    seen = tmp_path / "lit.csv"
    seen.write_text("commanded,seen\n,\nLAMP0,LAMP0\nLAMP3,\nLAMP4;LAMP5,LAMP4;LAMP5\n")

    answer = call("prove", "drive", demo_folder, "--observations", seen, "--json")
    text = call("prove", "drive", demo_folder, "--observations", seen).out

    first = answer.document["faults"][0]
    assert answer.status == 1 and (first["kind"], first["outputs"]) == ("open", ["LAMP3"])
    assert "ULN2803" in first["words"] and "LAMP3" in answer.document["outputs"]
    assert "caution:" in text and f"{answer.document['pulse_ms']} ms at most" in text


def test_outputs_that_follow_are_fine(demo_folder: Path, tmp_path: Path, call: Any) -> None:
    """Status 0."""
    seen = tmp_path / "lit.csv"
    seen.write_text("\nLAMP0,LAMP0\n")

    answer = call("prove", "drive", demo_folder, "--observations", seen)

    assert answer.status == 0 and "every output did as commanded" in answer.out


@pytest.mark.parametrize(
    ("row", "told"),
    [("GHOST,", "this board has no output 'GHOST'"), ("LAMP0", "is no result"), ('LAMP0,"', "broken CSV")],
)
def test_a_bad_row_names_its_line(row: str, told: str, demo_folder: Path, tmp_path: Path, call: Any) -> None:
    """Status 2 with file and line."""
    seen = tmp_path / "lit.csv"
    seen.write_text(f"commanded,seen\n{row}\n")

    answer = call("prove", "drive", demo_folder, "--observations", seen)

    assert answer.status == 2 and told in answer.err and f"{seen}:2" in answer.err
