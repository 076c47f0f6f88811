"""The bench: all jobs by stage, and who is working."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.errors import InputError
from coppermend.job.entry import STAGES
from coppermend.web.desk import desk_of
from coppermend.web.forms import SentForm
from coppermend.web.pages import own_page, page, see

router = APIRouter(include_in_schema=False)


@router.get("/")
def show_bench(request: Request, find: str = "") -> Response:
    """Jobs grouped by the stage they stand at."""
    store = desk_of(request).store
    jobs = store.find(find) if find.strip() else store.jobs()
    groups = [(stage, [job for job in jobs if job.stage == stage]) for stage in STAGES]
    boards = store.boards() if not jobs and not find else ()
    return page(request, "bench.html", groups=groups, count=len(jobs), find=find, boards=boards)


@router.post("/who")
def keep_who(request: Request, form: SentForm) -> Response:
    """Remember in the browser who is working."""
    if not form.text("who"):
        raise InputError("no name", expected="your name, as it shall stand in the record")
    return see(own_page(form.text("back", "/")), form)
