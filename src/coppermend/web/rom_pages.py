"""Program images on their own page: look one over, compare two, let several vote; keep them in a job if asked to.

Without a job nothing is kept. With one, each image becomes an attachment, named by its hash, and an entry.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.errors import CoppermendError, InputError
from coppermend.rom.compare import compare
from coppermend.rom.devices import devices, find_device
from coppermend.rom.formats import parse_image
from coppermend.rom.image import RomImage
from coppermend.rom.info import rom_info
from coppermend.rom.vote import Vote, vote
from coppermend.web import rom_adapt_page
from coppermend.web.desk import Desk, desk_of
from coppermend.web.forms import Form, SentForm, Upload
from coppermend.web.pages import page, status_of, who_of
from coppermend.web.rom_drawing import hex_rows, lines_svg, map_svg

router = APIRouter(include_in_schema=False)
router.include_router(rom_adapt_page.router)
_MOST_IMAGES, _LARGEST_SHOWN = 16, 1024 * 1024
_BLOCKS = 256
_WHAT = ("dump", "burn", "read-back")


@router.get("/rom")
def show_rom(request: Request, job: str = "") -> Response:
    """The page without an image."""
    return _page(request, typed=Form({"job": job}))


@router.post("/rom")
def look(request: Request, form: SentForm) -> Response:
    """Look over what was sent; keep it when a job is named."""
    try:
        uploads = form.uploads("images")
        if not 0 < len(uploads) <= _MOST_IMAGES:
            raise InputError(f"{len(uploads)} files", expected=f"1 to {_MOST_IMAGES} images")
        images = [_image(upload, bool(form.text("tolerant"))) for upload in uploads]
        shown = _shown(uploads, images)
        kept = _keep(desk_of(request), request, uploads, form) if form.text("job") else []
    except CoppermendError as error:
        return _page(request, status=status_of(error), error=str(error), typed=form)
    defects = [
        (u.name, defect.line, defect.found)
        for u, image in zip(uploads, images, strict=True)
        for defect in image.defects
    ]
    return _page(request, typed=form, kept=kept, names=[u.name for u in uploads], defects=defects, **shown)


def _page(request: Request, *, status: int = 200, **more: Any) -> Response:
    empty: dict[str, Any] = {
        "info": None, "compared": None, "voted": None, "rows": [], "left_out": 0, "map": "", "lines": "", "names": [],
        "kept": [], "defects": [], "devices": devices().values(), "whats": _WHAT, "start": 0,
    }  # fmt: skip
    return page(request, "rom.html", status=status, **{**empty, **more})


def _image(upload: Upload, tolerant: bool) -> RomImage:
    image = parse_image(upload.data, upload.name, tolerant=tolerant)
    if not 0 < image.byte_count <= _LARGEST_SHOWN or image.end - image.low > _LARGEST_SHOWN:
        raise InputError(
            f"{image.byte_count:,} bytes from {image.low:#x} to {image.end:#x}",
            expected=f"1 to {_LARGEST_SHOWN:,} bytes without wide gaps", where=upload.name,
        )  # fmt: skip
    return image


def _shown(uploads: tuple[Upload, ...], images: list[RomImage]) -> dict[str, Any]:
    data = [image.dense(where=upload.name) for upload, image in zip(uploads, images, strict=True)]
    if len(data) == 1:
        place = images[0].low if 0 < images[0].low <= 0xFFFF else None
        found = rom_info(data[0], start=place)
        rows, left_out = hex_rows(data[0], (), found.start)
        return {"info": found, "rows": rows, "left_out": left_out, "start": found.start}
    if len(data) == 2:
        compared = compare(data[0], data[1])
        common = min(map(len, data))
        a, b = (np.frombuffer(d, np.uint8)[:common] for d in data)
        rows, left_out = hex_rows(data[1], set(np.flatnonzero(a != b).tolist()))
        block = -(-common // max(len(compared.blocks), 1))
        return {
            "compared": compared, "rows": rows, "left_out": left_out,
            "map": map_svg(compared.blocks, block, "bytes differ"), "lines": lines_svg(compared),
        }  # fmt: skip
    voted = vote(data)
    rows, left_out = hex_rows(voted.best, {byte.address for byte in voted.unstable})
    return {"voted": voted, "rows": rows, "left_out": left_out, "map": _vote_map(voted)}


def _vote_map(voted: Vote) -> str:
    size = len(voted.best)
    block = -(-size // min(_BLOCKS, size))
    counts = np.bincount([b.address // block for b in voted.unstable], minlength=-(-size // block))
    return map_svg(counts.tolist(), block, "unstable bytes")


def _keep(desk: Desk, request: Request, uploads: tuple[Upload, ...], form: Form) -> list[int]:
    """Attach every image to the job and write an entry each; the numbers of the entries."""
    who = form.text("who") or who_of(request)
    if not who:  # asking on a page of its own would lose the chosen files
        raise InputError("who keeps this is not said", expected="your name in the record")
    job, what = desk.job(form.text("job")), form.text("what", "dump")
    if what not in _WHAT:
        raise InputError(f"what is {what[:40]!r}", expected=f"one of {', '.join(_WHAT)}")
    device = form.text("device")
    if device and find_device(device) is None:
        raise InputError(f"device {device[:40]!r}", expected=f"one of {', '.join(devices())}")
    extra = {"refdes": form.text("refdes"), "device": device}
    seqs = []
    for upload in uploads:
        sha256 = desk.store.attach(upload.data, upload.name, "application/octet-stream")
        body = {"sha256": sha256, "name": upload.name, "what": what} | {k: v for k, v in extra.items() if v}
        seqs.append(desk.store.append(job.number, "image", job.state.stage, body, who=who).seq)
    return seqs
