"""``prove matrix`` and ``prove infer``: closures in order, faults from reports, and clear words for bad files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

MATRIX = (
    'strobes = ["S1", "S2", "S3"]\nreturns = ["R1", "R2", "R3"]\ndedicated = ["tilt"]\nproven = ["S1:R1"]\n'
    '[[positions]]\nstrobe = "S1"\nreturn = "R1"\nname = "start"\n[[positions]]\nstrobe = "S2"\nreturn = "R2"\n'
    '[[positions]]\nstrobe = "S3"\nreturn = "R2"\n[[positions]]\nstrobe = "S3"\nreturn = "R1"\nname = "coin"\n'
)


@pytest.fixture
def matrix(tmp_path: Path) -> Path:
    """A matrix file with a button in use."""
    path = tmp_path / "matrix.toml"
    path.write_text(MATRIX)
    return path


@pytest.fixture
def seen(tmp_path: Path) -> Path:
    """What a matrix with a dead S3 reports."""
    path = tmp_path / "seen.csv"
    path.write_text("closed,reported\n,\nS2:R2,S2:R2\nS3:R2,\ncoin,\n")
    return path


def test_matrix_lists_closures_in_order(matrix: Path, call: Any) -> None:
    """What is proven is asked no more; what cannot be closed is named."""
    document = call("prove", "matrix", matrix, "--json").document
    text = call("prove", "matrix", matrix).out

    assert [c["closure"] for c in document["closures"]] == ["S2:R2", "S3:R2"]
    assert document["proven_before"] == ["S1", "R1"]
    assert document["dedicated"] == ["tilt"]
    assert "stay on R2, other end to S3" in text and "note: R3: no populated position" in text
    assert "tilt to ground" in text and "next: coppermend prove infer" in text


def test_matrix_of_a_board(demo_folder: Path, small: Path, call: Any) -> None:
    """A board that declares a matrix may stand for the file; one that does not is refused."""
    assert len(call("prove", "matrix", demo_folder, "--json").document["closures"]) == 8
    assert "declares no matrix; expected [matrix]" in call("prove", "matrix", small).err


def test_infer_names_fault_and_next_closure(matrix: Path, seen: Path, call: Any) -> None:
    """A dead strobe comes first; the answer is no."""
    answer = call("prove", "infer", matrix, "--observations", seen, "--json")
    text = call("prove", "infer", matrix, "--observations", seen)

    assert (answer.status, text.status) == (1, 1)
    first = answer.document["faults"][0]
    assert (first["kind"], first["lines"]) == ("open strobe", ["S3"]) and first["probability"] > 0.9
    assert "S3 never pulls" in text.out.replace("\n", " ") or "open strobe" in text.out
    assert "next: close" in text.out or "No closure" in text.out


def test_infer_of_a_sound_matrix_says_yes(matrix: Path, tmp_path: Path, call: Any) -> None:
    """Status 0 when everything is reported as it was closed; without observations it begins with nothing closed."""
    good, none = tmp_path / "good.csv", tmp_path / "none.csv"
    good.write_text(",\nS2:R2,S2:R2\nS3:R2,S3:R2\n")
    none.write_text("closed,reported\n")

    assert call("prove", "infer", matrix, "--observations", good).status == 0
    start = call("prove", "infer", matrix, "--observations", none, "--json")
    assert start.status == 0 and start.document["next"] is not None


def test_ghosts_are_told(tmp_path: Path, call: Any) -> None:
    """Without diodes the fourth corner of a rectangle is expected; with everything told, nothing is next."""
    plain, seen = tmp_path / "plain.toml", tmp_path / "seen.csv"
    plain.write_text('strobes = ["A", "B"]\nreturns = ["1", "2"]\ndiodes = false\n')
    seen.write_text("A:1;A:2;B:1,A:1;A:2;B:1;B:2\n")

    text = call("prove", "infer", plain, "--observations", seen).out

    assert "ghosting" in text and "B:2 is a ghost to be expected" in text.replace("\n", " ").replace(
        "  ", " "
    )


def test_open_everything_may_be_next(tmp_path: Path, call: Any) -> None:
    """When only a look at rest tells two faults apart, that is proposed; a matrix of one switch ends at last."""
    one, seen = tmp_path / "one.toml", tmp_path / "seen.csv"
    one.write_text('strobes = ["A"]\nreturns = ["1"]\ndiodes = false\n')
    seen.write_text("A:1,A:1\n")

    assert "next: open everything" in call("prove", "infer", one, "--observations", seen).out
    seen.write_text("A:1,A:1\n,\n")
    assert "No closure would tell these apart" in call("prove", "infer", one, "--observations", seen).out


@pytest.mark.parametrize(
    ("text", "told"),
    [("strobes = [", "matrix.toml"), ("strobes = ['a']", "returns is missing"), ("\x00", "matrix.toml")],
)
def test_a_bad_matrix_is_one_line(text: str, told: str, tmp_path: Path, call: Any) -> None:
    """Status 2, and the line names the file."""
    path = tmp_path / "matrix.toml"
    path.write_text(text)

    answer = call("prove", "matrix", path)

    assert answer.status == 2 and told in answer.err


def test_a_bad_observation_names_its_line(matrix: Path, tmp_path: Path, call: Any) -> None:
    """A crossing that is not in the matrix, and a file that is not there."""
    seen = tmp_path / "seen.csv"
    seen.write_text("closed,reported\nS9:R1,\n")

    assert f"{seen}:2: 'S9:R1' is no crossing" in call("prove", "infer", matrix, "--observations", seen).err
    assert "no such file" in call("prove", "infer", matrix, "--observations", tmp_path / "x.csv").err
