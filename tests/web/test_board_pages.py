"""The board library: bringing boards in, and one board's page."""

from __future__ import annotations

import io
import re
import zipfile
from pathlib import Path

import pytest

from coppermend.board.folder import format_board_folder
from coppermend.board.model import Board, Part, PinRef
from coppermend.demo.board_data import demo_board_files

HOSTILE = '<script>alert("board")</script>'


def zipped(files: dict[str, bytes]) -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return made.getvalue()


def send(bench, *files: tuple[str, bytes], name: str = ""):
    return bench.client.post(
        "/boards/import",
        data={"name": name},
        files=[("files", file) for file in files],
        follow_redirects=False,
    )


@pytest.mark.parametrize(
    ("files", "name", "told"),
    [
        ([], "", "no file was chosen"),
        ([("board.zip", b"PK\x03\x04 broken")], "", "board.zip"),
        ([("a.zip", zipped({"readme.txt": b"x"}))], "", "0 boards"),
        ([("notes.gbr", b"hello")], "", "no name"),
        ([("notes.gbr", b"hello")], "X", "notes.gbr"),
        ([("a.d356", b"999"), ("b.d356", b"999")], "X", "2 IPC-D-356 files"),
        ([("board.toml", b"name = ")], "", "board.toml"),
    ],
)
def test_what_is_no_board_is_refused_and_the_name_kept(bench, files, name, told):
    """The page says which file is wrong and keeps the name; the library stays empty."""
    answer = send(bench, *files, name=name)

    assert answer.status_code == 400 and told in answer.text
    assert f'name="name" value="{name}"' in answer.text
    assert bench.desk.store.boards() == ()


def test_the_sample_board_is_one_press_away(bench):
    """The sample is in the library and its page opens with a way to a job."""
    answer = bench.client.post("/boards/sample")

    assert answer.status_code == 200 and "In the library" in answer.text
    assert len(bench.desk.store.boards()) == 1


def test_a_zip_and_loose_files_bring_in_the_same_board(bench):
    """A zip of a board folder and its files chosen one by one give one and the same board."""
    files = demo_board_files()

    packed = send(bench, ("demo.zip", zipped({f"demo/{name}": data for name, data in files.items()})))
    loose = send(bench, *files.items())

    assert (packed.status_code, loose.status_code) == (200, 200)
    assert len({record.sha256 for record in bench.desk.store.boards()}) == 1


@pytest.mark.shared
def test_cad_output_becomes_a_board(bench, shared_boards: Path):
    """IPC-D-356 with a parts list is imported, and the page shows the notes of the import."""
    folder = shared_boards / "clock-module"
    files = [(name, (folder / name).read_bytes()) for name in ("board.d356", "parts.csv")]

    answer = send(bench, *files, name="clock module")

    assert answer.status_code == 200 and "From the import" in answer.text
    assert [record.name for record in bench.desk.store.boards()] == ["clock module"]


@pytest.mark.shared
def test_gerber_files_become_a_board(bench, shared_boards: Path):
    """Gerber and drill files chosen together are enough."""
    files = [
        (path.name, path.read_bytes())
        for path in sorted((shared_boards / "clock-module" / "gerber").iterdir())
    ]

    answer = send(bench, *files, name="clock module")

    assert answer.status_code == 200 and len(bench.desk.store.boards()) == 1


def test_a_board_page_tells_what_each_net_does(at_work):
    """Parts, nets with their roles and what a look over the data found are on the page."""
    text = at_work.client.get(f"/boards/{at_work.board}").text

    assert at_work.desk.roles(at_work.board)["+5V"].does in text
    assert 'data-find="U1"' in text and "A look over the data" in text


def test_names_of_a_board_are_shown_as_text(bench):
    """Markup in any name of a board is escaped on its page and in its drawing."""
    board = Board(
        name=HOSTILE, width_mm=50, height_mm=40, notes=HOSTILE,
        parts=(Part("R<1>", HOSTILE, HOSTILE, 10, 10, package="AXIAL-400"),),
        nets={HOSTILE: (PinRef("R<1>", "1"), PinRef("R<1>", "2"))},
    )  # fmt: skip
    sha256 = bench.desk.store.add_board({n: t.encode() for n, t in format_board_folder(board).items()})

    for path in ("", "/top.svg", "/bottom.svg"):
        text = bench.client.get(f"/boards/{sha256}{path}").text
        assert "<script>alert" not in text and "&lt;script&gt;alert" in text


def test_a_drawing_is_sent_once(at_work):
    """A browser that has the drawing is told so with 304."""
    path = f"/boards/{at_work.board}/top.svg"
    first = at_work.client.get(path)

    again = at_work.client.get(path, headers={"If-None-Match": first.headers["etag"]})

    assert first.headers["content-type"].startswith("image/svg+xml")
    assert (again.status_code, again.content) == (304, b"")


def test_a_drawing_is_packed_for_those_who_unpack(at_work):
    """Packed or plain, the drawing is the same; a page lays its overlays over it in the same view box."""
    path = f"/boards/{at_work.board}/bottom.svg"

    packed = at_work.client.get(path, headers={"Accept-Encoding": "gzip"})
    plain = at_work.client.get(path, headers={"Accept-Encoding": "identity"})

    assert packed.headers["content-encoding"] == "gzip" and "content-encoding" not in plain.headers
    assert packed.content == plain.content
    view_box = re.search(r'viewBox="[^"]+"', plain.text)[0]
    assert (
        at_work.client.get(f"/boards/{at_work.board}").text.count(view_box) == 4
    )  # two on each side, which are alike


def test_there_are_two_sides(at_work):
    """Other names are no drawing."""
    assert at_work.client.get(f"/boards/{at_work.board}/left.svg").status_code == 404


def test_a_board_without_copper_is_still_a_board(bench):
    """Every stage opens on a board that has parts and nets only."""
    board = Board(
        name="bare", width_mm=60, height_mm=40,
        parts=(Part("U1", "7400", "", 20, 20, package="DIP-14"), Part("C1", "capacitor", "100n", 40, 20)),
        nets={"VCC": (PinRef("U1", "14"), PinRef("C1", "1")), "GND": (PinRef("U1", "7"), PinRef("C1", "2"))},
    )  # fmt: skip
    sha256 = bench.desk.store.add_board(board)
    number = bench.desk.store.new_job({"customer": "O. Penhallow"}, who="R. Tansy")
    bench.client.post(f"/jobs/{number}/board", data={"board": sha256})
    bench.client.post(f"/jobs/{number}/damage", data={"area": "POLYGON ((5 5, 50 5, 50 35, 5 35, 5 5))"})

    for stage in ("", "/inspect", "/isolate", "/plan", "/strip", "/copper", "/refit", "/prove", "/return"):
        assert bench.client.get(f"/jobs/{number}{stage}").status_code == 200
    assert bench.desk.job(number).found.touch.parts


def test_versions_of_a_board_are_listed(bench):
    """A changed board of the same name is a new version; the old one stays open to its jobs."""
    old = bench.desk.store.add_board(Board(name="two", width_mm=50, height_mm=40))
    new = bench.desk.store.add_board(Board(name="two", width_mm=51, height_mm=40))

    text = bench.client.get(f"/boards/{new}").text

    assert "Versions" in text and f'href="/boards/{old}"' in text
