"""Program images on their own page: look one over, compare two, let several vote; keep them in a job if asked to.

Without a job nothing is kept. With one, each image becomes an attachment, named by its hash, and an entry.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.errors import CoppermendError, InputError
from coppermend.job.reference import known_images
from coppermend.rom.checksums import sums
from coppermend.rom.compare import compare
from coppermend.rom.image import RomImage
from coppermend.rom.info import rom_info
from coppermend.rom.reference import KnownImage, identify
from coppermend.rom.vote import Vote, vote
from coppermend.web import (
    rom_adapt_page,
    rom_burn_page,
    rom_devices_page,
    rom_hand_out,
    rom_known_page,
    rom_merge_page,
    rom_selftest_page,
)
from coppermend.web.desk import Desk, desk_of
from coppermend.web.forms import Form, SentForm, Upload
from coppermend.web.pages import status_of
from coppermend.web.rom_bench import (
    MOST_IMAGES,
    form_device,
    form_family,
    form_hex,
    held_image,
    hold,
    job_images,
    kept_image,
    read_image,
)
from coppermend.web.rom_drawing import hex_rows, lines_svg, map_svg
from coppermend.web.rom_hand_out import keep_images, rom_page

router = APIRouter(include_in_schema=False)
for _part in (
    rom_adapt_page,
    rom_burn_page,
    rom_devices_page,
    rom_hand_out,
    rom_known_page,
    rom_merge_page,
    rom_selftest_page,
):
    router.include_router(_part.router)
_BLOCKS = 256


@router.get("/rom")
def show_rom(request: Request, job: str = "") -> Response:
    """The page without an image."""
    return _page(request, Form({"job": job}))


@router.post("/rom")
def look(request: Request, form: SentForm) -> Response:
    """Look over what was sent, chosen or held; keep what was sent in the job when asked to."""
    desk = desk_of(request)
    uploads: tuple[Upload, ...] = ()
    kept: tuple[int, ...] = ()
    try:
        uploads = _chosen(desk, form)
        if not 0 < len(uploads) <= MOST_IMAGES:
            raise InputError(f"{len(uploads)} images", expected=f"1 to {MOST_IMAGES}")
        images = [read_image(upload, form) for upload in uploads]
        shown = _shown(uploads, images, form, known_images(desk.store))
        if form.text("keep"):
            kept = keep_images(request, form, uploads)
    except CoppermendError as error:
        return _page(request, form, status=status_of(error), error=str(error), held=hold(uploads))
    defects = [
        (u.name, defect.line, defect.found)
        for u, image in zip(uploads, images, strict=True)
        for defect in image.defects
    ]
    return _page(
        request,
        form,
        kept=kept,
        names=[u.name for u in uploads],
        defects=defects,
        held=hold(uploads),
        **shown,
    )


def _page(request: Request, form: Form, *, status: int = 200, **more: Any) -> Response:
    empty: dict[str, Any] = {
        "info": None, "compared": None, "voted": None, "rows": [], "left_out": 0, "map": "", "lines": "", "names": [],
        "kept": (), "defects": [], "start": 0, "held": (), "told": [], "known_sums": {}, "best": None,
    }  # fmt: skip
    return rom_page(request, "rom.html", form, status=status, **{**empty, **more})


def _chosen(desk: Desk, form: Form) -> tuple[Upload, ...]:
    """Images held by the page and still ticked, then those ticked among the job's, then files sent now."""
    held = [held_image(form, slot) for slot in range(MOST_IMAGES) if form.text(f"use-{slot}")]
    job = form.text("job")
    ticked = [
        kept_image(desk, job, str(line.seq))
        for line in job_images(desk, job)
        if form.text(f"with-{line.seq}")
    ]
    return (*(image for image in held if image), *ticked, *form.uploads("images"))


def _shown(
    uploads: Sequence[Upload], images: Sequence[RomImage], form: Form, known: Sequence[KnownImage]
) -> dict[str, Any]:
    data = [image.dense(where=upload.name) for upload, image in zip(uploads, images, strict=True)]
    told = [identify(sums(each), known) for each in data]
    if len(data) == 1:
        return {"told": told, **_info(data[0], images[0], form, known)}
    if len(data) == 2 and not form.text("vote"):
        return {"told": told, **_compared(data[0], data[1])}
    voted = vote(data)
    rows, left_out = hex_rows(voted.best, {byte.address for byte in voted.unstable})
    best = hold([Upload("majority.bin", voted.best)])[0]
    return {
        "voted": voted, "rows": rows, "left_out": left_out, "map": _vote_map(voted), "told": told, "best": best,
        "best_sums": sums(voted.best), "best_known": identify(sums(voted.best), known),
    }  # fmt: skip


def _info(data: bytes, image: RomImage, form: Form, known: Sequence[KnownImage]) -> dict[str, Any]:
    asked = form_hex(form, "start", "CPU address")
    place = asked if asked is not None else image.low if 0 < image.low <= 0xFFFF else None
    found = rom_info(data, device=form_device(form), family=form_family(form), start=place, known=known)
    rows, left_out = hex_rows(data, (), found.start)
    best = hold([Upload("image.bin", data)])[0]
    return {
        "info": found, "rows": rows, "left_out": left_out, "start": found.start, "gaps": image.gaps(), "best": best,
    }  # fmt: skip


def _compared(first: bytes, second: bytes) -> dict[str, Any]:
    compared = compare(first, second)
    common = min(len(first), len(second))
    a, b = (np.frombuffer(d, np.uint8)[:common] for d in (first, second))
    rows, left_out = hex_rows(second, set(np.flatnonzero(a != b).tolist()))
    block = -(-common // max(len(compared.blocks), 1))
    return {
        "compared": compared, "rows": rows, "left_out": left_out,
        "map": map_svg(compared.blocks, block, "bytes differ"), "lines": lines_svg(compared),
    }  # fmt: skip


def _vote_map(voted: Vote) -> str:
    size = len(voted.best)
    block = -(-size // min(_BLOCKS, size))
    counts = np.bincount([b.address // block for b in voted.unstable], minlength=-(-size // block))
    return map_svg(counts.tolist(), block, "unstable bytes")
