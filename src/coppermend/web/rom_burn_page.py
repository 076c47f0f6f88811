"""The burn list of a job, and one device to burn: sums, voltage, label, and the check of what was read back."""

from __future__ import annotations

import csv
import io
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.errors import CoppermendError, InputError
from coppermend.job.burning import BurnLine, burn_lines, keep_burn
from coppermend.job.entry import Entry
from coppermend.rom.burning import BurnItem, burn_list, check_read_back
from coppermend.web.desk import desk_of
from coppermend.web.forms import Form, SentForm, Upload
from coppermend.web.pages import status_of
from coppermend.web.rom_bench import form_device, form_hex, hold, job_images, read_bytes, slot_image
from coppermend.web.rom_hand_out import file_answer, rom_page, writer

router = APIRouter(include_in_schema=False)


@router.get("/rom/burn")
def show_burn(request: Request, job: str = "", image: str = "") -> Response:
    """What the job has to burn; ``image`` fills the form from one of its entries, for reading back."""
    texts = {"job": job}
    try:
        line = next((i for i in job_images(desk_of(request), job) if str(i.seq) == image), None)
    except CoppermendError:  # the page tells it
        line = None
    if line:
        first = "" if line.cpu_first is None else f"{line.cpu_first:04X}"
        texts |= {
            "kept-0": str(line.seq), "device": line.device, "place": line.refdes, "version": line.version,
            "name": line.name.removesuffix(".bin"), "start": first,
        }  # fmt: skip
    return _page(request, Form(texts))


@router.post("/rom/burn")
def burn(request: Request, form: SentForm) -> Response:
    """Say what to burn, check what was read back if it was, and keep both in the job when asked to."""
    desk = desk_of(request)
    slots: list[Upload | None] = []
    try:
        slots = [slot_image(desk, form, slot) for slot in (0, 1)]
        if slots[0] and not form.text("device") and not form.text("keep"):  # handed over from another page
            return _page(request, form, held=hold(slots), asks=True)
        item = _item(form, slots[0])
        read = read_bytes(slots[1], form) if slots[1] else b""
        checked = check_read_back(item.data, read) if slots[1] else None
        kept: tuple[Entry, ...] = ()
        if form.text("keep"):
            number = desk.job(form.text("job")).number if form.text("job") else ""
            if not number:
                raise InputError("no job to keep it in", expected="a job number such as 26-0042-U")
            kept = keep_burn(desk.store, number, item, read, checked, who=writer(request, form))
    except CoppermendError as error:
        return _page(request, form, status=status_of(error), error=str(error), held=hold(slots))
    return _page(
        request, form, row=burn_list([item])[0], item=item, checked=checked, kept=[entry.seq for entry in kept],
        held=hold(slots), result=hold([Upload(f"{item.name}.bin", item.data)])[0],
    )  # fmt: skip


def _item(form: Form, upload: Upload | None) -> BurnItem:
    device = form_device(form)
    if upload is None or device is None:
        raise InputError("nothing to burn", expected="an image and the device it goes into")
    data, first = read_bytes(upload, form), form_hex(form, "start", "CPU address")
    last = first + len(data) - 1 if first is not None else None
    if last is not None and last > 0xFFFF:
        raise InputError(f"{len(data):,} bytes from {first:04X}", expected="bytes within 0000 to FFFF")
    name = form.text("name") or upload.name.rpartition(".")[0] or upload.name
    return BurnItem(form.text("place"), device, name, form.text("version"), first, last, data)


def _page(request: Request, form: Form, *, status: int = 200, **more: Any) -> Response:
    desk = desk_of(request)
    lines: tuple[BurnLine, ...] = ()
    try:
        lines = burn_lines(desk.store, desk.job(form.text("job")).state) if form.text("job") else ()
    except CoppermendError as error:
        if not more.get("error"):
            status, more = status_of(error), {**more, "error": str(error)}
    empty: dict[str, Any] = {
        "row": None,
        "item": None,
        "checked": None,
        "kept": [],
        "held": (),
        "result": None,
        "asks": False,
    }
    shown = {**empty, **more, "lines": [(line, line.item.to_json() if line.item else None) for line in lines]}
    return rom_page(request, "rom_burn.html", form, status=status, **shown)


@router.get("/rom/burn-list.csv")
def burn_list_file(request: Request, job: str) -> Response:
    """The job's burn list as CSV, for the bench with the programmer."""
    desk = desk_of(request)
    state = desk.job(job).state
    made = io.StringIO()
    rows = csv.writer(made)
    rows.writerow(
        ("place", "device", "image", "version", "program_v", "sum16", "crc32", "sha256", "label", "read back")
    )
    for line in burn_lines(desk.store, state):
        row = line.item.to_json() if line.item else None
        counted = row["sums"] if row else {}
        rows.writerow((
            line.image.refdes, line.image.device, line.image.name, line.image.version,
            f"{row['program_v']:g}" if row else "", counted.get("sum16", ""), counted.get("crc32", ""),
            line.image.sha256, " / ".join(row["label"]) if row else line.trouble, line.verdict,
        ))  # fmt: skip
    return file_answer(made.getvalue().encode("utf-8"), f"burn-list-{state.number}.csv")
