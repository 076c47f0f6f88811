"""What all image pages share: their frame, a result saved as a file in any format, images kept in a job."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.errors import CoppermendError, InputError
from coppermend.job.burning import MEDIA_TYPE
from coppermend.job.state import ImageLine
from coppermend.rom.devices import devices
from coppermend.rom.formats import EXTENSIONS, FORMATS, check_format, format_image
from coppermend.rom.image import RomImage
from coppermend.rom.program import FAMILIES
from coppermend.web.desk import desk_of
from coppermend.web.forms import Form, SentForm, Upload
from coppermend.web.pages import WhoMissing, author, page, see, status_of
from coppermend.web.rom_bench import form_device, form_hex, held_image, job_images, read_bytes

router = APIRouter(include_in_schema=False)
WHAT = ("dump", "burn", "read-back")
_FORMAT_NAMES = {
    "binary": "binary", "ihex": "Intel HEX", "srec": "S-records", "titxt": "TI-TXT", "hexdump": "hex dump",
}  # fmt: skip


def rom_page(request: Request, template: str, form: Form, *, status: int = 200, **more: Any) -> Response:
    """A page about images, with the job's images, the devices and formats to choose from.

    A job that does not exist is told as any other wrong input, and offers no images.
    """
    shown: dict[str, Any] = {"error": None, **more}
    job = form.text("job")
    images: tuple[ImageLine, ...] = ()
    try:
        images = job_images(desk_of(request), job)
    except CoppermendError as error:
        shown["error"], status = shown["error"] or str(error), status if status != 200 else status_of(error)
    return page(
        request, template, status=status, typed=form, job_number=job, job_images=images,
        devices=devices().values(), whats=WHAT, families=FAMILIES, formats=_FORMAT_NAMES, **shown,
    )  # fmt: skip


@router.post("/rom/save")
def save(request: Request, form: SentForm) -> Response:
    """The image that a page holds, as a file in the format asked for; its first byte is at ``at``."""
    try:
        upload = held_image(form, 0)
        if upload is None:
            raise InputError("no image to save", expected="an image looked over, merged or split first")
        chosen = check_format(form.text("format", FORMATS[0]))
        start = form_hex(form, "at", "address of the first byte", 0xFFFF_FFFF) or 0
        data = format_image(RomImage.of(read_bytes(upload, Form()), start), chosen)
    except CoppermendError as error:
        return rom_page(request, "rom_told.html", form, status=status_of(error), error=str(error))
    name = upload.name.rpartition(".")[0] or upload.name
    return file_answer(data, name + EXTENSIONS[chosen])


def file_answer(data: bytes, name: str) -> Response:
    """A file to be saved, never shown; not to be kept by anything on the way."""
    headers = {
        "Content-Disposition": f"attachment; filename*=UTF-8''{quote(name)}",
        "Cache-Control": "no-store",
    }
    return Response(data, media_type=MEDIA_TYPE, headers=headers)


@router.post("/rom/keep")
def keep(request: Request, form: SentForm) -> Response:
    """Keep the image that a page holds in a job, and go to that job's images."""
    try:
        upload = held_image(form, 0)
        if upload is None:
            raise InputError("no image to keep", expected="an image looked over, merged or split first")
        keep_images(request, form, [upload])
    except CoppermendError as error:
        return rom_page(request, "rom_told.html", form, status=status_of(error), error=str(error))
    return see("/rom/burn", form, job=form.text("job"))


def writer(request: Request, form: Form) -> str:
    """Who keeps what this form sends.

    Raises:
        InputError: If neither form nor browser says; asking on a page of its own would lose the chosen files.
    """
    try:
        return author(request, form)
    except WhoMissing:
        raise InputError("who keeps this is not said", expected="your name in the record") from None


def keep_images(request: Request, form: Form, uploads: Sequence[Upload]) -> tuple[int, ...]:
    """Attach every image to the form's job and write an entry each; the numbers of the entries.

    Raises:
        InputError: If nobody says who keeps it, or job, purpose or device are wrong; nothing is kept then.
    """
    desk, who = desk_of(request), writer(request, form)
    if not form.text("job"):
        raise InputError("no job to keep it in", expected="a job number such as 26-0042-U")
    job, what = desk.job(form.text("job")), form.text("what", "dump")
    if what not in WHAT:
        raise InputError(f"what is {what[:40]!r}", expected=f"one of {', '.join(WHAT)}")
    device, first = form_device(form), form_hex(form, "at", "CPU address")
    extra: dict[str, Any] = {"refdes": form.text("refdes"), "device": device.name if device else ""}
    about = {key: value for key, value in extra.items() if value} | (
        {} if first is None else {"cpu_first": first}
    )
    seqs = []
    for upload in uploads:
        sha256 = desk.store.attach(upload.data, upload.name, MEDIA_TYPE)
        body = {"sha256": sha256, "name": upload.name, "what": what, **about}
        seqs.append(desk.store.append(job.number, "image", job.state.stage, body, who=who).seq)
    return tuple(seqs)
