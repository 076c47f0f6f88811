"""Photos made smaller, for lists and papers. The original stays as it came."""

from __future__ import annotations

import base64
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from coppermend.errors import InputError

_QUALITY = 85
Picture = NDArray[Any]


def scaled_jpeg(data: bytes, longest_px: int, where: str = "photo") -> bytes:
    """The photo upright, at most ``longest_px`` long, as JPEG; smaller ones keep their size.

    Raises:
        InputError: If it cannot be decoded.
    """
    return _encoded(_scaled(data, longest_px, where))


def photo_svg(data: bytes, longest_px: int, where: str = "photo") -> bytes:
    """As ``scaled_jpeg``, set in an SVG, since papers are made of texts.

    Raises:
        InputError: If it cannot be decoded.
    """
    picture = _scaled(data, longest_px, where)
    height, width = picture.shape[:2]
    size = f'width="{width}" height="{height}"'
    content = base64.b64encode(_encoded(picture)).decode()
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} viewBox="0 0 {width} {height}">'
        f'<image {size} href="data:image/jpeg;base64,{content}"/></svg>'
    ).encode()


def _scaled(data: bytes, longest_px: int, where: str) -> Picture:
    picture = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    if picture is None:
        raise InputError("cannot be decoded", expected="a JPEG, PNG or WebP photo", where=where)
    height, width = picture.shape[:2]
    scale = longest_px / max(height, width)
    if scale >= 1:
        return picture
    size = (max(round(width * scale), 1), max(round(height * scale), 1))
    return cv2.resize(picture, size, interpolation=cv2.INTER_AREA)


def _encoded(picture: Picture) -> bytes:
    done, made = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
    assert done  # a decoded picture can always be encoded
    return made.tobytes()
