"""The shop's reference list of known-good images: shown, added to, taken from; names and sums, never contents."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.board.readers.text import decode_text
from coppermend.errors import CoppermendError, InputError
from coppermend.job.reference import add_known, drop_known, known_image, known_images, reference_rows
from coppermend.rom.reference import format_known_csv, parse_known_csv
from coppermend.web.desk import desk_of
from coppermend.web.forms import Form, SentForm, Upload
from coppermend.web.pages import see, status_of
from coppermend.web.rom_bench import hold, read_bytes, slot_image
from coppermend.web.rom_hand_out import file_answer, rom_page, writer

router = APIRouter(include_in_schema=False)


@router.get("/rom/known")
def show_known(request: Request, added: int | None = None) -> Response:
    """The list."""
    return _page(request, Form(), added=added)


@router.post("/rom/known")
def add(request: Request, form: SentForm) -> Response:
    """Add the sums of an image, or the rows of a CSV file."""
    desk = desk_of(request)
    upload: Upload | None = None
    try:
        upload, lists = slot_image(desk, form, 0), form.uploads("list")
        if lists:
            lines = parse_known_csv(decode_text(lists[0].data, lists[0].name), lists[0].name)
        elif upload:
            lines = (known_image(form.text("name"), read_bytes(upload, form), form.text("note")),)
        else:
            raise InputError("nothing to add", expected="an image, or a list in CSV")
        count = add_known(desk.store, lines, who=writer(request, form))
    except CoppermendError as error:
        return _page(request, form, status=status_of(error), error=str(error), held=hold([upload]))
    return see("/rom/known", form, added=count)


@router.post("/rom/known/drop")
def drop(request: Request, form: SentForm) -> Response:
    """Take a line off the list."""
    try:
        drop_known(desk_of(request).store, form.number("line"))
    except CoppermendError as error:
        return _page(request, form, status=status_of(error), error=str(error))
    return see("/rom/known", form)


@router.get("/rom/known.csv")
def known_file(request: Request) -> Response:
    """The list as CSV, to be kept elsewhere or given to another bench."""
    text = format_known_csv(known_images(desk_of(request).store))
    return file_answer(text.encode("utf-8"), "reference-images.csv")


def _page(request: Request, form: Form, *, status: int = 200, **more: Any) -> Response:
    empty: dict[str, Any] = {"added": None, "held": ()}
    known = reference_rows(desk_of(request).store)
    return rom_page(request, "rom_known.html", form, status=status, known=known, **{**empty, **more})
