"""Every file that a command takes, in every broken form: one clear line naming it, nothing written, no hang."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from contextlib import chdir
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coppermend.damage.maps import PNG_SIGNATURE

# How files are met at the bench: cut short by a full disk, saved by a spreadsheet, the wrong one altogether.
_PIXEL = bytes.fromhex(
    "89504e470d0a1a0a0000000d49484452000000010000000108000000003a7e9b550000000a49444154789c63680000008200817"
    "7cd72b60000000049454e44ae426082"
)
HOSTILE = {
    "empty": b"",
    "blanks": b" \n\r\n\t\n",
    "binary": bytes(range(256)) * 4,
    "zeros": b"\0" * 5000,
    "utf-16": "net,refdes,pin\nN1,R1,1\n".encode("utf-16"),
    "latin-1": "Größe,µF,°C,\xff\n".encode("latin-1") * 3,
    "one long line": b"A" * 300_000,
    "brackets": b"[" * 100_000,
    "deep json": b'{"a":' * 20_000,
    "quotes": b'"' * 1001,
    "huge number": b"1" * 20_000,
    "not a number": b"nan,inf,-inf\n1e999,NaN,Infinity\n",
    "controls": b"\x1b[2J\x07\x08ab\x0bc\x0cd\r",
    "a page": b"<!DOCTYPE html><html><body>404</body></html>\n",
    "png head": PNG_SIGNATURE,
    "png of another size": _PIXEL,
    "zip head": b"PK\x03\x04" + bytes(40),
}
IPC = (
    "P  JOB  SAMPLE\nP  UNITS CUST 1\n"
    "317N1               R1    -1    D0800PA00X+005000Y+005000X1600Y0000R000 S0\n"
    "317N1               R2    -1    D0800PA00X+015000Y+005000X1600Y0000R000 S0\n"
    "317N1               VIA         D0400PA00X+010000Y+005000X0800Y0000R000 S3\n999\n"
)
GERBER = (
    "%TF.FileFunction,Copper,L1,Top*%\n%FSLAX46Y46*%\n%MOMM*%\n%ADD10C,1.6*%\nG01*\nD10*\n"
    "%TO.P,R1,1*%\n%TO.N,N1*%\nX5000000Y5000000D03*\n%TD*%\nM02*\n"
)
DRILL = "M48\nMETRIC,TZ\nT1C0.800\n%\nG90\nT1\nX5.0Y5.0\nM30\n"
PARTS = "refdes,value,x_mm,y_mm\nR1,10k,5,5\nR2,10k,15,5\n"
TYPES = '["house-gate"]\ndescription = "our own"\nkind = "logic"\npins = ["1 A in", "2 Y out"]\n'

Case = tuple[str, str, Callable[[Path, Path], list[Any]]]


def _import(option: str) -> Callable[[Path, Path], list[Any]]:
    """Import with one file under test; a parts list needs a netlist beside it."""

    def words(home: Path, file: Path) -> list[Any]:
        (home / "good.d356").write_text(IPC)
        beside = ["--ipc356", home / "good.d356"] if option == "--parts" else []
        given_file = file.parent if option == "--gerber" else file
        return ["board", "import", option, given_file, *beside, "-o", home / "made"]

    return words


def _with_area(*words: str) -> Callable[[Path, Path], list[Any]]:
    """A command on the small board and its sound area, with the file under test behind the last word."""
    return lambda home, file: [*words[:-1], home / "small", "--area", home / "leak.wkt", words[-1], file]


def _board_file(name: str) -> Callable[[Path, Path], list[Any]]:
    def words(home: Path, file: Path) -> list[Any]:
        (home / "small" / name).write_bytes(file.read_bytes())
        return ["board", "check", home / "small"]

    return words


# What is under test, a good sample of it, and the command that reads it.
CASES: dict[str, tuple[str, str, Callable[[Path, Path], list[Any]]]] = {
    "area of touch": ("a.wkt", "POLYGON((10 25, 30 25, 30 35, 10 25))",
                      lambda h, f: ["damage", "touch", h / "small", "--area", f]),
    "area of plan": ("a.geojson", '{"type":"Polygon","coordinates":[[[10,25],[30,25],[30,35],[10,25]]]}',
                     lambda h, f: ["copper", "plan", h / "small", "--area", f]),
    "readings of plan": ("r.csv", "a,b,ohms\nR1.2,R2.1,0.3\n", _with_area("copper", "plan", "--readings")),
    "readings of gate": ("r.csv", "R1.2,R2.1,OL\n", _with_area("prove", "gate", "--readings")),
    "results": ("e.csv", "proof,passed,note\ndischarge,yes,0.2 V\n", _with_area("prove", "gate", "--evidence")),
    "part types": ("t.toml", TYPES, lambda h, f: ["board", "show", h / "small", "--types", f]),
    "board zip": ("b.zip", "PK", lambda h, f: ["board", "show", f]),
    "netlist": ("n.d356", IPC, _import("--ipc356")),
    "Gerber": ("F_Cu.gbr", GERBER, _import("--gerber")),
    "drill": ("PTH.drl", DRILL, _import("--gerber")),
    "parts list": ("p.csv", PARTS, _import("--parts")),
    **{
        f"{name} of a board": (name, "", _board_file(name))
        for name in ("board.toml", "parts.csv", "nets.csv", "pads.csv", "vias.csv", "tracks.csv", "areas.csv")
    },
}  # fmt: skip


@pytest.fixture
def home(small: Path, small_area: Path) -> Path:
    """A folder with the small board and its area."""
    return small_area.parent


def _listing(home: Path) -> set[str]:
    return {str(path.relative_to(home)) for path in home.rglob("*")}


def _offer(call: Any, home: Path, case: str, data: bytes) -> Any:
    """Give ``data`` to the command of ``case``; whatever it says, no half a board may lie about."""
    name, _, words = CASES[case]
    folder = home / "given"
    folder.mkdir(exist_ok=True)
    file = folder / name
    file.write_bytes(data)
    made = words(home, file)
    before = _listing(home)
    answer = call(*made, "--json")
    if answer.status == 2:
        assert _listing(home) == before
        assert name in answer.err or "coppermend: no" in answer.err or str(folder) in answer.err, answer.err
    else:
        assert isinstance(answer.document, dict)
    return answer


@pytest.mark.parametrize("data", HOSTILE.values(), ids=HOSTILE)
@pytest.mark.parametrize("case", CASES)
def test_a_hostile_file_is_read_or_refused_in_one_line(case: str, data: bytes, home: Path, call: Any) -> None:
    """Each reader takes each hostile file or names it in one line; stdout is one document or empty."""
    _offer(call, home, case, data)


@pytest.mark.parametrize("case", [name for name, (_, sample, _) in CASES.items() if len(sample) > 2])
def test_line_ends_and_byte_order_mark_change_nothing(case: str, home: Path, call: Any) -> None:
    """What a spreadsheet on another system saves is read the same as the sample itself."""
    sample = CASES[case][1]

    plain = _offer(call, home, case, sample.encode())
    windows = _offer(call, home, case, sample.replace("\n", "\r\n").encode())

    assert plain.status == windows.status
    told = (plain.out, plain.err) == (windows.out, windows.err)
    assert told or case in ("netlist", "Gerber", "drill", "parts list")  # a board that is already there


@pytest.mark.parametrize("case", [name for name, (_, sample, _) in CASES.items() if len(sample) > 2])
def test_a_file_cut_anywhere_is_read_or_refused(case: str, home: Path, call: Any) -> None:
    """A file cut short at any place gives a document or one line."""
    sample = CASES[case][1].encode()

    for length in range(0, len(sample), max(len(sample) // 25, 1)):
        _offer(call, home, case, sample[:length])


_SLOW = settings(
    max_examples=25,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


@pytest.mark.parametrize("case", CASES)
@_SLOW
@given(data=st.binary(max_size=200))
def test_random_bytes_never_end_in_a_fault(case: str, data: bytes, home: Path, call: Any) -> None:
    """Random bytes in any file give a document or one line, never a traceback, never a hang."""
    _offer(call, home, case, data)


@pytest.mark.parametrize("case", [name for name, (_, sample, _) in CASES.items() if len(sample) > 2])
@_SLOW
@given(at=st.integers(0, 400), width=st.integers(0, 12), junk=st.binary(max_size=12))
def test_a_damaged_sample_never_ends_in_a_fault(
    case: str, at: int, width: int, junk: bytes, home: Path, call: Any
) -> None:
    """A good file with some bytes struck out or overwritten gives a document or one line."""
    sample = CASES[case][1].encode()
    at %= len(sample)
    _offer(call, home, case, sample[:at] + junk + sample[at + width :])


@settings(
    max_examples=40,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(words=st.lists(st.text(st.characters(blacklist_categories=["Cs"]), max_size=20), max_size=4))
def test_random_words_never_end_in_a_fault(words: list[str], call: Any) -> None:
    """Whatever is typed behind a command is answered or refused in one line."""
    with tempfile.TemporaryDirectory() as empty, chdir(empty):
        for command in (["board", "show"], ["copper", "plan"], ["job", "log", "26-0001-B"], ["job", "list"]):
            if "--help" not in words:
                call(*command, *words, "--json", "--data", "record") if command[0] == "job" else call(
                    *command, *words
                )


@settings(
    max_examples=60,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(body=st.one_of(st.text(max_size=40), st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=5), lambda inner: st.lists(inner) | st.dictionaries(
        st.sampled_from(["text", "a", "b", "ohms", "seq"]), inner), max_leaves=8).map(repr)))  # fmt: skip
def test_random_bodies_never_end_in_a_fault(body: str, job: str, call: Any) -> None:
    """Any text as the body of an entry is kept or refused in one line."""
    for kind in ("note", "reading", "damage"):
        call("job", "log", job, kind, f"--body={body}", "--json")


@pytest.mark.parametrize("case", [name for name in CASES if " of a board" not in name])
def test_a_folder_or_nothing_in_place_of_a_file_is_named(case: str, home: Path, call: Any) -> None:
    """A folder where a file is wanted, and a name that does not exist, are told as such."""
    _, _, words = CASES[case]
    folder = home / "given" / "folder"
    folder.mkdir(parents=True)

    as_folder = call(*words(home, folder / "x" if case in ("Gerber", "drill") else folder))
    missing = call(*words(home, home / "none" / "missing"))

    assert (as_folder.status, missing.status) == (2, 2)
    assert str(folder) in as_folder.err and str(home / "none") in missing.err
    assert not (home / "made").exists()


@pytest.mark.parametrize(
    "case", [name for name in CASES if " of a board" not in name and name not in ("Gerber", "drill")]
)
def test_a_pipe_does_not_hang(case: str, home: Path, call: Any) -> None:
    """A named pipe that nobody writes to is refused instead of waited for."""
    pipe = home / "pipe"
    os.mkfifo(pipe)

    assert str(pipe) in call(*CASES[case][2](home, pipe)).err


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("POLYGON((100 100, 120 100, 120 120, 100 100))", "lies off the board"),
        ("POINT(3 3)", "is no area"),
        ("LINESTRING(0 0, 9 9)", "is no area"),
        ("POLYGON EMPTY", "is empty"),
        ("POLYGON((0 0, nan 5, 5 5, 0 0))", "a.wkt"),
        ("POLYGON((10 10, 10 10, 10 10, 10 10))", "encloses nothing"),
        ('{"type":"FeatureCollection","features":[]}', "without features"),
        ('{"type":"Polygon","coordinates":[[[0,0],[9,0],[9,9],[0,0]]],', "broken JSON"),
        ("POLYGON((10 10, 20 10, 20 20, 10 10))\nnonsense\n", "a.wkt:2: 'nonsense' is no area"),
    ],
)
def test_an_area_that_is_none_says_why(text: str, told: str, home: Path, call: Any) -> None:
    """Off the board, a point, a line, empty, broken: each is told with the file's name."""
    answer = _offer(call, home, "area of touch", text.encode())

    assert answer.status == 2
    assert told in answer.err


def test_a_damage_map_of_another_size_says_which_size(home: Path, call: Any) -> None:
    """A map must be 4 px/mm of the board: 240 x 160 px for 60 x 40 mm."""
    answer = _offer(call, home, "area of touch", _PIXEL)

    assert answer.status == 2
    assert "240" in answer.err and "160" in answer.err


@pytest.mark.parametrize("words", [["board", "show"], ["board", "check"], ["board", "draw", "-o", "x.svg"]])
@pytest.mark.parametrize("make", ["missing", "file", "empty folder"])
def test_what_is_no_board_folder_is_told(
    words: list[str], make: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: Any
) -> None:
    """Every board command names what was given in place of a board folder."""
    monkeypatch.chdir(tmp_path)
    place = tmp_path / "place"
    if make == "file":
        place.write_text("no board")
    elif make == "empty folder":
        place.mkdir()

    answer = call(*words, place, "--json")

    assert answer.status == 2 and str(place) in answer.err
    assert not Path("x.svg").exists()


@pytest.mark.parametrize(("name", "told"), [
    ("nowhere/x.svg", "there is no folder"), ("small", "is a folder"), ("leak.wkt/x.svg", "there is no folder"),
])  # fmt: skip
def test_a_drawing_that_cannot_be_written_is_told(name: str, told: str, home: Path, call: Any) -> None:
    """A place in no folder, or a folder, is named and nothing is written."""
    before = _listing(home)

    answer = call("board", "draw", home / "small", "-o", home / name)

    assert answer.status == 2 and told in answer.err and str(home / name) in answer.err
    assert _listing(home) == before


def test_an_import_does_not_overwrite_other_things(home: Path, call: Any) -> None:
    """A folder with other files, or a file, in the place of the new board is left as it is."""
    (home / "good.d356").write_text(IPC)
    before = _listing(home)

    folder = call("board", "import", "--ipc356", home / "good.d356", "-o", home)
    file = call("board", "import", "--ipc356", home / "good.d356", "-o", home / "leak.wkt")

    assert (folder.status, file.status) == (2, 2)
    assert "not overwritten" in folder.err and "not overwritten" in file.err
    assert _listing(home) == before
