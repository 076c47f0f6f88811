"""The bench: all jobs by stage, and who is working."""

from __future__ import annotations

from datetime import datetime

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.demo.board_data import demo_board_files
from coppermend.demo.story import HEADER
from coppermend.errors import InputError
from coppermend.job.backup import backup_is_due
from coppermend.job.entry import STAGES
from coppermend.job.home import remind_days
from coppermend.web.desk import desk_of
from coppermend.web.forms import SentForm
from coppermend.web.pages import author, own_page, page, see

router = APIRouter(include_in_schema=False)
_MOST = 200  # on one page; the search finds the others


@router.get("/")
def show_bench(request: Request, find: str = "") -> Response:
    """Jobs grouped by the stage they stand at: the newest, or those that a search found."""
    store = desk_of(request).store
    found = store.search(find, _MOST)
    groups = [(stage, [job for job in found.jobs if job.stage == stage]) for stage in STAGES]
    boards = store.boards() if not found.jobs and not find else ()
    return page(
        request, "bench.html", groups=groups, count=len(found.jobs), find=find, boards=boards, found=found,
        backup_due=backup_is_due(store, remind_days()),
    )  # fmt: skip


@router.post("/sample-job")
def open_sample_job(request: Request, form: SentForm) -> Response:
    """The invented sample job on its board, as it came in: everything is still to be done."""
    store, who = desk_of(request).store, author(request, form)
    sha256 = store.add_board(demo_board_files())
    number = store.new_job(HEADER, who=who)
    store.append(number, "board", "receive", {"name": store.board(sha256).name, "sha256": sha256}, who=who)
    return see(f"/jobs/{number}", form)


@router.get("/queue")
def show_queue(request: Request) -> Response:
    """What is in the shop, by promised date; what waits for parts comes last."""
    today = datetime.now().astimezone().date().isoformat()
    jobs = desk_of(request).store.queue(_MOST + 1)
    return page(request, "queue.html", jobs=jobs[:_MOST], more=len(jobs) > _MOST, today=today)


@router.post("/who")
def keep_who(request: Request, form: SentForm) -> Response:
    """Remember in the browser who is working."""
    if not form.text("who"):
        raise InputError("no name", expected="your name, as it shall stand in the record")
    return see(own_page(form.text("back", "/")), form)
