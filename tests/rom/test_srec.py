"""S-records: published records, S0 to S9, and every way in which a line can be wrong."""

import pytest

from coppermend.errors import InputError
from coppermend.rom.image import RomImage, Segment
from coppermend.rom.srec import format_srec, parse_srec


def test_published_record():
    """The published S1 record gives its bytes at 7AF0 (encyclopaedia article on the format)."""
    image = parse_srec("S1137AF00A0A0D0000000000000000000000000061\nS9030000FC\n")

    assert image.segments == (Segment(0x7AF0, bytes.fromhex("0A0A0D") + bytes(13)),)
    assert image.execution_start == 0


@pytest.mark.parametrize("line", ["S5030001FB", "S105FFFEF80005", "S00600004844521B", "S9030000FC"])
def test_published_checksums(line):
    """The checksums of published records hold; one digit changed, they do not."""
    bad = line[:-1] + ("0" if line[-1] != "0" else "1")
    data = "S1040000" + "00FB\n" if line.startswith("S5") else ""

    assert parse_srec(data + line).defects == ()
    with pytest.raises(InputError, match="checksum"):
        parse_srec(data + bad)


def test_header_is_kept():
    """The S0 header's text comes back."""
    assert parse_srec("S00600004844521B\nS9030000FC").header == b"HDR"


@pytest.mark.parametrize(
    ("start", "data", "end"), [(0xFFF0, "S1", "S9"), (0xFFFFF0, "S2", "S8"), (0xFFFFFFF0, "S3", "S7")]
)
def test_fewest_address_bytes(start, data, end):
    """The writer takes S1, S2 or S3 by the highest address, with the start record that goes with it."""
    text = format_srec(RomImage.of(b"x" * 16, start))

    assert [line[:2] for line in text.splitlines()] == ["S0", data, "S5", end]
    assert parse_srec(text).segments == (Segment(start, b"x" * 16),)


def test_wider_addresses_on_request():
    """Three address bytes can be asked for where two would do; the content is the same."""
    image = RomImage.of(b"abc", 0x10)

    assert parse_srec(format_srec(image, address_bytes=3)).segments == image.segments


def test_long_count_is_s6():
    """More than 65,535 data records are counted by S6."""
    image = RomImage.of(bytes(65537))
    text = format_srec(image, record_bytes=1)

    assert "S604010001" in text
    assert parse_srec(text).segments == image.segments


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("S1040000FFFD\n", 1, "checksum FD"),
        ("S1040000FFF\n", 1, "no pairs"),
        ("S1 040000FFFC\n", 1, "no pairs"),
        ("S1060000FF\n", 1, "the record says 6"),
        ("S10200\n", 1, "cut short"),
        ("\nX1040000FFFC\n", 2, "line starts with 'X1'"),
        ("S4030000FC\n", 1, "reserved"),
        ("S5030002FA\n", 1, "counts 2 data records, 0 are there"),
        ("S90400000AF1\n", 1, "with data"),
        ("S9030000FC\nS9030000FC\n", 2, "after the start record"),
        ("S1040000FFFC\nS1040000FEFD\n", 2, "already given in line 1"),
        ("S105FFFF0102F9\n", 1, "beyond the reach"),
        ("\n", 1, "no S-record"),
    ],
)
def test_strict_names_the_line(text, line, words):
    """Each kind of wrong line ends strict reading with its number and what is wrong."""
    with pytest.raises(InputError) as caught:
        parse_srec(text, "u2.s19")

    assert (caught.value.where, caught.value.line) == ("u2.s19", line)
    assert words in caught.value.found


def test_tolerant_reads_on_and_lists():
    """Tolerantly, wrong records are listed and what they hold is read as far as it goes."""
    image = parse_srec("S1040000FFFD\nS1070010AABB\nS105FFFF0102F9\nS9030000FC\n", tolerant=True)

    assert [(s.start, s.data) for s in image.segments] == [
        (0, b"\xff"),
        (0x10, b"\xaa\xbb"),
        (0xFFFF, b"\x01"),
    ]
    assert [defect.line for defect in image.defects] == [1, 2, 3]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"record_bytes": 0}, "1 to 250"),
        ({"address_bytes": 5}, "2, 3, 4"),
        ({"address_bytes": 2}, "at most 2"),
    ],
)
def test_writer_refuses(options, words):
    """Lengths out of range, and addresses that do not fit, are refused in words."""
    with pytest.raises(InputError, match=words):
        format_srec(RomImage.of(b"x", 0x10000), **options)
