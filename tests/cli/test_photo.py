"""``coppermend photo``: what a user and a script see, on a synthetic photograph."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from coppermend.damage.maps import read_map
from coppermend.job.files import save_board
from photo_render.sample import points_json, small_scene


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A board folder, its photo and points."""
    made = tmp_path_factory.mktemp("photo")
    board, _, shot = small_scene()
    save_board(board, made / "board")
    (made / "top.jpg").write_bytes(shot.jpeg)
    (made / "points.json").write_text(points_json(shot))
    return made


def words(folder: Path) -> list[object]:
    return [folder / "top.jpg", "--board", folder / "board", "--points", folder / "points.json"]


def test_a_photo_becomes_a_map(folder: Path, call: Any, tmp_path: Path) -> None:
    """``photo map --json`` prints the agreed document and writes a map of the board's size."""
    out = tmp_path / "leak.png"

    answer = call("photo", "map", *words(folder), "-o", out, "--json")

    found = answer.document
    assert answer.status == 0 and found["mask"] == str(out)
    assert len(found["pixel_to_mm"]) == 3 and set(found["camera"]) == {"fx", "fy", "cx", "cy", "k1"}
    assert (
        found["rms_mm"] < 0.6 and found["area_mm2_from"]["light"] >= found["area_mm2_from"]["moderate"] > 50
    )
    board = small_scene()[0]
    assert read_map(out.read_bytes(), board.width_mm, board.height_mm, "map").max() >= 112


def test_people_are_told_what_was_found(folder: Path, call: Any, tmp_path: Path) -> None:
    """In plain text each point, the areas and the next command are named."""
    answer = call("photo", "map", *words(folder), "-o", tmp_path / "leak.png")

    assert answer.status == 0 and "hole-1" in answer.out and "moderate or worse" in answer.out
    assert "next: coppermend damage touch" in answer.out


def test_registering_alone_prints_the_view(folder: Path, call: Any) -> None:
    """``photo register`` gives the same view without a map, with or without matching."""
    matched = call("photo", "register", *words(folder), "--json").document
    by_hand = call("photo", "register", *words(folder), "--clicks-only", "--json").document

    assert matched["matches"] > 10 and by_hand["matches"] == 0 and "mask" not in matched
    assert [p["name"] for p in matched["points"]] == ["hole-1", "hole-2", "hole-3", "hole-4"]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda f, t: [f / "points.json", *words(f)[1:]], "is no photo"),
        (lambda f, t: [*words(f), "--side", "left"], "top or bottom"),
        (lambda f, t: [*words(f), "--side", "bottom"], "mirrored"),
        (lambda f, t: [*words(f)[:-1], t / "none.json"], "none.json"),
    ],
)
def test_bad_input_is_one_line_and_writes_nothing(
    folder: Path, call: Any, tmp_path: Path, change, said: str
) -> None:
    """Whatever is wrong, the exit is 2, one line says so, and there is no map."""
    out = tmp_path / "leak.png"

    answer = call("photo", "map", *change(folder, tmp_path), "-o", out)

    assert answer.status == 2 and said in answer.err and answer.err.count("\n") == 1
    assert not out.exists()


def test_a_place_that_cannot_be_written_is_told_first(folder: Path, call: Any, tmp_path: Path) -> None:
    """A map is not computed for a folder that is not there."""
    answer = call("photo", "map", *words(folder), "-o", tmp_path / "no" / "leak.png")

    assert answer.status == 2 and "no folder" in answer.err


def test_points_file_is_the_documented_one(folder: Path) -> None:
    """The points file holds name, board_mm and pixel."""
    (first, *_) = json.loads((folder / "points.json").read_text())

    assert set(first) == {"name", "board_mm", "pixel"}
