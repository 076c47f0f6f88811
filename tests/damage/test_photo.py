"""Reading photos: formats, orientation, size, and files that are no photo of anything."""

from __future__ import annotations

import io
import struct
import zlib

import numpy as np
import pytest
from PIL import Image

from coppermend.damage import photo as module
from coppermend.damage.photo import read_photo
from coppermend.errors import InputError


def picture(width: int = 400, height: int = 300) -> Image.Image:
    """Red to the left, blue to the right, lighter at the bottom."""
    x, y = np.meshgrid(np.linspace(0, 255, width), np.linspace(0, 200, height))
    return Image.fromarray(np.stack([255 - x, y, x], axis=-1).astype(np.uint8))


def saved(image: Image.Image, kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_every_usual_format_is_read(kind: str) -> None:
    """JPEG, PNG, WebP and HEIC give the same picture, but for their compression."""
    photo = read_photo(saved(picture(), kind), "photo")

    assert (photo.width_px, photo.height_px, photo.scale) == (400, 300, 1.0)
    assert np.abs(photo.rgb.astype(int) - np.asarray(picture())).mean() < 6


@pytest.mark.parametrize("kind", ["JPEG", "WEBP", "HEIF"])
@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_photos_are_turned_upright(kind: str, orientation: int) -> None:
    """EXIF orientation is honoured: the picture comes out the same however the camera was held (EXIF 2.3, tag 274)."""
    turn = {
        1: None,
        3: Image.Transpose.ROTATE_180,
        6: Image.Transpose.ROTATE_90,
        8: Image.Transpose.ROTATE_270,
    }
    held = picture().transpose(turn[orientation]) if turn[orientation] is not None else picture()
    exif = Image.Exif()
    exif[274] = orientation

    photo = read_photo(saved(held, kind, exif=exif.tobytes()), "photo")

    assert (photo.width_px, photo.height_px) == (400, 300)
    assert np.abs(photo.rgb.astype(int) - np.asarray(picture())).mean() < 6


@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
def test_large_photos_are_made_smaller(kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A photo beyond the working size keeps its full size on record and is worked on smaller."""
    monkeypatch.setattr(module, "WORKING_PIXELS", 120_000)

    photo = read_photo(saved(picture(1600, 1200), kind), "photo")

    assert (photo.width_px, photo.height_px) == (1600, 1200)
    assert photo.rgb.shape[0] * photo.rgb.shape[1] <= 120_000 * 1.3 and photo.scale == pytest.approx(
        0.25, abs=0.02
    )


def bomb(width: int, height: int) -> bytes:
    """A tiny PNG that claims to be huge."""
    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    chunk = b"IHDR" + header
    return (
        b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + chunk + struct.pack(">I", zlib.crc32(chunk))
        + struct.pack(">I", 0) + b"IDAT" + struct.pack(">I", zlib.crc32(b"IDAT"))
    )  # fmt: skip


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "is no photo"),
        (b"hello", "is no photo"),
        (saved(picture(), "GIF"), "is no photo"),
        (saved(picture(), "JPEG")[:3000], "cut short or damaged"),
        (saved(picture(), "PNG")[:-900], "cut short or damaged"),
        (bomb(12_000, 11_000), "too large"),
        (bomb(60_000, 60_000), "too many pixels"),
        (saved(picture(1, 1), "PNG"), "too small"),
        (saved(Image.new("RGB", (400, 300), "white"), "JPEG"), "over-exposed"),
        (saved(Image.new("RGB", (400, 300)), "JPEG"), "black"),
        (saved(Image.new("RGB", (400, 300), (90, 120, 80)), "JPEG"), "blank"),
    ],
)
def test_what_is_no_photo_is_refused(data: bytes, words: str) -> None:
    """Corrupt, tiny, huge, blank and burnt-out files are refused in one line that names the file."""
    with pytest.raises(InputError) as caught:
        read_photo(data, "top.jpg")

    assert words in caught.value.found and caught.value.where == "top.jpg"


def test_files_without_end_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """A file larger than any photo is not even looked at."""
    monkeypatch.setattr(module, "MAX_BYTES", 1000)

    with pytest.raises(InputError, match="too many"):
        read_photo(saved(picture(), "JPEG"), "photo")
