"""Reading tags from photos: degraded renders, other codes, files that are none."""

from __future__ import annotations

import io
from collections import Counter

import cv2
import numpy as np
import pytest
import segno
from PIL import Image
from tests.papers.degraded import renders
from tests.papers.labels import NUMBER, label_picture

from coppermend.errors import InputError
from coppermend.papers.scan import number_in_code, scan_photo, scan_picture


def _png(picture: np.ndarray) -> bytes:
    return cv2.imencode(".png", picture)[1].tobytes()


def test_photo_of_a_label_gives_its_number():
    """The plain print is read at once."""
    found = scan_photo(_png(label_picture()))

    assert (found.number, found.texts) == (NUMBER, (NUMBER,))
    assert found.words == f"the tag of job {NUMBER}"


def test_heic_photo_of_a_label_gives_its_number():
    """What most phones take by themselves; OpenCV does not read it. Damage in it is refused like in others."""
    out = io.BytesIO()
    Image.fromarray(label_picture()).save(out, format="HEIF", quality=90)

    assert scan_photo(out.getvalue()).number == NUMBER
    with pytest.raises(InputError, match="cannot be decoded"):
        scan_photo(out.getvalue()[:300])


def test_degraded_photos_are_read_and_never_wrongly():
    """A small set of what tools/measure_tag.py measures with 200: tilt and low light always, no wrong number ever."""
    read: Counter[str] = Counter()
    for one in renders(label_picture(), 15, seed=4):
        found = scan_picture(one.picture).number
        assert found in ("", NUMBER), one.how
        read[one.kind] += bool(found)

    assert read["tilt"] == 3 and read["low light"] == 3
    assert read.total() >= 12


def test_code_of_something_else_is_no_tag():
    """A code that holds no sound number leads nowhere, and says so; a wrong check character is such a code."""
    for text in ("26-0042-V", "WIFI:S:shop;;", "https://example.org/jobs/"):
        out = io.BytesIO()
        segno.make(text).save(out, kind="png", scale=6)

        found = scan_photo(out.getvalue())

        assert found.number == "" and found.texts == (text,)
        assert "none of our tags" in found.words


def test_picture_without_code():
    """Nothing to read is an answer with advice, not an error."""
    found = scan_picture(np.full((300, 300), 128, np.uint8))

    assert found.number == "" and "come closer" in found.words


@pytest.mark.parametrize("data", [b"", b"%PDF-1.7", b"\x89PNG\r\n\x1a\n" + bytes(40), b"<svg/>"])
def test_no_picture_is_refused(data: bytes):
    """One clear error that names the file."""
    with pytest.raises(InputError) as refusal:
        scan_photo(data, "x.png")

    assert refusal.value.where == "x.png"


def test_tiny_picture_and_huge_file_are_refused():
    """Before any work is done."""
    with pytest.raises(InputError, match="pixels"):
        scan_photo(_png(np.zeros((10, 10), np.uint8)))
    with pytest.raises(InputError, match="too many"):
        scan_photo(bytes(33 * 1024 * 1024))


def test_number_in_the_address_of_any_bench():
    """Whatever the address, escaped or with a query."""
    assert number_in_code("http://192.0.2.7:8390/jobs/26-0042-U?x=1") == NUMBER
    assert number_in_code(NUMBER.lower()) == NUMBER
