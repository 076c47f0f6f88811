"""Reading the code of a tag from a photo or a camera's frame: decoded here, so that it works without any network."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from typing import Any

import cv2
import numpy as np
import pillow_heif
import zxingcpp
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from coppermend.errors import InputError
from coppermend.job.number import numbers_in

MOST_BYTES, _MOST_PIXELS = 32 * 1024 * 1024, 110_000_000
_LONGEST_PX, _SMALL_PX = 2400, 700
_QUICK = 3  # attempts on a camera's frame: the next one comes anyway
_FORMATS = zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)
_BINARIZERS = (zxingcpp.Binarizer.LocalAverage, zxingcpp.Binarizer.GlobalHistogram)
_EXPECTED = "a photo of the tag as JPEG, PNG, HEIC or WebP"
_IN_ADDRESS = re.compile(r"/jobs/([^/?#]+)")
Grey = NDArray[Any]

Image.init()  # all plugins: those asked for by name must be known
pillow_heif.register_heif_opener()


@dataclass(frozen=True, slots=True)
class Scan:
    """What was read: the job number, "" when none; ``texts`` are all codes seen, of whatever kind of content."""

    number: str
    texts: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """In one sentence."""
        if self.number:
            return f"the tag of job {self.number}"
        if self.texts:
            return "a code, but of no job: it is none of our tags"
        return "no code found: come closer, hold still, give it light, or type the number below the code"


def scan_photo(data: bytes, where: str = "photo", *, quick: bool = False) -> Scan:
    """The job number on the tag in a photo; ``quick`` for one of many frames.

    Raises:
        InputError: If it is no picture that can be decoded here, or a very large one.
    """
    if len(data) > MOST_BYTES:
        raise InputError(f"{len(data):,} bytes are too many", expected=f"at most {MOST_BYTES:,}", where=where)
    return scan_picture(_grey(data, where), quick=quick)


def scan_picture(picture: Grey, *, quick: bool = False) -> Scan:
    """The job number on the tag in a grey picture, (rows, columns) uint8.

    Tried as it is first, then with what helps against blur, low light and scratches; the first valid number counts.
    A number is valid by its check character, so a wrongly read code is never taken for a job.
    """
    texts: dict[str, None] = {}
    for attempt in islice(_attempts(picture), _QUICK if quick else None):
        for binarizer in _BINARIZERS:
            for code in zxingcpp.read_barcodes(attempt, formats=_FORMATS, binarizer=binarizer):
                texts[code.text] = None
                if number := number_in_code(code.text):
                    return Scan(number, tuple(texts))
    return Scan("", tuple(texts))


def number_in_code(text: str) -> str:
    """The job number that a code names, alone or in the address of a bench; "" for another code.

    >>> number_in_code("http://bench.local:8000/jobs/26-0042-U"), number_in_code("WIFI:S:shop;;")
    ('26-0042-U', '')
    """
    address = _IN_ADDRESS.search(text)
    return next(iter(numbers_in(address[1] if address else text)), "")


def _attempts(picture: Grey) -> Iterator[Grey]:
    """The picture as it is, then treated: cheapest first."""
    whole = _limited(picture, _LONGEST_PX)
    yield whole
    small = _limited(whole, _SMALL_PX)
    stretched = cv2.createCLAHE(clipLimit=4.0, tileGridSize=(8, 8)).apply(cv2.medianBlur(small, 3))
    yield stretched
    large = cv2.resize(stretched, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    for sigma in (2.0, 4.0):  # unsharp masks for blur of one and of two modules
        yield cv2.addWeighted(large, 2.5, cv2.GaussianBlur(large, (0, 0), sigma), -1.5, 0)
    for width in (5, 9, 13):  # scratches narrower than half of it vanish, modules wider than half of it stay
        yield cv2.medianBlur(large, width)
    for width in (5, 9):
        kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (width, width))
        yield cv2.morphologyEx(large, cv2.MORPH_OPEN, kernel)  # bright scratches
        yield cv2.morphologyEx(large, cv2.MORPH_CLOSE, kernel)  # dark ones
    yield cv2.addWeighted(large, 4.0, cv2.GaussianBlur(large, (0, 0), 6.0), -3.0, 0)
    yield cv2.GaussianBlur(large, (0, 0), 2.0)  # grain
    yield cv2.resize(large, None, fx=0.75, fy=0.75, interpolation=cv2.INTER_AREA)


def _limited(picture: Grey, longest_px: int) -> Grey:
    scale = longest_px / max(picture.shape)
    if scale >= 1:
        return picture
    return cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)


def _grey(data: bytes, where: str) -> Grey:
    picture = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_GRAYSCALE) if data else None
    if picture is None:
        picture = _heic(data)
    if picture is None:
        raise InputError("cannot be decoded", expected=_EXPECTED, where=where)
    if picture.size > _MOST_PIXELS or min(picture.shape) < 21:
        raise InputError(f"{picture.shape[1]} x {picture.shape[0]} pixels", expected=_EXPECTED, where=where)
    return picture


def _heic(data: bytes) -> Grey | None:
    """A HEIC photo, which OpenCV does not read; None for anything else, and for one that claims too many pixels."""
    try:
        image = Image.open(io.BytesIO(data), formats=("HEIF",))
        return np.asarray(image.convert("L")) if image.width * image.height <= _MOST_PIXELS else None
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, EOFError, Image.DecompressionBombError):
        return None
