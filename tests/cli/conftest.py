"""The command line as a user or a script meets it, a small board folder, its damage, and a job on it."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from coppermend.cli.app import run
from coppermend.demo.board_data import demo_board_files
from coppermend.demo.story import damage_area

# Two resistors and a gate on a 60 x 40 mm board, with copper: net N1 runs R1.2, V1, R2.1, U1.1.
SMALL_BOARD = {
    "board.toml": (
        'name = "Small"\nwidth_mm = 60\nheight_mm = 40\n[[rails]]\nnet = "+5V"\nvolts = 5\n'
        '[[sections]]\nname = "logic"\ntitle = "Logic"\n'
    ),
    "parts.csv": (
        "refdes,type,value,x_mm,y_mm,rotation_deg,side,section,package\n"
        "R1,resistor,10k,5,30,0,top,logic,AXIAL-10.16\nR2,resistor,2k2,5,20,0,top,logic,AXIAL-10.16\n"
        "U1,7400,74LS00,35,30,0,top,logic,DIP-14\n"
    ),
    "nets.csv": (
        "net,refdes,pin\nN1,R1,2\nN1,R2,1\nN1,U1,1\nN2,R2,2\nN2,U1,3\n+5V,R1,1\n+5V,U1,14\nGND,U1,7\nGND,U1,2\n"
    ),
    "vias.csv": "name,net,x_mm,y_mm,hole_mm,size_mm\nV1,N1,25,30,0.8,1.4\n",
    "tracks.csv": (
        "net,layer,x1_mm,y1_mm,x2_mm,y2_mm,width_mm\n"
        "N1,top,15.16,30,25,30,0.5\nN1,bottom,25,30,35,30,0.5\nN1,top,15.16,30,5,20,0.5\n"
    ),
}
SMALL_AREA = "POLYGON((10 25, 30 25, 30 35, 10 35, 10 25))"


@dataclass(frozen=True)
class Answer:
    """How a command ended and what it said."""

    status: int
    out: str
    err: str

    @property
    def document(self) -> Any:
        return json.loads(self.out)


Call = Callable[..., Answer]


def call_command(*words: object) -> Answer:
    """Run a command in this process; a fault of the program fails the test that called it."""
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        status = run([str(word) for word in words])
    assert status in (0, 1, 2), err.getvalue()
    if status == 2:
        said = err.getvalue()
        assert said.startswith("coppermend") and said.endswith("\n") and said.count("\n") == 1, said
        assert out.getvalue() == "", f"refused, but {out.getvalue()!r} was printed"
    return Answer(status, out.getvalue(), err.getvalue())


@pytest.fixture(scope="session")
def call() -> Call:
    """Run a command: ``call("board", "show", folder)``."""
    return call_command


@pytest.fixture(autouse=True)
def _eighty_columns(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("COPPERMEND_DATA", str(tmp_path / "own-record"))
    monkeypatch.delenv("COPPERMEND_TRACE", raising=False)


def write_files(folder: Path, files: dict[str, str]) -> Path:
    """A folder with these files."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        (folder / name).write_text(text)
    return folder


@pytest.fixture
def small(tmp_path: Path) -> Path:
    """A small board folder."""
    return write_files(tmp_path / "small", SMALL_BOARD)


@pytest.fixture
def small_area(tmp_path: Path) -> Path:
    """Damage over R1's end, the via and a track."""
    path = tmp_path / "leak.wkt"
    path.write_text(SMALL_AREA)
    return path


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo board's folder."""
    folder = tmp_path_factory.mktemp("demo") / "board"
    folder.mkdir()
    for name, data in demo_board_files().items():
        (folder / name).write_bytes(data)
    return folder


@pytest.fixture(scope="session")
def demo_area(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample job's damage."""
    path = tmp_path_factory.mktemp("area") / "damage.geojson"
    path.write_text(json.dumps(damage_area()))
    return path


@pytest.fixture
def job(call: Call, small: Path, small_area: Path) -> str:
    """A job on the small board with its damage, in the user's own record."""
    number = str(
        call("job", "new", "--customer", "Ana", "--board", small, "--who", "Bo", "--json").document["number"]
    )
    assert call("job", "log", number, "damage", "--area", small_area, "--who", "Bo").status == 0
    return number
