"""TI-TXT and hex dumps: their layouts, and every way in which a line can be wrong."""

import pytest

from coppermend.errors import InputError
from coppermend.rom.dumptext import format_hex_dump, format_ti_txt, parse_hex_dump, parse_ti_txt
from coppermend.rom.image import RomImage, Segment


def test_ti_txt_layout():
    """Two segments are read and written as the maker describes the format: @address, bytes, q."""
    text = "@F000\n31 40 00 03 B2 40\n@FFFE\n00 F0\nq\n"
    image = parse_ti_txt(text)

    assert image.segments == (Segment(0xF000, bytes.fromhex("31400003B240")), Segment(0xFFFE, b"\x00\xf0"))
    assert format_ti_txt(image) == text


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("31 40\nq\n", 1, "unknown address"),
        ("@xyz\nq\n", 1, "address 'xyz'"),
        ("@0\n31 4\nq\n", 2, "'4' is no byte"),
        ("@0\n31\n", 3, "without q"),
        ("@0\n31\nq\n@1\n", 4, "after q"),
        ("@FFFFFFFF\n31 32\nq\n", 2, "beyond address"),
        ("@0\n31\n@0\n32\nq\n", 4, "already given in line 2"),
    ],
)
def test_ti_txt_strict_names_the_line(text, line, words):
    """Each kind of wrong line ends strict reading with its number and what is wrong."""
    with pytest.raises(InputError) as caught:
        parse_ti_txt(text, "u2.txt")

    assert (caught.value.where, caught.value.line) == ("u2.txt", line)
    assert words in caught.value.found


def test_ti_txt_tolerant():
    """Tolerantly, the readable bytes are kept and each defect is listed."""
    image = parse_ti_txt("aa\n@10\n31 3x 33\n@FFFFFFFF\n41 42\n", tolerant=True)

    assert [(s.start, s.data) for s in image.segments] == [(0x10, b"1"), (0xFFFFFFFF, b"A")]
    assert [defect.line for defect in image.defects] == [1, 3, 5, 6]


@pytest.mark.parametrize(
    "text",
    [
        "0010: 4C 00 F0\n",
        "00000010  4c 00 f0                                          |L..|\n",
        "00000010: 4c00 f0                                  L..\n",
        "00000010: 4C 00 F0                                         #L..\n",
        "$0010 4C 00 F0\n",
        "0x10: 4C-00-F0\n",
    ],
)
def test_hex_dump_layouts(text):
    """Layouts of the common dump programs give the same bytes."""
    assert parse_hex_dump(text).segments == (Segment(0x10, b"\x4c\x00\xf0"),)


def test_hex_dump_repeats():
    """A star repeats the line before it up to the next address, as dump programs squeeze equal lines."""
    row = "ff " * 8 + " " + "ff " * 8
    text = f"00000000  {row} |................|\n*\n00000100\n"

    assert parse_hex_dump(text).dense() == b"\xff" * 256


def test_hex_dump_round_trip_with_gap():
    """Our own dump keeps odd starts and gaps."""
    image = RomImage((Segment(5, b"abc"), Segment(0x1A, bytes(range(40)))))

    assert parse_hex_dump(format_hex_dump(image)).segments == image.segments


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("nothing here\n", 1, "no line of a hex dump"),
        ("1FFFFFFFF: 00\n", 1, "no line of a hex dump"),
        ("0000: 4C 0\n", 1, "'0' is no byte"),
        ("00000000  4c 0                                              |L |\n", 1, "'0' is no byte"),
        ("*\n0010: 00\n", 1, "repeats nothing"),
        ("0000: 00\n*\n", 2, "without an address"),
        ("\n", 1, "no bytes"),
        ("0000: 00 01\n0001: 02\n", 2, "already given in line 1"),
        ("FFFFFFFF: 00 01\n", 1, "beyond address"),
    ],
)
def test_hex_dump_strict_names_the_line(text, line, words):
    """Each kind of wrong line ends strict reading with its number and what is wrong."""
    with pytest.raises(InputError) as caught:
        parse_hex_dump(text, "u2.dump")

    assert (caught.value.where, caught.value.line) == ("u2.dump", line)
    assert words in caught.value.found
