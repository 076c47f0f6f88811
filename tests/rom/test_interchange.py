"""Images go both ways between us and the reference programs and libraries without a byte changed."""

import pytest

from .interchange import (
    DUMP_PROGRAMS,
    SRECORD,
    runs,
    through_bincopy,
    through_bincopy_dump,
    through_dump_programs,
    through_intelhex,
    through_srecord,
)  # fmt: skip
from .rom_samples import odd_image

TEXT_FORMATS = ("ihex", "srec", "titxt")
without_srecord = pytest.mark.skipif(not SRECORD, reason="outside check skipped: srecord is absent")


@pytest.mark.debian
@without_srecord
@pytest.mark.parametrize("name", TEXT_FORMATS)
def test_srecord_both_ways(name):
    """Twenty-four odd images through Debian's srecord, both directions."""
    for image in map(odd_image, range(24)):
        assert through_srecord(image, name) == (runs(image), runs(image))


@pytest.mark.parametrize("name", TEXT_FORMATS)
def test_bincopy_both_ways(name):
    """A hundred odd images through bincopy, both directions."""
    for image in map(odd_image, range(100)):
        assert through_bincopy(image, name) == (runs(image), runs(image))


def test_intelhex_both_ways():
    """A hundred odd images through intelhex, both directions."""
    for image in map(odd_image, range(100)):
        assert through_intelhex(image) == (runs(image), runs(image))


def test_hex_dumps_of_bincopy():
    """A hundred odd images are read from bincopy's hex dump."""
    for image in map(odd_image, range(100)):
        assert through_bincopy_dump(image) == runs(image)


@pytest.mark.debian
@pytest.mark.parametrize("seed", range(12))
def test_dump_programs(seed):
    """The Unix dump programs and our reader and writer agree on the bytes."""
    if not DUMP_PROGRAMS:
        pytest.skip("outside check skipped: xxd or hexdump is absent")
    data = odd_image(seed).segments[0].data

    assert through_dump_programs(data) == (data, data, data)
