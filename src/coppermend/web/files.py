"""Attachments by their SHA-256: pictures and PDF are shown, everything else is only handed out to be saved."""

from __future__ import annotations

from urllib.parse import quote

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.errors import InputError
from coppermend.papers.photos import scaled_jpeg
from coppermend.web.desk import desk_of

router = APIRouter(include_in_schema=False)

# First bytes of the formats that a browser shows without running anything in them. The sender's word for
# the type is never trusted: a page of script may call itself a picture.
_SIGNATURES = (
    (b"\x89PNG\r\n\x1a\n", "image/png"),
    (b"\xff\xd8\xff", "image/jpeg"),
    (b"GIF87a", "image/gif"),
    (b"GIF89a", "image/gif"),
    (b"%PDF-", "application/pdf"),
)
_FOREVER = {"Cache-Control": "private, max-age=31536000, immutable"}  # the address names the content
_SMALL_PX = 480
_HEIF_BRANDS = (b"heic", b"heix", b"mif1", b"msf1", b"hevc")


def shown_type(data: bytes) -> str:
    """The media type under which a browser may show ``data``; "" when it may not."""
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "image/webp"
    return next((kind for start, kind in _SIGNATURES if data.startswith(start)), "")


def picture_type(data: bytes, where: str) -> str:
    """The media type of a picture.

    Raises:
        InputError: If it is no JPEG, PNG, WebP, GIF or HEIF picture.
    """
    kind = shown_type(data)
    if kind.startswith("image/"):
        return kind
    if data[4:8] == b"ftyp" and data[8:12] in _HEIF_BRANDS:
        return "image/heic"
    raise InputError("is no picture", expected="JPEG, PNG, WebP, GIF or HEIC", where=where)


def video_type(data: bytes, where: str) -> str:
    """The media type of a video by its first bytes.

    Raises:
        InputError: If it is no MP4, QuickTime or WebM video.

    Source: ISO/IEC 14496-12, box "ftyp"; RFC 8794, EBML magic (from memory).
    """
    if kind := _video(data):
        return kind
    raise InputError("is no video", expected="MP4, MOV or WebM", where=where)


def _video(data: bytes) -> str:
    if data[4:8] == b"ftyp" and data[8:12] not in _HEIF_BRANDS:
        return "video/quicktime" if data[8:10] == b"qt" else "video/mp4"
    return "video/webm" if data.startswith(b"\x1a\x45\xdf\xa3") else ""


@router.get("/attachments/{sha256}")
def show_attachment(request: Request, sha256: str) -> Response:
    """One attachment."""
    store = desk_of(request).store
    info, data = store.attachment_info(sha256), store.attachment(sha256)
    kind = shown_type(data) or _video(data)
    how = "inline" if kind else "attachment"
    headers = {
        "Content-Disposition": f"{how}; filename*=UTF-8''{quote(info.name)}",
        **_FOREVER,
    }
    return Response(data, media_type=kind or "application/octet-stream", headers=headers)


@router.get("/attachments/{sha256}/small")
def show_small(request: Request, sha256: str) -> Response:
    """A photo made small for a list; what cannot be decoded here is sent as it is."""
    store = desk_of(request).store
    data = store.attachment(sha256)
    if not shown_type(data).startswith("image/"):
        return show_attachment(request, sha256)
    return Response(scaled_jpeg(data, _SMALL_PX), media_type="image/jpeg", headers=_FOREVER)
