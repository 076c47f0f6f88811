"""The plan stage's choice of remedies: tick, see what it comes to, keep the choice. Computes nothing of its own."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.errors import CoppermendError
from coppermend.rework.remedies import choose
from coppermend.web.desk import desk_of
from coppermend.web.forms import SentForm
from coppermend.web.keeping import refused
from coppermend.web.pages import author, page, see
from coppermend.web.plan_view import TRIED, effect_view

router = APIRouter(include_in_schema=False)


@router.get("/jobs/{number}/plan/effect")
def show_effect(request: Request, number: str) -> Response:
    """Only what the ticked remedies come to, for the page to put in place while one ticks."""
    desk = desk_of(request)
    job = desk.job(number)
    view = effect_view(desk, job, {**request.query_params, TRIED: "1"})
    # A choice that cannot be is an answer like any other; a browser would log it as an error of the page.
    return page(request, "plan_effect.html", job=job, **view)


@router.post("/jobs/{number}/remedies")
def keep_choice(request: Request, number: str, form: SentForm) -> Response:
    """Keep the ticked remedies as the choice: one entry for each that changes."""
    desk = desk_of(request)
    job = desk.job(number)
    who = author(request, form)
    offered = job.found.remedies if job.found else ()
    wanted = [one.id for one in offered if form.text(f"tick-{one.id}") == "1"]
    kept: int | None = None
    try:
        choose(offered, wanted)
        given_up = [name for name in job.state.remedies if name not in wanted]
        taken = [name for name in wanted if name not in job.state.remedies]
        for name in [*given_up, *taken]:
            body = {"id": name, "chosen": name in wanted}
            kept = desk.store.append(job.number, "remedy", "plan", body, who=who).seq
    except CoppermendError as error:
        return refused(request, job, "plan", form, error)
    return see(f"/jobs/{job.number}/plan", form, anchor="choice", kept=kept)
