"""A photo file as pixels: what it claims is checked before it is unpacked, and it is turned upright. Bytes in, array out.

Pixel coordinates everywhere are those of the upright photo at full size, (0, 0) = centre of the upper-left pixel.
"""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass

import numpy as np
import pillow_heif
from numpy.typing import NDArray
from PIL import ExifTags, Image, ImageOps, UnidentifiedImageError

from coppermend.errors import InputError

MAX_BYTES = 96 * 1024 * 1024
MAX_PIXELS = 110_000_000  # more than any phone's; whatever claims more must not be unpacked
MIN_SIDE_PX = 200
WORKING_PIXELS = 13_000_000  # finer photos are halved and more: memory and time, and the map has 4 px/mm only
FORMATS = ("JPEG", "PNG", "WEBP", "HEIF")
_EXPECTED = "a photo as JPEG, PNG, HEIC or WebP"
_BRIGHT, _DARK = 250, 6
_TOO_MANY = 0.8  # share of burnt-out or black pixels that leaves nothing to see
_FLAT = 3.0  # standard deviation of brightness, of 255, below which there is no picture

Image.init()  # all plugins: those asked for by name must be known
pillow_heif.register_heif_opener()


@dataclass(frozen=True)
class Photo:
    """An upright photo.

    Attributes:
        rgb: (rows, columns, 3) uint8, perhaps at a fraction of full size.
        width_px, height_px: Full size, upright.
    """

    rgb: NDArray[np.uint8]
    width_px: int
    height_px: int

    @property
    def scale(self) -> float:
        """Pixels of ``rgb`` per pixel of the full photo, 1 or less."""
        return float(self.rgb.shape[1] / self.width_px)


def read_photo(data: bytes, where: str) -> Photo:
    """Decode a photo and turn it as its EXIF orientation says.

    Raises:
        InputError: If it is no such file, is cut short or damaged, claims more pixels than a phone has, is too
            small, or shows nothing (blank, black or burnt out).
    """
    if len(data) > MAX_BYTES:
        raise InputError(f"{len(data):,} bytes are too many", expected=f"at most {MAX_BYTES:,}", where=where)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # size is checked here, odd metadata is of no interest
            image = Image.open(io.BytesIO(data), formats=FORMATS)
    except Image.DecompressionBombError:
        raise InputError("claims to have far too many pixels", expected=_EXPECTED, where=where) from None
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, EOFError):
        raise InputError("is no photo", expected=_EXPECTED, where=where) from None
    _check_size(image.width, image.height, where)
    photo = _upright(image, where)
    _check_shows_something(photo.rgb, where)
    return photo


def _check_size(width: int, height: int, where: str) -> None:
    if width * height > MAX_PIXELS:
        raise InputError(
            f"a photo of {width} x {height} px is too large",
            expected=f"at most {MAX_PIXELS // 10**6} megapixels",
            where=where,
        )
    if min(width, height) < MIN_SIDE_PX:
        raise InputError(
            f"a photo of {width} x {height} px is too small",
            expected=f"at least {MIN_SIDE_PX} px each way",
            where=where,
        )


def _upright(image: Image.Image, where: str) -> Photo:
    width, height = image.size
    factor = (width * height / WORKING_PIXELS) ** 0.5
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            if factor > 1:
                image.draft(
                    "RGB", (round(width / factor), round(height / factor))
                )  # JPEG: decode at 1/2, 1/4, ...
            turned = image.getexif().get(ExifTags.Base.Orientation, 1) in (5, 6, 7, 8)
            image.load()
            ImageOps.exif_transpose(image, in_place=True)
            upright: Image.Image = image if image.mode == "RGB" else image.convert("RGB")  # a copy costs time
    except (OSError, ValueError, SyntaxError, EOFError, MemoryError, Image.DecompressionBombError):
        raise InputError("the photo is cut short or damaged", expected=_EXPECTED, where=where) from None
    # HEIF is turned by its decoder: what counts is how the picture came out.
    if (turned and upright.width * width != upright.height * height) or (upright.width > upright.height) != (
        width > height
    ):
        width, height = height, width
    if upright.width * upright.height > WORKING_PIXELS * 1.3:
        factor = (upright.width * upright.height / WORKING_PIXELS) ** 0.5
        upright = upright.resize(
            (round(upright.width / factor), round(upright.height / factor)), Image.Resampling.BOX
        )
    return Photo(np.ascontiguousarray(upright, dtype=np.uint8), width, height)


def _check_shows_something(rgb: NDArray[np.uint8], where: str) -> None:
    some = rgb[:: max(1, rgb.shape[0] // 400), :: max(1, rgb.shape[1] // 400)]
    some = np.ascontiguousarray(some.transpose(2, 0, 1), np.float32)
    if (some.min(axis=0) >= _BRIGHT).mean() > _TOO_MANY:
        raise InputError(
            "the photo is over-exposed: nearly all of it is white", expected="a darker photo", where=where
        )
    if (some.max(axis=0) <= _DARK).mean() > _TOO_MANY:
        raise InputError("the photo is black", expected="a brighter photo", where=where)
    if some.mean(axis=0).std() < _FLAT:
        raise InputError("the photo is blank", expected="a photo of the board", where=where)
