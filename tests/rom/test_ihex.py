"""Intel HEX: published records, all types, and every way in which a line can be wrong."""

import pytest

from coppermend.errors import InputError
from coppermend.rom.ihex import format_intel_hex, parse_intel_hex
from coppermend.rom.image import RomImage, Segment

END = ":00000001FF\n"
# Published examples (encyclopaedia article on the format, and its 1988 specification), checked with intelhex.
PUBLISHED = ":10010000214601360121470136007EFE09D2190140\n"


def test_published_record():
    """The published data record gives its 16 bytes at 0100."""
    image = parse_intel_hex(PUBLISHED + END)

    assert image.segments == (Segment(0x100, bytes.fromhex("214601360121470136007EFE09D21901")),)


def test_published_record_is_written_the_same():
    """Writing what was read gives the published text back."""
    assert format_intel_hex(parse_intel_hex(PUBLISHED + END)) == PUBLISHED + END


def test_published_record_at_7af0():
    """The record at 7AF0 that ends in zeros, checksum 65, is sound."""
    image = parse_intel_hex(":107AF0000A0A0D0000000000000000000000000065\n" + END)

    assert image.dense()[:4] == b"\n\n\r\0"


def test_linear_address_record():
    """A type 04 record moves what follows to the upper 16 bits it names."""
    image = parse_intel_hex(":020000040001F9\n:0100100042AD\n" + END)

    assert image.segments == (Segment(0x10010, b"\x42"),)


def test_segment_wraps_within_its_64_kib():
    """In a type 02 segment an offset that overflows wraps to the segment's start (1988 specification)."""
    image = parse_intel_hex(":020000021000EC\n:02FFFF00AABB9B\n" + END)

    assert image.segments == (Segment(0x10000, b"\xbb"), Segment(0x1FFFF, b"\xaa"))


def test_linear_runs_on_over_64_kib():
    """Under a type 04 address an offset that overflows runs on into the next 64 KiB (1988 specification)."""
    image = parse_intel_hex(":020000040001F9\n:02FFFF00AABB9A\n" + END, tolerant=True)

    assert image.segments == (Segment(0x1FFFF, b"\xaa\xbb"),)


@pytest.mark.parametrize(("extended", "kind"), [("linear", "05"), ("segment", "03")])
def test_start_address_survives(extended, kind):
    """The start address is written as type 05 or 03 and read back the same."""
    text = format_intel_hex(RomImage.of(b"x" * 40, 0xF0000), extended=extended)
    with_start = format_intel_hex(RomImage((Segment(0xF0000, b"x"),), 0xF1234), extended=extended)

    assert parse_intel_hex(with_start).execution_start == 0xF1234
    assert f":040000{kind}" in with_start
    assert f":040000{kind}" not in text


@pytest.mark.parametrize("extended", ["linear", "segment"])
def test_runs_across_64_kib_survive(extended):
    """Bytes on both sides of a 64 KiB boundary come back, whichever extension is used."""
    image = RomImage.of(bytes(range(100)), 0x2FFD0)

    assert (
        parse_intel_hex(format_intel_hex(image, extended=extended, record_bytes=7)).segments == image.segments
    )


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        (":0100000041BF\n" + END, 1, "checksum BF"),
        (":0100000041B\n" + END, 1, "no pairs"),
        (":01000000 41BE\n" + END, 1, "no pairs"),
        ("\n:02000000AABB\n" + END, 2, "the record says 2"),
        (":00\n" + END, 1, "cut short"),
        ("S9030000FC\n" + END, 1, "line starts with 'S'"),
        (":0000000AF6\n" + END, 1, "record type 0A"),
        (":0100000401FA\n" + END, 1, "with 1 bytes"),
        (":0100000041BE\n", 2, "without an end record"),
        (END + END, 2, "after the end record"),
        (":0100000041BE\n:0100000042BD\n" + END, 2, "already given in line 1"),
        (":0400000500000000F7\n:0400000500000001F6\n" + END, 2, "second start"),
    ],
)
def test_strict_names_the_line(text, line, words):
    """Each kind of wrong line ends strict reading with its number and what is wrong."""
    with pytest.raises(InputError) as caught:
        parse_intel_hex(text, "u2.hex")

    assert (caught.value.where, caught.value.line) == ("u2.hex", line)
    assert words in caught.value.found


def test_tolerant_reads_on_and_lists():
    """Tolerantly, a wrong checksum, a cut line and a missing end are listed and the rest is read."""
    image = parse_intel_hex(":0100000041BF\n:04001000AABB\n:01002000439C\n", tolerant=True)

    assert [(s.start, s.data) for s in image.segments] == [(0, b"A"), (0x10, b"\xaa\xbb"), (0x20, b"C")]
    assert [defect.line for defect in image.defects] == [1, 2, 4]


def test_tolerant_overlap_takes_the_later_line():
    """Where two lines give one byte, the later counts, and both lines are named."""
    image = parse_intel_hex(":020000004142" + "7B\n:0100010058A6\n" + END, tolerant=True)

    assert image.segments == (Segment(0, b"AX"),)
    assert (image.defects[0].line, "line 1" in image.defects[0].found) == (2, True)


def test_address_beyond_reach_is_refused():
    """Type 02 cannot reach beyond 1 MiB, and says so."""
    with pytest.raises(InputError, match="below 0x100000"):
        format_intel_hex(RomImage.of(b"x", 0x100000), extended="segment")


@pytest.mark.parametrize("size", [0, 256])
def test_record_length_out_of_range(size):
    """A record holds 1 to 255 bytes."""
    with pytest.raises(InputError, match="1 to 255"):
        format_intel_hex(RomImage.of(b"x"), record_bytes=size)
