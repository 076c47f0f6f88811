"""Sums and hashes against published check values, and the fix-up of a checksum."""

import hashlib
import zlib

import pytest

from coppermend.errors import InputError
from coppermend.rom.checksums import DEFINITIONS, fix_checksum, sums


def test_published_check_values():
    """CRC check values of "123456789" (catalogue of parametrised CRC algorithms) and its byte sum."""
    found = sums(b"123456789")

    assert found["crc32"] == "CBF43926"
    assert found["crc16_ccitt_false"] == "29B1"
    assert found["crc16_xmodem"] == "31C3"
    assert found["sum16"] == "01DD"


@pytest.mark.parametrize(
    ("data", "sha1"),
    [
        (b"", "da39a3ee5e6b4b0d3255bfef95601890afd80709"),
        (b"abc", "a9993e364706816aba3e25717850c26c9cd0d89d"),
        (
            b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
            "84983e441c3bd26ebaae4aa1f95129e5e54670f1",
        ),
    ],
)
def test_sha1_vectors(data, sha1):
    """The SHA-1 examples of FIPS 180-4."""
    assert sums(data)["sha1"] == sha1


@pytest.mark.parametrize(
    ("image", "sum16", "crc32", "sha1"),
    [
        (b"\xff" * 2048, "F800", "3F55D17F", "e6333e53570fb05a841a7f141872c8bd14143f9c"),
        (b"\x00" * 2048, "0000", "F1E8BA9E", "605db3fdbaff4ba13729371ad0c4fbab3889378e"),
        (b"\xff" * 4096, "F000", "F154670A", "e0c66649d1434eca3435033a32634cb90cef0f31"),
        (b"\xff" * 8192, "E000", "B4293435", "5e2b96c19c4f5c63a5afa2de504d29fe64a4c908"),
        (bytes(range(256)) * 8, "FC00", "9F5EDD58", "f10ccfde60c17db26e7d85d35665c7661dbbeb2c"),
    ],
)
def test_reference_images(image, sum16, crc32, sha1):
    """Images whose sums were worked out by independent generators (zlib, hashlib, srecord)."""
    found = sums(image)

    assert (found["sum16"], found["crc32"], found["sha1"]) == (sum16, crc32, sha1)
    assert zlib.crc32(image) == int(crc32, 16) and hashlib.sha1(image).hexdigest() == sha1


def test_word_sums_and_definitions():
    """Word sums count an odd last byte as half a word; every sum has its definition."""
    found = sums(b"\x01\x02\x03")

    assert (found["words16_le"], found["words16_be"]) == ("0204", "0402")
    assert set(found) == set(DEFINITIONS)


def test_checksum_bytes_are_fixed_only_where_said():
    """Two bytes bring the 16-bit sum to zero; nothing else changes, and each change is told."""
    data = b"\x30" * 1500 + bytes(548)
    fixed, change = fix_checksum(data, tuple(range(1600, 1900)), 0)

    assert sums(fixed)["sum16"] == "0000"
    assert {o for o, _, _ in change.changes} == {n for n in range(2048) if data[n] != fixed[n]}
    assert change.to_json()["changes"][0]["before"] == 0


@pytest.mark.parametrize(("offsets", "words"), [((), "no offset"), ((1, 1), "different"), ((9999,), "below")])
def test_checksum_bytes_must_be_inside(offsets, words):
    """No offset, one twice, or one outside is refused."""
    with pytest.raises(InputError, match=words):
        fix_checksum(b"abc", offsets, 0)


def test_checksum_out_of_reach():
    """One byte cannot bring a 16-bit sum just anywhere, and says so."""
    with pytest.raises(InputError, match="1 bytes cannot"):
        fix_checksum(b"\x01" * 300, (5,), 0xF000)
