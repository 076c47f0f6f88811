"""The door to all formats: it knows them by their look, and nothing hostile gets past it unnoticed."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.errors import InputError
from coppermend.rom import formats
from coppermend.rom.formats import (
    EXTENSIONS,
    FORMATS,
    check_format,
    format_image,
    format_of_name,
    parse_image,
    sniff_format,
)  # fmt: skip
from coppermend.rom.image import RomImage, Segment, assemble_sparse

from .rom_samples import odd_image


@pytest.mark.parametrize("name", FORMATS)
def test_formats_are_told_apart(name):
    """What is written in a format is recognised as that format."""
    data = format_image(RomImage.of(bytes(range(200)), 0x1000), name)

    assert sniff_format(data) == name


@pytest.mark.parametrize("name", [name for name in FORMATS if name != "binary"])
def test_random_images_survive(name):
    """Sixty odd images come back byte for byte through each text format."""
    images = [odd_image(seed) for seed in range(60)]

    again = [parse_image(format_image(image, name)) for image in images]

    assert [image.segments for image in again] == [image.segments for image in images]


@pytest.mark.parametrize("name", FORMATS)
def test_names_ask_for_formats(name):
    """A format's usual extension asks for it."""
    assert format_of_name(f"board.u2{EXTENSIONS[name]}") == name
    assert check_format(name) == name


def test_unknown_format():
    """An unknown format is refused with those there are."""
    with pytest.raises(InputError, match="binary, ihex"):
        check_format("word")


def test_binary_has_a_start():
    """A binary file's bytes start where the caller says."""
    assert parse_image(b"\x00\x01", start=0xF000).segments == (Segment(0xF000, b"\x00\x01"),)


def test_empty_file():
    """An empty file is no image."""
    with pytest.raises(InputError, match="an empty file") as caught:
        parse_image(b"", "u2.bin")

    assert caught.value.where == "u2.bin"


def test_four_gib_span_is_no_binary():
    """Two bytes 4 GiB apart can be read, but not laid out in one run: refused at once."""
    image = RomImage((Segment(0, b"a"), Segment(0xFFFFFFFF, b"b")))

    assert image.byte_count == 2
    assert image.gaps() == ((1, 0xFFFFFFFE),)
    with pytest.raises(InputError, match="span 4,294,967,296 bytes"):
        format_image(image, "binary")


@pytest.mark.parametrize("limit", ["LARGEST_FILE_BYTES", "LARGEST_IMAGE_BYTES"])
def test_huge_files_are_refused(monkeypatch, limit):
    """A file beyond the limit is refused with its size."""
    monkeypatch.setattr(formats, limit, 10)

    with pytest.raises(InputError, match="11 bytes"):
        parse_image(b"\xff" * 11)


def test_too_much_data_in_records():
    """Records that hold more than 16 MiB in all are refused: a repeat mark can hold that in a few bytes."""
    text = "00000000: 00\n*\n00ffffff: 00\n02000000: 00\n*\n02ffffff: 00\n"

    with pytest.raises(InputError, match="at most 16,777,216"):
        parse_image(text.encode())


def test_bytes_outside_a_window():
    """Bytes outside the asked window are refused, not dropped."""
    with pytest.raises(InputError, match="0x2000 to 0x2fff"):
        RomImage.of(b"ab", 0x1FFF).dense(0x2000, 0x1000)


def test_segments_join_and_empty_image():
    """Touching segments become one; an empty image has no addresses."""
    assert assemble_sparse([Segment(2, b"b"), Segment(1, b"a")]) == (Segment(1, b"ab"),)
    assert (RomImage().low, RomImage().end, RomImage().dense()) == (0, 0, b"")


def _spoilt(name, seed, at, patch):
    data = format_image(odd_image(seed), name)
    return data[:at] + patch + data[at + 1 :]


@settings(max_examples=150)
@given(
    st.one_of(
        st.binary(max_size=300),
        st.text(":S0123456789ABCDEFq@* |#\n\r\tx", max_size=300).map(str.encode),
        st.tuples(
            st.sampled_from(FORMATS[1:]), st.integers(0, 50), st.integers(0, 400), st.binary(max_size=4)
        ).map(lambda drawn: _spoilt(*drawn)),
    ),
    st.sampled_from([None, *FORMATS]),
    st.booleans(),
)
def test_any_bytes_give_an_image_or_one_error(data, name, tolerant):
    """Any bytes, read as any format, give an image or one InputError that names the file."""
    try:
        image = parse_image(data, "hostile", format=name, tolerant=tolerant)
    except InputError as error:
        assert error.where == "hostile"
    else:
        assert all(0 <= segment.start < segment.end <= 1 << 32 for segment in image.segments)


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        (b"\x89PNG\r\n\x1a\n....", "a PNG picture"), (b"PK\x03\x04" + bytes(99), "a zip archive"),
        (b"<!DOCTYPE HTML><p>", "a web page"), (":00000001FF\n".encode("utf-16"), "UTF-16 text"),
    ],
)  # fmt: skip
def test_files_that_are_surely_no_image_are_refused(data, kind):
    """A picture or an archive is told as such, unless it is said to be binary."""
    with pytest.raises(InputError, match=f"is {kind}") as caught:
        parse_image(data, "photo")

    assert caught.value.where == "photo"
    assert parse_image(data, "photo", format="binary").byte_count == len(data)


@pytest.mark.parametrize("name", ["u3.hex", "u3.s19", "u3.txt", "u3.HEX"])
def test_a_name_that_promises_text_is_held_to_it(name):
    """A file called .hex whose first line is damaged is an error with its line, not raw bytes."""
    with pytest.raises(InputError) as caught:
        parse_image(b"#10F0000078D8\n:00000001FF\n", name)

    assert (caught.value.where, caught.value.line) == (name, 1)
    assert parse_image(b"#10F0000078D8\n", "u3.bin").byte_count == 14
