"""Board folders on disk: read whole or refused, written whole or not at all."""

from __future__ import annotations

import dataclasses
import os
from pathlib import Path

import pytest

from coppermend.board.folder import format_board_folder
from coppermend.board.model import Board
from coppermend.errors import InputError, RecordError
from coppermend.job import files
from coppermend.job.archive import board_archive
from coppermend.job.files import load_board, read_file, save_board


def names(folder: Path) -> set[str]:
    """What lies in a folder, hidden files too."""
    return {path.name for path in folder.iterdir()}


def test_saved_board_is_loaded(tmp_path: Path, board: Board):
    """A board saved is the same board when loaded, and nothing else is left behind."""
    save_board(board, tmp_path / "boards" / "tiny")

    assert load_board(tmp_path / "boards" / "tiny") == board
    assert names(tmp_path / "boards") == {"tiny"}


def test_archive_on_disk_is_loaded(tmp_path: Path, board: Board):
    """A zip of a board folder can be named instead of the folder."""
    packed = board_archive({name: text.encode() for name, text in format_board_folder(board).items()})
    (tmp_path / "tiny.zip").write_bytes(packed)

    assert load_board(tmp_path / "tiny.zip") == board


def test_saving_again_replaces_the_board_and_keeps_other_files(tmp_path: Path, board: Board):
    """Files of the old board go, what a person put beside them stays."""
    save_board(board, tmp_path / "tiny")
    (tmp_path / "tiny" / "notes.txt").write_text("mine")
    (tmp_path / "tiny" / "photos").mkdir()
    (tmp_path / "tiny" / "photos" / "front.jpg").write_bytes(b"x")
    bare = dataclasses.replace(board, tracks=(), vias=())

    save_board(bare, tmp_path / "tiny")

    assert load_board(tmp_path / "tiny") == bare
    assert not {"tracks.csv", "vias.csv"} & names(tmp_path / "tiny")
    assert (tmp_path / "tiny" / "notes.txt").read_text() == "mine"
    assert (tmp_path / "tiny" / "photos" / "front.jpg").read_bytes() == b"x"
    assert names(tmp_path) == {"tiny"}


def test_empty_folder_may_be_filled(tmp_path: Path, board: Board):
    """A folder made beforehand is fine."""
    (tmp_path / "tiny").mkdir()

    save_board(board, tmp_path / "tiny")

    assert load_board(tmp_path / "tiny") == board


def test_other_folders_are_not_overwritten(tmp_path: Path, board: Board):
    """A folder that is no board folder is left as it is."""
    (tmp_path / "thesis.txt").write_text("years of work")

    with pytest.raises(RecordError) as caught:
        save_board(board, tmp_path)

    assert "not overwritten" in str(caught.value)
    assert names(tmp_path) == {"thesis.txt"}


def test_files_and_links_are_not_overwritten(tmp_path: Path, board: Board):
    """A file or a link in the place of the folder is left as it is."""
    (tmp_path / "file").write_text("x")
    (tmp_path / "link").symlink_to(tmp_path)

    for name in ("file", "link"):
        with pytest.raises(RecordError) as caught:
            save_board(board, tmp_path / name)
        assert "is no folder" in str(caught.value)
    assert names(tmp_path) == {"file", "link"}


@pytest.mark.parametrize("step", ["write_durably", "sync_folder"])
def test_failing_disk_leaves_the_old_board(
    tmp_path: Path, board: Board, monkeypatch: pytest.MonkeyPatch, step: str
):
    """When the disk refuses while the new folder is written, the old one is still there and whole."""
    save_board(board, tmp_path / "tiny")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files, step, full)
    with pytest.raises(RecordError) as caught:
        save_board(dataclasses.replace(board, width_mm=99.0), tmp_path / "tiny")

    assert "No space left on device" in str(caught.value)
    assert load_board(tmp_path / "tiny") == board
    assert names(tmp_path) == {"tiny"}


def test_failing_swap_puts_the_old_board_back(tmp_path: Path, board: Board, monkeypatch: pytest.MonkeyPatch):
    """When the new folder cannot take its place, the old one returns to it."""
    save_board(board, tmp_path / "tiny")
    real = Path.rename

    def rename(source: Path, target: Path) -> Path:
        if source.name.endswith(".tmp"):
            raise OSError(5, "Input/output error")
        return real(source, target)

    monkeypatch.setattr(Path, "rename", rename)
    with pytest.raises(RecordError):
        save_board(dataclasses.replace(board, width_mm=99.0), tmp_path / "tiny")

    assert load_board(tmp_path / "tiny") == board
    assert names(tmp_path) == {"tiny"}


def test_save_cut_off_in_the_swap_is_survived(tmp_path: Path, board: Board):
    """A power cut between the two renames: the old board is still found, and the next save tidies up."""
    save_board(board, tmp_path / "tiny")
    (tmp_path / "tiny").rename(tmp_path / ".tiny.replaced")

    assert load_board(tmp_path / "tiny") == board

    wider = dataclasses.replace(board, width_mm=99.0)
    save_board(wider, tmp_path / "tiny")
    assert load_board(tmp_path / "tiny") == wider
    assert names(tmp_path) == {"tiny"}


def test_save_cut_off_after_the_swap_is_tidied(tmp_path: Path, board: Board):
    """A power cut after the swap leaves the old folder aside; the next save removes it."""
    save_board(board, tmp_path / "tiny")
    save_board(board, tmp_path / ".tiny.replaced")

    save_board(board, tmp_path / "tiny")

    assert names(tmp_path) == {"tiny"}


def test_first_save_into_a_missing_place_of_a_failing_disk(
    tmp_path: Path, board: Board, monkeypatch: pytest.MonkeyPatch
):
    """When a first save fails in the swap, nothing is left behind."""

    def rename(source: Path, target: Path) -> Path:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(Path, "rename", rename)
    with pytest.raises(RecordError):
        save_board(board, tmp_path / "tiny")

    assert names(tmp_path) == set()


def test_missing_folder_is_named(tmp_path: Path):
    """A folder that is not there is named in the error."""
    with pytest.raises(InputError) as caught:
        load_board(tmp_path / "nowhere")

    assert caught.value.where == str(tmp_path / "nowhere")
    assert "no such board folder" in caught.value.found


def test_folder_without_board_is_named(tmp_path: Path):
    """A folder without board.toml is no board folder."""
    with pytest.raises(InputError) as caught:
        load_board(tmp_path)

    assert "no board.toml" in caught.value.found


def test_broken_cell_is_named_with_its_file(tmp_path: Path, board: Board):
    """A wrong cell is reported with folder, file and line."""
    save_board(board, tmp_path / "tiny")
    (tmp_path / "tiny" / "vias.csv").write_text("name,net,x_mm,y_mm,hole_mm\nV1,N1,ten,5,0.8\n")

    with pytest.raises(InputError) as caught:
        load_board(tmp_path / "tiny")

    assert caught.value.where == f"{tmp_path / 'tiny'}/vias.csv"
    assert caught.value.line == 2


def test_pipe_is_refused_at_once(tmp_path: Path, board: Board):
    """A pipe in the place of a file is refused instead of waited for."""
    save_board(board, tmp_path / "tiny")
    (tmp_path / "tiny" / "tracks.csv").unlink()
    os.mkfifo(tmp_path / "tiny" / "tracks.csv")

    with pytest.raises(InputError) as caught:
        load_board(tmp_path / "tiny")

    assert "no plain file" in caught.value.found


def test_file_missing_too_large_or_unreadable(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """A file that is missing, beyond the limit or refused by the disk gives one clear error."""
    (tmp_path / "big").write_bytes(b"x" * 11)
    with pytest.raises(InputError) as missing:
        read_file(tmp_path / "small")
    with pytest.raises(InputError) as large:
        read_file(tmp_path / "big", 10)

    def refuse(*_: object) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(InputError) as unreadable:
        read_file(tmp_path / "big")

    assert missing.value.found == "no such file"
    assert large.value.found == "is larger than 10 bytes"
    assert unreadable.value.found == "cannot be read: Input/output error"
