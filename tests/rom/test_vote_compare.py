"""Dumps vote, images are compared, and the reference list says what is known."""

import random

import pytest

from coppermend.errors import InputError
from coppermend.rom.checksums import sums
from coppermend.rom.compare import compare
from coppermend.rom.reference import identify, parse_known
from coppermend.rom.vote import vote

from .rom_samples import program

GOOD = program(1, 2048)


def _with(data, changes):
    made = bytearray(data)
    for at, mask in changes:
        made[at] ^= mask
    return bytes(made)


def test_majority_restores_the_contents():
    """Nine dumps with 40 wrong bits each, in different places, give the contents back."""
    rng = random.Random(2)
    dumps = [_with(GOOD, [(rng.randrange(2048), 1 << rng.randrange(8)) for _ in range(40)]) for _ in range(9)]

    assert vote(dumps).best == GOOD


def test_unstable_bits_are_mapped():
    """An unstable bit is listed with its address, its mask and how many dumps read it as one."""
    found = vote([GOOD, GOOD, _with(GOOD, [(0x123, 0x10)])])
    byte = found.unstable[0]

    assert (byte.address, byte.mask, byte.best, byte.tied) == (0x123, 0x10, GOOD[0x123], False)
    assert byte.ones[3] in (1, 2) and found.agreement[0x123] == pytest.approx(2 / 3)
    assert found.to_json()["unstable"][0]["address"] == 0x123


def test_dumps_of_nothing_in_common_end_soon():
    """Two unrelated dumps of 1 MiB: all are counted, the first 65,536 bytes listed."""
    first, second = random.Random(1).randbytes(1 << 20), random.Random(2).randbytes(1 << 20)
    found = vote([first, second])

    assert found.unstable_bytes > 1_000_000 and len(found.unstable) == 65_536


def test_a_tie_keeps_the_first_dump_and_is_told():
    """Two dumps that disagree: the first's bit stands, marked as tied."""
    found = vote([GOOD, _with(GOOD, [(5, 1)])])

    assert (found.best[5], found.tied_bits, found.unstable[0].tied) == (GOOD[5], 1, True)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ([(n * 7, 0x08) for n in range(60)], "nearly all on D3"),
        ([(n * 8 + 1024, 1 << n % 8) for n in range(60)], "only where"),
        ([(n * 31, 1 << n % 8) for n in range(60)], "scattered"),
        ([], ""),
    ],
)
def test_the_pattern_of_unstable_bits_gives_a_hint(changes, words):
    """On one line: its contact. At one level of an address line: that pin. Anywhere: the cells."""
    hint = vote([GOOD, GOOD, _with(GOOD, changes)]).hint

    assert words in hint and bool(words) == bool(hint)


@pytest.mark.parametrize(
    ("dumps", "words"),
    [([b"a"], "1 dump"), ([b"a", b"ab"], "1 and 2 bytes"), ([b"", b""], "1 to 4,194,304")],
)
def test_dumps_that_cannot_vote(dumps, words):
    """One dump, dumps of different sizes, or empty ones cannot vote."""
    with pytest.raises(InputError, match=words):
        vote(dumps)


def test_comparison_counts_by_line():
    """Bits that rose and fell are counted on their data lines, bytes at the levels of their address lines."""
    found = compare(bytes(16), bytes([0x01, 0x80]) + bytes(14))

    assert (found.differing_bytes, found.differing_bits) == (2, 2)
    assert [(line.rising, line.falling) for line in found.data_lines][::7] == [(1, 0), (1, 0)]
    assert [(line.rising, line.falling) for line in found.address_lines][:2] == [(1, 1), (0, 2)]
    assert sum(found.blocks) == 2


def test_equal_images():
    """Equal images are equal, without causes."""
    found = compare(GOOD, GOOD)

    assert found.equal and found.causes == () and found.to_json()["equal"]


@pytest.mark.parametrize(
    ("first", "second", "words"),
    [
        (GOOD, GOOD * 4, "the second is the first repeated 4 times"),
        (GOOD[:100], GOOD, "the second starts with the first"),
        (GOOD, GOOD[-300:], "the first ends with the second"),
        (GOOD[100:900], GOOD, "the second holds at 0x64 the first"),
        (bytes(5), bytes([1]) * 7, "sizes differ (5 and 7 bytes)"),
    ],
)
def test_images_of_different_sizes(first, second, words):
    """What one is of the other is said instead of causes."""
    found = compare(first, second)

    assert found.relation.startswith(words) and not found.equal and found.causes == ()


@pytest.mark.parametrize("data", [b"", bytes(4 * 1024 * 1024 + 1)])
def test_empty_and_huge_images(data):
    """Nothing, or more than 4 MiB, is not compared."""
    with pytest.raises(InputError, match="1 to 4,194,304 bytes"):
        compare(data, GOOD)


def test_reference_list():
    """An image is known when every sum in its row fits; anything else is unknown."""
    rows = [
        {"name": "program C", "sha256": sums(GOOD)["sha256"].upper(), "note": "from two boards"},
        {"name": "program B", "sha1": "0" * 40, "crc32": sums(GOOD)["crc32"]},
    ]
    known = parse_known(rows)

    assert [k.name for k in identify(sums(GOOD), known)] == ["program C"]
    assert identify(sums(b"other"), known) == ()


@pytest.mark.parametrize(
    "row",
    [
        {"name": "", "sha1": "0" * 40},
        {"name": "x"},
        {"name": "x", "sha1": "12"},
        {"name": "x", "crc32": "zzzzzzzz"},
    ],
)
def test_wrong_rows_of_the_reference_list(row):
    """A row without a name, without sums, or with a broken sum is refused with its line."""
    with pytest.raises(InputError) as caught:
        parse_known([{"name": "ok", "crc32": "00000000"}, row], "known.csv")

    assert (caught.value.where, caught.value.line) == ("known.csv", 3)
