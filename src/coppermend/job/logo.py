"""The shop's logo: checked before it is kept, handed out as what it was checked to be. Knows no pages and no papers."""

from __future__ import annotations

import io
import re
import struct
from xml.etree import ElementTree

from PIL import Image

from coppermend.errors import InputError
from coppermend.job.shop import read_shop, set_shop
from coppermend.job.store import Store

MOST_BYTES, MOST_PX = 1_000_000, 4000
_SVG = "http://www.w3.org/2000/svg"
_PLAIN = frozenset(
    [
        "svg",
        "g",
        "path",
        "rect",
        "circle",
        "ellipse",
        "line",
        "polyline",
        "polygon",
        "text",
        "tspan",
        "defs",
        "title",
        "desc",
        "use",
        "symbol",
        "clipPath",
        "mask",
        "linearGradient",
        "radialGradient",
        "stop",
        "style",
    ]
)
_OUTSIDE = re.compile(r"url\s*\(\s*['\"]?(?!#)|@import|expression\s*\(|javascript:|\\", re.IGNORECASE)


def logo_kind(data: bytes, where: str = "logo") -> str:
    """``image/png``, ``image/jpeg`` or ``image/svg+xml``, after a look at every part of it.

    An SVG may draw, and nothing else: no script, no event, no link or picture from elsewhere, no document type
    (entities), by a list of the elements that are allowed.

    Raises:
        InputError: If it is too large, damaged, of another kind, or an SVG that does more than draw.
    """
    if len(data) > MOST_BYTES:
        raise InputError(f"has {len(data):,} bytes", expected=f"at most {MOST_BYTES:,}", where=where)
    if data.startswith((b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff")):
        return _raster_kind(data, where)
    _check_svg(data, where)
    return "image/svg+xml"


def _raster_kind(data: bytes, where: str) -> str:
    try:
        with Image.open(io.BytesIO(data), formats=("PNG", "JPEG")) as picture:
            size, kind = picture.size, picture.format
            if max(size) <= MOST_PX:
                picture.load()
    except (OSError, ValueError, SyntaxError, struct.error, Image.DecompressionBombError) as error:
        raise InputError(f"cannot be decoded: {error}", expected="a whole PNG or JPEG", where=where) from None
    if max(size) > MOST_PX:
        raise InputError(
            f"is {size[0]} x {size[1]} pixels", expected=f"at most {MOST_PX} either way", where=where
        )
    return "image/png" if kind == "PNG" else "image/jpeg"


def _check_svg(data: bytes, where: str) -> None:
    if b"\0" in data or b"<!" in data.replace(b"<!--", b"") or b"<?xml-stylesheet" in data:
        raise _refused("it declares a document type or a style sheet, or is not UTF-8", where)
    try:
        root = ElementTree.fromstring(data)  # entities cannot be declared without a document type
    except (ElementTree.ParseError, ValueError, LookupError):
        raise InputError("is no picture", expected="PNG, JPEG or SVG", where=where) from None
    if root.tag != f"{{{_SVG}}}svg":
        raise InputError("is no picture", expected="PNG, JPEG or SVG", where=where)
    for element in root.iter():
        space, _, name = str(element.tag).rpartition("}")
        if space != f"{{{_SVG}" or name not in _PLAIN:
            raise _refused(f"<{name[:40]}>", where)
        if name == "style" and _OUTSIDE.search(element.text or ""):
            raise _refused("a style that reaches outside", where)
        for key, value in element.attrib.items():
            _check_attribute(key.rpartition("}")[2].lower(), value, where)


def _check_attribute(name: str, value: str, where: str) -> None:
    if (
        name.startswith("on")
        or (name == "href" and not value.strip().startswith("#"))
        or _OUTSIDE.search(value)
    ):
        raise _refused(f"attribute {name[:40]}", where)


def _refused(what: str, where: str) -> InputError:
    return InputError(
        f"does more than draw: {what}",
        expected="an SVG of shapes and text, with nothing from elsewhere",
        where=where,
    )


def keep_logo(store: Store, data: bytes, name: str, *, who: str) -> str:
    """Keep a logo, named by its content, and make it the shop's; its SHA-256.

    Raises:
        InputError: As ``logo_kind``.
        RecordError: If it cannot be kept.
    """
    kind = logo_kind(data, name)
    sha256 = store.attach(data, name, kind)
    set_shop(store, {"logo": sha256}, who=who)
    return sha256


def logo_of(store: Store) -> tuple[bytes, str]:
    """The shop's logo and its media type; (b"", "") when it has none.

    Raises:
        RecordError: If the kept file is damaged.
    """
    sha256 = read_shop(store).logo
    if not sha256:
        return b"", ""
    data = store.attachment(sha256)
    return data, logo_kind(data)
