"""The page of each of the nine stages."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from coppermend.board.cautions import cautions_for
from coppermend.errors import UnknownName
from coppermend.job.entry import STAGES
from coppermend.job.number import check_number
from coppermend.web.desk import Job, desk_of
from coppermend.web.drawing import drawing_of
from coppermend.web.errand_pages import worked_out
from coppermend.web.forms import Form
from coppermend.web.language import translate
from coppermend.web.pages import page
from coppermend.web.underlay import photos_under
from coppermend.web.views import stage_view

router = APIRouter(include_in_schema=False)


@router.get("/jobs/{number}/{stage}")
def show_stage(request: Request, number: str, stage: str) -> Response:
    """One stage of a job."""
    if stage not in STAGES:
        raise UnknownName("page", stage, f"job {number}", f"one of {', '.join(STAGES)}")
    desk, query = desk_of(request), dict(request.query_params)
    if number != check_number(number):
        return RedirectResponse(f"/jobs/{check_number(number)}/{stage}", status_code=307)
    if not desk.is_large(number):
        return stage_page(request, desk.job(number), stage)

    def work_out() -> tuple[Job, dict[str, Any]]:
        job = desk.job(number)
        return job, stage_view(desk, job, stage, query)

    def show(request: Request, found: tuple[Job, dict[str, Any]]) -> Response:
        return stage_page(request, found[0], stage, view=found[1])

    title = translate("Working out %(stage)s") % {"stage": translate(stage)}
    return worked_out(request, work_out, show, title=title)


def stage_page(
    request: Request, job: Job, stage: str, *, error: str | None = None, typed: Form | None = None,
    status: int = 200, view: dict[str, Any] | None = None,
) -> Response:  # fmt: skip
    """The page of a stage, perhaps with what was wrong about the last post; ``view`` if it was worked out before."""
    desk = desk_of(request)
    view = {**view} if view is not None else stage_view(desk, job, stage, dict(request.query_params))
    shown = (view.pop("overlays"), view.pop("side"), view.pop("focus_mm", None))
    drawing = drawing_of(desk, job.sha256, *shown, photos=photos_under(job)) if job.sha256 else None
    context = {**job_context(request, job, stage), **view, "here": stage, "drawing": drawing, "error": error}
    return page(request, f"stages/{stage}.html", status=status, typed=typed or Form(), **context)


def job_context(request: Request, job: Job, stage: str) -> dict[str, Any]:
    """What every page of a job shows: the job, its progress, the stage's cautions, the last entry kept."""
    progress = {p.stage: p for p in job.found.progress} if job.found else {}
    return {
        "open_stage": _open_stage(job),
        "job": job, "state": job.state, "found": job.found, "stage": stage, "here": "",
        "progress": progress, "cautions": cautions_for(stage), "notice": _notice(request, job),
    }  # fmt: skip


def _open_stage(job: Job) -> str:
    """The stage that the next step belongs to: where the job stands, else the first that is not finished."""
    if job.found is None:
        return "receive"
    progress = {p.stage: p for p in job.found.progress}
    if not progress[job.state.stage].finished:
        return job.state.stage
    return next((p.stage for p in job.found.progress if not p.finished), "return")


def _notice(request: Request, job: Job) -> dict[str, Any] | None:
    """The entry that the last post kept, as far as the record bears it out."""
    asked = request.query_params.get("kept", "")
    entry = job.entry(int(asked)) if asked.isascii() and asked.isdigit() and len(asked) < 8 else None
    if entry is None:
        return None
    return {"entry": entry, "can_undo": entry.seq > 1 and entry.seq not in job.state.voided}
