"""Photos made smaller, for lists and papers. The original stays as it came."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from coppermend.errors import InputError
from coppermend.job.entry import STAGES
from coppermend.job.state import FileLine, JobState
from coppermend.job.store import Store
from coppermend.papers.pictures import picture_svg
from coppermend.papers.report import Picture as PaperPicture

_QUALITY = 85
_MOST, _PAPER_PX = 6, 1400
_BEFORE, _AFTER = STAGES[:3], STAGES[-2:]  # receive to isolate; prove and return
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
    return picture_svg(_encoded(picture), "image/jpeg", width, height)


def report_photos(store: Store, state: JobState) -> tuple[PaperPicture, ...]:
    """Photos for the report, before and after: at most six, of which three from before the work and three from after it.

    Where there are fewer, photos of the work itself fill up. HEIC and what else cannot be decoded here is left out; it
    stays in the record.

    Raises:
        RecordError: If an attachment is missing or damaged.
    """
    pictures = []
    for line in chosen(state.photos):
        try:
            svg = photo_svg(store.attachment(line.sha256), _PAPER_PX, line.name)
        except InputError:  # no picture that can be set on paper
            continue
        when = "Before: " if line.stage in _BEFORE else "After: " if line.stage in _AFTER else ""
        pictures.append(PaperPicture(f"photo-{line.seq}.svg", svg, f"{when}{line.words or line.name}"))
    return tuple(pictures)


def chosen(photos: Sequence[FileLine]) -> tuple[FileLine, ...]:
    """Which photos go into a report, in the order of the work: the first before it, the last after it, then those between."""
    before = [p for p in photos if p.stage in _BEFORE]
    after = [p for p in photos if p.stage in _AFTER]
    between = [p for p in photos if p.stage not in (*_BEFORE, *_AFTER)]
    half = _MOST // 2
    kept = [*before[:half], *after[-half:]]
    kept += [p for p in (*between, *before[half:], *after[:-half]) if p not in kept][: _MOST - len(kept)]
    return tuple(sorted(kept, key=lambda p: (STAGES.index(p.stage), p.seq)))


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
