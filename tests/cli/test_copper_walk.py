"""``job walk``: the guided walk in the terminal, answered through standard input."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest

from coppermend.job.store import Store

from .conftest import SMALL_AREA


@pytest.fixture
def job(small: Path, tmp_path: Path, call: Any) -> tuple[str, Path]:
    """A job on the small board with its damage; number and record folder."""
    data, area = tmp_path / "record", tmp_path / "leak.wkt"
    area.write_text(SMALL_AREA)
    new = call("job", "new", "--customer", "Ana", "--board", small, "--data", data, "--json")
    number = new.document["number"]
    call("job", "log", number, "damage", "--area", area, "--data", data)
    return number, data


@pytest.fixture
def answer(job: tuple[str, Path], call: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Walk with these lines typed."""

    def typed(*lines: str, json: bool = False) -> Any:
        monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
        return call("job", "walk", job[0], "--data", job[1], *(["--json"] if json else []))

    return typed


def entries(job: tuple[str, Path]) -> list[tuple[str, dict[str, Any]]]:
    with Store.open(job[1]) as store:
        return [
            (e.kind, dict(e.body)) for e in store.entries(job[0]) if e.kind in ("reading", "jumper", "void")
        ]


def test_enter_is_good_and_ends_the_walk(answer: Any, job: tuple[str, Path]) -> None:
    """Each probe answered with Enter: kept as the beeper's, all proven, status 0."""
    found = answer("", "", "", "", "", json=True)

    assert found.status == 0 and found.document["done"] and found.document["proven"] == ["N1"]
    assert {body["instrument"] for _, body in entries(job)} == {"beeper"}
    assert found.document["kept"] == len(entries(job))


def test_a_typed_value_is_judged(answer: Any, job: tuple[str, Path]) -> None:
    """4k7 over copper is open, and said so; the walk stops with status 1 and says how to go on."""
    found = answer("4k7", "q")

    assert (
        found.status == 1 and "4.7 kΩ: open" in found.out and "go on with: coppermend job walk" in found.out
    )
    assert entries(job)[0][1]["ohms"] == 4700.0


def test_a_walk_over_all_pairs_of_nets_says_how_to_go_on_with_them(
    call: Any, job: tuple[str, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The choice is part of the command that goes on; another choice is refused."""
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    found = call("job", "walk", job[0], "--data", job[1], "--isolation", "all")
    refused = call("job", "walk", job[0], "--data", job[1], "--isolation", "some")

    assert found.status == 1 and f"go on with: coppermend job walk {job[0]} --isolation all" in found.out
    assert refused.status == 2


def test_an_open_ends_in_a_jumper_and_its_probe(answer: Any, job: tuple[str, Path]) -> None:
    """o, then the rest good: a jumper is asked for; fitted and probed, the net is proven."""
    answer("o", json=True)
    for _ in range(8):
        found = answer("", json=True)

    kinds = [kind for kind, _ in entries(job)]
    assert "jumper" in kinds and kinds[-1] == "reading"
    assert found.status == 0 and found.document["opens"] == 0


def test_undo_takes_the_last_answer_back(answer: Any, job: tuple[str, Path]) -> None:
    """The probe is asked again; with nothing to take back, that is said."""
    found = answer("u", "o", "u", "q")

    assert "there is no reading to take back" in found.out and "taken back: " in found.out
    assert [kind for kind, _ in entries(job)] == ["reading", "void"]


def test_a_wrong_answer_is_asked_again(answer: Any, job: tuple[str, Path]) -> None:
    """What is no answer keeps nothing and says what was expected; a probe put off comes back."""
    found = answer("often", "s", "s", "q")

    assert "expected ohms, or OL" in found.out and entries(job) == [] and found.status == 1


def test_a_jumper_wants_enter(answer: Any, job: tuple[str, Path]) -> None:
    """Anything else is refused until it is fitted."""
    found = answer("o", "", "", "0.3", "q")

    assert "Enter when the jumper is fitted" in " ".join(found.out.split()) and found.status == 1
    assert {kind for kind, _ in entries(job)} == {"reading"}
