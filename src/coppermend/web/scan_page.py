"""Scanning a tag: a camera's frame or a photo comes in, is decoded here, and leads to the job or to a comeback."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse, Response

from coppermend.errors import CoppermendError, InputError, UnknownName
from coppermend.job.number import check_number
from coppermend.job.state import JobState, fold
from coppermend.papers.scan import scan_photo
from coppermend.web.desk import Desk, desk_of
from coppermend.web.forms import Form, SentForm
from coppermend.web.pages import page, room_words, see, status_of

router = APIRouter(include_in_schema=False)


@router.get("/scan")
def show_scan(request: Request, number: str = "") -> Response:
    """The camera and the ways around it; with a number, what can be done with it."""
    if not number:
        return page(request, "scan.html", number="", state=None)
    try:
        checked = check_number(number)
    except InputError as error:
        return _again(request, Form({"number": number}), error)
    return page(request, "scan.html", number=checked, state=_state(desk_of(request), checked))


@router.post("/scan")
def scan(request: Request, form: SentForm) -> Response:
    """Read a photo, or a number that was typed."""
    try:
        number = _number(form)
    except CoppermendError as error:
        return _again(request, form, error)
    return see("/scan", number=number)


@router.post("/scan/frame")
def scan_frame(form: SentForm) -> Response:
    """One frame of the camera; answers ``number`` ("" when nothing was read) and ``words``. Nothing is kept."""
    try:
        frames = form.uploads("frame")
        if not frames:
            raise InputError("no frame came", expected="a picture in the field frame")
        found = scan_photo(frames[0].data, "frame", quick=True)
    except CoppermendError as error:
        return JSONResponse({"error": room_words(error)}, status_of(error))
    return JSONResponse({"number": found.number, "words": room_words(found.words)})


def _number(form: Form) -> str:
    if photos := form.uploads("photo"):
        found = scan_photo(photos[0].data, photos[0].name)
        if not found.number:
            raise InputError(f"{photos[0].name}: {found.words}")
        return found.number
    return check_number(form.text("number"))


def _state(desk: Desk, number: str) -> JobState | None:
    """The job of a number; None when the number is valid but of another record."""
    try:
        return fold(desk.store.entries(number))
    except UnknownName:
        return None


def _again(request: Request, form: Form, error: CoppermendError) -> Response:
    return page(request, "scan.html", status=status_of(error), error=str(error), typed=form, number="", state=None)  # fmt: skip
