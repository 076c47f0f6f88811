"""Photos made smaller, for lists and papers. The original stays as it came."""

from __future__ import annotations

import cv2
import numpy as np

from coppermend.errors import InputError

_QUALITY = 85


def scaled_jpeg(data: bytes, longest_px: int, where: str = "photo") -> bytes:
    """The photo upright, at most ``longest_px`` long, as JPEG; smaller ones keep their size.

    Raises:
        InputError: If it cannot be decoded.
    """
    try:
        picture = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    except cv2.error:
        picture = None
    if picture is None:
        raise InputError("cannot be decoded", expected="a JPEG, PNG or WebP photo", where=where)
    height, width = picture.shape[:2]
    scale = longest_px / max(height, width)
    if scale < 1:
        size = (max(round(width * scale), 1), max(round(height * scale), 1))
        picture = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    done, made = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
    assert done  # a decoded picture can always be encoded
    return made.tobytes()
