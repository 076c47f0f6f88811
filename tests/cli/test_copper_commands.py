"""``copper expect``: what a meter should read, as a user and a script see it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from coppermend.copper.expect import Expectation


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
