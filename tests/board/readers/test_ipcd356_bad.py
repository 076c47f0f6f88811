"""IPC-D-356 files that are cut, mistyped or hostile: one clear error, or read with a note; never a hang."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.board.readers.ipcd356 import Ipc356, parse_ipcd356
from coppermend.board.readers.text import decode_text
from coppermend.errors import InputError

from .ipcd356_samples import HEADER, SAMPLE, counted_in_bytes, record, whole


def error_of(text: str) -> InputError:
    with pytest.raises(InputError) as caught:
        parse_ipcd356(text, "board.d356")
    return caught.value


def read_or_refuse(text: str) -> Ipc356 | InputError:
    """The two allowed outcomes; the error must say where it came from."""
    try:
        return parse_ipcd356(text, "board.d356")
    except InputError as error:
        assert str(error).startswith("board.d356:")
        assert error.line is None or 1 <= error.line <= len(text) + 1
        return error


@pytest.mark.parametrize("text", ["", "\n", " \r\n", "999\n", HEADER, HEADER + "999\n", "C  nothing\n"])
def test_file_without_a_record(text):
    """An empty file, or one that describes no board, is refused as a whole."""
    error = error_of(text)

    assert (error.found, error.line, error.where) == ("no record of a board", None, "board.d356")


@pytest.mark.parametrize(
    ("changed", "expected"),
    [
        ({"net": "FIFTEEN_LETTERS"}, "blanks in columns 18-20"),
        ({"refdes": "IC10000"}, "a hyphen or a blank in columns 27-27"),
        ({"midpoint": "m"}, "M or a blank in columns 32-32"),
        ({"hole": "D03.2"}, "D and 4 digits, or blanks in columns 33-37"),
        ({"hole": "D3 20"}, "D and 4 digits, or blanks in columns 33-37"),
        ({"plated": "X"}, "P, U or a blank in columns 38-38"),
        ({"access": "A-1"}, "A and 2 digits, or blanks in columns 39-41"),
        ({"x": "X+01O000"}, "X, sign and 6 digits in columns 42-49"),
        ({"x": "X       "}, "X, sign and 6 digits in columns 42-49"),
        ({"y": "Y+-12345"}, "Y, sign and 6 digits in columns 50-57"),
        ({"y": "Y12 3456"}, "Y, sign and 6 digits in columns 50-57"),
        ({"y": "Y١٢٣٤٥٦٧"}, "Y, sign and 6 digits in columns 50-57"),
        ({"size_x": "X06_0"}, "X and 4 digits, or blanks in columns 58-62"),
        ({"size_y": "Z0000"}, "Y and 4 digits, or blanks in columns 63-67"),
        ({"rotation": "R9x0"}, "R and 3 digits, or blanks in columns 68-71"),
        ({"soldermask": " S4"}, "S and a digit 0 to 3, or blanks in columns 72-74"),
        ({"soldermask": " S"}, "S and a digit 0 to 3, or blanks in columns 72-74"),
    ],
)
def test_mistyped_field_is_named(changed, expected):
    """A field that cannot be read is named with its columns, and the line with its number."""
    error = error_of(whole(record(), record(**changed)))

    assert (error.line, error.expected) == (4, expected)


@pytest.mark.parametrize("name", ["µP_CLK", "日本"])
def test_mistyped_field_behind_a_name_beyond_ascii(name):
    """A bad digit is also found where the name's bytes and characters differ in number."""
    by_characters = record(net=name, x="X+01O000")
    by_bytes = counted_in_bytes(net=name, x="X+12 345")

    assert error_of(whole(by_characters)).line == 3
    assert error_of(whole(by_bytes)).line == 3


FIELD_ENDS = {57, 62, 67, 71, 72, 74}


@pytest.mark.parametrize("end", sorted(set(range(3, 74)) - FIELD_ENDS))
def test_line_cut_within_a_field(end):
    """A line cut anywhere but between its last fields is refused, wherever it stands in the file."""
    error = error_of(whole(record(), record(size_y="Y0500", rotation="R090")[:end], record()))

    assert error.line == 4


def test_cut_says_the_column():
    """The error tells at which column the line ends."""
    error = error_of(whole(record()[:46]))

    assert error.found == "317 record is cut at column 46"


@pytest.mark.parametrize("length", range(len(SAMPLE)))
def test_file_cut_at_any_character(length):
    """What is read of a cut file is a beginning of the whole, and a note tells of the missing end."""
    full, part = parse_ipcd356(SAMPLE, "a"), read_or_refuse(SAMPLE[:length])

    if isinstance(part, Ipc356):
        assert part.notes == (
            () if "999" in SAMPLE[:length] else ("no 999 end record: file may be cut short",)
        )
        assert part.records == full.records[: len(part.records)]
        for mine, whole_path in zip(part.conductors, full.conductors, strict=False):
            assert mine.points == whole_path.points[: len(mine.points)]
        for mine, all_nets in zip(part.adjacency, full.adjacency, strict=False):
            assert mine.others == all_nets.others[: len(mine.others)]


def test_last_line_cut_between_fields():
    """Without an end record, a last record with fewer fields than its like above is a cut line."""
    error = error_of(HEADER + record() + "\n" + record(pin="41")[:57])

    assert (error.found, error.line) == ("the last line is cut", 4)


@pytest.mark.parametrize("line", ["378RESET          L01 X0120 X+0Y+0 X+12", "379A B", "P  JOB  A"])
def test_last_line_without_end_of_any_kind(line):
    """A free-format last line with neither line end nor end record may be cut, and is refused."""
    error = error_of(HEADER + record() + "\n" + line)

    assert (error.found, error.line) == ("the last line is cut", 4)


def test_whole_records_without_an_end_record_are_read():
    """A missing 999 alone is only noted."""
    result = parse_ipcd356(HEADER + record() + "\n" + record(pin="41"), "board.d356")

    assert len(result.records) == 2
    assert result.notes == ("no 999 end record: file may be cut short",)


@pytest.mark.parametrize(
    ("lines", "found", "line"),
    [
        (["378RESET          X0120 X+0Y+0"], "378 record 'RESET          X0120 X+0Y+0' cannot be read", 3),
        (
            ["378RESET          L1x X0120 X+0Y+0"],
            "378 record 'RESET          L1x X0120 X+0Y+0' cannot be read",
            3,
        ),
        (
            ["378RESET          L   X0120 X+0Y+0"],
            "378 record 'RESET          L   X0120 X+0Y+0' cannot be read",
            3,
        ),
        (["378RESET          L01 X0120 X+0Y+0 Q"], "'Q' in a chain of coordinates", 3),
        (["378RESET          L01 X0120 X+12345678Y+0"], "'X+12345678Y+0' in a chain of coordinates", 3),
        (["378RESET          L01 X0120 X+0 Y+0"], "a chain that starts with one coordinate", 3),
        (["378RESET          L01 X0120 Y+0"], "a chain that starts with one coordinate", 3),
        (["378RESET          L01 X0120 * *"], "a chain without coordinates", 3),
        (["389BOARD EDGE        X+0Y+0"], "389 record 'BOARD EDGE'", 3),
        (["389SCORE_LINE"], "a chain without coordinates", 3),
        (["379"], "379 record names no neighbour", 3),
        (["379RESET"], "379 record names no neighbour", 3),
        (["P  UNITS CUST 7"], "UNITS 'CUST 7'", 3),
        (["P  UNITS"], "UNITS ''", 3),
        (["P  UNITS CUST 1"], "UNITS change to 'CUST 1'", 3),
        (["P  NNAME1"], "NNAME1 without a net name", 3),
        (["P  NNAME1 A", "P  NNAME1 B"], "NNAME1 is 'B', but 'A' above", 4),
        (["017"], "'017' continues 'P '", 3),
        ([record(), "027"], "'027' continues '317'", 4),
        (["hello"], "'hello' starts no record", 3),
        (["PARTS"], "'PARTS' starts no record", 3),
        (["CLK  VIA"], "'CLK VIA' starts no record", 3),
        (["917 GND"], "'917 GND' starts no record", 3),
    ],
)
def test_one_clear_error(lines, found, line):
    """Each mistake has its own words and its line."""
    error = error_of(whole(*lines))

    assert (" ".join(error.found.split()), error.line) == (" ".join(found.split()), line)


@pytest.mark.parametrize("line", [record(), "378A              L01 X0120 X+0Y+0", "389BOARD_EDGE X+0Y+0"])
def test_coordinates_before_units(line):
    """Coordinates whose units are not known yet are refused, since a guess would scale the board."""
    error = error_of(whole(line, header=""))

    assert (error.found, error.line) == ("coordinates before their units", 1)


def test_continuation_at_the_start():
    """A continuation needs something to continue."""
    error = error_of("017\n")

    assert (error.found, error.line) == ("'017' continues 'nothing'", 1)


LINES = st.sampled_from(SAMPLE.splitlines())
NOISE = st.text(st.characters(blacklist_categories=()), max_size=12)


@st.composite
def mutated_lines(draw) -> str:
    """The sample with pieces of some lines cut out, put twice, or replaced by noise."""
    lines = draw(st.lists(LINES, min_size=1, max_size=12))
    at = draw(st.integers(0, len(lines) - 1))
    start, end = sorted(draw(st.tuples(st.integers(0, 80), st.integers(0, 80))))
    lines[at] = lines[at][:start] + draw(NOISE) + lines[at][end:]
    return draw(st.sampled_from(["", HEADER])) + draw(st.sampled_from(["\n", "\r\n", "\r"])).join(lines)


@given(mutated_lines())
@settings(max_examples=300)
def test_mutated_files(text):
    """Changed lines are read or refused, nothing else."""
    read_or_refuse(text)


@given(st.text(st.sampled_from("XY+-0123456789* RS\nDAPULMC379"), max_size=300))
@settings(max_examples=200)
def test_noise_in_the_format_s_own_letters(text):
    """Noise that looks like the format is read or refused."""
    read_or_refuse(HEADER + "378A              L01 X0120 " + text)


@given(st.binary(max_size=300))
@settings(max_examples=200)
def test_noise(data):
    """Random bytes are refused: as no text, or as no record."""
    with pytest.raises(InputError):
        parse_ipcd356(decode_text(data, "board.d356"), "board.d356")


@pytest.mark.parametrize(
    "text",
    [
        HEADER + "317" + " " * 1_000_000,
        HEADER + "378A              L01 X0120 " + "X1Y1 " * 200_000 + "Q",
        HEADER + "378A              L01 X0120 X1Y1\n" + "078 X1Y1\n" * 50_000 + "999",
        HEADER + "389BOARD_EDGE " + " " * 500_000 + "Q",
        HEADER + "378A              L01 X" + "1" * 500_000,
        HEADER + "P  NNAME1 " + " " * 500_000 + "\n" + "P" + "\t" * 500_000,
        HEADER + record() + "\n" + "017\n" * 50_000,
        "C" * 1_000_000,
        "999\n" * 100_000,
    ],
    ids=range(9),
)
@pytest.mark.usefixtures("no_hang")
def test_hostile_size_is_no_hang(text):
    """Long lines and long chains take time in proportion."""
    read_or_refuse(text)
