"""The board folder: what is written is read back equal, and what is wrong is named with file and line."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.board.folder import format_board_folder, parse_board_folder
from coppermend.board.model import (
    Board,
    Clock,
    Connector,
    CopperArea,
    Matrix,
    MatrixPosition,
    MemoryRegion,
    Pad,
    Part,
    PinRef,
    Rail,
    ReferencePoint,
    Section,
    Track,
    Via,
)
from coppermend.errors import InputError

TOML = b'name = "Tilt counter"\nwidth_mm = 100\nheight_mm = 80\n'
FOLDER = {
    "board.toml": TOML,
    "parts.csv": b"refdes,type,x_mm,y_mm,package\nU1,7400,10,20,DIP-14\n",
    "nets.csv": b"net,refdes,pin\nRESET,U1,1\n",
}


def folder(**changed: bytes) -> dict[str, bytes]:
    """The small folder with some files replaced: ``parts=b"..."`` replaces parts.csv."""
    return {**FOLDER, **{("board.toml" if k == "toml" else f"{k}.csv"): v for k, v in changed.items()}}


def encoded(board: Board) -> dict[str, bytes]:
    return {name: text.encode() for name, text in format_board_folder(board).items()}


# Text as a technician may type it: quotes, separators, accents, lines; no blanks around, no control bytes.
texts = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]) | st.just("\n"), max_size=12
).map(str.strip)
names = texts.filter(bool)
undotted = names.map(lambda s: s.replace(".", "_"))
lengths = st.integers(-9_999_999, 9_999_999).map(lambda n: n / 1e4)
sizes = st.integers(1, 99_999).map(lambda n: n / 1e4)
board_sizes = st.integers(1_000, 9_999_999).map(lambda n: n / 1e4)
layers = st.sampled_from(["top", "bottom"])
corners = st.tuples(lengths, lengths)
parts = st.builds(
    Part, names, texts, texts, lengths, lengths, lengths, layers, texts, st.just(""), st.booleans(), texts
)
pads = st.builds(
    Pad, names, undotted, lengths, lengths, sizes, sizes, st.sampled_from(["top", "bottom", "both"]), sizes,
    st.booleans(),
)  # fmt: skip
vias = st.builds(Via, undotted, texts, lengths, lengths, sizes, st.just(0.0) | sizes)
tracks = st.builds(Track, texts, layers, lengths, lengths, lengths, lengths, sizes)
areas = st.builds(CopperArea, texts, layers, st.just("POLYGON ((0 0, 9.5 0, 0 1e1, 0 0))"))
matrices = st.builds(
    Matrix,
    st.lists(names, max_size=2).map(tuple),
    st.lists(names, max_size=2).map(tuple),
    st.lists(st.builds(MatrixPosition, names, names, names, texts), max_size=2).map(tuple),
)
regions = st.builds(
    lambda name, span, parts: MemoryRegion(name, min(span), max(span), tuple(parts)),
    names, st.tuples(st.integers(0, 0xFFFF), st.integers(0, 0xFFFF)), st.lists(names, max_size=2),
)  # fmt: skip
kinds = st.sampled_from(["", "supply", "switch", "lamp", "solenoid", "display", "sound", "bus", "option"])
anything = st.floats(-5000, 5000)


def some(items):
    return st.lists(items, max_size=3).map(tuple)


boards = st.builds(
    Board,
    name=names, width_mm=board_sizes, height_mm=board_sizes,
    revision=texts, maker=texts, notes=texts,
    outline=st.just(()) | st.lists(corners, min_size=3, max_size=5, unique=True).map(tuple),
    parts=some(parts),
    nets=st.dictionaries(names, some(st.builds(PinRef, names, undotted)), max_size=3),
    pads=some(pads), vias=some(vias), tracks=some(tracks), areas=some(areas),
    sections=some(st.builds(Section, names, texts, texts)),
    reference_points=some(st.builds(ReferencePoint, names, lengths, lengths)),
    rails=some(st.builds(Rail, names, anything, st.floats(0, 1))),
    clocks=some(st.builds(Clock, names, st.floats(0, 1e12))),
    memory_map=some(regions), matrix=matrices,
    connectors=some(st.builds(Connector, names, texts, kinds, st.dictionaries(texts, texts, max_size=3))),
)  # fmt: skip


@settings(max_examples=150)
@given(boards)
def test_round_trip(board):
    """Writing any board and reading it gives an equal board."""
    assert parse_board_folder(encoded(board)) == board


def test_package_pads_are_not_written():
    """Pads that were computed from packages stay computed: no pads.csv appears."""
    board = parse_board_folder(FOLDER)

    written = format_board_folder(board)

    assert board.pads_from_packages and len(board.pads) == 14
    assert "pads.csv" not in written and parse_board_folder(encoded(board)) == board


def test_a_board_without_pads_stays_without():
    """A header-only pads.csv means no pads, in spite of known packages."""
    board = parse_board_folder(folder(pads=b"refdes,pin,x_mm,y_mm,hole_mm,size_mm\n"))

    assert board.pads == () and not board.pads_from_packages
    assert parse_board_folder(encoded(board)) == board


def test_extra_columns_only_when_they_carry_something():
    """Round pads and vias of the usual size need no further columns."""
    plain = Board("B", 9, 9, pads=(Pad("R1", "1", 1, 1, 0.8, 1.6),), vias=(Via("V1", "N", 1, 1, 0.4),))

    written = format_board_folder(plain)

    assert written["pads.csv"].splitlines()[0] == "refdes,pin,x_mm,y_mm,hole_mm,size_mm,side"
    assert written["vias.csv"].splitlines()[0] == "name,net,x_mm,y_mm,hole_mm"


def test_duplicates_are_kept():
    """A refdes used twice and a pin on two nets survive reading, for the check to find."""
    board = parse_board_folder(
        folder(parts=b"refdes\nR1\nR1\n", nets=b"net,refdes,pin\nA,R1,1\nB,R1,1\nA,R1,1\n")
    )

    assert [part.refdes for part in board.parts] == ["R1", "R1"]
    assert board.nets == {"A": (PinRef("R1", "1"),) * 2, "B": (PinRef("R1", "1"),)}


def test_net_without_pins():
    """A row with a net alone keeps a net that no pin is known of."""
    assert parse_board_folder(folder(nets=b"net,refdes,pin\nSPARE,,\n")).nets == {"SPARE": ()}


def test_empty_nets_file():
    """An empty nets.csv is a board whose nets are not traced yet."""
    assert parse_board_folder(folder(nets=b"")).nets == {}


SPREADSHEETS = {
    "plain": b"refdes,value,x_mm,y_mm\nR1,4k7,12.5,3\n",
    "byte order mark and CRLF": b"\xef\xbb\xbfrefdes,value,x_mm,y_mm\r\nR1,4k7,12.5,3\r\n",
    "CR alone": b"refdes,value,x_mm,y_mm\rR1,4k7,12.5,3\r",
    "semicolons and decimal commas": b"refdes;value;x_mm;y_mm\nR1;4k7;12,5;3\n",
    "semicolons and decimal points": b'"refdes";"value";"x_mm";"y_mm"\n"R1";"4k7";"12.5";"3"\n',
    "tabs": b"refdes\tvalue\tx_mm\ty_mm\nR1\t4k7\t12,5\t3\n",
    "separator line": b"sep=;\r\nrefdes;value;x_mm;y_mm\r\nR1;4k7;12,5;3\r\n",
    "blank rows and cells": b"\nrefdes,value,x_mm,y_mm,,\n,,,,,\nR1,4k7,12.5,3,,\n,,,,,\n\n",
    "columns in another order": b"Y_mm, X_MM ,Refdes,value\n3, 12.5 , R1 , 4k7\n",
    "own columns": b"refdes,x_bin,value,x_mm,y_mm\nR1,drawer 3,4k7,12.5,3\n",
    "exponent": b"refdes,value,x_mm,y_mm\nR1,4k7,1.25e1,+3.\n",
}


@pytest.mark.parametrize("data", SPREADSHEETS.values(), ids=SPREADSHEETS)
def test_spreadsheet_habits(data):
    """What spreadsheets do to a CSV file does not change what it says (RFC 4180 beside common habits)."""
    (part,) = parse_board_folder(folder(parts=data)).parts

    assert (part.refdes, part.value, part.x_mm, part.y_mm) == ("R1", "4k7", 12.5, 3.0)


def test_quoted_lines_in_a_cell():
    """A cell may hold line breaks and quotes (RFC 4180, section 2, rules 6 and 7)."""
    data = b'refdes,notes\r\nR1,"lifted\r\nat ""pin"" 1, top"\r\n'

    (part,) = parse_board_folder(folder(parts=data)).parts

    assert part.notes == 'lifted\nat "pin" 1, top'


def test_line_after_a_cell_of_several_lines():
    """An error below a cell of two lines names the line in the file, not the row."""
    data = b'refdes,side,notes\nR1,top,"one\ntwo"\nR2,left,\n'

    with pytest.raises(InputError) as caught:
        parse_board_folder(folder(parts=data))

    assert (caught.value.where, caught.value.line) == ("board/parts.csv", 4)


PAD, VIA = "refdes,pin,x_mm,y_mm,hole_mm,size_mm", "name,net,x_mm,y_mm,hole_mm"
TRACK = "net,layer,x1_mm,y1_mm,x2_mm,y2_mm,width_mm"
BAD_CELLS = [
    ("parts", "refdes,x_mm\nR1,near", 2, "a number"),
    ("parts", "refdes,x_mm\nR1,nan", 2, "a number"),
    ("parts", "refdes,x_mm\nR1,inf", 2, "a number"),
    ("parts", "refdes,x_mm\nR1,1e999", 2, "a number"),
    ("parts", "refdes,x_mm\nR1,10001", 2, "a number from -10000 to 10000"),
    ("parts", "refdes,x_mm\nR1,1_000", 2, "a number"),
    ("parts", "refdes,x_mm\nR1,٣", 2, "a number"),
    ("parts", 'refdes,x_mm\nR1,"12,5"', 2, "a number"),
    ("parts", "refdes;x_mm\nR1;1.234,5", 2, "a number"),
    ("parts", "refdes,side\nR1,both", 2, "top or bottom"),
    ("parts", "refdes,socketed\nR1,maybe", 2, "yes or no"),
    ("parts", "refdes,value\n\n,10k", 3, "a name such as U3"),
    ("parts", "refdes,rotation\nR1,90", 1, "columns from refdes, type"),
    ("parts", "refdes,value,value\nR1,1,2", 1, ""),
    ("parts", "value\n10k", 1, "a header line: refdes"),
    ("parts", "", 1, "a header line: refdes"),
    ("parts", "\n\nvalue\n10k", 3, "a header line: refdes"),
    ("parts", "refdes,value\nR1,1,2", 2, "2 cells"),
    ("parts", 'refdes,value\nR1,"open', 2, "quotes in pairs"),
    ("parts", 'refdes,value\nR1,"a"b\nR2,', 2, "quotes in pairs"),
    ("parts", "refdes\nR1\x00", 2, "plain text"),
    ("nets", "net,refdes,pin\n,R1,1", 2, "a net's name"),
    ("nets", "net,refdes,pin\nA,R1,", 2, "one pin a row"),
    ("nets", "net,refdes,pin\nA,,1", 2, "one pin a row"),
    ("nets", "net,refdes,pin\nA,R1,1.2", 2, "without dots"),
    ("nets", "net,refdes\nA,R1", 1, "a header line: net,refdes,pin"),
    ("pads", f"{PAD}\nR1,1,0,0,-1,2", 2, "a number from 0 to 10000"),
    ("pads", f"{PAD}\nR1,1,0,0,1,", 2, "a number from 0 to 10000"),
    ("pads", f"{PAD},side\nR1,1,0,0,1,2,inner", 2, "top or bottom or both"),
    ("vias", f"{VIA}\n,A,0,0,1", 2, "V1"),
    ("vias", f"{VIA}\nU1.2,A,0,0,1", 2, "without dots"),
    ("tracks", f"{TRACK}\nA,,0,0,1,1,0.3", 2, "top or bottom"),
    ("tracks", f"{TRACK}\nA,top,0,0,1,1,-0.3", 2, "a number from 0"),
    ("areas", "net,layer,wkt\nA,top,CIRCLE", 2, "POLYGON"),
    ("areas", 'net,layer,wkt\nA,top,"POLYGON ((0 0, 1 1))"', 2, "POLYGON"),
    ("areas", "net,layer,wkt\nA,top,POLYGON EMPTY", 2, "POLYGON"),
    ("areas", 'net,layer,wkt\nA,top,"POLYGON ((0 0 1, 1 1 1, 0 1 1, 0 0 1))"', 2, "POLYGON"),
    ("areas", 'net,layer,wkt\nA,top,"POLYGON ((0 0, 1e9 0, 0 1, 0 0))"', 2, "POLYGON"),
    ("areas", f"net,layer,wkt\nA,top,{'GEOMETRYCOLLECTION(' * 20000}", 2, "POLYGON"),
]  # fmt: skip


@pytest.mark.parametrize(("table", "text", "line", "expected"), BAD_CELLS)
def test_bad_cell_names_file_line_and_expectation(table, text, line, expected):
    """Every wrong cell is one error with file, line and what was expected."""
    with pytest.raises(InputError) as caught:
        parse_board_folder(folder(**{table: text.encode()}))

    assert (caught.value.where, caught.value.line) == (f"board/{table}.csv", line)
    assert expected in caught.value.expected


@pytest.mark.parametrize("missing", sorted(FOLDER))
def test_missing_file(missing):
    """A folder without one of the three needed files is refused by that file's name."""
    with pytest.raises(InputError, match=f"no {re.escape(missing)}") as caught:
        parse_board_folder({name: data for name, data in FOLDER.items() if name != missing}, where="shop/b7")

    assert caught.value.where == "shop/b7"


def test_long_cells():
    """A copper area longer than the csv module's usual limit of 131,072 characters is read."""
    ring = ", ".join(f"{i / 1000:.3f} {i % 2}" for i in range(20_000))
    data = f'net,layer,wkt\nGND,top,"POLYGON ((0 -1, {ring}, 30 -1, 0 -1))"\n'.encode()

    assert len(parse_board_folder(folder(areas=data)).areas[0].wkt) > 150_000


@settings(max_examples=150)
@given(st.sampled_from(["toml", "parts", "nets", "pads", "vias", "tracks", "areas"]), st.data())
def test_hostile_files(table, data):
    """Any bytes in any file are read or refused by an InputError that names the file."""
    header = st.sampled_from(
        [b"", b"refdes,pin,x_mm,y_mm,hole_mm,size_mm\n", b"net,layer,wkt\nA,top,", b"net;refdes;pin\n"]
    )
    content = data.draw(header) + data.draw(st.binary(max_size=60) | st.text(max_size=40).map(str.encode))
    try:
        parse_board_folder(folder(**{table: content}))
    except InputError as error:
        assert error.where.startswith("board/")


def test_truncated_files():
    """Every beginning of every file is read or refused; none is a crash."""
    board = Board("B", 9, 9, parts=(Part("U1", notes='a "b",\nc'),), nets={"A": (PinRef("U1", "1"),)},
                  areas=(CopperArea("A", "top", "POLYGON ((0 0, 9 0, 0 9, 0 0))"),), rails=(Rail("A", 5.0),))  # fmt: skip
    whole = encoded(board)
    for name, data in whole.items():
        for end in range(len(data)):
            try:
                read = parse_board_folder({**whole, name: data[:end]})
            except InputError as error:
                assert name in str(error)
            else:
                assert read.name == "B"


BAD_TOML = [
    ('name = "B"\nwidth_mm = = 3', 2, "key = value"),
    ('name = 5\nwidth_mm=1\nheight_mm=1', 1, "text in quotes"),
    ("width_mm=1\nheight_mm=1", None, "text in quotes"),
    ('name=" "\nwidth_mm=1\nheight_mm=1', 1, "text in quotes"),
    ('name="B"\nheight_mm=1', None, "a number from 0.1"),
    ('name="B"\nwidth_mm=nan\nheight_mm=1', 2, "a number from 0.1"),
    ('name="B"\nwidth_mm=true\nheight_mm=1', 2, "a number from 0.1"),
    (f'name="B"\nwidth_mm={"9" * 400}\nheight_mm=1', 2, "a number from 0.1"),
    (f'name="B"\nwidth_mm={"9" * 5000}\nheight_mm=1', None, "key = value"),
    (f'name="B"\noutline={"[" * 50_000}', None, "key = value"),
    ('name="B"\nwidth=1', 2, "keys from name, revision"),
    ('name="B"\nwidth_mm=1\nheight_mm=1\noutline=[[0,0],[1,1]]', 4, "three or more corners"),
    ('name="B"\nwidth_mm=1\nheight_mm=1\noutline=[[0,0],[1,1],[2]]', 4, "three or more corners"),
    ('name="B"\nwidth_mm=1\nheight_mm=1\noutline="square"', 4, "three or more corners"),
    ('name="B"\nwidth_mm=1\nheight_mm=1\nrails=3', 4, "tables written [[rails]]"),
    ('name="B"\nwidth_mm=1\nheight_mm=1\nmatrix=3', 4, "a table written [matrix]"),
    ('name="B"\nwidth_mm=1\nheight_mm=1\n[[rails]]\nnet="A"\nvolts=5\n[[rails]]\nnet="B"\nvolts="five"', 9, "a number"),
    ('name="B"\nwidth_mm=1\nheight_mm=1\n[[rails]]\nvolts=5', 4, "text in quotes"),
    ('name="B"\nwidth_mm=1\nheight_mm=1\n[[rails]]\nnet="A"\nvolts=5\ntolerance=5', 7, "a number from 0 to 1"),
    ('name="B"\nwidth_mm=1\nheight_mm=1\n[[memory_map]]\nname="ROM"\nstart="F000"\nend=0xFFFF', 6, "an address"),
    ('name="B"\nwidth_mm=1\nheight_mm=1\n[[memory_map]]\nname="ROM"\nstart=8\nend=7', 7, "an address from 0x8"),
    ('name="B"\nwidth_mm=1\nheight_mm=1\n[[memory_map]]\nname="R"\nstart=0\nend=7\nparts="U1"', 8, "a list of names"),
    ('name="B"\nwidth_mm=1\nheight_mm=1\n[matrix]\nstrobes=["A", ""]', 5, "a list of names"),
    ('name="B"\nwidth_mm=1\nheight_mm=1\n[matrix]\nrows=[]', 5, "keys from strobes"),
    ('name="B"\nwidth_mm=1\nheight_mm=1\n[matrix]\n[[matrix.positions]]\nstrobe="A"\nreturn="B"', 5, "text in quotes"),
    ('name="B"\nwidth_mm=1\nheight_mm=1\n[[connectors]]\nrefdes="J1"\nkind="power"', 6, "one of supply, switch"),
    ('name="B"\nwidth_mm=1\nheight_mm=1\n[[connectors]]\nrefdes="J1"\nsignals={1=2}', 6, "pins and their names"),
    ('name="B"\nwidth_mm=1\nheight_mm=1\nclocks=[{net="A"}]', None, "a number"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "line", "expected"), BAD_TOML)
def test_bad_toml(text, line, expected):
    """Every wrong value in board.toml is named with its line, where TOML lets one be found."""
    with pytest.raises(InputError) as caught:
        parse_board_folder(folder(toml=text.encode()))

    assert (caught.value.where, caught.value.line) == ("board/board.toml", line)
    assert expected in caught.value.expected


def test_board_toml_as_documented():
    """The example of the documentation is read, and means what the page says."""
    page = (Path(__file__).parents[2] / "docs" / "board-folder.md").read_text("utf-8")
    example = re.search(r"```toml\n(.*?)```", page, re.DOTALL)[1]

    board = parse_board_folder(folder(toml=example.encode()))

    assert board.rails[0] == Rail("+5V", 5.0, 0.05)
    assert board.memory_map[-1].start == 0xE000 and board.memory_map[-1].parts == ("U8", "U9")
    assert board.matrix.positions[0].diode and board.connectors[0].signals["1"] == "+5V"


def test_size_from_the_outline():
    """Width and height may be left out where an outline gives them; its repeated corner is dropped."""
    toml = b'name="B"\noutline=[[0,0],[90,0],[90,60],[0,60],[0,0]]\nx_drawer="7"\n'

    board = parse_board_folder(folder(toml=toml))

    assert (board.width_mm, board.height_mm, len(board.outline)) == (90, 60, 4)
