"""Images merged and split, and what is needed at the programmer."""

import random

import pytest

from coppermend.errors import InputError
from coppermend.rom.burning import BurnItem, burn_list, check_read_back, label_lines
from coppermend.rom.devices import get_device
from coppermend.rom.merge import Piece, merge, split

U2, U3 = random.Random(2).randbytes(4096), random.Random(3).randbytes(4090) + bytes.fromhex("00F000F000F0")
PIECES = (Piece("U3", 0xF000, U3), Piece("U2", 0xE000, U2))


def test_two_images_in_one_device():
    """Two 4 KiB images side by side fill a 2764 in the order of their addresses."""
    found = merge(PIECES, 8192, family="6502")

    assert found.data == U2 + U3
    assert (found.base, found.gaps, found.lines[12]) == (0xE000, (), "A12 of the CPU")
    assert [v.inside for v in found.vectors] == [True] * 3 and found.notes == ()


@pytest.mark.parametrize(("repeat", "data"), [(True, (U2 + U3) * 4), (False, U2 + U3 + b"\xff" * 24576)])
def test_a_larger_device(repeat, data):
    """A larger device holds the image repeatedly, or once with fill; its upper lines are said to be tied."""
    found = merge(PIECES, 32768, repeat=repeat)

    assert found.data == data and found.lines[13].startswith("tie low")


def test_gaps_are_filled_and_told():
    """What no image covers holds the fill value and is listed."""
    found = merge([Piece("a", 0xE010, b"A" * 16), Piece("b", 0xE030, b"B" * 8)], 64, fill=0x55)

    assert found.gaps == ((0, 16), (32, 16), (56, 8)) and found.data[:16] == b"\x55" * 16
    assert found.to_json()["pieces"][1]["offset"] == 0x30


def test_split_is_the_inverse():
    """What was merged comes apart again."""
    merged = merge(PIECES, 8192).data

    pieces = split(merged, 0xE000, [("U2", 0xE000, 4096), ("U3", 0xF000, 4096)])

    assert [(p.name, p.data) for p in pieces] == [("U2", U2), ("U3", U3)]


@pytest.mark.parametrize(
    ("pieces", "size", "words"),
    [
        ([], 8192, "no image"),
        (PIECES, 5000, "power of two"),
        (PIECES, 4096, "window of 8,192"),
        ([Piece("a", 0xFFF0, bytes(17))], 8192, "within 0000 to FFFF"),
        ([Piece("a", 0, b"")], 8192, "within 0000 to FFFF"),
        (
            [Piece("a", 0, bytes(10)), Piece("b", 9, bytes(10))],
            8192,
            "a (0000 to 0009) and b (0009 to 0012) overlap",
        ),
    ],
)
def test_what_cannot_be_merged(pieces, size, words):
    """No image, no device size, no room, beyond FFFF, overlap: each refused in words."""
    with pytest.raises(InputError) as caught:
        merge(pieces, size)

    assert words in str(caught.value)


@pytest.mark.parametrize(
    ("data", "family", "words"),
    [(bytes(4090) + bytes.fromhex("3412") * 3, "6502", "points to 1234"), (bytes(4096), None, None)],
)
def test_vectors_are_checked(data, family, words):
    """A vector that points outside is noted; without a family nothing is claimed."""
    notes = merge([Piece("a", 0xF800, data[-2048:])], 2048, family=family).notes

    assert any(words in note for note in notes) if words else notes == ()


def test_missing_vectors_are_noted():
    """Images that do not reach FFFF hold no 6502 vectors: another device must answer there."""
    assert "another device" in merge([Piece("a", 0xE000, bytes(16))], 16, family="6502").notes[0]


@pytest.mark.parametrize("wanted", [[], [("a", 0xDFFF, 4)], [("a", 0xE000, 9999)], [("a", 0xE000, 0)]])
def test_what_cannot_be_split(wanted):
    """Nothing, or bytes outside, cannot be taken out."""
    with pytest.raises(InputError):
        split(bytes(8192), 0xE000, wanted)


def _item(refdes="U3", data=U2):
    return BurnItem(refdes, get_device("2732"), "program with a long name", "C", 0xF000, 0xFFFF, data)


def test_label_text():
    """A label gives place, device, name, addresses and the sum by its name, within 22 characters a line."""
    lines = label_lines(_item())

    assert lines[0] == "U3 2732" and lines[2] == "F000-FFFF" and lines[3].startswith("sum16 ")
    assert max(map(len, lines)) <= 22


def test_burn_list_is_by_place():
    """The burn list runs by refdes with sums and voltage; two images for one place are refused."""
    rows = burn_list([_item("U3"), _item("U2", U3)])

    assert [(row["refdes"], row["program_v"]) for row in rows] == [("U2", 25.0), ("U3", 25.0)]
    with pytest.raises(InputError, match="two images for U2"):
        burn_list([_item("U2"), _item("U2")])


def test_an_image_must_fill_its_device():
    """An image of another size than the device is refused."""
    with pytest.raises(InputError, match="all of a 2732"):
        _item(data=b"short")


@pytest.mark.parametrize(
    ("wanted", "read", "verified", "words"),
    [
        (b"\x0f", b"\x0f", True, "is what was wanted"),
        (b"\x0f", b"\x07", False, "1 bits are 0 and should be 1: erase"),
        (b"\x0f", b"\xff", False, "1 bytes have not taken: burn once more"),
        (b"\x0f", b"\x0f\x00", False, "2 bytes were read back"),
    ],
)
def test_what_was_read_back(wanted, read, verified, words):
    """Bits that cannot be burnt are told from bits that have not taken."""
    found = check_read_back(wanted, read)

    assert found.verified is verified and words in found.words
    assert found.to_json()["verified"] is verified
