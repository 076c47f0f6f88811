"""``board import``, ``check``, ``show``, ``draw``."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

BOARDS = {"trainer-computer": (68, 477, 133, 497, 164, 1400), "clock-module": (46, 121, 32, 148, 8, 242)}


def test_show_counts_what_is_there(small: Path, call: Any) -> None:
    """JSON has the counts and the size."""
    document = call("board", "show", small, "--json").document

    counts = {kind: document["counts"][kind] for kind in ("parts", "pins", "nets", "pads", "vias", "tracks")}
    assert counts == {"parts": 3, "pins": 9, "nets": 4, "pads": 18, "vias": 1, "tracks": 3}
    assert (document["width_mm"], document["height_mm"]) == (60, 40)


def test_show_reads_well(small: Path, call: Any) -> None:
    """Text gives name, size with unit, counts and each part, and says what the board lacks."""
    out = call("board", "show", small).out

    assert out.startswith("Small\n60 x 40 mm\n3 parts, 9 pins, 4 nets, 18 pads, 1 via, 3 tracks")
    assert "R2    resistor  2k2     logic" in out
    assert "note: pads are computed from the part packages" in out


def test_a_clean_board_is_status_zero(small: Path, call: Any) -> None:
    """Warnings and notes do not make a board unclean."""
    answer = call("board", "check", small, "--json")

    assert answer.status == 0 and answer.document["clean"] is True
    assert all(finding["severity"] != "error" for finding in answer.document["findings"])


def test_an_error_is_status_one_with_the_finding(small: Path, call: Any) -> None:
    """A pin on two nets is the answer no, not wrong input."""
    with (small / "nets.csv").open("a") as nets:
        nets.write("N2,R1,2\n")

    document, text = call("board", "check", small, "--json"), call("board", "check", small)

    assert (document.status, document.document["clean"], text.status) == (1, False, 1)
    assert "pin-on-two-nets" in text.out and "not clean: 1 error" in text.out


@pytest.mark.parametrize("side", ["top", "bottom"])
def test_draw_writes_one_svg(side: str, small: Path, tmp_path: Path, call: Any) -> None:
    """The drawing is well-formed XML of the SVG namespace (W3C SVG 1.1)."""
    out = tmp_path / "board.svg"

    answer = call("board", "draw", small, "-o", out, "--side", side, "--json")

    assert answer.document == {"file": str(out), "side": side}
    assert ElementTree.parse(out).getroot().tag == "{http://www.w3.org/2000/svg}svg"


def test_draw_knows_two_sides(small: Path, tmp_path: Path, call: Any) -> None:
    """Another side is refused and nothing is written."""
    answer = call("board", "draw", small, "-o", tmp_path / "x.svg", "--side", "left")

    assert answer.status == 2 and "expected top or bottom" in answer.err
    assert not (tmp_path / "x.svg").exists()


def test_own_part_types_are_added(small: Path, tmp_path: Path, call: Any) -> None:
    """A type that the library lacks is known once --types brings it."""
    parts = small / "parts.csv"
    parts.write_text(parts.read_text().replace("7400,74LS00", "house-gate,HG1"))
    types = tmp_path / "types.toml"
    types.write_text(
        '["house-gate"]\ndescription = "our own gate"\nkind = "logic"\npackage = "DIP-14"\n'
        'pins = ["1 A in", "2 B in", "3 Y out", "7 GND ground", "14 VCC power"]\npaths = ["1 2 > 3"]\n'
    )

    before = call("board", "show", small, "--json").document["unknown_types"]
    answer = call("board", "show", small, "--types", types, "--json")

    assert before == ["U1"]
    assert answer.status == 0, answer.err
    assert answer.document["unknown_types"] == []


def test_import_needs_a_source(tmp_path: Path, call: Any) -> None:
    """Without IPC-D-356 and Gerber there is nothing to import."""
    answer = call("board", "import", "-o", tmp_path / "new")

    assert answer.status == 2 and "expected --ipc356 FILE, --gerber DIR or both" in answer.err


@pytest.mark.parametrize("make", [lambda f: f.mkdir(), lambda f: f.write_text("x"), lambda _: None])
def test_import_wants_a_folder_with_fabrication_files(make: Any, tmp_path: Path, call: Any) -> None:
    """An empty folder, a file or nothing in its place is named, and no board appears."""
    folder = tmp_path / "fab"
    make(folder)

    answer = call("board", "import", "--gerber", folder, "-o", tmp_path / "new")

    assert answer.status == 2 and str(folder) in answer.err and "*.gbr" in answer.err
    assert not (tmp_path / "new").exists()


@pytest.mark.shared
@pytest.mark.parametrize("name", BOARDS)
@pytest.mark.parametrize("sources", ["ipc356", "gerber", "all"])
def test_a_real_board_goes_all_the_way(
    name: str, sources: str, shared_boards: Path, tmp_path: Path, call: Any
) -> None:
    """Imported by each source and by all, a real board is clean, counted right, and can be planned on."""
    source, board, area = shared_boards / name, tmp_path / "board", tmp_path / "area.wkt"
    area.write_text("POLYGON((20 20, 55 20, 55 60, 20 60, 20 20))")
    ipc = ["--ipc356", source / "board.d356", "--parts", source / "parts.csv"]
    options = {"ipc356": ipc, "gerber": ["--gerber", source / "gerber"]}
    options["all"] = [*options["ipc356"], *options["gerber"]]

    imported = call("board", "import", *options[sources], "-o", board, "--json").document

    assert call("board", "check", board).status == 0
    counts = call("board", "show", board, "--json").document["counts"]
    assert counts == imported["counts"]
    expected = dict(zip(("parts", "pins", "nets", "pads", "vias", "tracks"), BOARDS[name], strict=True))
    unknown = {"ipc356": ("tracks",), "gerber": ("parts",), "all": ()}[sources]
    assert {k: counts[k] for k in expected if k not in unknown} == {
        k: v for k, v in expected.items() if k not in unknown
    }
    for words in (["damage", "touch"], ["strip"], ["refit"], ["copper", "plan"], ["prove", "plan"]):
        assert call(*words, board, "--area", area, "--json").status == 0, words
    assert call("prove", "gate", board, "--area", area).status == 1
