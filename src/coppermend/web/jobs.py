"""Jobs: opening one, its overview, its record, and what can be added at any stage."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from coppermend.errors import CoppermendError, UnknownName
from coppermend.job.number import check_number
from coppermend.job.release import check_stage_allowed
from coppermend.job.state import fold
from coppermend.job.validate import FIELDS
from coppermend.web.desk import Desk, Job, desk_of
from coppermend.web.drawing import drawing_of, stage_overlays
from coppermend.web.forms import Form, SentForm
from coppermend.web.keeping import keep
from coppermend.web.pages import author, page, see
from coppermend.web.stages import job_context

router = APIRouter(include_in_schema=False)
HEADER = tuple(FIELDS["job"])


@router.get("/jobs/new")
def ask_new_job(request: Request, comeback: str = "") -> Response:
    """The form that opens a job; filled in from the earlier job when a tag has come back."""
    desk = desk_of(request)
    return page(request, "new_job.html", boards=desk.store.boards(), typed=_comeback(desk, comeback))


def _comeback(desk: Desk, number: str) -> Form:
    """What is known of a board by the number on its tag, which becomes one of its marks."""
    if not number:
        return Form()
    marks = f"tag {check_number(number)}"
    try:
        state = fold(desk.store.entries(number))
    except UnknownName:  # a tag of another record
        return Form({"marks": marks})
    same = ("customer", "contact", "machine", "serial")
    board = {"board": state.board.sha256} if state.board else {}
    return Form({**{name: getattr(state, name) for name in same}, "marks": marks, **board})


@router.post("/jobs/new")
def open_job(request: Request, form: SentForm) -> Response:
    """Open a job, with its board when one was chosen."""
    desk, who = desk_of(request), author(request, form)
    try:
        chosen = _chosen_board(desk, form.text("board"))
        number = desk.store.new_job(_opening(form), who=who)
        if chosen:
            desk.store.append(number, "board", "receive", chosen, who=who)
    except CoppermendError as error:
        boards = desk.store.boards()
        return page(request, "new_job.html", status=400, boards=boards, error=str(error), typed=form)
    return see(f"/jobs/{number}/receive", form, kept=1)


def header_of(form: Form) -> dict[str, str]:
    """The header fields that the form sent."""
    return {name: form.text(name) for name in HEADER if name in form.texts}


def _opening(form: Form) -> dict[str, str]:
    """The header of a new job; a promise only when there is one, since an empty one takes a promise back."""
    header = header_of(form)
    return header if header.get("promised") else {n: v for n, v in header.items() if n != "promised"}


def _chosen_board(desk: Desk, sha256: str) -> dict[str, str] | None:
    return {"name": desk.store.board(sha256).name, "sha256": sha256} if sha256 else None


@router.get("/jobs/{number}")
def show_job(request: Request, number: str) -> Response:
    """Where the job stands, and what comes next."""
    desk = desk_of(request)
    job = desk.job(number)
    if job.number != number:
        return RedirectResponse(f"/jobs/{job.number}", status_code=307)
    drawing = drawing_of(desk, job.sha256, stage_overlays(job, "")) if job.sha256 else None
    return page(request, "job.html", **job_context(request, job, job.state.stage), drawing=drawing)


@router.get("/jobs/{number}/record")
def show_record(request: Request, number: str) -> Response:
    """Every entry, newest first, each with its undo."""
    job = desk_of(request).job(number)
    return page(request, "record.html", **job_context(request, job, job.state.stage))


@router.get("/jobs/{number}/record.json")
def export_record(request: Request, number: str) -> Response:
    """The whole record as a file."""
    document = desk_of(request).store.export_job(number)
    text = json.dumps(document, ensure_ascii=False, indent=2)
    name = f'attachment; filename="job-{document["number"]}.json"'
    return Response(text, media_type="application/json", headers={"Content-Disposition": name})


@router.post("/jobs/{number}/header")
def correct_header(request: Request, number: str, form: SentForm) -> Response:
    """Correct customer, machine, complaint and the like."""
    return keep(request, number, "receive", "job", form, lambda _: header_of(form))


@router.post("/jobs/{number}/note")
def add_note(request: Request, number: str, form: SentForm) -> Response:
    """Note something at any stage."""
    return keep(request, number, form.text("stage"), "note", form, lambda _: {"text": form.text("text")})


@router.post("/jobs/{number}/stage")
def go_on(request: Request, number: str, form: SentForm) -> Response:
    """Say that the job stands at another stage now, and show it."""
    wanted = form.text("stage")
    here = form.text("here") or wanted

    def body(job: Job) -> dict[str, Any]:
        check_stage_allowed(wanted, job.found.release if job.found else None)
        return {"stage": wanted}

    return keep(request, number, here, "stage", form, body, show=wanted)


@router.post("/jobs/{number}/void")
def undo(request: Request, number: str, form: SentForm) -> Response:
    """Undo an entry: it stays in the record and no longer counts."""
    here = form.text("stage") or "receive"
    back = form.text("back")
    show = back if back in ("record", "dealings") else here
    isolation = request.query_params.get("isolation", "")  # so that a walk over other pairs goes on
    return keep(request, number, here, "void", form, _void(form), show=show, isolation=isolation)


def _void(form: Form) -> Callable[[Job], Mapping[str, Any]]:
    def body(_: Job) -> dict[str, Any]:
        why = form.text("why")
        return {"seq": form.number("seq"), **({"why": why} if why else {})}

    return body
