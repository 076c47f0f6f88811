"""Pictures set in SVG, since papers are made of texts."""

from __future__ import annotations

import io
from base64 import b64encode

from PIL import Image


def picture_svg(data: bytes, kind: str, width: int, height: int) -> bytes:
    """A picture file of a media type, ``width`` x ``height`` pixels, as SVG."""
    size = f'width="{width}" height="{height}"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} viewBox="0 0 {width} {height}">'
        f'<image {size} href="data:{kind};base64,{b64encode(data).decode()}"/></svg>'
    ).encode()


def logo_svg(data: bytes, kind: str) -> bytes:
    """A logo, checked before by ``job.logo``, as SVG; b"" for none."""
    if not data or kind == "image/svg+xml":
        return data
    with Image.open(io.BytesIO(data)) as picture:
        return picture_svg(data, kind, *picture.size)
